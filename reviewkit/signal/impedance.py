"""The impedance curve of a loudspeaker or headphone: its minimum, its resonances, and a driver's Q.

A driver near its resonance is a resistance, an inductance and a parallel circuit in series (Thiele 1971; Small,
J. Audio Eng. Soc. 20 (1972) 383, both from memory). The circuit is fitted to the magnitude alone: it has minimum phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

RATED_SHARE = 0.8  # IEC 60268-5, 16.1: the least impedance over the rated one
USUAL_OHM = (2, 3, 4, 5, 6, 8, 10, 12, 15, 16, 24, 25, 32, 50, 60, 64, 80, 100, 150, 200, 250, 300, 400, 600)
_LEAST_RISE = 1.25  # of a peak over the higher of the dips on either side
# a vented box has two peaks within three octaves, both in the bass; a crossover's peak is higher (common practice)
_PAIR_WITHIN, _PAIR_BELOW_HZ = 8.0, 300.0
_FEWEST_POINTS = 8
_WORST_MISFIT = 0.05  # of the impedance, r.m.s. on a log scale


class NoResonance(ValueError):
    """Error for a curve from which no resonance can be read. The message says why."""


@dataclass(frozen=True)
class CurvePoint:
    """A place on the curve."""

    frequency_hz: float
    ohm: float


@dataclass(frozen=True)
class Resonance:
    """One driver's resonance: fs, Qms, Qes and Qts of a bare driver; in a closed box fc, Qmc, Qec and Qtc."""

    frequency_hz: float
    q_mechanical: float
    q_electrical: float

    @property
    def q_total(self) -> float:
        """Return Qts or Qtc."""
        return self.q_mechanical * self.q_electrical / (self.q_mechanical + self.q_electrical)


def rated_ohm(minimum_ohm: float) -> float | None:
    """Return the highest usual impedance that a curve with this minimum may be rated at; None if it is below 1.6 Ω.

    Notes
    -----
    IEC 60268-5:2003, 16.1: the least impedance in the rated frequency range is at least 80 % of the rated one. That
    these values are usual: common practice, no source.
    """
    return max((float(usual) for usual in USUAL_OHM if RATED_SHARE * usual <= minimum_ohm * (1 + 1e-9)), default=None)


def minimum_of(frequency_hz: Array, ohm: Array) -> CurvePoint:
    """Return the lowest point of a curve.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, above 0.
    ohm : Array
        Magnitude, shape (n,), above 0.

    Returns
    -------
    CurvePoint
        Between the points, on the parabola through the lowest three on log axes.
    """
    return _summit(frequency_hz, ohm, int(np.argmin(ohm)))


def _summit(frequency_hz: Array, ohm: Array, index: int) -> CurvePoint:
    """Return the summit or dip of the parabola through a point and its two neighbours, on log axes."""
    if not 0 < index < len(ohm) - 1:
        return CurvePoint(float(frequency_hz[index]), float(ohm[index]))
    x = np.log(frequency_hz[index - 1 : index + 2] / frequency_hz[index])
    second, first, height = np.polyfit(x, np.log(ohm[index - 1 : index + 2]), 2)
    place = -first / (2 * second) if second else 0.0
    if not x[0] <= place <= x[2]:
        place = 0.0
    return CurvePoint(
        float(frequency_hz[index] * np.exp(place)), float(np.exp(height + first * place + second * place * place))
    )


def bass_peaks(frequency_hz: Array, ohm: Array) -> tuple[CurvePoint, ...]:
    """Return the resonance peaks in the bass: one, or two of a vented box.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, above 0.
    ohm : Array
        Magnitude, shape (n,), above 0.

    Returns
    -------
    tuple[CurvePoint, ...]
        By frequency. None if no peak rises above what is on both sides of it by a quarter.
    """
    peaks: list[CurvePoint] = []
    for index in range(1, len(ohm) - 1):
        if not ohm[index - 1] < ohm[index] >= ohm[index + 1]:
            continue
        # how far the curve falls on each side before it is higher again
        higher = np.flatnonzero(ohm > ohm[index])
        left = ohm[max((int(i) for i in higher if i < index), default=-1) + 1 : index]
        right = ohm[index + 1 : min((int(i) for i in higher if i > index), default=len(ohm))]
        if ohm[index] >= _LEAST_RISE * max(left.min(), right.min()):
            peaks.append(_summit(frequency_hz, ohm, index))
    if len(peaks) > 1:
        first, second = peaks[:2]
        pair = second.frequency_hz < min(_PAIR_WITHIN * first.frequency_hz, _PAIR_BELOW_HZ)
        return (first, second) if pair else (first,)
    return tuple(peaks)


def is_load(frequency_hz: Array, ohm: Array) -> bool:
    """Return whether an impedance is that of a load that resonates, as a driver does, and no output's.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, above 0.
    ohm : Array
        Magnitude, shape (n,), above 0.

    Returns
    -------
    bool
        True if there is a peak, and if no point is below 1.6 Ω, which no loudspeaker is rated for.
    """
    return float(np.min(ohm)) >= RATED_SHARE * min(USUAL_OHM) and bool(bass_peaks(frequency_hz, ohm))


def tuning_of(frequency_hz: Array, ohm: Array, peaks: tuple[CurvePoint, ...]) -> CurvePoint:
    """Return the lowest point between the two peaks of a vented box, near the frequency to which it is tuned.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, above 0.
    ohm : Array
        Magnitude, shape (n,), above 0.
    peaks : tuple[CurvePoint, ...]
        Two peaks by frequency.

    Returns
    -------
    CurvePoint
        The dip.
    """
    between = np.flatnonzero((frequency_hz > peaks[0].frequency_hz) & (frequency_hz < peaks[1].frequency_hz))
    return _summit(frequency_hz, ohm, int(between[np.argmin(ohm[between])]))


def _model_ohm(frequency_hz: Array, logs: Array) -> Array:
    """Return the circuit's magnitude from the logarithms of fs, Qms, Res, Re and Le."""
    resonance_hz, q_mechanical, motional_ohm, dc_ohm, henry = np.exp(logs)
    turned = frequency_hz / resonance_hz
    motional = motional_ohm / (1 + 1j * q_mechanical * (turned - 1 / turned))
    return np.asarray(np.abs(dc_ohm + 2j * np.pi * frequency_hz * henry + motional))


def fit_resonance(frequency_hz: Array, ohm: Array, dc_ohm: float | None = None) -> Resonance:
    """Fit a driver's circuit to its impedance around the one peak.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, above 0.
    ohm : Array
        Magnitude, shape (n,), above 0.
    dc_ohm : float | None
        The voice coil's resistance by a meter, without leads; None to fit it too.

    Returns
    -------
    Resonance
        Frequency and Q.

    Raises
    ------
    NoResonance
        If there isn't exactly one peak, if the curve doesn't reach far enough to both sides of it, or if it isn't that
        of one driver.
    """
    from scipy.optimize import least_squares

    peaks = bass_peaks(frequency_hz, ohm)
    if len(peaks) != 1:
        raise NoResonance("there is no resonance peak" if not peaks else "it has two peaks, as a vented box does")
    peak = peaks[0]
    above = np.flatnonzero(frequency_hz > peak.frequency_hz)
    ends = int(above[np.argmin(ohm[above])])
    # the rise beyond the minimum is the coil's, and a crossover's
    near_hz, near_ohm = frequency_hz[: ends + 1], ohm[: ends + 1]
    level = dc_ohm or float(np.min(near_ohm))
    flank_ohm = np.sqrt(peak.ohm * level)
    below, beyond = near_ohm[near_hz < peak.frequency_hz], near_ohm[near_hz > peak.frequency_hz]
    if not len(below) or not len(beyond) or max(below.min(), beyond.min()) > flank_ohm:
        raise NoResonance(
            f"the curve must fall to {flank_ohm:.3g} Ω on both sides of the peak at {peak.frequency_hz:.3g} Hz for Q"
        )
    if len(near_hz) < _FEWEST_POINTS or np.count_nonzero(near_ohm > flank_ohm) < 3:
        raise NoResonance("too few points around the peak for Q; sweep it in smaller steps")
    high_hz = float(np.interp(np.log(flank_ohm), *_falling(near_hz, near_ohm, peak.frequency_hz)))
    q_guess = peak.frequency_hz * np.sqrt(peak.ohm / level) / max(high_hz**2 - peak.frequency_hz**2, 1e-9) * high_hz
    start = np.log([peak.frequency_hz, q_guess, max(peak.ohm - level, 0.1 * level), level, 1e-4])
    fixed = np.array([False, False, False, dc_ohm is not None, False])

    def misfit(free: Array) -> Array:
        logs = start.copy()
        logs[~fixed] = free
        return np.asarray(np.log(_model_ohm(near_hz, logs) / near_ohm))

    result = least_squares(misfit, start[~fixed], xtol=1e-12, ftol=1e-12, gtol=1e-12)
    if float(np.sqrt(np.mean(result.fun**2))) > _WORST_MISFIT:
        raise NoResonance("the peak isn't that of one driver")
    logs = start.copy()
    logs[~fixed] = result.x
    found_hz, q_mechanical, motional_ohm, coil_ohm, _ = (float(value) for value in np.exp(logs))
    return Resonance(found_hz, q_mechanical, q_mechanical * coil_ohm / motional_ohm)


def _falling(frequency_hz: Array, ohm: Array, peak_hz: float) -> tuple[Array, Array]:
    """Return the falling flank as rising logarithms of ohms, and the frequencies at which it has them."""
    flank = frequency_hz >= peak_hz
    return np.minimum.accumulate(np.log(ohm[flank]))[::-1], frequency_hz[flank][::-1]
