"""A steady tone in an exported spectrum: levels of lines without phase, through a window that may be known.

With a known window a tone's power is the sum over its lobe divided by the window's noise bandwidth (Harris 1978), and
noise is the sum of the lines divided by it. The window's own spread tells a tone's skirts from noise. Without the
window only the peak levels of the tones are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.spectrum import Tone, band_for
from reviewkit.signal.windows import lobe, noise_bandwidth_of, spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Mask = NDArray[np.bool_]

_EDGE = 1.001
_MOST_HIDDEN = 0.2  # of the band's lines, by the fundamental's own leakage


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
    frequency_hz: Array, level: Array, window: str | None, mains_hz: float | None = None, near_hz: float | None = None
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
        raise NoLines("no tone stands inside the spectrum; is it another kind of file?")
    place = _place(power, peak, window)
    # places are read off the rows' own frequencies: an export may leave lines out
    frequency = float(np.interp(place, index, frequency_hz))
    if frequency < (2 * half + 1) * float(frequency_hz[peak] - frequency_hz[peak - 1]):
        raise NoLines("the tone and its harmonics overlap; export a spectrum with more lines")
    band = band_for(frequency, float(frequency_hz[-1]))
    inside = (frequency_hz >= band[0]) & (frequency_hz <= band[1])

    taken = np.zeros(len(power), dtype=bool)
    level_v = _tone(power, place, window, half, taken)
    harmonics: dict[int, float] = {}
    for order in range(2, int(band[1] * _EDGE / frequency) + 1):
        at = float(np.interp(order * frequency, frequency_hz, index))
        if round(at) + half >= len(power):
            break
        background = _background(power, at, half)
        found = _tone(power, _peak_near(power, at, half), window, half, taken, background)
        if found > 0:
            harmonics[order] = found

    noise = rest_level = None
    if window:
        tones = [
            (place, level_v),
            *((float(np.interp(n * frequency, frequency_hz, index)), height) for n, height in harmonics.items()),
        ]
        skirts = _skirts(power, tones, window, inside)
        if np.count_nonzero(skirts & inside) > _MOST_HIDDEN * np.count_nonzero(inside):
            raise NoLines(
                f"the {window} window's own leakage hides the harmonics and the noise; export with another window"
            )
        taken |= skirts
        rest = np.where(taken, 0.0, power)
        # what the tones cover is filled with the mean of what they leave free
        free = inside & ~taken
        share = int(np.count_nonzero(inside)) / max(1, int(np.count_nonzero(free)))
        noise_power = float(np.sum(rest[inside])) * share
        noise = float(np.sqrt(noise_power / noise_bandwidth_of(window)))
        rest_level = float(np.sqrt(noise**2 + sum(height**2 for height in harmonics.values())))
    hum = _hum(power, frequency_hz, mains_hz, taken, window, half, band[1]) if mains_hz else None
    return Tone(frequency, level_v, band, harmonics, noise, rest_level, hum, 3 * frequency <= band[1] * _EDGE)


def _place(power: Array, peak: int, window: str | None) -> float:
    """Return a tone's place between the lines, by the window's own spread or by a parabola through three levels."""
    below, at, above = np.log(power[peak - 1 : peak + 2] + 1e-300)
    curvature = below - 2 * at + above
    guess = float(peak + (0.5 * (below - above) / curvature if curvature < 0 else 0.0))
    if window is None:
        return guess
    # the ratio of the two lines beside the tone fixes its place; refine the parabola's guess by least squares
    index = np.arange(max(0, peak - 1), peak + 2)
    best = np.linspace(-0.6, 0.6, 241) + peak
    for width in (0.005, 5e-5, 5e-7):
        shapes = spread(window, index[None, :] - best[:, None]) ** 2
        scale = np.sum(shapes * power[index], axis=1) / np.sum(shapes**2, axis=1)
        misfit = np.sum((power[index] - scale[:, None] * shapes) ** 2, axis=1)
        guess = float(best[int(np.argmin(misfit))])
        best = guess + np.linspace(-width, width, 201)
    return guess


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


def _skirts(power: Array, tones: Sequence[tuple[float, float]], window: str, inside: Mask) -> Mask:
    """Return the lines, in the band and a lobe beyond it, where the tones' leakage is over a twentieth of the noise.

    `tones`: (place, level) of each.
    """
    skirts = np.zeros(len(power), dtype=bool)
    band = np.flatnonzero(inside)
    if not len(band):
        return skirts
    near = slice(max(0, int(band[0]) - lobe(window) - 1), int(band[-1]) + lobe(window) + 2)
    skirts[near] = _leaked_on(power[near], tones, window, inside[near], near.start)
    return skirts


def _leaked_on(power: Array, tones: Sequence[tuple[float, float]], window: str, inside: Mask, first: int) -> Mask:
    """Return `_skirts` for a stretch of the spectrum that begins at its line `first`."""
    # noise power is exponentially distributed: its quarter-point lies at -ln(3/4) of the mean, and no tone moves it
    floor = float(np.quantile(power[inside], 0.25) / -np.log(0.75))
    index = first + np.arange(len(power), dtype=float)
    leaked = np.zeros(len(power))
    lobes = np.zeros(len(power), dtype=bool)
    for place, level in tones:
        if level**2 > floor:
            leaked += (level * spread(window, index - place)) ** 2
            lobes |= np.abs(index - place) <= lobe(window)
    # the spread touches zero between side lobes; what counts is their envelope
    envelope = np.maximum.reduce([leaked, np.roll(leaked, 1), np.roll(leaked, -1)])
    # what stands far above both leakage and noise is a line of its own: hum under the skirts still counts
    line = (power > 10 * envelope) & (power > 20 * floor)
    return np.asarray(lobes | ((envelope > 0.05 * floor) & ~line))


def _hum(
    power: Array,
    frequency_hz: Array,
    mains_hz: float,
    taken: Mask,
    window: str | None,
    half: int,
    top_hz: float,
) -> float | None:
    """Return the r.m.s. sum of the mains line and its first twenty multiples, those 10 dB above the noise."""
    total = 0.0
    for multiple in range(1, 21):
        at = float(np.interp(multiple * mains_hz, frequency_hz, np.arange(len(power))))
        centre = round(at)
        if multiple * mains_hz > top_hz or centre - half < 0 or centre + half >= len(power):
            continue
        if taken[centre - half : centre + half + 1].any():
            continue
        background = _background(power, at, half)
        found = _tone(power, _peak_near(power, at, half), window, half, np.zeros(len(power), dtype=bool), background)
        if found**2 > 10 * background:
            total += found**2
    return float(np.sqrt(total)) if total else None
