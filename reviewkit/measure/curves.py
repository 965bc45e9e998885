"""Values read from a measured curve: between points on log frequency, crossings on log axes, never beyond the data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

# a sweep that ends at 19.98 kHz or begins at 20.1 Hz was meant to cover the band: exports round by half a percent
_EDGE = 1.005
# four points further apart than this don't make a curve, only four readings
_CURVED_SPAN = 16.0
_CLOSER = 6  # refinements of a crossing, each 32 times finer: to a billionth of the interval


def value_at(x: Array, y: Array, where: float, *, curved: bool = True) -> float | None:
    """Return the curve's value at one place.

    Parameters
    ----------
    x : Array
        Shape (n,), rising, above 0.
    y : Array
        Shape (n,).
    where : float
        The place, on x.
    curved : bool
        Whether to read as `values_at` does; if not, on the straight line over log x between the two points around it,
        for a curve too noisy to follow.

    Returns
    -------
    float | None
        The value; None outside the data.
    """
    if not x[0] / _EDGE <= where <= x[-1] * _EDGE:
        return None
    if curved:
        return float(values_at(x, y, np.array([where]))[0])
    return float(np.interp(np.log(where), np.log(x), y))


def values_at(x: Array, y: Array, where: Array) -> Array:
    """Return the curve's values at several places.

    The cubic over log x through the four points around a place follows a smooth curve of a few points an octave. If
    four octaves don't hold four points, it is a straight line. Beyond the ends it is the end's value, so ask only
    inside.

    Parameters
    ----------
    x : Array
        Shape (n,), rising, above 0.
    y : Array
        Shape (n,).
    where : Array
        Places on x, shape (m,).

    Returns
    -------
    Array
        Shape (m,).
    """
    log_x, at = np.log(x), np.clip(np.log(where), np.log(x[0]), np.log(x[-1]))
    straight = np.interp(at, log_x, y)
    if len(x) < 4:
        return np.asarray(straight)
    first = np.clip(np.searchsorted(log_x, at) - 2, 0, len(x) - 4)
    nodes = first[:, None] + np.arange(4)
    near = log_x[first + 3] - log_x[first] <= np.log(_CURVED_SPAN)
    return np.where(near, _cubic(log_x[nodes], y[nodes], at), straight)


def _cubic(x: Array, y: Array, at: Array) -> Array:
    """Return Lagrange's polynomial through four points, for each row. `x`, `y`: (m, 4); `at`: (m,)."""
    total = np.zeros(len(at))
    for i in range(4):
        others = [j for j in range(4) if j != i]
        shares = (at[:, None] - x[:, others]) / (x[:, [i]] - x[:, others])
        total += y[:, i] * np.prod(shares, axis=1)
    return total


def covered(x: Array, band: tuple[float, float]) -> tuple[float, float] | None:
    """Return the part of a band that the points cover.

    Parameters
    ----------
    x : Array
        Shape (n,), rising.
    band : tuple[float, float]
        The lower and upper edge.

    Returns
    -------
    tuple[float, float] | None
        The part, with the band's own edges where the points reach them; None if the points cover nothing.
    """
    low = band[0] if x[0] <= band[0] * _EDGE else float(x[0])
    high = band[1] if x[-1] >= band[1] / _EDGE else float(x[-1])
    return (low, high) if low < high else None


def part(x: Array, y: Array, band: tuple[float, float], *, curved: bool = True) -> tuple[Array, Array]:
    """Return the curve inside a band, with a point at each edge that the data surrounds.

    Parameters
    ----------
    x : Array
        Shape (n,), rising, above 0.
    y : Array
        Shape (n,).
    band : tuple[float, float]
        The lower and upper edge.
    curved : bool
        Whether edges are read on a curve or on straight lines: see `value_at`.

    Returns
    -------
    tuple[Array, Array]
        x and y, both shape (m,); points at the edges are read as `value_at` does.
    """
    inside = (x >= band[0]) & (x <= band[1])
    xs, ys = list(x[inside]), list(y[inside])
    for edge, first in ((band[0], True), (band[1], False)):
        if x[0] <= edge <= x[-1] and edge not in (xs[:1] + xs[-1:]):
            position = 0 if first else len(xs)
            xs.insert(position, edge)
            ys.insert(position, value_at(x, y, edge, curved=curved))
    return np.array(xs), np.array(ys)


def crossing(x: Array, y: Array, level: float, start: int, step: int, *, curved: bool = False) -> float | None:
    """Return the first place, walking from a point in one direction, where the curve passes a level.

    Parameters
    ----------
    x : Array
        Shape (n,), rising, above 0.
    y : Array
        Shape (n,), used as it is (dB, or the logarithm of a ratio).
    level : float
        The level, in the unit of y.
    start : int
        The index of the point to start from.
    step : int
        The direction, ±1.
    curved : bool
        Whether the curve between points is read as `values_at` does; if not, it is a straight line over log x. For a
        corner of two poles at eight points an octave, curved is accurate to 0.1 %.

    Returns
    -------
    float | None
        The place on x; None if the level isn't passed inside the data.
    """
    side = y[start] >= level
    i = start
    while 0 <= i + step < len(x):
        if (y[i + step] >= level) != side:
            low = min(i, i + step)
            log_low, log_high = float(np.log(x[low])), float(np.log(x[low + 1]))
            if not curved:
                share = (level - y[low]) / (y[low + 1] - y[low])
                return float(np.exp(log_low + share * (log_high - log_low)))
            first = min(max(low - 1, 0), max(len(x) - 4, 0))
            around, low_past = slice(first, first + 4), bool(y[low] >= level)
            for _ in range(_CLOSER):  # the curve passes through both points, so a crossing lies between them
                log_x = np.linspace(log_low, log_high, 33)
                past = values_at(x[around], y[around], np.exp(log_x)) >= level
                past[0], past[-1] = low_past, not low_past
                turn = int(np.flatnonzero(past[1:] != past[:-1])[0])
                log_low, log_high = float(log_x[turn]), float(log_x[turn + 1])
            return float(np.exp((log_low + log_high) / 2))
        i += step
    return None


class Rise(NamedTuple):
    """A curve's rise through a limit: the place, and the range in which the points allow it to be."""

    at: float
    low: float
    high: float

    @property
    def expanded(self) -> float:
        """Return the expanded uncertainty of `at` (k = 2), in its unit.

        Notes
        -----
        Any place from low to high is equally likely, so the variance about `at` is the mean square distance of a
        rectangle that needn't be symmetric about it (after JCGM 100:2008 4.3.7, from memory).
        """
        if self.high == self.low:
            return 0.0
        cubes = (self.high - self.at) ** 3 + (self.at - self.low) ** 3
        return 2 * math.sqrt(cubes / (3 * (self.high - self.low)))


def rise_through(x: Array, y: Array, limit: float) -> Rise | None:
    """Return the first rise of y through a limit above the curve's minimum.

    Parameters
    ----------
    x : Array
        Shape (n,), rising, above 0.
    y : Array
        Shape (n,), above 0.
    limit : float
        The limit, in the unit of y.

    Returns
    -------
    Rise | None
        The place with its bounds; None if the limit isn't reached.

    Notes
    -----
    Both axes are logarithmic. The curve is straight between the two points around the rise, but it may bend there: a
    knee continues the line of the two points before, then joins that of the two points after. The places where those
    two lines pass the limit bound the rise; the points themselves do if a line doesn't pass it, or if there is no
    second point. On a straight rise all three lines coincide, and nothing is left open.
    """
    lowest = int(np.argmin(y))
    if y[lowest] > limit:
        return None
    at = crossing(x, np.log(y), float(np.log(limit)), lowest, +1)
    if at is None:
        return None
    after = lowest + 1 + int(np.argmax(y[lowest + 1 :] >= limit))
    log_x, above = np.log(x), np.log(y) - math.log(limit)
    if above[after] == 0:
        return Rise(float(x[after]), float(x[after]), float(x[after]))
    ends = (float(log_x[after - 1]), float(log_x[after]))

    def passed(first: int, default: float) -> float:
        """Return where the line through two successive points passes the limit, if it does so between the ends."""
        if not lowest <= first < len(x) - 1 or above[first + 1] <= above[first]:
            return default
        slope = (above[first + 1] - above[first]) / (log_x[first + 1] - log_x[first])
        return min(max(float(log_x[first] - above[first] / slope), ends[0]), ends[1])

    places = (math.log(at), passed(after - 2, ends[1]), passed(after, ends[0]))
    return Rise(at, math.exp(min(places)), math.exp(max(places)))
