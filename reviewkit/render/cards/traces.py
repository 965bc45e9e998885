"""Traces as lines in a panel: scaled, clipped at its edges, with no more points than the picture can show."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.model.card import Axis, Trace
from reviewkit.render.cards.box import Box

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

_CROWDED = 8  # points in a pixel column from which gaps can't be seen
_CUT_SLACK = 1e-9  # of a panel's height: a point on the edge is inside it


@dataclass(frozen=True, eq=False)
class DrawnTrace:
    """A trace as drawn: fractions of its panel, and pixels."""

    trace: Trace
    points: Array
    pixels: Array
    width: float


def axis_fraction(axis: Axis, values: Array) -> Array:
    """Return where values lie along an axis: 0 at its low end, 1 at its high end.

    Parameters
    ----------
    axis : Axis
        Linear or logarithmic.
    values : ndarray, any shape
        Values in the axis's unit.

    Returns
    -------
    ndarray, same shape
        Fractions; NaN for values that a log axis has no place for.
    """
    given = np.asarray(values, dtype=np.float64)
    if axis.scale == "linear":
        return np.asarray((given - axis.low) / (axis.high - axis.low))
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(given > 0, np.log(np.where(given > 0, given, 1.0)), np.nan)
    return np.asarray((logs - np.log(axis.low)) / (np.log(axis.high) - np.log(axis.low)))


def axis_position(axis: Axis, value: float) -> float:
    """Return `axis_fraction` of one value."""
    return float(axis_fraction(axis, np.array([value]))[0])


def clamped_position(axis: Axis, value: float) -> float:
    """Return `axis_position` limited to 0 … 1; zero is at the foot of a log axis."""
    at = axis_position(axis, value)
    return 0.0 if isnan(at) else min(max(at, 0.0), 1.0)


def clip_trace(x_axis: Axis, y_axis: Axis, trace: Trace) -> Array:
    """Return a trace as fractions of a panel's width and height, clipped at its edges.

    Parameters
    ----------
    x_axis, y_axis : Axis
        Axes of the panel.
    trace : Trace
        The curve.

    Returns
    -------
    ndarray, shape (m, 2)
        x, and y upwards; NaN rows separate parts.
    """
    points = np.column_stack((axis_fraction(x_axis, trace.x), axis_fraction(y_axis, trace.y)))
    points[~np.isfinite(points).all(axis=1)] = np.nan
    for column in (0, 1):
        for edge in (0.0, 1.0):
            points = _with_crossings(points, column, edge)
    with np.errstate(invalid="ignore"):
        outside = ((points < -_CUT_SLACK) | (points > 1 + _CUT_SLACK)).any(axis=1)
    points[outside] = np.nan
    return points


def _with_crossings(points: Array, column: int, edge: float) -> Array:
    """Add a point wherever a line crosses an edge, so that it can be cut there."""
    if len(points) < 2:
        return points
    off = points[:, column] - edge
    with np.errstate(invalid="ignore"):
        at = np.flatnonzero(np.sign(off[:-1]) * np.sign(off[1:]) < 0)
    if not len(at):
        return points
    part = (off[at] / (off[at] - off[at + 1]))[:, np.newaxis]
    crossings = points[at] + part * (points[at + 1] - points[at])
    crossings[:, column] = edge
    return np.insert(points, at + 1, crossings, axis=0)


def smoothed(line: Array, spacing: float) -> Array:
    """Return a line through the same points, without corners where they are far apart.

    Parameters
    ----------
    line : ndarray, shape (n, 2)
        Fractions of width and height, x rising; NaN rows separate parts.
    spacing : float
        Distance of two points, in x, from which more are put between them.

    Returns
    -------
    ndarray, shape (m, 2)
        The line itself if it is dense, runs back in x, or has gaps.

    Notes
    -----
    Monotone cubic: it never leaves the range of its two points (F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal.
    17, 1980; slopes as weighted harmonic means, F. N. Fritsch and J. Butland, 1984; from memory).
    """
    if len(line) < 3 or not np.isfinite(line).all():
        return line
    x, y = line[:, 0], line[:, 1]
    step = np.diff(x)
    if np.any(step <= 0) or np.max(step) <= spacing:
        return line
    rise = np.diff(y) / step
    before, after = rise[:-1], rise[1:]
    one, other = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (one + other) / (one / before + other / after)
    slope = np.concatenate((rise[:1], np.where(before * after > 0, mean, 0.0), rise[-1:]))
    counts = np.minimum(np.ceil(step / spacing), 200).astype(int)
    at = np.repeat(np.arange(len(step)), counts)
    part = np.concatenate([np.arange(count) / count for count in counts])
    h, p = step[at], part
    inside = (
        (1 + 2 * p) * (1 - p) ** 2 * y[at]
        + p * (1 - p) ** 2 * h * slope[at]
        + p**2 * (3 - 2 * p) * y[at + 1]
        + p**2 * (p - 1) * h * slope[at + 1]
    )
    return np.column_stack((np.append(x[at] + p * h, x[-1]), np.append(inside, y[-1])))


def to_pixels(line: Array, box: Box) -> Array:
    """Convert a line from fractions of a panel to pixels, reduced to what can be seen.

    Parameters
    ----------
    line : ndarray, shape (n, 2)
        Fractions of width and height.
    box : Box
        The panel, in pixels.

    Returns
    -------
    ndarray, shape (k, 2)
        Pixels of the frame.
    """
    pixels = np.column_stack((box.left + line[:, 0] * box.width, box.bottom - line[:, 1] * box.height))
    return envelope(pixels)


def envelope(pixels: Array) -> Array:
    """Reduce a line to the first, least, greatest and last y of each pixel column, in their order.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
        Points with rising x; NaN rows separate parts.

    Returns
    -------
    ndarray, shape (k, 2)
        The line itself if it is short or runs back in x.
    """
    columns = np.floor(pixels[:, 0])
    if len(pixels) < 4 or not np.isfinite(pixels).all():
        return _envelope_of_parts(pixels) if len(pixels) >= 4 else pixels
    if np.any(np.diff(pixels[:, 0]) < 0):
        return pixels
    starts = np.flatnonzero(np.concatenate(([True], np.diff(columns) > 0)))
    if len(pixels) <= 4 * len(starts):
        return pixels
    ends = np.concatenate((starts[1:], [len(pixels)])) - 1
    kept = np.unique(np.concatenate((starts, ends, *_extremes(pixels[:, 1], starts))))
    return np.asarray(pixels[kept])


def _extremes(heights: Array, starts: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first index of the least and of the greatest value in each stretch that begins at `starts`."""
    counts = np.diff(starts, append=len(heights))
    found = []
    for most in (np.minimum.reduceat(heights, starts), np.maximum.reduceat(heights, starts)):
        at = np.flatnonzero(heights == np.repeat(most, counts))
        first = np.searchsorted(at, starts)
        found.append(at[first])
    return found[0], found[1]


def _envelope_of_parts(pixels: Array) -> Array:
    """Return the `envelope` of each part between NaN rows.

    Gaps within one pixel column are closed first if there are many points to a column: they can't be seen, and each
    part would be a line of its own.
    """
    at = np.flatnonzero(np.isfinite(pixels).all(axis=1))
    steps = np.diff(np.floor(pixels[at, 0]))
    if len(at) >= 2 and np.all(steps >= 0) and len(at) >= _CROWDED * (1 + np.count_nonzero(steps)):
        gaps = np.flatnonzero((np.diff(at) > 1) & (steps > 0)) + 1
        pixels = np.insert(pixels[at], gaps, np.nan, axis=0)
    good = np.isfinite(pixels).all(axis=1)
    edges = np.flatnonzero(np.diff(good.astype(np.int8))) + 1
    parts = [envelope(part) if np.isfinite(part).all() else part[:1] for part in np.split(pixels, edges)]
    return np.asarray(np.concatenate(parts))


def line_length(pixels: Array) -> float:
    """Return a line's length.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
        Pixels; NaN rows separate parts.

    Returns
    -------
    float
        The length in pixels of all parts together.
    """
    return float(np.nansum(np.hypot(*np.diff(pixels, axis=0).T))) if len(pixels) > 1 else 0.0


def whole_dashes(line: Array, dash: tuple[float, float]) -> tuple[float, float]:
    """Return a dash and its gap adjusted to a line, so that it ends with a whole dash.

    Parameters
    ----------
    line : ndarray, shape (n, 2)
        Pixels.
    dash : tuple of float
        About how long dash and gap are, in pixels.

    Returns
    -------
    tuple of float
        How long they are.
    """
    length, (on, off) = line_length(line), dash
    if not length:  # a limit outside the picture
        return dash
    share = length / (on + max(round((length - on) / (on + off)), 1) * (on + off))
    return on * share, off * share


def isolated_points(pixels: Array) -> Array:
    """Return the points without neighbours, which a line can't show.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
        Pixels; NaN rows separate parts.

    Returns
    -------
    ndarray, shape (k, 2)
        The parts that are a single point.
    """
    good = np.asarray(np.isfinite(pixels).all(axis=1))
    after, before = np.zeros_like(good), np.zeros_like(good)
    after[1:], before[:-1] = good[:-1], good[1:]
    return np.asarray(pixels[good & ~after & ~before])
