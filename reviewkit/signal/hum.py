"""The mains line and its multiples next to a steady tone in a waveform."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.fitted_tones import LEAST_APART, fit_multiples
from reviewkit.signal.lone_lines import noise_floor
from reviewkit.signal.mains_lines import MOST_MULTIPLES
from reviewkit.signal.tone_lines import SEARCH_BETA, STANDS, of_waveform

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

FEWEST_CYCLES = 5  # fewer are too near to each other, and to drift, to be told apart
_LEAST_SHARE = 0.999  # of these: a sample clock may be off by a tenth of a percent
_LOBES_APART = 24.0  # lines between mains lines from which on each has a lobe of its own
_HUM_LINES = 7  # a lobe's, through the window for shorter records


def seconds_needed(length_s: float, mains_hz: float) -> float | None:
    """Return the shortest record that gives hum, s; None if this one is long enough."""
    least_s = FEWEST_CYCLES / mains_hz
    return least_s if length_s < least_s * _LEAST_SHARE else None


def find_hum(
    power: Array,
    rest: Array,
    rate_hz: float,
    mains_hz: float,
    cycles: float,
    half: int,
    others: Sequence[float],
    top_hz: float,
) -> float | None:
    """Return the r.m.s. sum of the mains line and its first twenty multiples, those that stand out of the noise.

    Parameters
    ----------
    power : Array
        The record's lines without the tone and its harmonics, mean square per line.
    rest : Array
        The record without offset and fundamental, shape (n,).
    rate_hz : float
        The sample rate.
    mains_hz : float
        The mains frequency.
    cycles : float
        The tone's place, in lines.
    half : int
        Half-width of a lobe in lines.
    others : Sequence[float]
        The places of what else isn't hum, in lines.
    top_hz : float
        The highest frequency that counts.

    Returns
    -------
    float | None
        In the data's unit; None if no line stands out.
    """
    if mains_hz * len(rest) / rate_hz >= _LOBES_APART:
        return _in_lobes(power, rate_hz / len(rest), mains_hz, cycles, half, top_hz)
    return _fitted(rest, rate_hz, mains_hz, cycles, others, top_hz)


def _in_lobes(power: Array, line_hz: float, mains_hz: float, cycles: float, half: int, top_hz: float) -> float | None:
    """Return the r.m.s. sum of the mains line and those of its first twenty multiples that are 10 dB above the noise.

    Only lines inside a lobe of the tone or of a harmonic are left out.
    """
    total = 0.0
    for multiple in range(1, MOST_MULTIPLES + 1):
        place = multiple * mains_hz / line_hz
        nearest_tone = round(place / cycles) * cycles
        if multiple * mains_hz > top_hz or (nearest_tone and abs(place - nearest_tone) < half) or place < 2 * half:
            continue
        # the mains wanders: look a little to both sides, beyond the lobe's own width
        reach = half + int(np.ceil(0.002 * place))
        low, high = int(place) - reach, int(place) + reach + 1
        floor = noise_floor(power, low, high, half, first=half)
        lobe_power = float(np.sum(power[low:high])) - floor * (high - low)
        if lobe_power > 10 * floor * (high - low) and lobe_power > 0:
            total += lobe_power
    return float(np.sqrt(total)) if total else None


def _fitted(
    rest: Array, rate_hz: float, mains_hz: float, cycles: float, others: Sequence[float], top_hz: float
) -> float | None:
    """Return the same of a record too short to keep the lobes of these lines apart: all are fitted together.

    `rest`: the record without offset and fundamental, shape (n,). `others`: the places of what else isn't hum. Only
    lines too near to one of them, or to the tone, to be told from it are left out.
    """
    base = mains_hz * len(rest) / rate_hz
    orders = np.arange(1.0, min(MOST_MULTIPLES, int(top_hz / mains_hz)) + 1)
    places = np.array([cycles, *others])
    orders = orders[np.min(np.abs(base * orders[:, None] - places), axis=1) >= LEAST_APART]
    if not len(orders) or base < FEWEST_CYCLES * _LEAST_SHARE:
        return None
    lines = of_waveform(rest, rate_hz, SEARCH_BETA).values
    assert lines is not None
    # a line at 1 takes up drift, two beside the fundamental what its own fit left, whose place hum may have moved
    tones = np.array([1.0, cycles - 0.5, cycles + 0.5, *others])
    amplitudes, noise = fit_multiples(lines, base, orders, tones[tones < base * (MOST_MULTIPLES + 1)], SEARCH_BETA)
    held = np.abs(amplitudes) ** 2
    total = float(np.sum(held[held > STANDS * _HUM_LINES * noise]))
    return float(np.sqrt(total)) if total else None
