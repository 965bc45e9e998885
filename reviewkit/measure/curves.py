"""Reading values off a measured curve: between points on log frequency, crossings on log axes, never beyond the
data.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

# sweeps end at 19.98 kHz or begin at 20.1 Hz when the band was meant: half a percent is the rounding of an export
_EDGE = 1.005
# four points further apart than this are no curve to be followed, only four readings
_CURVED_SPAN = 16.0
_CLOSER = 6  # times that a crossing's place is told 32 times closer: to a billionth of the way


def value_at(x: Array, y: Array, where: float, *, curved: bool = True) -> float | None:
    """Return y at `where` as `values_at` reads it, or, if not `curved`, on the straight line over log x between the two
    points around it (a noisy curve isn't smooth enough to follow); None outside. `x`: (n,), rising, > 0.
    """
    if not x[0] / _EDGE <= where <= x[-1] * _EDGE:
        return None
    if curved:
        return float(values_at(x, y, np.array([where]))[0])
    return float(np.interp(np.log(where), np.log(x), y))


def values_at(x: Array, y: Array, where: Array) -> Array:
    """y at each of `where`, shape (m,): the cubic over log x through the four points around it, so that a smooth curve
    of a few points an octave is followed between them; a straight line where there are no four points within four
    octaves. Beyond the ends, the end's value: ask only inside. `x`: (n,), rising, > 0.
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
    """Lagrange's polynomial through four points, for each row. `x`, `y`: (m, 4); `at`: (m,)."""
    total = np.zeros(len(at))
    for i in range(4):
        others = [j for j in range(4) if j != i]
        shares = (at[:, None] - x[:, others]) / (x[:, [i]] - x[:, others])
        total += y[:, i] * np.prod(shares, axis=1)
    return total


def covered(x: Array, band: tuple[float, float]) -> tuple[float, float] | None:
    """The part of a band that the points cover, its edges where the points reach them; None where nothing is."""
    low = band[0] if x[0] <= band[0] * _EDGE else float(x[0])
    high = band[1] if x[-1] >= band[1] / _EDGE else float(x[-1])
    return (low, high) if low < high else None


def part(x: Array, y: Array, band: tuple[float, float], *, curved: bool = True) -> tuple[Array, Array]:
    """Return the curve inside a band, with a point read at each edge that the data surrounds, as `value_at` does."""
    inside = (x >= band[0]) & (x <= band[1])
    xs, ys = list(x[inside]), list(y[inside])
    for edge, first in ((band[0], True), (band[1], False)):
        if x[0] <= edge <= x[-1] and edge not in (xs[:1] + xs[-1:]):
            position = 0 if first else len(xs)
            xs.insert(position, edge)
            ys.insert(position, value_at(x, y, edge, curved=curved))
    return np.array(xs), np.array(ys)


def crossing(x: Array, y: Array, level: float, start: int, step: int, *, curved: bool = False) -> float | None:
    """The first place, walking from point `start` by `step` (±1), where y passes `level`; interpolated on log x.

    `y` is taken as it is (dB, or the logarithm of a ratio). Between the two points around the crossing the curve is a
    straight line, or, where it is `curved`, as `values_at` reads it: a corner of two poles at eight points an octave is
    then right to 0.1 %. None where the level is not passed inside the data.
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
    """Where a curve rises through a limit, and between which places it may do so as far as its points tell."""

    at: float
    low: float
    high: float

    @property
    def expanded(self) -> float:
        """The expanded uncertainty of `at` (k = 2), in its unit: any place from low to high is as likely, so the
        variance about `at` is the mean square distance of a rectangle that need not lie even about it (after JCGM
        100:2008 4.3.7, from memory).
        """
        if self.high == self.low:
            return 0.0
        cubes = (self.high - self.at) ** 3 + (self.at - self.low) ** 3
        return 2 * math.sqrt(cubes / (3 * (self.high - self.low)))


def rise_through(x: Array, y: Array, limit: float) -> Rise | None:
    """The first rise of y through `limit` above the curve's minimum, both axes log (x, y > 0); None where not
    reached.

    Between the two points around it the curve is taken as straight, but it may bend there: a knee goes on along the
    line of the two points before and then joins that of the two points behind. Where those two lines pass the limit,
    the rise is bounded; by the points themselves where a line does not, or no second point is there. On a straight rise
    all three lines are one, and nothing is left open.
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
        """Where the line through two points that follow each other passes the limit, if it does so between the ends."""
        if not lowest <= first < len(x) - 1 or above[first + 1] <= above[first]:
            return default
        slope = (above[first + 1] - above[first]) / (log_x[first + 1] - log_x[first])
        return min(max(float(log_x[first] - above[first] / slope), ends[0]), ends[1])

    places = (math.log(at), passed(after - 2, ends[1]), passed(after, ends[0]))
    return Rise(at, math.exp(min(places)), math.exp(max(places)))
