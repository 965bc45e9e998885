"""The edges and tops of a square wave: its periods overlaid, then read as a step response.

Terms follow IEEE Std 181 (from memory): the step goes from the level just before an edge to the level just after it,
both read from the flat parts extended to the edge; rise time is from 10 % to 90 % of the step; overshoot is in percent
of the step. Tilt is the fall of a flat part over half a period, in percent of its initial height above the wave's
middle: for one pole at f_L it is 1 − exp(−π f_L/f), or about π f_L/f (circuit theory; handbooks, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from reviewkit.model.arrays import Array
from reviewkit.signal.flat_parts import SETTLED, UNSETTLED, Flat, NotSquare, flat_part, powers

FEWEST_PERIODS = 2
FEWEST_SAMPLES_IN_RISE = 3.0  # with fewer, the edge is as much the capture's as the unit's
MOST_BETWEEN = 0.12  # of the time away from both levels: one pole needs nine time constants a half to settle by then
SETTLING, SETTLING_RINGING = 5.5, 10.0  # rise times in half a period, without and with overshoot
MOST_NOISE = 0.03  # of the step
MOST_ASYMMETRY = 0.05  # of a period, between its halves and a half
MOST_JITTER = 0.02  # of a period
_HYSTERESIS = 0.15  # of the step, either side of its middle
_FINENESS = 16  # most points per sample at which the overlaid periods are read
_FEWEST_NEAR = 6
_WINDOW = 0.04  # of the step, either side of 10 % and 90 %
_BASE = 0.005  # of the step: a point so near a level says nothing about the edge's shape
_K = 2.0  # coverage factor


class Figure(NamedTuple):
    """A value with its expanded uncertainty (k = 2)."""

    value: float
    uncertainty: float


@dataclass(frozen=True, eq=False)
class Step:
    """A square wave as read. Times in s, levels in the waveform's unit; `overshoot`, `tilt` and `noise` in percent.

    `base`, `top`: the levels just before and just after a rising edge; `low_s`, `high_s`: where it passes 10 % and
    90 %, from its middle. `noise`: r.m.s. `samples_in_rise`: the number of samples within the rise. `time_s`, `wave`:
    one period, its rising edge's middle at 0.
    """

    frequency_hz: float
    base: float
    top: float
    low_s: float
    high_s: float
    rise_s: Figure
    samples_in_rise: float
    overshoot: Figure
    tilt: Figure
    noise: float
    time_s: Array
    wave: Array


def read_square(samples: Array, rate_hz: float) -> Step:
    """Read rise time, overshoot and tilt of a square wave of at least two periods.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced, in any unit.
    rate_hz : float
        The sample rate.

    Returns
    -------
    Step
        The step response with its figures.

    Raises
    ------
    NotSquare
        If it can't be read as a square wave; the message gives the reason.
    """
    low, high = _two_levels(samples)
    rising, falling, width = _edges(samples, low, high)
    period, first, half = _clock(rising, falling, len(samples))
    at, wave, count = _laid_over(samples, period, first)
    phase = at % period
    rounding = _quantum(samples) / 12**0.5 / count**0.5
    upper = flat_part(phase, wave, 3 * width, half - 3 * width, high - low, rounding)
    lower = flat_part(phase - half, wave, 3 * width, period - half - 3 * width, high - low, rounding)
    base, top = lower.at(period - half)[0], upper.at(0.0)[0]
    step = top - base
    noise = max(upper.noise, lower.noise) / step  # of a point that is the mean of `count` samples

    shape = (wave - base) / step
    low_at, high_at = _passes(at, shape, 0.1, noise), _passes(at, shape, 0.9, noise)
    rise = high_at.value - low_at.value
    # the capture's own share: its rise is 0.35 over half the sample rate, and rises add as squares
    own = 0.7**2 / (2 * rise)
    expanded = float(np.sqrt(low_at.uncertainty**2 + high_at.uncertainty**2 + own**2))
    over = (wave - upper.at(at)) / step
    tops = _overshoot(at[at > 0], over[at > 0], upper.start, noise)
    middle = float(np.mean([upper.at(0.0)[0], upper.at(half)[0], lower.at(0.0)[0], base]))
    if half < (SETTLING_RINGING if tops.value else SETTLING) * rise:
        raise NotSquare(UNSETTLED)
    falls = _tilt(upper, half, middle), _tilt(lower, period - half, middle)
    return Step(
        frequency_hz=rate_hz / period,
        base=base,
        top=top,
        low_s=low_at.value / rate_hz,
        high_s=high_at.value / rate_hz,
        rise_s=Figure(rise / rate_hz, expanded / rate_hz),
        samples_in_rise=rise,
        overshoot=Figure(100 * tops.value, 100 * tops.uncertainty),
        tilt=Figure(50 * sum(f.value for f in falls), 50 * float(np.hypot(falls[0].uncertainty, falls[1].uncertainty))),
        noise=100 * noise * count**0.5,
        time_s=at / rate_hz,
        wave=wave,
    )


def _two_levels(samples: Array) -> tuple[float, float]:
    """Return the two levels, roughly; refuse a waveform that doesn't stay at two."""
    lowest, highest = np.quantile(samples, (0.01, 0.99))
    middle = (lowest + highest) / 2
    above = samples > middle
    if not highest > lowest or above.all() or not above.any():
        raise NotSquare("there is no wave in it, only one level")
    low, high = float(np.median(samples[~above])), float(np.median(samples[above]))
    quarter = (high - low) / 4
    between = float(np.mean((samples > low + quarter) & (samples < high - quarter)))
    if between > MOST_BETWEEN:
        raise NotSquare(
            f"it spends {100 * between:.0f} % of its time between its two levels, so its edges do not settle, or it is "
            "another waveform; use a square wave of a lower frequency"
        )
    return low, high


def _edges(samples: Array, low: float, high: float) -> tuple[Array, Array, float]:
    """Return where the wave passes its middle upwards and downwards, and roughly an edge's length, all in samples."""
    middle, reach = (low + high) / 2, _HYSTERESIS * (high - low)
    side = np.where(samples > middle + reach, 1, np.where(samples < middle - reach, -1, 0))
    known = np.flatnonzero(side)
    turns = np.flatnonzero(np.diff(side[known]))
    places: dict[int, list[float]] = {1: [], -1: []}
    for last, new in zip(known[turns], known[turns + 1], strict=True):
        part = samples[last : new + 1] - middle
        i = int(np.flatnonzero(np.sign(part[1:]) != np.sign(part[0]))[0])
        places[int(side[new])].append(last + i + part[i] / (part[i] - part[i + 1]))
    width = float(np.median(known[turns + 1] - known[turns])) if len(turns) else 1.0
    return np.array(places[1]), np.array(places[-1]), width


def _clock(rising: Array, falling: Array, count: int) -> tuple[float, float, float]:
    """Return the period, the first rising edge and the time from a rising to a falling edge, in samples.

    They are a least-squares fit over all edges. Raise NotSquare if there are fewer than two periods, or if the edges
    aren't regular.
    """
    steps = np.concatenate((np.diff(rising), np.diff(falling)))
    period = float(np.median(steps)) if len(steps) else np.inf
    if (count + 0.5) / period < FEWEST_PERIODS:
        raise NotSquare("it holds fewer than two full periods; capture more of it")
    halves = falling[:, None] - rising[None, :]
    half = float(np.median(halves[np.abs(halves / period - 0.5) < 0.5])) if halves.size else 0.0
    edges = np.concatenate((rising, falling - half))
    number = np.round((edges - rising[0]) / period)
    rows = np.column_stack((number, np.ones(len(edges)), np.arange(len(edges)) >= len(rising)))
    found = np.linalg.lstsq(rows, np.concatenate((rising, falling)), rcond=None)[0]
    stray = np.abs(rows @ found - np.concatenate((rising, falling)))
    period, first, half = (float(value) for value in found)
    if float(np.max(stray)) > MOST_JITTER * period:
        raise NotSquare("its edges are not evenly spaced; capture one steady square wave")
    if abs(half / period - 0.5) > MOST_ASYMMETRY:
        raise NotSquare(f"it is high for {100 * half / period:.0f} % of its period: a pulse, not a square wave")
    return period, first, half


def _laid_over(samples: Array, period: float, first: float) -> tuple[Array, Array, float]:
    """Overlay all periods.

    Return the times from the rising edge's middle (−1/4 to 3/4 of a period, in samples, rising), the wave at these
    times, and the number of samples averaged in each point.
    """
    at = (np.arange(len(samples)) - first + period / 4) % period
    width = 1.0 / min(_FINENESS, max(1, int(len(samples) / period)))
    # cells are centred on the samples of the first period, so rounding doesn't split a period of whole samples
    cell = np.round((at - at[0]) / width).astype(int)
    cell -= int(cell.min())
    members = np.bincount(cell)
    there = members > 0
    time = np.bincount(cell, at)[there] / members[there] - period / 4
    wave = np.bincount(cell, samples)[there] / members[there]
    return time, wave, float(np.mean(members[there]))


def _tilt(flat: Flat, length: float, middle: float) -> Figure:
    """Return the fall from one edge to the next relative to the initial height above the middle, as a ratio."""
    begin, end = flat.at(np.array([0.0, length]))
    difference = np.diff(powers(np.array([0.0, length]) / flat.length, len(flat.coefficients) - 1), axis=0)[0]
    expanded = _K * float(np.hypot(np.sqrt(difference @ flat.spread @ difference), SETTLED * abs(begin - middle)))
    return Figure(float((begin - end) / (begin - middle)), expanded / abs(float(begin - middle)))


def _passes(at: Array, shape: Array, level: float, noise: float) -> Figure:
    """Return where the rising edge passes a share of the step, in samples from its middle.

    Time is fitted over level through the points near it, or, if they are few, through the nearest on the edge. Points
    that are still at a level are left out: they show that the edge hadn't begun, not how it runs. `noise`: of a point,
    relative to the step.
    """
    middle = int(np.argmin(np.abs(at)))
    under, over = np.flatnonzero(shape[: middle + 1] < level), np.flatnonzero(shape[middle:] >= level)
    if not len(under) or not len(over):
        raise NotSquare(UNSETTLED)
    before = int(under[-1]) if level < 0.5 else max(middle + int(over[0]) - 1, 0)
    below = np.flatnonzero(shape[:before] < level - _WINDOW)
    above = np.flatnonzero(shape[before + 1 :] > level + _WINDOW)
    near = slice(int(below[-1]) + 1 if len(below) else 0, before + 1 + int(above[0]) if len(above) else len(at))
    if near.stop - near.start >= _FEWEST_NEAR:
        return _time_at(at[near], shape[near] - level, noise)
    pair = slice(before, before + 2)
    straight = float(np.interp(level, shape[pair], at[pair]))
    around = np.arange(max(before - 1, 0), min(before + 5, len(at)))
    around = around[(shape[around] > _BASE) & (shape[around] < 1 - _BASE)]
    rising = [i for n, i in enumerate(around) if n == 0 or shape[i] > np.max(shape[around[:n]])][:4]
    gap = float(at[before + 1] - at[before])
    found, doubt = straight, gap
    if len(rising) > 1:
        curve = np.polynomial.Polynomial.fit(shape[rising], at[rising], len(rising) - 1)
        found = float(np.clip(curve(level), at[before], at[before + 1]))
        if before in rising:
            doubt = abs(found - straight)
    per_level = gap / float(shape[before + 1] - shape[before])
    return Figure(found, float(np.hypot(doubt, _K * noise * per_level)))


def _time_at(at: Array, off: Array, noise: float) -> Figure:
    """Return the time at which a piece of an edge reaches its level (`off` is 0): a least-squares cubic in level."""
    rows = powers(off / _WINDOW, 3)
    inverse = np.linalg.pinv(rows.T @ rows)
    found = inverse @ rows.T @ at
    scatter = float(np.sum((at - rows @ found) ** 2)) / max(len(at) - 4, 1)
    variance = max(scatter, (noise / _WINDOW * float(found[1])) ** 2)
    return Figure(float(found[0]), _K * float(np.sqrt(variance * inverse[0, 0])))


def _overshoot(at: Array, over: Array, until: float, noise: float) -> Figure:
    """Return the wave's rise above its flat part before that has settled, as a ratio of the step; 0 if there is none.

    `over`: the wave less the flat part, from the edge on. The peak is the crest of a curve fitted to its upper half.
    """
    here = at <= max(until, float(at[0]))
    peak = int(np.argmax(over[here]))
    if over[peak] <= max(5 * noise, 5 * SETTLED):
        return Figure(0.0, max(_K * noise, SETTLED))
    low = np.flatnonzero(over[:peak] < over[peak] / 2)
    high = np.flatnonzero(over[peak:] < over[peak] / 2)
    first, last = int(low[-1]) + 1 if len(low) else 0, peak + int(high[0]) if len(high) else len(over)
    crest = slice(max(min(first, peak - 2), 0), max(last, peak + 3))
    x, y = at[crest] - at[peak], over[crest]
    curve = np.polynomial.Polynomial.fit(x, y, min(4, len(x) - 1))
    top = float(np.max(curve(np.linspace(x[0], x[-1], 1001))))
    scatter = float(np.std(y - curve(x))) if len(x) > _FEWEST_NEAR else (top - float(np.max(y)))
    return Figure(top, float(np.sqrt((_K * noise) ** 2 * min(1.0, 5 / len(x)) + scatter**2 + SETTLED**2)))


def _quantum(samples: Array) -> float:
    """Return the smallest step between two samples: an export's rounding, or a converter's step."""
    levels = np.unique(samples[:100_000])
    return float(np.min(np.diff(levels))) if len(levels) > 1 else 0.0
