"""Several sines at once, and in closed form what a curve y = x + a2·x² + a3·x³ makes of two of them.

Trigonometry alone: products of cosines are sums of cosines. Nothing of reviewkit is imported.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

A2, A3 = 0.01, 0.004


def sines(hertz: Sequence[float], peaks: Sequence[float], phases: Sequence[float], rate_hz: float, count: int) -> Array:
    """Σ peak · sin(2π · f · t + phase), shape (count,)."""
    turns = 2 * math.pi * np.arange(count) / rate_hz
    total: Array = np.zeros(count)
    for f, peak, phase in zip(hertz, peaks, phases, strict=True):
        total += peak * np.sin(f * turns + phase)
    return total


def bent(x: Array, a2: float = A2, a3: float = A3) -> Array:
    """The curve, sample by sample."""
    return x + a2 * x**2 + a3 * x**3


def modulation(low: float, high: float, a2: float = A2, a3: float = A3) -> dict[str, float]:
    """Percent, for peaks low and high: m2 and m3 with each pair of sidebands added, their root sum square, and the
    root sum square of the four sidebands, all re the upper tone as the curve leaves it.

    Sidebands f2 ± f1 have the peak a2·A1·A2 each, f2 ± 2·f1 the peak ¾·a3·A1²·A2.
    """
    upper = high + a3 * (0.75 * high**3 + 1.5 * low**2 * high)
    second, third = a2 * low * high / upper, 0.75 * a3 * low**2 * high / upper
    return {
        "imd_second": 200 * abs(second),
        "imd_third": 200 * abs(third),
        "imd": 200 * math.hypot(second, third),
        "imd_rss": 100 * math.hypot(second, second, third, third),
    }


def difference(peak: float, a2: float = A2, a3: float = A3) -> dict[str, float]:
    """Percent, for two equal peaks: d2, d3 re the sum of both tones as the curve leaves them, and their root sum
    square.

    f2 − f1 has the peak a2·A², 2·f1 − f2 and 2·f2 − f1 the peak ¾·a3·A³ each.
    """
    both = 2 * (peak + 2.25 * a3 * peak**3)
    second, third = abs(a2) * peak**2 / both, 2 * 0.75 * abs(a3) * peak**3 / both
    return {"imd_second": 100 * second, "imd_third": 100 * third, "imd": 100 * math.hypot(second, third)}


def third_octaves(lowest: int = -17, highest: int = 13) -> Array:
    """Frequencies 1 kHz · 10^(n/10): the exact third-octave series of IEC 61260-1, from memory."""
    return np.asarray(1000.0 * 10.0 ** (np.arange(lowest, highest + 1) / 10))


def clearance_db(period: Array, rate_hz: float, hertz: Sequence[float]) -> float:
    """The median tone's level less that of the strongest other line, 20 Hz – 20 kHz, of whole periods, shape (n,): a
    plain transform of which has every component on a line of its own.
    """
    level = np.abs(np.fft.rfft(period))
    frequency = np.fft.rfftfreq(len(period), 1 / rate_hz)
    on = np.rint(np.asarray(hertz) * len(period) / rate_hz).astype(int)
    tone = float(np.median(level[on]))
    level[on] = 0.0
    return 20 * math.log10(tone / float(np.max(level[(frequency >= 20) & (frequency <= 20_000)])))
