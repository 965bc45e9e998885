"""Analogue filters by scipy.signal.freqs, and where their power is half that at 1 kHz. Nothing of reviewkit is
imported.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, signal  # type: ignore[import-untyped]

Array = NDArray[np.float64]
HALF_POWER_DB = 10 * math.log10(0.5)


@dataclass(frozen=True)
class BandPass:
    """A high-pass and a low-pass in series, of one pole each, or of two (Butterworth). `gain_db`: in between."""

    low_hz: float
    high_hz: float
    poles: int = 1
    gain_db: float = 0.0

    def level_db(self, frequency_hz: Array | float) -> Array:
        """Level over the input, dB, shape of `frequency_hz`."""
        asked = 2 * math.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        total = np.full(asked.shape, self.gain_db)
        for corner, kind in ((self.low_hz, "highpass"), (self.high_hz, "lowpass")):
            numerator, denominator = signal.butter(self.poles, 2 * math.pi * corner, kind, analog=True)
            total = total + 20 * np.log10(np.abs(signal.freqs(numerator, denominator, worN=asked)[1]))
        return np.asarray(total)

    def deviation_db(self, frequency_hz: Array | float) -> Array:
        """Level re that at 1 kHz, dB."""
        return np.asarray(self.level_db(frequency_hz) - self.level_db(1000.0)[0])

    def half_power_hz(self) -> tuple[float, float]:
        """Below and above 1 kHz, where the power is half that at 1 kHz."""

        def surplus(frequency_hz: float) -> float:
            return float(self.deviation_db(frequency_hz)[0]) - HALF_POWER_DB

        low, high = optimize.brentq(surplus, 1e-9, 1000.0), optimize.brentq(surplus, 1000.0, 1e8)
        return float(low), float(high)

    def extremes_db(self, band_hz: tuple[float, float]) -> tuple[float, float]:
        """Highest and lowest deviation over a band."""
        inside = self.deviation_db(np.geomspace(*band_hz, 4001))
        return float(inside.max()), float(inside.min())


def points_hz(low_hz: float, high_hz: float, per_octave: float) -> Array:
    """Frequencies evenly spaced on a log scale, both ends among them, at least so many in an octave."""
    return np.geomspace(low_hz, high_hz, math.ceil(math.log2(high_hz / low_hz) * per_octave) + 1)
