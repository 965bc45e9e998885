"""Square waves through filters of one and two poles, sampled at any instant, in closed form; and what they must read.

Circuit theory: the response to a square wave in its steady state is a sum of step responses over all past edges, which
for exponentials is a geometric series. Nothing of reviewkit is imported.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize  # type: ignore[import-untyped]

Array = NDArray[np.float64]


def periodic(
    poles: Sequence[complex], shares: Sequence[complex], final: float, frequency_hz: float, at_s: Array
) -> Array:
    """The steady state to a square wave of ±1 V (a step of 2 V) of a system whose unit step response is
    final + Σ share · exp(pole t). `at_s`: times after a rising edge's beginning.

    Edges come every half period T/2 with alternating sign, so each exponential sums to exp(p t) / (1 + exp(p T/2)).
    """
    half_s = 0.5 / frequency_hz
    number, since = np.divmod(np.asarray(at_s, dtype=float), half_s)
    sign = np.where(number % 2 == 0, 1.0, -1.0)
    wave = np.full(since.shape, complex(final))
    for pole, share in zip(poles, shares, strict=True):
        wave = wave + 2 * share * np.exp(pole * since) / (1 + cmath.exp(pole * half_s))
    return np.asarray(sign * wave.real)


@dataclass(frozen=True)
class LowPass:
    """One pole of time constant `tau_s`."""

    tau_s: float

    def wave(self, frequency_hz: float, at_s: Array) -> Array:
        return periodic([-1 / self.tau_s], [-1.0], 1.0, frequency_hz, at_s)

    @property
    def rise_s(self) -> float:
        """ln 9 time constants, 2.197; with the half-power bandwidth B = 1/(2π tau) that is 0.3497/B."""
        return math.log(9) * self.tau_s


@dataclass(frozen=True)
class TwoPoles:
    """A low-pass of natural frequency `natural_hz` and damping ratio `damping` < 1."""

    natural_hz: float
    damping: float

    @property
    def _pole(self) -> complex:
        omega = 2 * math.pi * self.natural_hz
        return complex(-self.damping * omega, omega * math.sqrt(1 - self.damping**2))

    def wave(self, frequency_hz: float, at_s: Array) -> Array:
        pole = self._pole
        other = pole.conjugate()
        shares = [other / (pole - other), -pole / (pole - other)]
        return periodic([pole, other], shares, 1.0, frequency_hz, at_s)

    def step(self, at_s: float) -> float:
        """The unit step response."""
        pole = self._pole
        other = pole.conjugate()
        value = 1 + (other * cmath.exp(pole * at_s) - pole * cmath.exp(other * at_s)) / (pole - other)
        return value.real

    @property
    def rise_s(self) -> float:
        """From 10 % to 90 %, the first passage of each."""
        peak_s = math.pi / abs(self._pole.imag)
        low, high = (optimize.brentq(lambda t, x=x: self.step(t) - x, 0.0, peak_s) for x in (0.1, 0.9))
        return float(high - low)

    @property
    def overshoot_percent(self) -> float:
        """100 exp(−π ζ / √(1 − ζ²))."""
        return 100 * math.exp(-math.pi * self.damping / math.sqrt(1 - self.damping**2))


@dataclass(frozen=True)
class BandPass:
    """A high-pass pole and a low-pass pole in series, far apart. `low_hz`, `high_hz`: their corners."""

    low_hz: float
    high_hz: float

    def wave(self, frequency_hz: float, at_s: Array) -> Array:
        slow, fast = 2 * math.pi * self.low_hz, 2 * math.pi * self.high_hz
        share = fast / (fast - slow)
        return periodic([-slow, -fast], [share, -share], 0.0, frequency_hz, at_s)

    def tilt_percent(self, frequency_hz: float) -> float:
        """In the steady state a flat part begins at V/(1 + exp(−T/2τ)) and ends at exp(−T/2τ) of that:
        100 (1 − exp(−π f_L/f)).
        """
        return 100 * (1 - math.exp(-math.pi * self.low_hz / frequency_hz))
