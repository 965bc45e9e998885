"""A steady tone in a captured waveform: its frequency, level, harmonics, noise and hum.

The capture doesn't need a whole number of cycles. It is seen through a Kaiser window whose lobes just don't overlap; a
tone's lines are then its amplitude times the window's closed-form spread, so a least-squares fit over the lobe gives
frequency, amplitude and phase. Fundamental and DC are subtracted in time, harmonics in their lobes, and the remainder
is noise, by Parseval's sum. Distortion is relative to the fundamental (THD_F), THD+N relative to the total.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.hum import find_hum, seconds_needed
from reviewkit.signal.lobes import fit_line, project, refit, subtract
from reviewkit.signal.lone_lines import lone_lines, nearest_line, noise_floor
from reviewkit.signal.residual import LINES_TAKEN, fitted_noise_lines, residual_power, without_drift
from reviewkit.signal.tone import EDGE, Tone, band_for
from reviewkit.signal.wander import hann_lines, wander_of
from reviewkit.signal.windows import kaiser, noise_bandwidth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Complex = NDArray[np.complex128]

FEWEST_CYCLES = 10
_ROUNDED = 0.999  # a generator and a sample clock may be off by a tenth of a percent
# side lobes 220 dB down, below the rounding of any capture; lobes of 9 lines separate tones from 18 cycles up
_WIDEST_BETA = 28.0
_SHORT = 1 << 16  # samples
_LEAST_WAVERING = 0.005  # of THD+N
_WAVERS = "the tone wavers by {:.2g} %; that is speed and flutter, not distortion"
_DRIFT_HZ, _DRIFT_BELOW_TONE = 18.0, 0.6  # anything slower is subtracted before noise is read
# anything else in the fundamental's lobe: 50 dB down it moves the level by 0.03 dB
_MOST_BESIDE = 1e-5
_MOST_BESIDE_HARMONICS = 1e-3  # of everything but the fundamental
_ABOVE_NOISE = 30.0
_MOST_LEFT = 12.0  # times the noise in a harmonic's first fit


class TooShort(ValueError):
    """Error for a record with too few cycles to separate the tone from its harmonics."""


class NotOneTone(ValueError):
    """Error for a record whose figures would mean nothing: no tone, two, or one that wanders. The message says
    which.
    """


class Wavers(NotOneTone):
    """Error for a tone whose frequency wanders: speed and flutter, not distortion. The message says by how much."""


def analyse(
    samples: Array,
    rate_hz: float,
    mains_hz: float | None = None,
    near_hz: float | None = None,
    without_hz: Sequence[float] = (),
) -> Tone:
    """Analyse a captured tone.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.
    mains_hz : float | None
        The mains frequency; without it there is no hum.
    near_hz : float | None
        Where to look for the fundamental, if other tones may be present.
    without_hz : Sequence[float]
        Lines that count nowhere, nor does a harmonic that can't be separated from them.

    Returns
    -------
    Tone
        The tone's frequency, level, harmonics, noise and hum.

    Raises
    ------
    TooShort
        If there are fewer than ten cycles.
    Wavers
        If the tone's frequency wanders.
    NotOneTone
        If there isn't a single steady tone.
    """
    samples = samples[: _quick_length(len(samples))]
    lines = hann_lines(samples)
    rough = _rough_cycles(np.abs(lines), len(samples) / rate_hz, near_hz)
    try:
        tone = _analyse_steady(samples, rough, rate_hz, mains_hz, without_hz, alone=near_hz is None)
        # sidebands of so many radians are that far below the tone: they must be what its distortion seems to be
        apparent = tone.thd_plus_noise or 0.0
        if apparent > _LEAST_WAVERING and (wander := wander_of(lines, rough, apparent / 2)) is not None:
            raise Wavers(_WAVERS.format(100 * wander))
    except NotOneTone as other:
        if not isinstance(other, Wavers) and (wander := wander_of(lines, rough)) is not None:
            raise Wavers(_WAVERS.format(100 * wander)) from None
        raise
    return tone


def _analyse_steady(
    samples: Array, cycles: float, rate_hz: float, mains_hz: float | None, without_hz: Sequence[float], *, alone: bool
) -> Tone:
    """Analyse a tone of about so many cycles. `alone`: no other tones may be present."""
    n = len(samples)
    if cycles < FEWEST_CYCLES - 0.5:
        raise TooShort(f"the record holds {cycles:.1f} cycles; at least {FEWEST_CYCLES} are needed")
    beta = min(_WIDEST_BETA, np.pi * cycles / 2 * 0.97)
    half = int(beta / np.pi)
    window = kaiser(n, beta)
    index = np.arange(n, dtype=float)

    dc = float(np.sum(samples * window) / np.sum(window))
    rest = samples - dc
    cycles, fit = fit_line(_lines(rest, window), cycles, beta, half)
    amplitude = 0j
    # a second pass removes leakage between the fundamental, its image and DC; long records need only that one
    for _ in range(2 if beta == _WIDEST_BETA else 4):
        amplitude += fit
        rest = np.asarray(samples - dc - _wave(amplitude, cycles, index, n))
        step = float(np.sum(rest * window) / np.sum(window))
        dc += step
        rest -= step
        lines = _lines(rest, window)
        fit, drift = refit(lines, cycles, beta, half, amplitude)
        cycles += drift
    if cycles < FEWEST_CYCLES * _ROUNDED:
        raise TooShort(f"the record holds {cycles:.2f} cycles; at least {FEWEST_CYCLES} are needed")

    frequency = cycles * rate_hz / n
    band = band_for(frequency, rate_hz / 2)
    level = float(np.sqrt(2) * abs(amplitude))
    harmonics: dict[int, float] = {}
    foreign = _leave_out(lines, [hz * n / rate_hz for hz in without_hz], cycles, beta, half)
    taken = dict(foreign)
    for order in range(2, int(n / 2 / cycles) + 1):
        place = order * cycles
        if place + half >= n / 2:
            break
        if any(abs(place - other) < half for other in foreign):
            continue
        taken[place] = project(lines, place, beta, half)
        subtract(lines, place, beta, half, taken[place])
        if place * rate_hz / n <= band[1] * EDGE:
            harmonics[order] = float(np.sqrt(2) * abs(taken[place]))
    power = 2 * np.abs(lines) ** 2 / noise_bandwidth(window)

    undrifted = rest
    rest = without_drift(rest, min(_DRIFT_HZ * n / rate_hz, _DRIFT_BELOW_TONE * cycles), taken)
    frequencies = np.arange(len(lines)) * rate_hz / n
    inside = (frequencies >= band[0]) & (frequencies <= band[1])
    whole, left = residual_power(rest, cycles, taken)
    noise_held = dict.fromkeys(harmonics, fitted_noise_lines(n, beta))
    for order in harmonics:
        place = order * cycles
        # only if it is noise that the first fit left: a nearby line leaks into the view of the whole record
        if 2 * abs(left[place]) ** 2 <= _MOST_LEFT * noise_held[order] * _floor_at(power, place, half):
            harmonics[order] = float(np.sqrt(2) * abs(taken[place] + left[place]))
            noise_held[order] = LINES_TAKEN / 2
    # taking a tone out takes noise with it: given back as what the lines around hold, themselves less by their tones'
    places = [cycles, *(order * cycles for order in harmonics)]
    places += [place for place in foreign if place * rate_hz / n <= band[1]]
    floors = [_floor_at(whole, place, half) / (1 - LINES_TAKEN / cycles) for place in places]
    noise_power = float(np.sum(whole[inside])) + LINES_TAKEN * sum(floors)
    noise = float(np.sqrt(noise_power))
    # and each harmonic's level includes noise that is already counted
    counted = dict(zip(harmonics, np.multiply(list(noise_held.values()), floors[1 : 1 + len(harmonics)]), strict=True))
    own = {order: level**2 - counted[order] for order, level in harmonics.items()}
    rest_level = float(np.sqrt(max(0.0, noise_power + sum(own.values()))))
    _check_one(power, cycles, half, level, rate_hz / n, alone=alone)
    least = _MOST_BESIDE_HARMONICS * rest_level**2
    clouded = tuple(order for order in harmonics if _holds_more(power, order * cycles, half, least))
    if clouded:
        # what is in a harmonic's lobe counts once, with the harmonic
        clear = {
            place: peak for place, peak in taken.items() if place in foreign or round(place / cycles) not in clouded
        }
        together = float(np.sum(residual_power(rest, cycles, clear)[0][inside] - whole[inside])) + noise_power
        together -= LINES_TAKEN * sum(floors[1 + list(harmonics).index(order)] for order in clouded)
        apart = sum(power for order, power in own.items() if order not in clouded)
        rest_level = float(np.sqrt(max(0.0, together + apart)))
    hum = needs_s = None
    if mains_hz is not None:
        hum = find_hum(power, undrifted, rate_hz, mains_hz, cycles, half, list(taken), band[1])
        needs_s = seconds_needed(n / rate_hz, mains_hz)
    third = 3 * frequency <= band[1] * EDGE
    tone = Tone(frequency, level, band, harmonics, noise, rest_level, hum, third, dc, clouded, needs_s)
    return replace(tone, lone_hz=lone_lines(tone, frequencies, power, half, mains_hz))


def _leave_out(lines: Complex, places: Sequence[float], cycles: float, beta: float, half: int) -> dict[float, complex]:
    """Subtract the lines near these places, in place; return their exact places and their amplitudes."""
    found: dict[float, complex] = {}
    for named in places:
        if named + half >= len(lines) - 1:
            continue
        place, amplitude = fit_line(lines, nearest_line(np.abs(lines), named), beta, half)
        if abs(place - cycles) < 2 * half:
            raise NotOneTone("a line to be left out is the tone itself, or too near to it; correct without")
        subtract(lines, place, beta, half, amplitude)
        found[place] = amplitude
    return found


def without_fundamental(samples: Array, rate_hz: float, frequency_hz: float) -> tuple[Array, float]:
    """Subtract DC and the fundamental from a waveform.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.
    frequency_hz : float
        The fundamental.

    Returns
    -------
    tuple[Array, float]
        The remainder, shape (n,), and the fundamental's phase at sample 0 (of a sine, rad).
    """
    n = len(samples)
    angle = 2 * np.pi * frequency_hz / rate_hz * np.arange(n)
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(n)])
    weighted = basis * kaiser(n, min(_WIDEST_BETA, np.pi * frequency_hz * n / rate_hz / 2 * 0.97))
    sine, cosine, dc = np.linalg.solve(weighted @ basis.T, weighted @ samples)
    return samples - sine * basis[0] - cosine * basis[1] - dc, float(np.arctan2(cosine, sine))


def _quick_length(n: int) -> int:
    """Return the longest length up to n without large prime factors, for which a transform is quick.

    A short record is quick anyway and can't spare a cycle, so its length is left alone.
    """
    while n > _SHORT:
        rest = n
        for prime in (2, 3, 5, 7):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return n
        n -= 1
    return n


def _lines(samples: Array, window: Array) -> Complex:
    """Return the half-spectrum, scaled so that a tone of peak A gives A/2; phases relative to the record's middle."""
    lines = np.fft.rfft(samples * window) / np.sum(window)
    lines[1::2] *= -1
    return lines


def _rough_cycles(magnitude: Array, seconds: float, near_hz: float | None) -> float:
    """Return the cycles in a record to a fraction of a line, from the largest line above DC."""
    low, high = 3, len(magnitude) - 1
    if near_hz:
        low = max(low, int(near_hz * 0.8 * seconds))
        high = min(high, int(near_hz * 1.25 * seconds) + 2)
    if high <= low:
        return 0.0
    peak = low + int(np.argmax(magnitude[low:high]))
    if not magnitude[peak] > 0:
        return 0.0
    below, at, above = np.log(magnitude[peak - 1 : peak + 2] + 1e-300)
    curvature = below - 2 * at + above
    return float(peak + (0.5 * (below - above) / curvature if curvature < 0 else 0.0))


def _wave(amplitude: complex, cycles: float, index: Array, n: int) -> Array:
    """Return the tone in time, shape (n,): 2|a| cos(2π·cycles·(i − n/2)/n + arg a)."""
    return 2 * abs(amplitude) * np.cos(2 * np.pi * cycles * (index - n / 2) / n + np.angle(amplitude))


def _floor_at(power: Array, place: float, half: int) -> float:
    """Return the mean noise power per line around the lobe at a place."""
    return noise_floor(power, round(place) - half, round(place) + half + 1, half, first=half)


def _holds_more(power: Array, place: float, half: int, least: float) -> bool:
    """Return whether a lobe without its tone still has more than `least` and more than the noise around it."""
    low, high = max(half, round(place) - half), round(place) + half + 1
    held = float(np.sum(power[low:high]))
    return held > least and held > _ABOVE_NOISE * noise_floor(power, low, high, half, first=half) * (high - low)


def _check_one(power: Array, cycles: float, half: int, level: float, line_hz: float, *, alone: bool) -> None:
    """Raise NotOneTone unless there is a single steady tone. `power`: the remainder without it and its harmonics."""
    place, name = round(cycles), f"{cycles * line_hz:.5g} Hz"
    if level**2 < _ABOVE_NOISE * noise_floor(power, place - half, place + half + 1, half, first=half) * (2 * half + 1):
        raise NotOneTone("no tone stands out of the noise")
    if _holds_more(power, cycles, half, _MOST_BESIDE * level**2):
        near = f"{half * line_hz:.2g} Hz"
        raise NotOneTone(f"the tone at {name} wanders, or another is within {near} of it; capture a longer record")
    other = half + int(np.argmax(power[half:]))
    beside = float(np.sum(power[max(half, other - half) : other + half + 1]))
    if alone and beside > level**2 / 2 and power[other] > 0:
        raise NotOneTone(
            f"next to the tone at {name} there is another at {other * line_hz:.5g} Hz; is it another kind?"
        )
