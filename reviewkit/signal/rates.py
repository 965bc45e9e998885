"""The strongest steady rates in a slow curve, such as a deck's speed or a clock's phase: each fitted, then subtracted.

Unlike the tones of `tone_lines`, they may be slower than 10 Hz, and most of the curve may be something else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.lobes import fit_line, subtract
from reviewkit.signal.tone_lines import of_waveform

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_BETA = 6.0  # side lobes 44 dB down; what is subtracted leaves less
_HALF = 2
_FEWEST_CYCLES = 2.5
_STANDS_OUT = 10.0  # times the median power around, 10 dB
_AROUND = 40
_ROUNDS = 3


@dataclass(frozen=True)
class Rate:
    """A steady sine in a curve: its peak in the curve's unit."""

    frequency_hz: float
    peak: float


def strongest_rates(values: Array, rate_hz: float, most: int, within: float, top_hz: float) -> list[Rate]:
    """Return the strongest steady sines of a curve, strongest first.

    Parameters
    ----------
    values : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        Points per second.
    most : int
        How many at most.
    within : float
        The weakest, as a ratio of the strongest.
    top_hz : float
        The highest rate.

    Returns
    -------
    list[Rate]
        Those that stand 10 dB above what lies around them. A rate needs two and a half cycles in the record.
    """
    spectrum = of_waveform(values - np.mean(values), rate_hz, _BETA)
    assert spectrum.values is not None
    lines = spectrum.values.copy()
    low, high = int(np.ceil(_FEWEST_CYCLES)), min(len(lines) - 1, round(top_hz / spectrum.line_hz) + 1)
    found: list[tuple[float, complex]] = []
    while len(found) < most and high - low > 2 * _HALF:
        power = np.abs(lines[low:high]) ** 2
        peak = low + int(np.argmax(power))
        around = np.abs(lines[max(low, peak - _AROUND) : min(high, peak + _AROUND + 1)]) ** 2
        if power[peak - low] <= _STANDS_OUT * float(np.median(around)):
            break
        place, amplitude = fit_line(lines, float(peak), _BETA, _HALF)
        if (found and abs(amplitude) < within * abs(found[0][1])) or abs(place - peak) > 1:
            break
        subtract(lines, place, _BETA, len(lines), amplitude)
        found.append((place, amplitude))
    # each again without the others, whose side lobes moved it
    for _ in range(_ROUNDS if len(found) > 1 else 0):
        for index, (place, amplitude) in enumerate(found):
            subtract(lines, place, _BETA, len(lines), -amplitude)
            place, amplitude = fit_line(lines, place, _BETA, _HALF)
            subtract(lines, place, _BETA, len(lines), amplitude)
            found[index] = place, amplitude
    rates = [Rate(place * spectrum.line_hz, float(np.sqrt(2) * abs(amplitude))) for place, amplitude in found]
    return sorted(rates, key=lambda rate: -rate.peak)
