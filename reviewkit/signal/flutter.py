"""Speed, wow and flutter of a recorded test tone: IEC 60386:1972 with Amendment 1:1988, DIN 45507, AES6-2008.

The tone is demodulated, and its deviation from the nominal frequency separated into drift (slower than 0.1 Hz), steady
rates, each a sine, and the rest. Deviations are ratios (0.001 is 0.1 %), rates are in Hz.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reviewkit.signal.demodulation import NotModulated, demodulate
from reviewkit.signal.rates import Rate, strongest_rates
from reviewkit.signal.wander import hann_lines

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

# IEC 60386, Table 1 (= DIN 45507, AES6-2008): rate, Hz, and weight, dB
TABLE_HZ = (0.1, 0.2, 0.315, 0.4, 0.63, 0.8, 1, 1.6, 2, 4, 6.3, 10, 20, 40, 63, 100, 200)
TABLE_DB = (
    *(-48.0, -30.6, -19.7, -15.0, -8.4, -6.0, -4.2, -1.8, -0.9),
    *(0.0, -0.9, -2.1, -5.9, -10.4, -14.2, -17.3, -23.0),
)
BAND_HZ = (0.1, 200.0)  # of wow and flutter: the table's rows; anything slower is drift
LEAST_S = 5.0  # AES6-2008: deviations are stored for at least that long
_TWO_SIGMA = 0.95  # of the time
_MOST_RATES = 8
_WEAKEST_RATE = 0.05  # of the strongest
_AROUND_S = 2.0  # by which the rest is continued at both ends, before it is filtered


@dataclass(frozen=True, eq=False)
class Flutter:
    """A test tone's deviation from its nominal frequency, in ratios. `speed_error`: its mean, positive if too fast.
    `drift`: slower than 0.1 Hz, peak to peak. Peaks are the value exceeded 5 % of the time (two sigma). `rates`:
    strongest first. `time_s`, `weighted`: shape (n,), the deviation over time from which the weighted figures are
    computed. `spectrum_hz`, `spectrum`: shape (m,), the rates without drift, unweighted, each as the peak of its sine;
    `seconds`: of the record.
    """

    speed_error: float
    drift: float
    weighted_peak: float
    weighted_rms: float
    unweighted_peak: float
    rates: tuple[Rate, ...]
    time_s: Array
    weighted: Array
    spectrum_hz: Array
    spectrum: Array
    seconds: float


def flutter_weighting(rate_hz: Any) -> Any:
    """Return the weighting of wow and flutter as a ratio.

    Parameters
    ----------
    rate_hz : Any
        Not below 0, a scalar or an array of any shape.

    Returns
    -------
    Any
        The ratio, 1 at 4 Hz and 0 outside 0.1 – 200 Hz, same shape.

    Notes
    -----
    The table of IEC 60386; between its rows, dB linear over the logarithm of the rate (common practice, no source).
    """
    rate = np.asarray(rate_hz, dtype=float)
    inside = (rate >= BAND_HZ[0]) & (rate <= BAND_HZ[1])
    weight_db = np.interp(np.log(np.where(inside, rate, 1.0)), np.log(TABLE_HZ), TABLE_DB)
    return np.where(inside, 10 ** (weight_db / 20), 0.0)[()]


def analyse_flutter(samples: Array, rate_hz: float, tone_hz: float) -> Flutter:
    """Measure speed, drift, wow and flutter by a recorded test tone.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced, at least 5 s.
    rate_hz : float
        The sample rate.
    tone_hz : float
        The frequency that was recorded: 3150 Hz (IEC, DIN) or 3000 Hz (JIS, NAB).

    Returns
    -------
    Flutter
        The figures, and the weighted deviation over time.

    Raises
    ------
    NotModulated
        If the record is shorter than 5 s, or if there is no tone near `tone_hz`.
    """
    seconds = len(samples) / rate_hz
    if seconds < LEAST_S:
        raise NotModulated(
            f"the record is {seconds:.3g} s long; speed and flutter need at least {LEAST_S:g} s, better 20"
        )
    tone = demodulate(samples, rate_hz, tone_hz, BAND_HZ[1])
    deviation = tone.frequency_hz / tone_hz - 1
    time_s = tone.start_s + np.arange(len(deviation)) / tone.rate_hz
    slow = _slow_columns(time_s)
    moving = deviation - slow @ _shares(slow, deviation)
    rates = strongest_rates(moving, tone.rate_hz, _MOST_RATES, _WEAKEST_RATE, BAND_HZ[1])
    rates = [rate for rate in rates if rate.frequency_hz >= BAND_HZ[0]]
    # drift and rates together: over a few seconds neither can be read without the other
    angles = 2 * np.pi * np.outer(time_s, [rate.frequency_hz for rate in rates])
    columns = np.hstack([slow, np.cos(angles), np.sin(angles)])
    shares = _shares(columns, deviation)
    drifting = slow @ shares[: slow.shape[1]]
    rest = deviation - columns @ shares
    sines = columns[:, slow.shape[1] :] * shares[slow.shape[1] :]
    peaks = np.hypot(*shares[slow.shape[1] :].reshape(2, -1))

    def through(weight: Any) -> Array:
        weights = np.tile(weight([rate.frequency_hz for rate in rates]), 2) if rates else np.zeros(0)
        return np.asarray(sines @ weights + _filtered(rest, tone.rate_hz, weight))

    weighted, flat = through(flutter_weighting), through(_flat)
    found = [Rate(rate.frequency_hz, float(peak)) for rate, peak in zip(rates, peaks, strict=True)]
    return Flutter(
        float(np.mean(drifting)),
        float(np.ptp(drifting)),
        _two_sigma(weighted),
        float(np.sqrt(np.mean(weighted**2))),
        _two_sigma(flat),
        tuple(sorted(found, key=lambda rate: -rate.peak)),
        time_s,
        weighted,
        *_spectrum(flat, tone.rate_hz),
        seconds,
    )


def _spectrum(values: Array, rate_hz: float) -> tuple[Array, Array]:
    """Return the peak of a sine at each rate of the band, shape (m,) each, through a Hann window."""
    lines = 2 * np.abs(hann_lines(values)) / np.sum(np.hanning(len(values)))
    rates = np.arange(len(lines)) * rate_hz / len(values)
    inside = (rates >= BAND_HZ[0]) & (rates <= BAND_HZ[1])
    return rates[inside], lines[inside]


def _flat(rate_hz: Any) -> Any:
    rate = np.asarray(rate_hz, dtype=float)
    return np.where(rate <= BAND_HZ[1], 1.0, 0.0)


def _slow_columns(time_s: Array) -> Array:
    """Return shapes slower than 0.1 Hz, shape (n, m): constant, linear, and half cosines, which may end anywhere."""
    place = (time_s - time_s[0]) / (time_s[-1] - time_s[0])
    halves = int(2 * BAND_HZ[0] * (time_s[-1] - time_s[0]))
    return np.stack([np.ones_like(place), place - 0.5, *(np.cos(np.pi * k * place) for k in range(1, halves + 1))], 1)


def _shares(columns: Array, values: Array) -> Array:
    return np.asarray(np.linalg.lstsq(columns, values, rcond=None)[0])


def _filtered(values: Array, rate_hz: float, weight: Any) -> Array:
    """Return values through a filter without phase shift, shape (n,), continued at both ends by its mirror image."""
    around = min(len(values) - 1, round(_AROUND_S * rate_hz))
    longer = np.pad(values, around, mode="reflect")
    lines = np.fft.rfft(longer)
    lines *= weight(np.arange(len(lines)) * rate_hz / len(longer))
    return np.fft.irfft(lines, len(longer))[around : around + len(values)]


def _two_sigma(values: Array) -> float:
    return float(np.quantile(np.abs(values), _TWO_SIGMA))
