"""Periodic waveforms by the closed forms of their Fourier series, and noise of a known power in a known band.

A series is a function of the orders 1, 2, 3 … (an array) that gives complex peak phasors c of the same shape: the wave
is the sum of Re(c_n exp(jnθ)). Cut at an order, it is the wave that a band lets through, free of aliases whatever the
sample rate. Nothing of reviewkit is imported.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Series = Callable[[NDArray[np.int64]], Complex]


def square(order: NDArray[np.int64]) -> Complex:
    """±1, half the time each: 4/π Σ sin nθ / n, n odd (textbook)."""
    return np.where(order % 2 == 1, -4j / (math.pi * order), 0)


def triangle(order: NDArray[np.int64]) -> Complex:
    """From −1 to 1 in straight lines: 8/π² Σ ± sin nθ / n², n odd (textbook)."""
    sign = np.where(order % 4 == 1, 1.0, -1.0)
    return np.where(order % 2 == 1, -8j * sign / (math.pi * order) ** 2, 0)


def _cap(order: NDArray[np.int64], level: float) -> Complex:
    """What of a unit sine stands above `level`, between 0 and 1: (cos φ − level) cos nφ integrated round its crest."""
    half = math.acos(level)
    n = np.maximum(order, 2).astype(float)
    cosines = np.sin((n - 1) * half) / (2 * (n - 1)) + np.sin((n + 1) * half) / (2 * (n + 1))
    cosines = 2 / math.pi * (cosines - level * np.sin(n * half) / n)
    first = 2 / math.pi * (half / 2 + math.sin(2 * half) / 4 - level * math.sin(half))
    return np.where(order == 1, first, cosines) * np.exp(-0.5j * math.pi * order)


def clipped_top(level: float) -> Series:
    """A unit sine whose positive half stops at `level`."""
    return lambda order: np.where(order == 1, -1j, 0) - _cap(order, level)


def clipped(level: float) -> Series:
    """A unit sine that stops at ±`level`: both caps are gone, whose even harmonics cancel."""
    return lambda order: np.where(order == 1, -1j, 0) - np.where(order % 2 == 1, 2 * _cap(order, level), 0)


def dead_zone(width: float) -> Series:
    """sign(x)·max(|x| − width, 0) of a unit sine x: nothing is left of it but its two caps."""
    return lambda order: np.where(order % 2 == 1, 2 * _cap(order, width), 0)


def phasors(series: Series, highest: int) -> Complex:
    """Peak phasors of orders 1 … highest, shape (highest,)."""
    return np.asarray(series(np.arange(1, highest + 1)), dtype=np.complex128)


def thd(series: Series, highest: int) -> float:
    """Harmonics 2 … highest re the fundamental."""
    magnitude = np.abs(phasors(series, highest))
    return float(np.sqrt(np.sum(magnitude[1:] ** 2)) / magnitude[0])


def wave(peaks: Complex, cycles_per_sample: float, count: int, phase: float = 0.0) -> Array:
    """Σ Re(c_n exp(jnθ)) with θ = 2π · cycles_per_sample · i + phase, shape (count,)."""
    theta = 2 * math.pi * cycles_per_sample * np.arange(count) + phase
    total = np.zeros(count)
    for place, peak in enumerate(peaks):
        if peak != 0:
            total += np.real(peak * np.exp(1j * (place + 1) * theta))
    return total


def of_levels(levels_db: dict[int, float], rng: np.random.Generator) -> Complex:
    """A unit sine (peak 1) with harmonics at these levels re it, order -> dB, each at any phase."""
    peaks = np.zeros(max(levels_db, default=1), dtype=np.complex128)
    peaks[0] = -1j
    for order, level in levels_db.items():
        peaks[order - 1] = 10 ** (level / 20) * np.exp(2j * math.pi * rng.random())
    return peaks


def noise(rng: np.random.Generator, count: int, rate_hz: float, band_hz: tuple[float, float], rms: float) -> Array:
    """Gaussian noise that lies inside a band and nowhere else, of this r.m.s. value exactly. Shape (count,)."""
    frequency = np.fft.rfftfreq(count, 1 / rate_hz)
    lines = rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size)
    lines[(frequency < band_hz[0]) | (frequency > band_hz[1])] = 0
    samples: Array = np.fft.irfft(lines, count)
    return samples * (rms / math.sqrt(float(np.mean(samples**2))))
