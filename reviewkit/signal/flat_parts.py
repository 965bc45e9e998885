"""The flat parts of a square wave.

Each is fitted from its end back to where the edge before it has died out, then extended to that edge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from reviewkit.model.arrays import Array

_FEWEST_FLAT = 16
SETTLED = 2e-4  # of the step
_LATEST = 0.75  # of half a period: by then a flat part must have settled
_STEEP = 0.05  # of the step: a steeper tilt needs a cubic
_DEAD = 5e-5  # of the step
_MOST_BEND = 0.1  # sagitta over fall: an exponential tilt of two time constants bends by 0.06
_STRAYS = 0.02
UNSETTLED = "it still moves when the next edge comes; use a square wave of a lower frequency"
_TOO_FEW = "its flat parts hold too few samples; use a higher sample rate or a square wave of a lower frequency"


class NotSquare(Exception):
    """Error for a waveform that can't be read as a square wave; the message says why."""


@dataclass(frozen=True, eq=False)
class Flat:
    """A flat part as a polynomial in t / `length`. `start`: where it has settled; `noise`: r.m.s. about it."""

    coefficients: Array
    spread: Array  # their covariance
    length: float
    start: float
    noise: float

    def at(self, time: Array | float) -> Array:
        """Return the level at times after the edge, extended to before it has settled.

        Parameters
        ----------
        time : Array | float
            Times after the edge, shape (n,), or one time.

        Returns
        -------
        Array
            Shape (n,); (1,) for one time.
        """
        return powers(np.atleast_1d(time) / self.length, len(self.coefficients) - 1) @ self.coefficients

    def bends(self, width: float, step: float) -> bool:
        """Return whether its last `width` curves more than a tilt does, so that it is still ringing or rising."""
        chord = (width / self.length / 2) ** 2
        sagitta, doubt = abs(self.coefficients[2]) * chord, 4 * self.spread[2, 2] ** 0.5 * chord
        begin, end = self.at(np.array([self.length - width, self.length]))
        return bool(sagitta > _MOST_BEND * abs(end - begin) + max(SETTLED * step, doubt))


def powers(x: Array, degree: int) -> Array:
    """Return 1, x … x^degree for each x.

    Parameters
    ----------
    x : Array
        Shape (n,).
    degree : int
        The highest power.

    Returns
    -------
    Array
        Shape (n, degree + 1).
    """
    return np.vander(x, degree + 1, increasing=True)


def flat_part(time: Array, wave: Array, begin: float, end: float, step: float, rounding: float) -> Flat:
    """Fit the flat part between two edges, from its end back to where it has settled.

    Parameters
    ----------
    time : Array
        Times after the first edge, shape (n,), rising.
    wave : Array
        Levels at these times, shape (n,).
    begin, end : float
        The stretch that may belong to the flat part, in the unit of `time`.
    step : float
        The height of the square wave.
    rounding : float
        The standard uncertainty of a point that rounding leaves.

    Returns
    -------
    Flat
        The fitted polynomial, with where it has settled.

    Raises
    ------
    NotSquare
        If it doesn't settle well before its end, or if there are too few samples.
    """
    inside = np.flatnonzero((time >= begin) & (time <= end))
    inside = inside[np.argsort(time[inside])]
    t, y = time[inside], wave[inside]
    if len(t) < _FEWEST_FLAT:
        raise NotSquare(_TOO_FEW)
    # noise, from the median of second differences, which a smooth curve doesn't have
    noise = max(float(np.median(np.abs(np.diff(y, 2)))) / (0.6745 * 6**0.5), rounding)
    limit = max(5 * noise, SETTLED * step)
    since, degree = _LATEST * end, 2
    while True:
        used = t >= since
        flat = _fitted(t[used], y[used], end, noise, degree)
        off = np.abs(y - flat.at(t)) > limit
        if since == _LATEST * end and (np.mean(off[used]) > _STRAYS or flat.bends(end - since, step)):
            raise NotSquare(UNSETTLED)
        earlier = max(float(np.max(t[off & ~used], initial=begin)), end - 2 * (end - since))
        # a gain of one sample is creep along the ringing, not a new settled part
        if earlier > since - 1.5 or np.mean(off[used]) > _STRAYS:
            break
        if abs(float(np.diff(flat.at(np.array([since, end])))[0])) > _STEEP * step:
            degree = 3
        since = earlier
    # the edge's tail bends the fit even where it is hidden in noise, so wait until an exponential has died out
    died = since * np.log(1 / _DEAD) / max(np.log(step / limit), 1.0)
    if died > _LATEST * end:
        raise NotSquare(UNSETTLED)
    used = t >= died
    fall = abs(float(np.diff(flat.at(np.array([0.0, end])))[0])) / step
    degree = 1 if fall < 0.01 else 2 if fall < 0.1 else 3
    return replace(_fitted(t[used], y[used], end, noise, degree), start=since)


def _fitted(t: Array, y: Array, length: float, noise: float, degree: int) -> Flat:
    if len(t) < _FEWEST_FLAT // 2:
        raise NotSquare(_TOO_FEW)
    rows = powers(t / length, degree)
    inverse = np.linalg.pinv(rows.T @ rows)
    found: Array = np.asarray(inverse @ rows.T @ y, dtype=np.float64)
    scatter = float(np.sum((y - rows @ found) ** 2)) / (len(t) - degree - 1)
    spread: Array = np.asarray(max(scatter, noise**2) * inverse, dtype=np.float64)
    return Flat(found, spread, length, float(t[0]), max(scatter**0.5, noise))
