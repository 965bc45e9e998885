"""What a correct tool must report for the sample's tone controls, filters and phono stage: by scipy.signal.freqs from
polynomials in s, with root finding for corners. The parameters are the model's. Nothing of reviewkit is imported.

The record's curve is 3180, 318 and 75 µs (IEC 60098, from memory); the stage's deviation is its level over the curve's,
both re 1 kHz.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from norrvale_model import CHANNELS, Array, model
from scipy import optimize, signal  # type: ignore[import-untyped]

Polynomials = tuple[Array, Array]
HALF_POWER_DB = 10 * math.log10(0.5)
REFERENCE_HZ = 1000.0
RIAA_S = (3180e-6, 318e-6, 75e-6)


def _shelf(corners_hz: tuple[float, float], spread: float) -> Polynomials:
    upper, lower = (np.array([1.0, 2 * math.pi * corner * spread]) for corner in corners_hz)
    return upper, lower


def network(setting: str, name: str) -> Polynomials:
    """Numerator and denominator in s of a tone control or filter."""
    spread = CHANNELS[name].spread
    if setting in ("bass-up", "bass-down", "treble-up", "treble-down"):
        up = _shelf(model.BASS_HZ if setting.startswith("bass") else model.TREBLE_HZ, spread)
        return up if setting.endswith("up") else (up[1], up[0])
    if setting == "loudness":
        bass, treble = (_shelf(corners, spread) for corners in (model.LOUDNESS_BASS_HZ, model.LOUDNESS_TREBLE_HZ))
        return np.polymul(bass[0], treble[0]), np.polymul(bass[1], treble[1])
    if setting == "low-filter":
        return np.array([1.0, 0.0]), np.array([1.0, 2 * math.pi * model.LOW_FILTER_HZ * spread])
    assert setting == "high-filter"
    pole = 2 * math.pi * model.HIGH_FILTER_HZ * spread
    return np.array([pole**2]), np.array([1.0, pole / model.HIGH_FILTER_Q, pole**2])


def level_db(polynomials: Polynomials, frequency_hz: Array) -> Array:
    """Level re 1 kHz, dB. Shape as `frequency_hz`."""
    asked = 2 * math.pi * np.concatenate([[REFERENCE_HZ], frequency_hz])
    _, gain = signal.freqs(*polynomials, worN=asked)
    level = 20 * np.log10(np.abs(gain))
    relative: Array = level[1:] - level[0]
    return relative


def contour_db(setting: str, name: str, frequency_hz: Array) -> Array:
    """A setting against the bypassed response, both 0 dB at 1 kHz: the network alone. Shape as `frequency_hz`."""
    return level_db(network(setting, name), frequency_hz)


def boost_db(setting: str, name: str, band_hz: tuple[float, float]) -> float:
    """The greatest difference in a band, with its sign."""
    levels = contour_db(setting, name, np.geomspace(*band_hz, 2001))
    return float(levels[np.argmax(np.abs(levels))])


def contour_corner_hz(setting: str, name: str, upwards: bool) -> float | None:
    """The half-power point nearest to 1 kHz on one side, within 10 Hz – 40 kHz; None where there is none."""

    def above_half(hertz: float) -> float:
        return float(contour_db(setting, name, np.array([hertz]))[0]) - HALF_POWER_DB

    far = 40_000.0 if upwards else 10.0
    # each network here rises or falls throughout on one side of 1 kHz
    return float(optimize.brentq(above_half, REFERENCE_HZ, far, xtol=1e-6)) if above_half(far) < 0 else None


def slope_db(setting: str, name: str, corner_hz: float, upwards: bool) -> float:
    """dB from one to two octaves beyond a corner, negative where it falls away."""
    step = 2.0 if upwards else 0.5
    one, two = contour_db(setting, name, np.array([corner_hz * step, corner_hz * step**2]))
    return float(two - one)


# ------------------------------------------------------------------ phono


def _record_curve(times_s: tuple[float, float, float]) -> Polynomials:
    low, middle, high = times_s
    return np.array([middle, 1.0]), np.polymul([low, 1.0], [high, 1.0])


def phono_deviation_db(name: str, frequency_hz: Array) -> Array:
    """The stage with its coupling over the record's curve, re 1 kHz, dB. Shape as `frequency_hz`."""
    channel = CHANNELS[name]
    numerator, denominator = _record_curve(channel.phono_s)
    coupling = np.array([1.0, 2 * math.pi * channel.phono_coupling_hz])
    stage = np.polymul(numerator, [1.0, 0.0]), np.polymul(denominator, coupling)
    return level_db(stage, frequency_hz) - level_db(_record_curve(RIAA_S), frequency_hz)


def largest(deviation: Callable[[Array], Array], band_hz: tuple[float, float]) -> float:
    """The largest deviation of a band either way, with its sign."""
    levels = deviation(np.geomspace(*band_hz, 4001))
    return float(levels[np.argmax(np.abs(levels))])
