"""Several tones in one spectrum: their places and levels, and what lies between them.

A tone's level is the power over its main lobe relative to what the window's own spread puts there, so it depends
neither on the window nor on the tone's place between two lines (Harris, Proc. IEEE 66 (1978) 51-83). Waveforms are seen
through a Kaiser window as wide as the tones' spacing allows. Without a known window only peak levels can be read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reviewkit.signal.windows import kaiser, kaiser_spread, lobe, noise_bandwidth, noise_bandwidth_of, spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Mask = NDArray[np.bool_]

SEARCH_BETA = 8.0  # to find tones with, before their spacing is known: side lobes 58 dB down
_WIDEST_BETA = 28.0  # side lobes 220 dB down: below the rounding of any capture
_UNKNOWN_HALF = 4  # lines to each side that a tone may cover if the window isn't known
_LOWEST_HZ = 10.0
STANDS = 10.0  # a line stands out of the noise from ten times its power (10 dB) on
OVER_LEAKAGE = 3.0  # and above the tones' leakage from three times its amplitude on
WORST_MISFIT = 0.2  # of a lobe's power, unexplained by one steady tone
_MOST_PEAKS = 300
_BACKGROUND_LINES = 40
_DEVIATIONS = 3.0
_LOBE_NOISE = 1.4  # 1.0 to 1.4 for the windows used here


class NoTones(ValueError):
    """Error for a spectrum without the tones that it should have; the message says why and what to do."""


@dataclass(frozen=True, eq=False)
class Lines:
    """A spectrum. `frequency_hz`: shape (n,), rising; `power`: shape (n,), the squared r.m.s. level of a tone on its
    line; `half`: half-width of the window's main lobe in lines. `spread` (amplitude over the offset in lines) and
    `bandwidth` (noise bandwidth in lines) are None if the window isn't known. Of a waveform, `values`: the lines with
    their phases relative to the middle of the record, `cleared`: whether its tones were subtracted, so that none leaks.
    """

    frequency_hz: Array
    power: Array
    half: int
    bandwidth: float | None = None
    spread: Callable[[Any], Any] | None = None
    values: NDArray[np.complex128] | None = None
    cleared: bool = False

    @property
    def line_hz(self) -> float:
        """Return the spacing of the lines."""
        return float(self.frequency_hz[-1] - self.frequency_hz[0]) / (len(self.frequency_hz) - 1)

    def place(self, frequency_hz: float) -> float:
        """Return a frequency in lines, with a fraction."""
        return float(np.interp(frequency_hz, self.frequency_hz, np.arange(len(self.frequency_hz))))


@dataclass(frozen=True)
class Line:
    """A tone in a spectrum: `level` r.m.s. in the data's unit, `place` in lines."""

    frequency_hz: float
    level: float
    place: float


@dataclass(frozen=True)
class Product:
    """A reading at a frequency at which no tone was sent.

    Attributes
    ----------
    level
        R.m.s., in the data's unit, as are the next two.
    uncertainty
        Expanded, of the level, by the noise and the tones' leakage in its lobe.
    most
        The level that it doesn't exceed (three standard deviations).
    is_distinct
        Whether it is above the noise and the leakage.
    """

    frequency_hz: float
    level: float
    uncertainty: float
    most: float
    is_distinct: bool


def of_waveform(samples: Array, rate_hz: float, beta: float, *, cleared: bool = False) -> Lines:
    """Return the spectrum of a waveform, seen through a Kaiser window.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.
    beta : float
        The Kaiser window's shape.
    cleared : bool
        Whether the tones were subtracted; see `Lines`.

    Returns
    -------
    Lines
        The spectrum.
    """
    window = kaiser(len(samples), beta)
    values = np.sqrt(2) * np.fft.rfft((samples - np.mean(samples)) * window) / np.sum(window)
    values[1::2] *= -1
    power = np.abs(values) ** 2
    frequency = np.arange(len(power)) * rate_hz / len(samples)

    def spreads(offset: Array) -> Array:
        return np.abs(kaiser_spread(offset, beta))

    return Lines(frequency, power, int(beta / np.pi), noise_bandwidth(window), spreads, values, cleared)


def of_spectrum(frequency_hz: Array, level: Array, window: str | None) -> Lines:
    """Return an exported spectrum as lines.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising.
    level : Array
        R.m.s. of a tone on its line, shape (n,).
    window : str | None
        A name in windows.COSINE_SUMS; None if it isn't known.

    Returns
    -------
    Lines
        The spectrum.
    """
    power = np.asarray(level, dtype=float) ** 2
    if window is None:
        return Lines(frequency_hz, power, _UNKNOWN_HALF)
    return Lines(frequency_hz, power, lobe(window), noise_bandwidth_of(window), lambda offset: spread(window, offset))


def beta_for(spacing: float) -> float:
    """Return the shape of the widest Kaiser window whose lobes stay apart at this spacing (lines, at least 5).

    The spacing is the lobe and half a line of one tone, plus the first zero √((β/π)² + 1) of the other.
    """
    return min(_WIDEST_BETA, float(np.pi * ((spacing - 0.5) / 2 - 1 / spacing)))


def least_spacing(lines: Lines) -> float:
    """Return the smallest distance between two tones, in lines, at which their lobes can be separated."""
    return 2 * lines.half + 0.5


def peaks(lines: Lines, within: float) -> list[Line]:
    """Return the tones of a spectrum, by frequency.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    within : float
        The lowest level, as a ratio of the strongest tone's.

    Returns
    -------
    list[Line]
        The tones.

    Raises
    ------
    NoTones
        If there is none, or if a lobe isn't that of one steady tone.
    """
    found = [fitted(lines, index) for index in summits(lines, within)]
    strongest = max(line.level for line, _ in found)
    kept = [(line, misfit) for line, misfit in found if line.level >= within * strongest]
    for line, misfit in kept:
        if misfit > WORST_MISFIT:
            raise NoTones(unsteady(line.frequency_hz))
    return [line for line, _ in kept]


def summits(lines: Lines, within: float, strongest: float | None = None) -> list[int]:
    """Return the lines that are higher than their neighbours and may belong to a tone.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    within : float
        The lowest level of a tone, as a ratio of the strongest.
    strongest : float | None
        The strongest level (r.m.s.); None for that of the strongest line.

    Returns
    -------
    list[int]
        Indices of the lines.

    Raises
    ------
    NoTones
        If there isn't any.
    """
    power, half = lines.power, lines.half
    inside = lines.frequency_hz >= max(_LOWEST_HZ, (half + 0.5) * lines.line_hz)
    inside[-half - 1 :] = False
    inside[:1] = False
    highest = strongest**2 if strongest else float(np.max(power[inside], initial=0.0))
    if not highest > 0:
        raise NoTones("there is no tone in it; is it another kind of file?")
    # scalloping lowers a line by up to 4 dB, so include every line that may reach the ratio
    found = (power == largest_near(power, half)) & inside & (power >= 0.3 * within**2 * highest)
    if not found.any() and strongest is None:
        raise NoTones("no tone stands out in it; is it another kind of file?")
    return [int(index) for index in np.flatnonzero(found)[:_MOST_PEAKS]]


def unsteady(frequency_hz: float) -> str:
    """Return the message for a lobe that one steady tone doesn't explain."""
    return (
        f"near {frequency_hz:.5g} Hz there is no single steady tone: two are too close, or it wanders, or the window "
        "is another one; take a longer record, or check `window`"
    )


def largest_near(values: Array, reach: int) -> Array:
    """Return the largest of each value and its neighbours.

    Parameters
    ----------
    values : Array
        Shape (n,).
    reach : int
        The number of neighbours on each side.

    Returns
    -------
    Array
        Shape (n,).
    """
    largest = values.copy()
    for step in range(1, min(reach, len(values) - 1) + 1):
        np.maximum(largest[step:], values[:-step], out=largest[step:])
        np.maximum(largest[:-step], values[step:], out=largest[:-step])
    return largest


def fitted(lines: Lines, peak: int) -> tuple[Line, float]:
    """Fit a tone at its largest line, which is neither the first nor the last.

    Return the tone, placed by least squares of the window's spread over three lines, and the share of its lobe's power
    that it leaves unexplained (0 if the window isn't known).
    """
    if lines.spread is None:
        place, misfit = summit_at(lines, peak).place, 0.0
        level = level_at(lines, place)
    else:
        place = fitted_place(lines.power, peak, lines.spread)
        level = level_at(lines, place)
        lobe_lines = lobe_at(lines, place)
        held = lines.power[lobe_lines]
        explained = (level * lines.spread(lobe_lines - place)) ** 2
        misfit = float(np.sum(np.abs(held - explained)) / np.sum(held))
    frequency = float(np.interp(place, np.arange(len(lines.power)), lines.frequency_hz))
    return Line(frequency, level, place), misfit


def fitted_place(power: Array, peak: int, spread: Callable[[Any], Any]) -> float:
    """Return the place of a tone between the lines, by least squares of the window's spread over three of them.

    Parameters
    ----------
    power : Array
        Mean square per line, shape (n,).
    peak : int
        The largest line, neither the first nor the last.
    spread : Callable[[Any], Any]
        The window's: offset in lines -> amplitude.

    Returns
    -------
    float
        In lines.
    """
    index = np.arange(peak - 1, peak + 2)
    near, place = power[index], float(peak)
    candidates = peak + np.linspace(-0.6, 0.6, 241)
    for width in (0.005, 5e-5, 5e-7):
        shapes = spread(index[None, :] - candidates[:, None]) ** 2
        scale = np.sum(shapes * near, axis=1) / np.sum(shapes**2, axis=1)
        place = float(candidates[int(np.argmin(np.sum((near - scale[:, None] * shapes) ** 2, axis=1)))])
        candidates = place + np.linspace(-width, width, 201)
    return place


def summit_at(lines: Lines, peak: int) -> Line:
    """Return a tone by its largest line and the two next to it: a parabola through the logarithms of their power."""
    below, at, above = np.log(lines.power[peak - 1 : peak + 2] + 1e-300)
    # on a slope, a parabola would rise far above every line
    true_peak = at > max(below, above)
    curvature = below - 2 * at + above
    place = peak + (0.5 * (below - above) / curvature if true_peak else 0.0)
    lift = (below - above) ** 2 / (-8 * curvature) if true_peak else 0.0
    frequency = float(np.interp(place, np.arange(len(lines.power)), lines.frequency_hz))
    return Line(frequency, float(np.exp((at + lift) / 2)), float(place))


def lobe_at(lines: Lines, place: float) -> NDArray[np.int64]:
    """Return the lines of the lobe around a place.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    place : float
        The middle of the lobe, in lines.

    Returns
    -------
    NDArray[np.int64]
        Indices of the lines.
    """
    centre = round(place)
    return np.arange(max(0, centre - lines.half), min(len(lines.power), centre + lines.half + 1), dtype=np.int64)


def level_at(lines: Lines, place: float, background: float = 0.0, free: Mask | None = None) -> float:
    """Return the r.m.s. level of a tone at a place, 0 if there is none above the noise.

    Parameters
    ----------
    lines : Lines
        If their phases are known, the level is the projection on the window's spread, else the power over the lobe. If
        the window isn't known, it is the largest line near the place, corrected by a parabola through its neighbours.
    place : float
        In lines.
    background : float
        Noise power per line, whose share is subtracted.
    free : Mask | None
        Shape (n,): the lines that may count.

    Returns
    -------
    float
        In the data's unit.
    """
    if lines.spread is None:
        centre = round(place)
        peak = max(1, centre - 1) + int(np.argmax(lines.power[max(1, centre - 1) : centre + 2]))
        return float(np.sqrt(max(0.0, summit_at(lines, peak).level ** 2 - background)))
    index = lobe_at(lines, place)
    if free is not None:
        index = index[free[index]]
    shape = lines.spread(index - place)
    weight = float(np.sum(shape**2))
    if not weight:
        return 0.0
    if lines.values is not None:
        power = abs(np.sum(lines.values[index] * shape) / weight) ** 2 - _LOBE_NOISE * background
    else:
        power = (float(np.sum(lines.power[index])) - background * len(index)) / weight
    return float(np.sqrt(max(0.0, power)))


def background_at(lines: Lines, place: float, free: Mask) -> float:
    """Return the mean noise power per line around a place.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    place : float
        The middle, in lines.
    free : Mask
        The lines without tones and products, shape (n,); the nearest of them are used.

    Returns
    -------
    float
        In the squared unit of the data.
    """
    reach = 4 * _BACKGROUND_LINES + 8 * lines.half
    low = max(0, round(place) - reach)
    index = low + np.flatnonzero(free[low : round(place) + reach + 1])
    if not len(index):
        return 0.0
    nearest = lines.power[index[np.argsort(np.abs(index - place))[:_BACKGROUND_LINES]]]
    # a line that isn't noise is far above the median; almost no line of noise is
    return float(np.mean(nearest[nearest <= 10 * np.median(nearest)]))


def clear_of(lines: Lines, places: Sequence[float], beyond: int = 0) -> Mask:
    """Return the lines outside the lobes at these places.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    places : Sequence[float]
        The middles of the lobes, in lines.
    beyond : int
        Lines left out on each side of a lobe.

    Returns
    -------
    Mask
        Shape (n,).
    """
    free = np.ones(len(lines.power), dtype=bool)
    for place in places:
        reach = lines.half + beyond
        free[max(0, round(place) - reach) : max(0, round(place) + reach + 1)] = False
    return free


def product_at(lines: Lines, frequency_hz: float, tones: Sequence[Line], free: Mask) -> Product:
    """Return what is at a frequency that no tone was sent at.

    It counts as a product if it is 10 dB above the noise around it and 10 dB above the tones' leakage.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    frequency_hz : float
        The frequency.
    tones : Sequence[Line]
        The tones, whose leakage counts.
    free : Mask
        The lines without tones and products, shape (n,).

    Returns
    -------
    Product
        The level with its bounds.
    """
    place = lines.place(frequency_hz)
    noise = background_at(lines, place, free)
    level = level_at(lines, place, noise)
    leak = leakage_at(lines, place, tones)
    is_distinct = level > np.sqrt(STANDS * noise) and level >= OVER_LEAKAGE * leak
    most = most_at(lines, level, noise) + leak
    return Product(frequency_hz, level, uncertainty_of(noise, leak), most, is_distinct=bool(is_distinct))


def most_at(lines: Lines, level: float, noise: float) -> float:
    """Return the r.m.s. level that a line does not exceed, three standard deviations above the one that was read.

    Parameters
    ----------
    lines : Lines
        The spectrum, with phases or without.
    level : float
        As read, r.m.s., the noise subtracted.
    noise : float
        Noise power per line.

    Notes
    -----
    Noise may be in antiphase with the line. With phases, the reading is a complex amplitude whose part along the line
    has the variance L·N/2; N is the noise, L what a lobe holds of it. The power P over a lobe of m lines has the
    variance 2·A²·L·N + c·N² for a line of power A², where c is noise on noise, m·L/B with B the noise bandwidth, and
    the error of N, which is read off 40 lines; solved for A² three standard deviations above P (closed form, second
    moments of complex Gaussian noise).
    """
    if lines.values is not None:
        return float(np.sqrt(level**2 + _LOBE_NOISE * noise) + _DEVIATIONS * np.sqrt(_LOBE_NOISE * noise / 2))
    width, held = lines.bandwidth or 1.0, 2 * lines.half + 1 if lines.spread is not None else 1
    on_noise = held * _LOBE_NOISE / width * (1 + held / _BACKGROUND_LINES)
    along = _DEVIATIONS**2 * _LOBE_NOISE * noise
    spread_of_power = np.sqrt(2 * level**2 * along + along**2 + _DEVIATIONS**2 * on_noise * noise**2)
    return float(np.sqrt(level**2 + along + spread_of_power))


def leakage_at(lines: Lines, place: float, tones: Sequence[Line]) -> float:
    """Return the r.m.s. level that the tones' leakage alone would give at a place; 0 if the window isn't known."""
    if lines.spread is None or lines.cleared:
        return 0.0
    index = lobe_at(lines, place)
    leaked = sum((float(np.sum((t.level * lines.spread(index - t.place)) ** 2)) for t in tones), 0.0)
    return float(np.sqrt(leaked / np.sum(lines.spread(index - place) ** 2)))


def uncertainty_of(noise: float, leak: float) -> float:
    """Return the expanded uncertainty of a line's r.m.s. level (k = 2).

    Notes
    -----
    GUM, JCGM 100:2008, from memory. Half of the noise of power N in one line lies in phase with it, and a lobe takes in
    up to 1.4 times as much, n Σw⁴ (Σw)² / (Σw²)³. Leakage of level L lies in phase or against it: U = 2/√3 · L.
    """
    return float(np.hypot(2 * np.sqrt(_LOBE_NOISE * noise / 2), 2 / np.sqrt(3) * leak))
