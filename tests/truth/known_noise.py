"""Noise of known power: thermal noise, white noise of a density, spectra as an analyser exports them; and the A
weighting and the RIAA curve as circuits, by scipy.signal. Nothing of reviewkit is imported.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, signal  # type: ignore[import-untyped]

Array = NDArray[np.float64]
BOLTZMANN = 1.380649e-23  # J/K, exact since 2019 (SI brochure)


def thermal_density(ohms: float, kelvin: float) -> float:
    """4kTR, V²/Hz, one-sided (Nyquist)."""
    return 4 * BOLTZMANN * kelvin * ohms


def white(rng: np.random.Generator, count: int, rate_hz: float, density: float) -> Array:
    """White Gaussian noise of a one-sided density in V²/Hz: its variance is the density times half the rate."""
    return rng.normal(size=count) * math.sqrt(density * rate_hz / 2)


def exported(
    density: float, spacing_hz: float, top_hz: float, window: str, tones: dict[float, float] | None = None
) -> tuple[Array, Array]:
    """The spectrum of white noise, averaged for ever, and of tones (Hz -> V r.m.s.) on lines, as an analyser shows it:
    levels of lines in V r.m.s., right for a tone. The window's numbers are scipy.signal.get_window's.
    """
    samples = signal.get_window(window, 4096, fftbins=True)
    bandwidth = len(samples) * np.sum(samples**2) / np.sum(samples) ** 2
    frequency = np.arange(round(top_hz / spacing_hz) + 1) * spacing_hz
    power = np.full(len(frequency), density * spacing_hz * bandwidth)
    turned = np.abs(np.fft.fft(samples)) / np.sum(samples)
    for tone_hz, level in (tones or {}).items():
        line = round(tone_hz / spacing_hz)
        for offset in range(-6, 7):
            power[line + offset] += (level * turned[abs(offset)]) ** 2
    return frequency, np.sqrt(power)


def a_weighted(frequency_hz: Array | float) -> Array:
    """The A weighting as four high-pass and two low-pass poles (IEC 61672-1), ratio, 1 at 1 kHz."""
    poles_hz = (20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217)
    poles = [-2 * math.pi * pole for pole in poles_hz]
    asked = 2 * math.pi * np.append(np.atleast_1d(np.asarray(frequency_hz, dtype=float)), 1000.0)
    level = np.abs(signal.freqs_zpk([0.0] * 4, poles, 1.0, worN=asked)[1])
    return np.asarray(level[:-1] / level[-1])


def a_weighted_rms(density: float, band_hz: tuple[float, float]) -> float:
    """White noise through the A weighting, V r.m.s. in a band, by quadrature."""
    power, _ = integrate.quad(lambda f: float(a_weighted(f)[0]) ** 2, *band_hz, limit=400)
    return math.sqrt(density * power)


def phono_db(
    frequency_hz: Array, *, bass_s: float = 3180e-6, middle_s: float = 318e-6, treble_s: float = 75e-6, high_pass_s=None
) -> Array:
    """A phono stage of these time constants, dB re its own 1 kHz (IEC 60098 where they are the standard's)."""
    numerator, denominator = [middle_s, 1.0], np.polymul([bass_s, 1.0], [treble_s, 1.0])
    if high_pass_s:
        numerator = np.polymul(numerator, [high_pass_s, 0.0])
        denominator = np.polymul(denominator, [high_pass_s, 1.0])
    asked = 2 * math.pi * np.append(np.asarray(frequency_hz, dtype=float), 1000.0)
    level = 20 * np.log10(np.abs(signal.freqs(numerator, denominator, worN=asked)[1]))
    return np.asarray(level[:-1] - level[-1])
