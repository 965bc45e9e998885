"""A steady tone in an exported spectrum: levels of lines without phase, through a window that may be known.

With a known window a tone's power is the sum over its lobe divided by the window's noise bandwidth (Harris 1978), and
noise is the sum of the lines divided by it. The window's own spread tells a tone's skirts from noise. Without the
window only the peak levels of the tones are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.lone_lines import lone_lines, nearest_line
from reviewkit.signal.mains_lines import MOST_MULTIPLES
from reviewkit.signal.tone import EDGE, Tone, band_for
from reviewkit.signal.tone_lines import fitted_place
from reviewkit.signal.windows import lobe, noise_bandwidth_of, spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Mask = NDArray[np.bool_]

# leakage and line may be in phase in one record: these are 0.17 dB and 0.5 dB
_ABOVE_LEAKAGE, _ABOVE_LEAKAGE_HUM = 1e4, 1e3
_LOBES_BETWEEN = 3  # half-widths of a lobe from one mains line to the next
_MOST_UNDER = 0.01  # of the harmonics' power: 0.04 dB of THD
_MOST_HIDDEN = 0.2  # of the band's lines, by the fundamental's own leakage
_CLOSE = 0.045  # of the tone's frequency: the sidebands of speed and flutter, but not of hum at 1 kHz
_LEAST_CLOSE_IN = 0.005  # of the tone's level, as of a waveform that wavers
# of the power in the tone's lobe: another window's lobe, or one of which lines were left out, leaves 0.05 and more
_WORST_MISFIT = 0.03


class NoLines(ValueError):
    """Error for a spectrum that can't be analysed; the message says why."""


def is_even(frequency_hz: Array) -> bool:
    """Return whether the lines have one spacing (to the rounding of an export), as sums of noise need.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising.

    Returns
    -------
    bool
        True if they have.
    """
    steps = np.diff(frequency_hz)
    spacing = (frequency_hz[-1] - frequency_hz[0]) / (len(frequency_hz) - 1)
    return bool(np.all(np.abs(steps - spacing) < 0.1 * spacing))


def analyse_lines(
    frequency_hz: Array,
    level: Array,
    window: str | None,
    mains_hz: float | None = None,
    near_hz: float | None = None,
    without_hz: Sequence[float] = (),
) -> Tone:
    """Analyse a tone in an exported spectrum.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising, evenly spaced.
    level : Array
        R.m.s. of a tone at its peak line, shape (n,).
    window : str | None
        A name in windows.COSINE_SUMS; None if it isn't known.
    mains_hz : float | None
        The mains frequency; without it there is no hum.
    near_hz : float | None
        Where to look for the fundamental.
    without_hz : Sequence[float]
        Lines that count nowhere, nor does a harmonic that can't be separated from them.

    Returns
    -------
    Tone
        The tone's frequency, level, harmonics, noise and hum, as far as they can be known.

    Raises
    ------
    NoLines
        If the spectrum can't be analysed.
    """
    power = level.astype(float) ** 2
    index = np.arange(len(power), dtype=float)
    half = lobe(window) if window else 2

    search = power.copy()
    search[frequency_hz < max(10.0, 2 * half * float(frequency_hz[1] - frequency_hz[0]))] = 0
    if near_hz:
        search[np.abs(frequency_hz / near_hz - 1) > 0.2] = 0
    peak = int(np.argmax(search))
    if not search[peak] > 0 or peak < half or peak + half >= len(power):
        raise NoLines("there is no tone inside the spectrum; is it another kind of file?")
    place = _place(power, peak, window)
    if window and _misfit(level, place, window) > _WORST_MISFIT:
        raise NoLines(
            f"the lines next to the tone are not those of a {window} window; write the window that it was made with, "
            "export every line, or capture a tone that wavers as a waveform"
        )
    # places are read off the rows' own frequencies: an export may leave lines out
    frequency = float(np.interp(place, index, frequency_hz))
    if frequency < (2 * half + 1) * float(frequency_hz[peak] - frequency_hz[peak - 1]):
        raise NoLines("the tone and its harmonics overlap; export a spectrum with more lines")
    band = band_for(frequency, float(frequency_hz[-1]))
    inside = (frequency_hz >= band[0]) & (frequency_hz <= band[1])

    taken = np.zeros(len(power), dtype=bool)
    level_v = _tone(power, place, window, half, taken)
    foreign: list[tuple[float, float]] = []
    for hz in without_hz:
        named = nearest_line(power, float(np.interp(hz, frequency_hz, index)))
        if hz > frequency_hz[-1] * EDGE or named + half >= len(power):
            continue
        if abs(named - place) <= 2 * half:
            raise NoLines("a line to be left out is the tone itself, or too near to it; correct without")
        there = _place(power, int(named), window)
        foreign.append((there, _tone(power, there, window, half, taken)))
    harmonics: dict[int, float] = {}
    for order in range(2, int(band[1] * EDGE / frequency) + 1):
        at = float(np.interp(order * frequency, frequency_hz, index))
        if round(at) + half >= len(power):
            break
        if any(_covers(power, at, there, height, window, half) for there, height in foreign):
            continue
        background = _background(power, at, half)
        found = _tone(power, _peak_near(power, at, half), window, half, taken, background)
        if found > 0:
            harmonics[order] = found

    noise = rest_level = None
    leaked, hidden = np.zeros(len(power)), False
    lobes = taken.copy()
    if window:
        tones = [
            (place, level_v),
            *foreign,
            *((float(np.interp(n * frequency, frequency_hz, index)), height) for n, height in harmonics.items()),
        ]
        floor = _floor(power[inside])
        leaked = _leaked(power, tones, window, inside, floor)
        # what is far above both leakage and noise is a separate line, hum under the skirts for example
        peaks = (power > 10 * leaked) & (power > 20 * floor) & ~lobes
        lines = np.convolve(peaks, np.ones(2 * half + 1), "same")[: len(power)] > 0.5
        lines &= inside & ~lobes
        # a tone's skirt ends where its leakage is less than a twentieth of the noise
        skirts = inside & ~lines & (leaked > 0.05 * floor)
        free = inside & ~lines & ~lobes & ~skirts
        between = int(np.count_nonzero(inside & ~lines))
        hidden = int(np.count_nonzero(skirts)) > _MOST_HIDDEN * int(np.count_nonzero(inside))
        if hidden and not _above_leakage(harmonics, place, level_v, frequency, frequency_hz, window, band[1]):
            raise NoLines(
                f"the {window} window's own leakage hides the harmonics and the noise; export with another window"
            )
        rest = np.where(free | lines, power, 0.0)
    if window and not hidden:
        # what the tones cover is filled with the mean of what they leave free; lines count once
        share = between / max(1, int(np.count_nonzero(free)))
        noise_power = float(np.sum(power[free])) * share
        noise_power += max(0.0, float(np.sum(power[lines] - leaked[lines])))
        noise = float(np.sqrt(noise_power / noise_bandwidth_of(window)))
        rest_level = float(np.sqrt(noise**2 + sum(height**2 for height in harmonics.values())))
    # the lobes of mains lines that are nearer than that overlap, and leave no noise between them
    needs_s = _LOBES_BETWEEN * half / mains_hz if mains_hz else 0.0
    apart = (len(frequency_hz) - 1) / float(frequency_hz[-1] - frequency_hz[0]) >= needs_s
    hum = None
    if mains_hz and apart:
        hum = _hum(power, frequency_hz, mains_hz, lobes, leaked, window, half, band[1])
    tone = Tone(
        frequency,
        level_v,
        band,
        harmonics,
        noise,
        rest_level,
        hum,
        third_in_band=3 * frequency <= band[1] * EDGE,
        hum_needs_s=None if apart else needs_s,
        noise_hidden=hidden,
    )
    left = rest / noise_bandwidth_of(window) if window and not hidden else np.zeros(len(power))
    close_in = float(np.sqrt(np.sum(left[np.abs(frequency_hz / frequency - 1) < _CLOSE])))
    return replace(
        tone,
        lone_hz=lone_lines(tone, frequency_hz, left, half, mains_hz),
        close_in=close_in if close_in >= max(_LEAST_CLOSE_IN * level_v, np.sqrt(0.5) * tone.residue) else None,
    )


def _place(power: Array, peak: int, window: str | None) -> float:
    """Return a tone's place between the lines, by the window's own spread or by a parabola through three levels."""
    if window is not None:
        return fitted_place(power, peak, partial(spread, window))
    below, at, above = np.log(power[peak - 1 : peak + 2] + 1e-300)
    curvature = below - 2 * at + above
    return float(peak + (0.5 * (below - above) / curvature if curvature < 0 else 0.0))


def _misfit(level: Array, place: float, window: str) -> float:
    """Return the share of the power in a tone's lobe that the window's own spread doesn't explain."""
    index = np.arange(round(place) - lobe(window), round(place) + lobe(window) + 1)
    inside, shape = level[index], spread(window, index.astype(np.float64) - place)
    left = inside - shape * float(np.sum(shape * inside) / np.sum(shape**2))
    return float(np.sum(left**2) / np.sum(inside**2))


def _covers(power: Array, at: float, there: float, height: float, window: str | None, half: int) -> bool:
    """Return whether what is at a harmonic's place may be the lobe or the leakage of another line."""
    if window is None or abs(at - there) <= 2 * half:
        return abs(at - there) <= 2 * half
    index = np.arange(round(at) - half, round(at) + half + 1)
    leaked = np.sum((height * spread(window, index.astype(np.float64) - there)) ** 2)
    return bool(np.sum(power[index]) < 10 * leaked)


def _peak_near(power: Array, at: float, half: int) -> float:
    """Return the place of the largest line within one line of where a harmonic should be."""
    centre = round(at)
    low = max(0, centre - 1)
    return float(low + int(np.argmax(power[low : centre + 2]))) if half else at


def _tone(power: Array, place: float, window: str | None, half: int, taken: Mask, background: float = 0.0) -> float:
    """Return a tone's r.m.s. level, and mark its lobe in `taken`.

    If the window isn't known, it is the level of the peak line, corrected by a parabola.
    """
    centre = round(place)
    low, high = max(0, centre - half), min(len(power), centre + half + 1)
    taken[low:high] = True
    if window:
        total = (float(np.sum(power[low:high])) - background * (high - low)) / noise_bandwidth_of(window)
        return float(np.sqrt(max(0.0, total)))
    below, at, above = np.log(power[centre - 1 : centre + 2] + 1e-300)
    curvature = below - 2 * at + above
    # a parabola only through a true peak: on a slope it would shoot far above every line
    lift = (below - above) ** 2 / (-8 * curvature) if at > max(below, above) else 0.0
    return float(np.exp((at + lift) / 2))


def _background(power: Array, at: float, half: int) -> float:
    """Return the mean noise power per line around a harmonic's lobe."""
    centre, wide = round(at), 6 * half
    around = np.concatenate([power[max(0, centre - wide) : centre - half], power[centre + half + 1 : centre + wide]])
    # the median of noise power is ln 2 of its mean and does not see a neighbouring tone
    return float(np.median(around) / np.log(2)) if len(around) else 0.0


def _floor(power: Array) -> float:
    """Return the mean noise power per line of a band, at most some three times too high where spectra were averaged."""
    # noise power is exponentially distributed: its quarter-point lies at -ln(3/4) of the mean, and no tone moves it
    return float(np.quantile(power, 0.25) / -np.log(0.75))


def _leaked(power: Array, tones: Sequence[tuple[float, float]], window: str, inside: Mask, floor: float) -> Array:
    """Return the envelope of the leakage of the tones (place, level), power per line, in the band and a lobe beyond."""
    leaked = np.zeros(len(power))
    band = np.flatnonzero(inside)
    if not len(band):
        return leaked
    near = slice(max(0, int(band[0]) - lobe(window) - 1), int(band[-1]) + lobe(window) + 2)
    index = np.arange(len(power), dtype=float)[near]
    for place, level in tones:
        if level**2 > floor:
            leaked[near] += (level * spread(window, index - place)) ** 2
    # the spread touches zero between side lobes; what counts is their envelope
    return np.asarray(np.maximum.reduce([leaked, np.roll(leaked, 1), np.roll(leaked, -1)]))


def _above_leakage(
    harmonics: dict[int, float],
    place: float,
    level: float,
    frequency: float,
    frequency_hz: Array,
    window: str,
    top_hz: float,
) -> bool:
    """Remove, in place, harmonics that the tone's leakage may falsify. Return whether those may be neglected."""
    index = np.arange(len(frequency_hz), dtype=float)
    seen = under = 0.0
    for order in range(2, int(top_hz * EDGE / frequency) + 1):
        at = float(np.interp(order * frequency, frequency_hz, index))
        offset = np.arange(-lobe(window), lobe(window) + 1).astype(np.float64) + (at - place)
        leak = float(np.sum((level * spread(window, offset)) ** 2)) / noise_bandwidth_of(window)
        found = harmonics.get(order, 0.0) ** 2
        if found > _ABOVE_LEAKAGE * leak:
            seen += found
        else:
            under += max(leak, found)
            harmonics.pop(order, None)
    return under <= _MOST_UNDER * seen


def _hum(
    power: Array,
    frequency_hz: Array,
    mains_hz: float,
    taken: Mask,
    leaked: Array,
    window: str | None,
    half: int,
    top_hz: float,
) -> float | None:
    """Return the r.m.s. sum of the mains line and its first twenty multiples, those 10 dB above what is around them and
    above the leakage of the tones.
    """
    total = 0.0
    for multiple in range(1, MOST_MULTIPLES + 1):
        at = float(np.interp(multiple * mains_hz, frequency_hz, np.arange(len(power))))
        centre = round(at)
        if multiple * mains_hz > top_hz or centre - half < 0 or centre + half >= len(power):
            continue
        if taken[centre - half : centre + half + 1].any():
            continue
        background = _background(power, at, half)
        found = _tone(power, _peak_near(power, at, half), window, half, np.zeros(len(power), dtype=bool), background)
        peak = float(np.max(power[centre - 1 : centre + 2]))
        if found**2 > 10 * background and peak > _ABOVE_LEAKAGE_HUM * leaked[centre]:
            total += found**2
    return float(np.sqrt(total)) if total else None
