"""The needle: how much room its limit needs, and where its ends are named."""

from __future__ import annotations

import numpy as np
import pytest

from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.needle import least_width, place_needle
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.scene import Area, Page, Text
from reviewkit.render.cards.shape import WIDE


@pytest.fixture
def page() -> Page:
    return Page("needle", LOOKS["lamplight"], make_measure("needle"), WIDE)


@pytest.mark.parametrize("position", [0.3, -0.3, 1.5, -1.5])
@pytest.mark.parametrize("rated", ["rated 60", "rated 92 dB (A)", "rated ±0.5 dB"])
def test_what_makers_print_has_room_above_the_widest_needle(page, rated, position):
    assert least_width(page, rated, position) <= 560 or position < -1


def test_a_limit_with_a_range_has_none(page):
    assert least_width(page, "rated 0.5 % from 250 mW to 30 W", 0.3) > 560


@pytest.mark.parametrize("position", np.linspace(-1.2, 1.2, 49))
def test_no_end_is_named_beyond_the_wedge(page, position):
    place_needle(page, 100.0, 300.0, 400.0, float(position), "meets", "rated 60", ("30", "120"))
    (wedge,) = (item for item in page.items if isinstance(item, Area))
    tip = float(np.mean([x for x, _ in wedge.points]))
    for text in (item for item in page.items if isinstance(item, Text) and item.text in ("30", "120")):
        end = 100.0 if text.text == "30" else 500.0
        middle = (text.box.left + text.box.right) / 2
        assert abs(middle - end) < 60  # at its own end, whatever the wedge does
        assert text.box.bottom < 300 or not text.box.left < tip < text.box.right
