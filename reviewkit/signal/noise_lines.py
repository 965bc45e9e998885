"""Noise power in a band, from an idle waveform or an exported spectrum, and the lines that stand out of it.

A waveform is averaged over overlapping Kaiser-windowed stretches (Welch 1967, from memory). Each spectral line
represents the power in its own width, so a band that ends inside a line takes a share of it (Harris 1978: the sum of
the lines over the window's noise bandwidth). A line that stands out is removed from its lobe and counted whole at its
middle: inside the band or outside it, and weighted there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reviewkit.signal.mains_lines import MAINS_HZ, is_multiple
from reviewkit.signal.windows import kaiser, lobe, noise_bandwidth_of, samples, spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Mask = NDArray[np.bool_]

# side lobes about 105 dB down, lobes of five lines: the remains of DC and drift end below 20 Hz
_BETA = 14.0
_HALF = 5
_LONGEST_S, _SHORTEST_S, _STRETCHES = 2.0, 1.0, 4
_STANDS_OUT = 10.0  # 10 dB above the noise around it
_EDGE = 1.005  # half a percent is the rounding of an export
_ENDS_S = 0.05
_FAR_ABOVE = 1e4  # 40 dB
# mains and rectifier ripple are strongest at their first few multiples; 1 kHz, the twentieth of 50 Hz, is a test tone
_RIPPLE_ENDS_HZ = 400.0

Weight = Callable[[Any], Any]


@dataclass(frozen=True)
class DiscreteLine:
    """A line that stands out: the frequency of its middle, and its mean square, V²."""

    frequency_hz: float
    power: float


@dataclass(frozen=True, eq=False)
class Noise:
    """An idle spectrum, separated into noise and lines. `frequency_hz`, `power`: shape (n,), evenly spaced, the mean
    square (V²) in each spectral line's own width without `lines`. `reach_hz`: the range in which the data is usable; DC
    and drift lie below it. `seconds`: the length of record that has the same scatter. `window`: of an exported
    spectrum.
    """

    frequency_hz: Array
    power: Array
    lines: tuple[DiscreteLine, ...]
    spacing_hz: float
    reach_hz: tuple[float, float]
    seconds: float
    window: str = ""

    def band(self, low_hz: float, high_hz: float) -> tuple[float, float] | None:
        """Return the part of a band that the data reaches; None if it reaches none of it."""
        low = low_hz if self.reach_hz[0] <= low_hz * _EDGE else self.reach_hz[0]
        high = high_hz if self.reach_hz[1] >= high_hz / _EDGE else self.reach_hz[1]
        return (low, high) if low < high else None

    def lines_in(self, band_hz: tuple[float, float]) -> list[DiscreteLine]:
        """Return the lines that stand out inside a band, or on its edge."""
        # the middle of a weak line is known to a fraction of the spacing
        slack = self.spacing_hz / 4
        return [line for line in self.lines if band_hz[0] - slack <= line.frequency_hz <= band_hz[1] + slack]


def of_waveform(values: Array, rate_hz: float) -> Noise:
    """Return the noise and the lines of an idle waveform.

    Parameters
    ----------
    values : Array
        In V, shape (n,), evenly spaced. DC and drift stay below `reach_hz`.
    rate_hz : float
        The sample rate.

    Returns
    -------
    Noise
        The averaged spectrum.
    """
    n = len(values)
    stretch = min(n, round(rate_hz * min(_LONGEST_S, max(_SHORTEST_S, n / rate_hz / _STRETCHES))))
    steps = -(-(n - stretch) // max(1, stretch // 4))
    starts = np.linspace(0, n - stretch, steps + 1).round().astype(int)
    window = kaiser(stretch, _BETA)
    total = np.zeros(stretch // 2 + 1)
    seen = np.zeros(n)
    ramp = np.linspace(-1.0, 1.0, stretch)
    steepness = float(np.sum(ramp**2))
    for start in starts:
        piece = values[start : start + stretch]
        piece = piece - np.mean(piece)
        piece = piece - ramp * (np.sum(piece * ramp) / steepness)
        total += np.abs(np.fft.rfft(piece * window)) ** 2
        seen[start : start + stretch] += window**2
    power = 2 / (len(starts) * stretch * float(np.sum(window**2))) * total
    spacing = rate_hz / stretch
    frequency = np.arange(len(power), dtype=float) * spacing
    # the scatter of a mean square weighted over time by `seen`
    seconds = float(np.sum(seen) ** 2 / np.sum(seen**2) / rate_hz)
    reach = ((_HALF - 0.5) * spacing, rate_hz / 2)
    return _separate_lines(frequency, power, _HALF, reach, seconds)


def of_spectrum(frequency_hz: Array, level_v: Array, window: str) -> Noise:
    """Return the noise and the lines of an exported spectrum.

    The number of averages isn't known, so `seconds` is that of a single record.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), evenly spaced.
    level_v : Array
        V r.m.s. of a tone at its peak line, shape (n,).
    window : str
        A name in windows.COSINE_SUMS.

    Returns
    -------
    Noise
        The spectrum.
    """
    spacing = float(frequency_hz[-1] - frequency_hz[0]) / (len(frequency_hz) - 1)
    half = lobe(window)
    # a whole lobe or further from 0 Hz, DC leaves nothing: the window's spread is zero on these lines
    reach = (
        max(float(frequency_hz[0]) - spacing / 2, (half - 0.5) * spacing),
        float(frequency_hz[-1]) + spacing / 2,
    )
    squared = samples(window, 1024) ** 2
    seconds = float(np.sum(squared) ** 2 / np.sum(squared**2)) / len(squared) / spacing
    return _separate_lines(
        frequency_hz, np.square(level_v) / noise_bandwidth_of(window), half, reach, seconds, window=window
    )


def _separate_lines(
    frequency_hz: Array, power: Array, half: int, reach_hz: tuple[float, float], seconds: float, window: str = ""
) -> Noise:
    spacing = float(frequency_hz[-1] - frequency_hz[0]) / (len(frequency_hz) - 1)
    first = int(np.searchsorted(frequency_hz, reach_hz[0]))
    frequency_hz, power = frequency_hz[first:], power[first:].copy()
    floor = _floor(power, half)
    peaks = np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:])) + 1
    peaks = peaks[power[peaks] > _STANDS_OUT * floor[peaks]]
    free = np.convolve(np.isin(np.arange(len(power)), peaks), np.ones(2 * half + 1), "same")[: len(power)] < 0.5
    taken = np.zeros(len(power), dtype=bool)
    lines = []
    for peak in peaks[np.argsort(-power[peaks])]:
        if taken[peak]:
            continue
        lobe_of = np.arange(max(0, peak - half), min(len(power), peak + half + 1))
        lobe_of = lobe_of[~taken[lobe_of]]
        _follow(floor, lobe_of, frequency_hz, power, free, 2 * half)
        excess = power[lobe_of] - floor[lobe_of]
        total = float(np.sum(excess))
        if total > 0:
            lines.append(DiscreteLine(float(np.dot(frequency_hz[lobe_of], excess)) / total, total))
            taken[lobe_of] = True
    power[taken] = floor[taken]
    return Noise(
        frequency_hz,
        power,
        tuple(sorted(lines, key=lambda line: line.frequency_hz)),
        spacing,
        reach_hz,
        seconds,
        window,
    )


def _follow(floor: Array, lobe_of: Array, frequency_hz: Array, power: Array, free: Mask, beside: int) -> None:
    """Put into `floor`, under a line, the straight line on log axes between the noise on either side of its lobe.

    Noise that is steep, as rumble is, differs too much over a stretch of many lines. Where another line is too near,
    the floor stays as it is.
    """
    left, right = (
        np.arange(max(0, lobe_of[0] - beside), lobe_of[0]),
        np.arange(lobe_of[-1] + 1, lobe_of[-1] + 1 + beside),
    )
    sides = [side[free[side]] for side in (left, right[right < len(power)])]
    if any(len(side) < beside // 2 for side in sides) or not all(power[side].all() for side in sides):
        return
    places = [float(np.mean(np.log(frequency_hz[side]))) for side in sides]
    levels = [float(np.log(np.mean(power[side]))) for side in sides]
    slope = (levels[1] - levels[0]) / (places[1] - places[0])
    floor[lobe_of] = np.exp(levels[0] + slope * (np.log(frequency_hz[lobe_of]) - places[0]))


def _floor(power: Array, half: int) -> Array:
    """Return the mean noise power around each spectral line, without what stands out, in the same shape."""
    size = min(len(power), 12 * half)
    count = len(power) // size
    starts = np.arange(count) * size
    centres = starts + (size - 1) / 2
    # the lower quartile isn't affected by the lines; for noise of a single record it is -ln(3/4) of the mean
    quarter = np.partition(power[: count * size].reshape(count, size), size // 4, axis=1)[:, size // 4]
    floor = np.interp(np.arange(len(power)), centres, quarter / -np.log(0.75))
    for _ in range(3):
        out = np.convolve(power > _STANDS_OUT * floor, np.ones(2 * half + 1), "same")[: len(power)] > 0.5
        free = np.add.reduceat((~out).astype(float), starts)
        held = np.add.reduceat(np.where(out, 0.0, power), starts)
        there = free > 0
        if not there.any():
            return np.asarray(floor)
        floor = np.interp(np.arange(len(power)), centres[there], held[there] / free[there])
    return np.asarray(floor)


def _shares(noise: Noise, band_hz: tuple[float, float]) -> Array:
    """Return the share of each spectral line's width that lies inside the band, 0 … 1."""
    spacing, shares = noise.spacing_hz, np.zeros_like(noise.frequency_hz)
    near = slice(*np.searchsorted(noise.frequency_hz, (band_hz[0] - spacing, band_hz[1] + spacing)))
    low = np.maximum(noise.frequency_hz[near] - spacing / 2, band_hz[0])
    high = np.minimum(noise.frequency_hz[near] + spacing / 2, band_hz[1])
    shares[near] = np.clip((high - low) / spacing, 0.0, 1.0)
    return shares


def band_volts(noise: Noise, band_hz: tuple[float, float], weight: Weight = np.ones_like) -> float:
    """Return V r.m.s. in a band that the data reaches. `weight`: frequency in Hz -> ratio of amplitudes."""
    between = np.sum(_shares(noise, band_hz) * noise.power * weight(noise.frequency_hz) ** 2)
    standing = sum(line.power * float(weight(line.frequency_hz)) ** 2 for line in noise.lines_in(band_hz))
    return float(np.sqrt(between + standing))


def average_volts(values: Array, rate_hz: float, band_hz: tuple[float, float], weight: Weight) -> float:
    """Return what a meter that responds to the average shows, V: π/√8 of the mean size, which is a sine's r.m.s. value.

    Parameters
    ----------
    values : Array
        In V, shape (n,), evenly spaced, longer than a fifth of a second.
    rate_hz : float
        The sample rate.
    band_hz : tuple[float, float]
        The lower and upper edge.
    weight : Weight
        Frequency in Hz -> ratio of amplitudes.

    Returns
    -------
    float
        Of noise 1.05 dB less than its r.m.s. value, 20 lg(2/√π).
    """
    values = values - np.linspace(values[0], values[-1], len(values))
    hz = np.fft.rfftfreq(len(values), 1 / rate_hz)
    inside = (hz >= band_hz[0]) & (hz <= band_hz[1])
    heard = np.fft.irfft(np.fft.rfft(values) * np.where(inside, weight(hz), 0.0), len(values))
    end = round(_ENDS_S * rate_hz)  # what the record's ends ring like
    return float(np.mean(np.abs(heard[end : len(heard) - end])) * np.pi / np.sqrt(8))


def scatter(noise: Noise, band_hz: tuple[float, float], weight: Weight = np.ones_like) -> float:
    """Return the relative standard deviation of `band_volts` for a record of this length.

    Lines that stand out are steady and don't scatter.

    Notes
    -----
    ½ √(∫S² df / T) / ∫S df; for an even density over a bandwidth B that is 1 / (2 √(B T)) (a Type A share, JCGM
    100:2008, from memory).
    """
    density = np.convolve(noise.power, np.ones(9) / 9, "same")[: len(noise.power)] / noise.spacing_hz
    weighted = density * weight(noise.frequency_hz) ** 2
    spread_of_power = np.sqrt(np.sum(_shares(noise, band_hz) * weighted**2) * noise.spacing_hz / noise.seconds)
    volts = band_volts(noise, band_hz, weight)
    return float(spread_of_power / volts**2 / 2) if volts else 0.0


def third_octaves_db(noise: Noise, band_hz: tuple[float, float]) -> tuple[Array, Array]:
    """Return the third-octave bands that the data reaches in full, as the steps of a curve.

    Parameters
    ----------
    noise : Noise
        The spectrum.
    band_hz : tuple[float, float]
        The lowest and highest frequency at which a band may be centred.

    Returns
    -------
    tuple[Array, Array]
        x in Hz and y in dB relative to 1 V, both shape (2 · bands,).

    Notes
    -----
    Bands are centred at 1000 · 10^(n/10) Hz (IEC 61260-1, from memory).
    """
    x: list[float] = []
    y: list[float] = []
    for n in range(round(10 * np.log10(band_hz[0] / 1000)), round(10 * np.log10(band_hz[1] / 1000)) + 1):
        edges = 1000 * 10 ** ((n - 0.5) / 10), 1000 * 10 ** ((n + 0.5) / 10)
        if noise.band(*edges) == edges and (volts := band_volts(noise, edges)) > 0:
            x += [max(edges[0], band_hz[0]), min(edges[1], band_hz[1])]
            y += [float(20 * np.log10(volts))] * 2
    return np.array(x), np.array(y)


def hum_volts(noise: Noise, mains_hz: float, band_hz: tuple[float, float]) -> float:
    """Return V r.m.s. of the mains line and its multiples up to the twentieth, if they stand out; 0 if none does."""
    return float(np.sqrt(sum(line.power for line in _mains_lines(noise, mains_hz, band_hz))))


def strongest_hum(noise: Noise, mains_hz: float, band_hz: tuple[float, float]) -> tuple[float, float]:
    """Return the strongest of those lines: the multiple of the mains that it is, Hz, and its V r.m.s."""
    line = max(_mains_lines(noise, mains_hz, band_hz), key=lambda line: line.power)
    return round(line.frequency_hz / mains_hz) * mains_hz, float(np.sqrt(line.power))


def _mains_lines(noise: Noise, mains_hz: float, band_hz: tuple[float, float]) -> list[DiscreteLine]:
    return [line for line in noise.lines_in(band_hz) if _is_mains(line.frequency_hz, mains_hz, noise)]


def _is_mains(frequency_hz: float, mains_hz: float, noise: Noise) -> bool:
    # the mains wanders by a few parts in a thousand
    return is_multiple(frequency_hz, mains_hz, max(0.005 * frequency_hz, noise.spacing_hz / 2))


def lone_tone(noise: Noise, band_hz: tuple[float, float], mains_hz: float | None) -> float | None:
    """Return the frequency of a tone that, with its harmonics, is over 40 dB above all else in the band; else None.

    An idle output has no such tone, so this is a capture with the signal on. Mains lines and their ripple don't count.
    """
    strongest = max(noise.lines_in(band_hz), key=lambda line: line.power, default=None)
    if strongest is None:
        return None
    tone_hz = strongest.frequency_hz
    mains = (mains_hz,) if mains_hz else MAINS_HZ
    if tone_hz < _RIPPLE_ENDS_HZ and any(_is_mains(tone_hz, hz, noise) for hz in mains):
        return None

    def leaked(frequency_hz: Array) -> Array:
        """Return what the tone itself leaves there through the spectrum's window, V², and 10 dB for its image."""
        if not noise.window:
            return np.zeros(len(frequency_hz))
        offset = (frequency_hz - tone_hz) / noise.spacing_hz
        sides = [spread(noise.window, offset + step) ** 2 for step in (-0.5, 0.0, 0.5)]
        return np.asarray(10 * strongest.power * np.maximum.reduce(sides) / noise_bandwidth_of(noise.window))

    hidden = noise.power <= leaked(noise.frequency_hz)
    rest = float(np.sum(_shares(noise, band_hz) * np.where(hidden, 0.0, noise.power)))
    others = [line for line in noise.lines_in(band_hz) if line is not strongest]
    behind = leaked(np.array([line.frequency_hz for line in others]))
    for line, leak in zip(others, behind, strict=True):
        order = max(1, round(line.frequency_hz / tone_hz))
        harmonic = abs(line.frequency_hz - order * tone_hz) <= max(1, order) * noise.spacing_hz / 2
        if not harmonic and line.power > leak:
            rest += line.power
    return tone_hz if strongest.power > _FAR_ABOVE * rest else None
