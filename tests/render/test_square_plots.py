"""Square plots, and texts that may be left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reviewkit.model.card import Axis, Card, Chart, Mark, Panel, Trace
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.layout_check import bounds
from reviewkit.render.cards.scene import LayoutFault, Stroke, Text
from reviewkit.render.cards.shape import SHAPES

SECONDS = Axis(0.0, 16.0, "linear", ((0.0, "0"), (8.0, "8"), (16.0, "16")), "s")
PERCENT = Axis(-1.0, 1.0, "linear", ((-1.0, "−1"), (0.0, "0"), (1.0, "1 %")), "%")


def card(*panels: Panel) -> Card:
    chart = Chart(panels, (1.0,) * len(panels))
    return Card("x", "Wow and flutter", ("3.15 kHz",), chart, title="How steady does it run?", corner="Norrvale Two")


def over_time(*marks: Mark) -> Panel:
    x = np.linspace(0, 16, 200)
    return Panel(SECONDS, PERCENT, (Trace(x, 0.3 * np.sin(x), ""),), marks=marks, one_channel=True)


def curves(items) -> list:
    return [bounds(item) for item in items if isinstance(item, Stroke) and item.kind == "curve"]


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_a_square_plot_is_as_wide_as_it_is_high(shape):
    axis = replace(PERCENT, low=-1.1, high=1.1)
    turn = np.linspace(0, 2 * np.pi, 181)
    panel = Panel(axis, axis, (Trace(np.sin(turn), np.cos(turn), ""),), one_channel=True, square=True)
    (circle,) = curves(lay_out(card(panel), "lamplight", shape))
    assert circle.width == pytest.approx(circle.height, abs=1)


def test_a_text_without_room_is_left_out_only_if_it_may_be():
    words = "a name that is much too long for any place in this small plot, wherever one may look"
    crowded = lambda optional: card(over_time(Mark(8.0, 0.0, words * 2, optional=optional)), over_time())  # noqa: E731
    items = lay_out(crowded(True), "lamplight", SHAPES["square"])
    assert not [item for item in items if isinstance(item, Text) and item.text.startswith("a name")]
    with pytest.raises(LayoutFault, match="no free space"):
        lay_out(crowded(False), "lamplight", SHAPES["square"])
