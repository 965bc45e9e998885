"""The needle on a strip over footage: its wedge is on the side that the verdict is on."""

from __future__ import annotations

import pytest

from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.needle import place_needle
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.scene import Area, Page
from reviewkit.render.cards.shape import WIDE


@pytest.mark.parametrize("position", [0.5, -0.5, 0.0, 1.0, 1.2, -1.2, None])
def test_the_wedge_is_as_far_from_the_notch_as_the_verdict_says(position):
    page = Page("needle", LOOKS["lamplight"], make_measure("needle"), WIDE)
    place_needle(page, 100.0, 300.0, 400.0, position, "meets")
    wedges = [item for item in page.items if isinstance(item, Area)]
    if position is None:
        assert wedges == []
        return
    tip = (wedges[0].points[0][0] + wedges[0].points[1][0]) / 2
    assert tip == pytest.approx(300.0 + 200.0 * position, abs=0.5)
