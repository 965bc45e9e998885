"""Reading values off a measured curve: between points on log frequency, crossings on log axes, never beyond the
data.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.arrays import Array

# sweeps end at 19.98 kHz or begin at 20.1 Hz when the band was meant: half a percent is the rounding of an export
_EDGE = 1.005


def value_at(x: Array, y: Array, where: float) -> float | None:
    """y at `where`, linear in y over log x between the two points around it; None outside. `x`: (n,), rising, > 0."""
    if not x[0] / _EDGE <= where <= x[-1] * _EDGE:
        return None
    return float(np.interp(np.log(where), np.log(x), y))


def covered(x: Array, band: tuple[float, float]) -> tuple[float, float] | None:
    """The part of a band that the points cover, its edges where the points reach them; None where nothing is."""
    low = band[0] if x[0] <= band[0] * _EDGE else float(x[0])
    high = band[1] if x[-1] >= band[1] / _EDGE else float(x[-1])
    return (low, high) if low < high else None


def part(x: Array, y: Array, band: tuple[float, float]) -> tuple[Array, Array]:
    """The curve inside a band, with a point read at each edge that the data surrounds."""
    inside = (x >= band[0]) & (x <= band[1])
    xs, ys = list(x[inside]), list(y[inside])
    for edge, first in ((band[0], True), (band[1], False)):
        if x[0] <= edge <= x[-1] and edge not in (xs[:1] + xs[-1:]):
            position = 0 if first else len(xs)
            xs.insert(position, edge)
            ys.insert(position, float(np.interp(np.log(edge), np.log(x), y)))
    return np.array(xs), np.array(ys)


def crossing(x: Array, y: Array, level: float, start: int, step: int, *, curved: bool = False) -> float | None:
    """The first place, walking from point `start` by `step` (±1), where y passes `level`; interpolated on log x.

    `y` is taken as it is (dB, or the logarithm of a ratio). Between the two points around the crossing the curve is a
    straight line, or, where it is `curved` and has a neighbour on each side, the cubic through all four: a corner of
    two poles at eight points an octave is then right to 0.1 %. None where the level is not passed inside the data.
    """
    side = y[start] >= level
    i = start
    while 0 <= i + step < len(x):
        if (y[i + step] >= level) != side:
            low = min(i, i + step)
            share = (level - y[low]) / (y[low + 1] - y[low])
            if curved and 0 < low < len(x) - 2:
                share = _share_of_cubic(np.log(x[low - 1 : low + 3]), y[low - 1 : low + 3], level, share)
            return float(np.exp(np.log(x[low]) + share * (np.log(x[low + 1]) - np.log(x[low]))))
        i += step
    return None


def _share_of_cubic(x: Array, y: Array, level: float, straight: float) -> float:
    """Where between the middle two of four points their cubic passes `level`, as a share of the way; by halving."""
    at = (x - x[1]) / (x[2] - x[1])

    def cubic(share: float) -> float:
        total = 0.0
        for i in range(4):
            others = [j for j in range(4) if j != i]
            total += y[i] * float(np.prod([(share - at[j]) / (at[i] - at[j]) for j in others]))
        return total

    low, high = 0.0, 1.0
    rising = y[2] > y[1]
    for _ in range(60):
        middle = (low + high) / 2
        if (cubic(middle) < level) == rising:
            low = middle
        else:
            high = middle
    return low if 0 < low < 1 else straight


def rise_through(x: Array, y: Array, limit: float) -> float | None:
    """The first rise of y through `limit` above the curve's minimum, both axes log (x, y > 0); None where not
    reached.
    """
    lowest = int(np.argmin(y))
    if y[lowest] > limit:
        return None
    return crossing(x, np.log(y), float(np.log(limit)), lowest, +1)
