"""Where a limit's band and lines are, as far as the picture goes.

The picture is ±2 dB over 20 Hz – 20 kHz, a thousandfold: 200 Hz is a third of the way across, on a log scale.
"""

from __future__ import annotations

import numpy as np
import pytest
from card_samples import curve_card, shapes

from reviewkit.model.card import Limit, Trace
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.scene import Area
from reviewkit.render.cards.shape import WIDE

FLAT = Trace(np.geomspace(20, 20_000, 50), np.zeros(50), "L")
LEFT, RIGHT = WIDE.curves


def drawn(low, high, from_hz=20.0, to_hz=20_000.0):
    """The corners of the band, and the ends of each line, in fractions of the picture's width, and in dB."""
    items = lay_out(curve_card(FLAT, limits=(Limit(low, high, from_hz, to_hz, "rated"),)), "lamplight")
    grid = [y for line in shapes(items, "grid") for _, y in line.points]
    top, bottom = min(grid), max(grid)

    def placed(item):
        return [((x - LEFT) / (RIGHT - LEFT), 2 - 4 * (y - top) / (bottom - top)) for x, y in item.points]

    bands = [sorted(placed(band)) for band in shapes(items, "band", Area)]
    return bands, sorted(placed(line) for line in shapes(items, "limit"))


def corners(left, right, low, high):
    return [pytest.approx(corner) for corner in ((left, low), (left, high), (right, low), (right, high))]


@pytest.mark.parametrize(
    ("hertz", "across"),
    [
        ((20, 20_000), (0, 1)),
        ((200, 2000), (1 / 3, 2 / 3)),
        ((5, 2000), (0, 2 / 3)),  # a rated band that begins or ends outside the picture ends at its edge
        ((200, 80_000), (1 / 3, 1)),
    ],
)
def test_a_band_is_as_wide_as_the_rated_one(hertz, across):
    bands, lines = drawn(-1.0, 0.5, *hertz)
    assert bands == [corners(*across, -1.0, 0.5)]
    assert lines == [[pytest.approx((end, side)) for end in across] for side in (-1.0, 0.5)]


@pytest.mark.parametrize(
    ("low", "high", "band", "lines"),
    [
        (-2.0, 2.0, (-2, 2), [-2, 2]),  # on the edge is in the picture
        (-3.0, 1.0, (-2, 1), [1]),  # further out: the band goes as far as the picture, and there is no line
        (-1.0, 3.0, (-1, 2), [-1]),
        (-3.0, 3.0, (-2, 2), []),
        (None, 1.0, (-2, 1), [1]),
        (-1.0, None, (-1, 2), [-1]),
        (None, -3.0, None, []),  # nothing in the picture is allowed
        (3.0, None, None, []),
    ],
)
def test_a_band_is_as_high_as_the_limit_allows(low, high, band, lines):
    bands, found = drawn(low, high)
    assert bands == ([corners(0, 1, *band)] if band else [])
    assert [[y for _, y in line] for line in found] == [[pytest.approx(side)] * 2 for side in lines]


@pytest.mark.parametrize("hertz", [(5.0, 10.0), (40_000.0, 80_000.0)])
def test_a_band_outside_the_picture_is_not_drawn(hertz):
    assert drawn(-1.0, 1.0, *hertz)[0] == []


@pytest.mark.parametrize(
    ("hertz", "ends"),
    [(200.0, (-66, 66)), (20.0, (0, 66)), (20_000.0, (-66, 0)), (22.0, (None, 66)), (18e3, (-66, None))],
)
def test_a_limit_at_one_frequency_has_both_sides_about_it_inside_the_picture(hertz, ends):
    """Each line is 132 pixels long, less what would be outside."""
    bands, lines = drawn(-1.0, 0.5, hertz, hertz)
    at = np.log10(hertz / 20) / 3
    left, right = (at + end / (RIGHT - LEFT) if end is not None else None for end in ends)
    across = (0.0 if left is None else left, 1.0 if right is None else right)
    assert bands == []
    assert lines == [[pytest.approx((end, side), abs=1e-6) for end in across] for side in (-1.0, 0.5)]


def test_a_limit_outside_the_picture_is_not_drawn():
    items = lay_out(curve_card(limits=(Limit(-1.0, 1.0, 30_000.0, 40_000.0, ""),)), "lamplight")
    assert {x for line in shapes(items, "limit") for x, _ in line.points} <= {RIGHT}
