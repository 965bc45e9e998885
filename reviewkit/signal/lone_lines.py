"""Lone lines in a tone's spectrum, such as a pilot tone, that make up most of what seems to be its distortion."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.mains_lines import MAINS_HZ, is_multiple

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array
    from reviewkit.signal.tone import Tone

_LEAST_REST = 1e-4  # of the tone: below 0.01 % a line is counted without asking, for most benches have some there
_LEAST_SHARE = 0.25  # of the power next to the fundamental: without it that falls by 1.2 dB
_LOWEST_ORDER, _NEIGHBOURS = 6, 4  # a bend of low order makes single low harmonics, none of high order
_ABOVE_HARMONICS = 10.0  # 20 dB
_ABOVE_NOISE = 1000.0  # 30 dB
_MAINS_MULTIPLES, _MAINS_SIDEBANDS = 24, 6
_MAINS_WANDER = 0.003
_MOST = 3


def nearest_line(power: Array, place: float) -> float:
    """Return the place of the line that a frequency names: the strongest within 0.1 %, a generator's accuracy.

    Parameters
    ----------
    power : Array
        Shape (n,): the spectrum's lines, in any measure that rises with their level.
    place : float
        The place of that frequency, in lines.

    Returns
    -------
    float
        The line's place, a whole number; `place` itself if it is outside the spectrum.
    """
    reach = int(np.ceil(0.001 * place)) + 1
    low = max(0, round(place) - reach)
    near = power[low : round(place) + reach + 1]
    return float(low + int(np.argmax(near))) if near.size else place


def noise_floor(power: Array, low: int, high: int, half: int, first: int = 0) -> float:
    """Return the mean noise power per line around the lines low … high - 1.

    Parameters
    ----------
    power : Array
        Shape (n,): mean square per line.
    low, high : int
        The lines that don't count.
    half : int
        Half-width of a lobe in lines: four lobes on each side are read.
    first : int
        The first line that may be read.

    Returns
    -------
    float
        In the unit of `power`; 0 if there are no lines around.
    """
    around = np.concatenate([power[max(first, low - 8 * half) : max(first, low)], power[high : high + 8 * half]])
    # the median of noise power is ln 2 of its mean, and a few lines of tones don't move it
    return float(np.median(around) / np.log(2)) if len(around) else 0.0


def lone_lines(tone: Tone, frequency_hz: Array, power: Array, half: int, mains_hz: float | None) -> tuple[float, ...]:
    """Return the frequencies of lines far above their neighbours that hold at least a quarter of the residual.

    Parameters
    ----------
    tone : Tone
        The tone, with its harmonics.
    frequency_hz, power : Array
        Shape (n,): the spectrum without them, mean square per line.
    half : int
        Half-width of a lobe in lines.
    mains_hz : float | None
        Its multiples, and sidebands at its multiples, are hum; None: of 50 Hz and 60 Hz.

    Returns
    -------
    tuple[float, ...]
        In Hz: places of harmonics from the sixth, 20 dB above the four to either side, and other lines 30 dB above the
        noise near them.
    """
    harmonics = tone.harmonics
    if tone.residue < _LEAST_REST * tone.level:
        return ()
    least = _LEAST_SHARE * tone.residue**2
    found = [
        order * tone.frequency_hz
        for order, own in harmonics.items()
        if order >= _LOWEST_ORDER
        and own**2 > least
        and own
        > _ABOVE_HARMONICS
        * max((harmonics.get(n, 0.0) for d in range(1, _NEIGHBOURS + 1) for n in (order - d, order + d)), default=0.0)
    ]
    rest = np.where((frequency_hz >= tone.band_hz[0]) & (frequency_hz <= tone.band_hz[1]), power, 0.0)
    for _ in range(_MOST):
        peak = int(np.argmax(rest))
        low, high = max(0, peak - half), peak + half + 1
        lobe_power = float(np.sum(rest[low:high]))
        if lobe_power <= least:
            break
        line_hz, spacing_hz = float(frequency_hz[peak]), float(frequency_hz[1] - frequency_hz[0])
        is_distinct = lobe_power > _ABOVE_NOISE * noise_floor(power, low, high, half) * (high - low)
        if is_distinct and not _is_hum(line_hz, tone.frequency_hz, mains_hz, spacing_hz):
            found.append(line_hz)
        rest[low:high] = 0.0
    return tuple(sorted(found))


def _is_hum(line_hz: float, tone_hz: float, mains_hz: float | None, spacing_hz: float) -> bool:
    """Return whether a line is a multiple of the mains, or such a multiple away from the tone or a harmonic."""
    beside = abs(line_hz - round(line_hz / tone_hz) * tone_hz)
    return any(
        is_multiple(distance, hz, max(_MAINS_WANDER * distance, spacing_hz), most)
        for hz in ((mains_hz,) if mains_hz else MAINS_HZ)
        for distance, most in ((line_hz, _MAINS_MULTIPLES), (beside, _MAINS_SIDEBANDS))
    )
