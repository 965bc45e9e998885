"""A tone whose frequency or phase is modulated, demodulated: its frequency and phase over time.

The lines near the tone, shifted to 0 Hz, are its amplitude and phase over time (the analytic signal, Gabor 1946, from
memory). Demodulate before taking a spectrum of rates: the sidebands of a slow, wide modulation aren't its deviation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_TAPER = 2.0  # the filter is flat to `reach_hz`, and ends at twice that
_END_PERIODS = 20.0  # of `reach_hz`: where the filter reaches past the record's ends
_ROUNDS = 3


class NotModulated(ValueError):
    """Error for a record without one tone that could be demodulated. The message says why."""


@dataclass(frozen=True, eq=False)
class Modulation:
    """A demodulated tone. `frequency_hz` (the instantaneous one), `phase_rad` (relative to a steady tone): shape (n,),
    evenly spaced at `rate_hz`, beginning `start_s` after the record does. They are right for rates of modulation up to
    the `reach_hz` asked for.
    """

    frequency_hz: Array
    phase_rad: Array
    rate_hz: float
    start_s: float


def demodulate(samples: Array, rate_hz: float, near_hz: float, reach_hz: float, within: float = 0.2) -> Modulation:
    """Demodulate the strongest tone near a frequency.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.
    near_hz : float
        Where the tone is, nominally.
    reach_hz : float
        The highest rate of modulation that matters. Other tones must be twice that away.
    within : float
        How far the tone may be from `near_hz`, as a ratio.

    Returns
    -------
    Modulation
        Frequency and phase over time, without the record's ends.

    Raises
    ------
    NotModulated
        If there is no tone near, or if the record is too short.
    """
    n = len(samples)
    wide = _TAPER * reach_hz
    dropped_s = _END_PERIODS / reach_hz
    if n / rate_hz < 3 * dropped_s:
        raise NotModulated(f"the record is {n / rate_hz:.2g} s long; at least {3 * dropped_s:.2g} s are needed")
    lines = np.fft.rfft(samples - np.mean(samples))
    line_hz = rate_hz / n
    power = np.abs(lines) ** 2
    low = max(1, round(near_hz * (1 - within) / line_hz))
    high = min(len(lines), round(near_hz * (1 + within) / line_hz) + 1)
    if high - low < 3 or not power[low:high].any():
        raise NotModulated(f"there is no tone near {near_hz:g} Hz")
    # the power of a wide modulation has no single peak: its middle is where the tone is
    carrier = low + int(np.argmax(power[low:high]))
    for _ in range(_ROUNDS):
        around = np.arange(
            max(1, carrier - round(wide / line_hz)), min(len(lines), carrier + round(wide / line_hz) + 1)
        )
        carrier = round(float(np.sum(around * power[around]) / np.sum(power[around])))
    reach = int(wide / line_hz)
    if carrier - reach < 1 or carrier + reach >= len(lines):
        raise NotModulated(f"{wide:g} Hz on either side of a tone at {carrier * line_hz:.5g} Hz aren't in the record")
    offset = np.arange(-reach, reach + 1)
    # a smooth flank rings so briefly that only the record's ends are lost
    flank = np.clip((np.abs(offset) * line_hz - reach_hz) / (wide - reach_hz), 0.0, 1.0)
    near = lines[carrier - reach : carrier + reach + 1] * (1 - flank**3 * (10 - 15 * flank + 6 * flank**2))
    count = 2 * (2 * reach + 1)  # twice as many points as lines, because frequency is a product of two curves
    padded = np.zeros(count, dtype=complex)
    slopes = np.zeros(count, dtype=complex)
    padded[offset] = near
    slopes[offset] = near * 2j * np.pi * offset * line_hz
    moving, turning = np.fft.ifft(padded), np.fft.ifft(slopes)
    own_rate = count * line_hz
    ends = int(np.ceil(dropped_s * own_rate))
    kept = slice(ends, -ends)
    amplitude = np.abs(moving[kept])
    if float(np.min(amplitude)) <= 1e-6 * float(np.max(amplitude)):
        raise NotModulated("the tone drops out; take a record without a gap")
    offset_hz = np.imag(turning[kept] / moving[kept]) / (2 * np.pi)
    return Modulation(
        offset_hz + carrier * line_hz,
        np.unwrap(np.angle(moving[kept])),
        own_rate,
        ends / own_rate,
    )
