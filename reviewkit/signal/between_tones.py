"""The space between many tones: the tones' leakage, and the strongest line that isn't one of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.fitted_tones import LEAST_APART
from reviewkit.signal.tone_lines import (
    OVER_LEAKAGE,
    STANDS,
    Line,
    Lines,
    NoTones,
    Product,
    background_at,
    clear_of,
    fitted,
    largest_near,
    leakage_at,
    least_spacing,
    level_at,
    summit_at,
    uncertainty_of,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Mask = NDArray[np.bool_]

FEWEST_TONES = 3
_PARTED = 0.5  # the strongest product lies at least 6 dB below the weakest tone, or the two can't be told apart
_MOST_HIDDEN = 0.05  # of the band's lines
_HIDDEN = (
    "the tones' lobes and leakage hide more than a twentieth of the band; take a longer record, or export more lines, "
    "or another window"
)
_LEAKAGE_REACH = 2000  # lines over which a window's spread is calculated line by line


def check_tones(lines: Lines, tones: Sequence[Line]) -> None:
    """Raise NoTones if these aren't the tones of a multitone.

    Parameters
    ----------
    lines : Lines
        The spectrum that the tones come from.
    tones : Sequence[Line]
        The tones, by frequency.

    Raises
    ------
    NoTones
        If there are fewer than three, or if they are too close together to be separated.
    """
    if len(tones) < FEWEST_TONES:
        kind = "tone" if len(tones) == 1 else "intermodulation"
        raise NoTones(f"it holds {len(tones)} strong lines; a multitone has at least {FEWEST_TONES}; is it of {kind}?")
    apart = spacing(lines, tones)
    if lines.cleared and apart < LEAST_APART:
        raise NoTones(
            f"the record holds {apart:.1f} cycles of the distance between its nearest tones; at least {LEAST_APART:g} "
            "are needed; capture a longer record"
        )
    if not lines.cleared and apart < least_spacing(lines):
        raise NoTones("its tones are too close for their lobes to be separated; export more lines")


def spacing(lines: Lines, tones: Sequence[Line]) -> float:
    """Return the smallest distance between neighbours among 0 Hz and the tones, in lines."""
    return float(np.min(np.diff([lines.place(0.0), *(tone.place for tone in tones)])))


def leakage(lines: Lines, tones: Sequence[Line]) -> Array:
    """Return the envelope of the tones' leakage.

    Leakages are added as powers, since the tones' phases are unrelated. Tones that were subtracted don't leak.

    Parameters
    ----------
    lines : Lines
        The spectrum; its window must be known.
    tones : Sequence[Line]
        The tones, by frequency.

    Returns
    -------
    Array
        Amplitude per line, shape (n,).
    """
    assert lines.spread is not None
    index = np.arange(len(lines.power))
    total = np.zeros(len(index))
    if lines.cleared:
        return total
    for tone in tones:
        centre = round(tone.place)
        near = index[max(0, centre - _LEAKAGE_REACH) : centre + _LEAKAGE_REACH + 1]
        # the spread touches zero between side lobes, so use their envelope
        envelope = largest_near(tone.level * lines.spread(near - tone.place), 1)
        # far off, every window's side lobes fall at least as fast as the distance grows
        for edge, far in ((envelope[0], index[: near[0]]), (envelope[-1], index[near[-1] + 1 :])):
            total[far] += (edge * _LEAKAGE_REACH / (far - centre)) ** 2
        total[near] += envelope**2
    return np.asarray(np.sqrt(total))


def strongest_between(lines: Lines, tones: Sequence[Line], band_hz: tuple[float, float]) -> Product:
    """Find the strongest line of a band that isn't a tone.

    A product is read by its lobe. If none is above the noise, the result is the noise's largest line, as r.m.s. in the
    width of one line.

    Parameters
    ----------
    lines : Lines
        The spectrum; its window must be known.
    tones : Sequence[Line]
        The tones, by frequency.
    band_hz : tuple[float, float]
        The lower and upper edge.

    Returns
    -------
    Product
        The line; `is_distinct` is False if it is the noise's.

    Raises
    ------
    NoTones
        If the tones hide too much of the band, or can't be separated from what lies between them.
    """
    assert lines.bandwidth is not None
    free = clear_of(lines, [t.place for t in tones], beyond=0 if lines.cleared else 1)
    inside = (lines.frequency_hz >= band_hz[0]) & (lines.frequency_hz <= band_hz[1])
    leaked = leakage(lines, tones)
    seen = free & inside & (lines.power > (OVER_LEAKAGE * leaked) ** 2)
    if not seen.any():
        raise NoTones(_HIDDEN)
    power = np.where(seen, lines.power, 0.0)
    summits = np.flatnonzero((power == largest_near(power, lines.half)) & (power > 0))
    summits = summits[np.argsort(power[summits])[::-1][:12]]
    found = [_product(lines, int(peak), tones, free) for peak in summits if 0 < peak < len(power) - 1]
    # among many products close together none stands out, but the strongest still counts
    if any(p.is_distinct for p in found):
        best = replace(max(found, key=lambda p: p.level), is_distinct=True)
    else:
        peak = int(np.argmax(power))
        # in a waveform it may also be one of many products close together, so it counts as a product's summit would
        level = float(np.sqrt(power[peak] / (1.0 if lines.cleared else lines.bandwidth)))
        best = Product(float(lines.frequency_hz[peak]), level, 0.0, level, is_distinct=False)
    weakest = min(tones, key=lambda tone: tone.level)
    if best.level > _PARTED * weakest.level:
        raise NoTones(
            f"its tones cannot be separated from the rest: the weakest, at {weakest.frequency_hz:.5g} Hz, is less than "
            f"6 dB above what is at {best.frequency_hz:.5g} Hz; is it another kind of file?"
        )
    hidden = inside & (~free | (OVER_LEAKAGE * leaked > best.level))
    if np.count_nonzero(hidden) > _MOST_HIDDEN * np.count_nonzero(inside):
        raise NoTones(_HIDDEN)
    return best


def _product(lines: Lines, peak: int, tones: Sequence[Line], free: Mask) -> Product:
    """Return a line between the tones, read from the lines of its lobe that no tone's lobe covers."""
    line = summit_at(lines, peak) if lines.cleared else fitted(lines, peak)[0]
    others = free & clear_of(lines, [line.place])
    noise = background_at(lines, line.place, others)
    # products a few lines apart share their lobes, but not their summits
    if lines.cleared and lines.spread is not None:
        level = float(np.sqrt(lines.power[peak])) / float(lines.spread(peak - line.place))
    else:
        level = level_at(lines, line.place, noise, free)
    leak = leakage_at(lines, line.place, tones)
    uncertainty = uncertainty_of(noise, leak)
    # the largest of some ten thousand lines of noise is 10 dB above their mean, so a product must be higher
    return Product(line.frequency_hz, level, uncertainty, level, is_distinct=level**2 > 2 * STANDS * noise)
