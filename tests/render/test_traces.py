"""Curves as lines: a smooth line through the same points, checked against scipy's monotone interpolation."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from reviewkit.render.cards.traces import smoothed

KNEE = np.array([(0.0, 0.4), (0.2, 0.35), (0.5, 0.3), (0.8, 0.3), (0.9, 0.32), (1.0, 0.95)])


def test_the_line_goes_through_its_points():
    line = smoothed(KNEE, 0.01)
    for x, y in KNEE:
        assert line[np.argmin(np.abs(line[:, 0] - x)), 1] == pytest.approx(y, abs=1e-9)


def test_inside_it_is_the_monotone_cubic_of_scipy():
    """All but the first and the last stretch, where other slopes are taken at the ends."""
    line = smoothed(KNEE, 0.01)
    inside = line[(line[:, 0] >= KNEE[1, 0]) & (line[:, 0] <= KNEE[-2, 0])]
    expected = PchipInterpolator(KNEE[:, 0], KNEE[:, 1])(inside[:, 0])
    assert inside[:, 1] == pytest.approx(expected, abs=1e-9)


def test_it_never_leaves_the_range_of_its_two_points():
    line = smoothed(KNEE, 0.01)
    for (x, y), (x2, y2) in itertools.pairwise(KNEE):
        between = line[(line[:, 0] >= x) & (line[:, 0] <= x2), 1]
        assert np.all((between >= min(y, y2) - 1e-12) & (between <= max(y, y2) + 1e-12))


@pytest.mark.parametrize(
    "line",
    [
        KNEE[:2],
        np.vstack((KNEE, (np.nan, np.nan))),
        KNEE[::-1],
        np.column_stack((np.linspace(0, 1, 500), np.zeros(500))),
    ],
    ids=["two points", "a gap", "backwards", "dense"],
)
def test_what_has_no_corners_to_round_stays_as_it_is(line):
    assert smoothed(line, 0.01) is line
