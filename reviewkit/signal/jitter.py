"""Jitter of a player's clock, from a recorded high tone: each steady rate at which its phase moves, as time.

Only what moves the phase counts: a modulated amplitude leaves it alone, and noise isn't a steady rate. One lone line
next to the tone moves phase and amplitude alike, so it counts with half its power: check that the lines come in pairs,
and that they grow by 6 dB an octave of the tone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.demodulation import demodulate
from reviewkit.signal.rates import strongest_rates

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

REACH_HZ = 2500.0  # the highest rate that counts
_MOST = 12
_WEAKEST = 0.01  # of the strongest


@dataclass(frozen=True)
class Jitter:
    """A sine by which the clock is early and late: its peak, s. Say which is meant: r.m.s. and peak to peak differ."""

    frequency_hz: float
    peak_s: float

    @property
    def rms_s(self) -> float:
        """Return its r.m.s. value, s."""
        return self.peak_s / 2**0.5

    def sideband_db(self, tone_hz: float) -> float:
        """Return the level of one of its two sidebands, dB relative to the tone, for a narrow modulation."""
        return float(20 * np.log10(np.pi * tone_hz * self.peak_s))


def jitter_lines(samples: Array, rate_hz: float, tone_hz: float) -> list[Jitter]:
    """Return the steady rates of jitter in a recorded tone, strongest first.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.
    tone_hz : float
        The tone, usually a quarter of the player's sample rate. No other may be within twice `REACH_HZ` of it.

    Returns
    -------
    list[Jitter]
        Those that stand out of the noise.

    Raises
    ------
    NotModulated
        If there is no tone, or if the record is too short.

    Notes
    -----
    The phase over 2πf is time. A sine of peak J leaves two sidebands of πfJ relative to the tone.
    """
    tone = demodulate(samples, rate_hz, tone_hz, REACH_HZ, within=0.01)
    place = np.arange(len(tone.phase_rad))
    steady = np.polyval(np.polyfit(place, tone.phase_rad, 1), place)
    time_s = (tone.phase_rad - steady) / (2 * np.pi * float(np.mean(tone.frequency_hz)))
    rates = strongest_rates(time_s, tone.rate_hz, _MOST, _WEAKEST, REACH_HZ)
    return [Jitter(rate.frequency_hz, rate.peak) for rate in rates]
