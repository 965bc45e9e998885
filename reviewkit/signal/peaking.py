"""One band of an equaliser: its gain, its centre and its Q, from the difference that it makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_FITTED_SHARE = 0.25  # of the gain: what is lower is left to the neighbouring bands (a judgement)
_FEWEST_POINTS = 6
_WORST_MISFIT = 0.03  # of the gain, r.m.s. (a judgement)


class NoPeak(ValueError):
    """Error for a curve that isn't that of one band. The message says why."""


@dataclass(frozen=True)
class Band:
    """A band. `q`: the centre over the distance between the two places with half of the gain in dB; None if the curve
    doesn't reach one of them.
    """

    gain_db: float
    centre_hz: float
    q: float | None


def fit_band(frequency_hz: Array, difference_db: Array) -> Band:
    """Fit a band of second order to the difference around its peak or dip.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, above 0.
    difference_db : Array
        What the band changes, shape (n,), most of it at the band's peak.

    Returns
    -------
    Band
        The band.

    Raises
    ------
    NoPeak
        If the largest change is at the end, if there are too few points, or if it isn't a band of second order.

    Notes
    -----
    (s² + s·√K·b + 1) / (s² + s·b/√K + 1), K the gain as a ratio and 1/b the Q: a resonant circuit in an amplifier's
    feedback, and every peaking filter of second order (filter theory). Half of the gain in dB is at |f/f₀ − f₀/f| = b.
    A digital filter has tan(π f / rate) for f; its rate is fitted, and infinite for a circuit.
    """
    from scipy.optimize import least_squares

    top = int(np.argmax(np.abs(difference_db)))
    if not 0 < top < len(frequency_hz) - 1:
        raise NoPeak("it changes most at the end of what was swept, as a shelf does")
    low = np.flatnonzero(difference_db / difference_db[top] < _FITTED_SHARE)
    # with one point beyond on either side, so that a flank is always in it
    first = max((int(i) for i in low if i < top), default=0)
    last = min((int(i) + 1 for i in low if i > top), default=len(frequency_hz))
    hz, db = frequency_hz[first:last], difference_db[first:last]
    if len(hz) < _FEWEST_POINTS:
        raise NoPeak("there are too few points around its peak; sweep it in smaller steps")

    def shape(values: Array) -> Array:
        gain_db, centre, width, turn = values
        ratio, u = 10.0 ** (gain_db / 20), _warped(hz, turn) / _warped(np.exp(centre), turn)
        detuned = (u - 1 / u) ** 2
        return np.asarray(10 * np.log10((detuned + ratio * np.exp(2 * width)) / (detuned + np.exp(2 * width) / ratio)))

    start = [difference_db[top], np.log(frequency_hz[top]), np.log(np.log(hz[-1] / hz[0])), 0.1 / hz[-1]]
    result = least_squares(
        lambda values: shape(values) - db,
        start,
        bounds=([-np.inf, np.log(hz[0]), -np.inf, 0.0], [np.inf, np.log(hz[-1]), np.inf, 0.49 / hz[-1]]),
        x_scale=[1.0, 0.1, 0.1, 0.1 / hz[-1]],
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    if float(np.sqrt(np.mean(result.fun**2))) > _WORST_MISFIT * abs(difference_db[top]):
        raise NoPeak("it isn't the curve of one band")
    gain_db, centre_hz, width, turn = float(result.x[0]), float(np.exp(result.x[1])), np.exp(result.x[2]), result.x[3]
    halves = _warped(centre_hz, turn) * (np.sqrt(1 + (width / 2) ** 2) + np.array([-1, 1]) * width / 2)
    low_hz, high_hz = np.arctan(np.pi * turn * halves) / (np.pi * turn) if turn > _NEVER else halves
    reached = frequency_hz[0] <= low_hz and high_hz <= frequency_hz[-1]
    return Band(gain_db, centre_hz, float(centre_hz / (high_hz - low_hz)) if reached else None)


_NEVER = 1e-9  # s: the step of a rate so high that it is none


def _warped(frequency_hz: Array | float, step_s: float) -> Array:
    """Return the frequencies of a circuit that does what a filter of so long a step does at these."""
    hz = np.asarray(frequency_hz)
    return np.tan(np.pi * hz * step_s) / (np.pi * step_s) if step_s > _NEVER else hz
