"""The fixed scales of the cards: cards of one kind look alike across episodes, and before and after share one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.model.card import Axis, Trace
from reviewkit.model.digits import MINUS, trimmed
from reviewkit.model.quantities import hertz

_LADDER_DB = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 40.0)
_DIAL_HZ = (1, 10, 20, 100, 1000, 10_000, 20_000, 100_000, 1_000_000)


def dial(low_hz: float, high_hz: float) -> Axis:
    """Return the frequency scale: a ruler with ticks at 1 … 9 of each decade, numbered at the decades and the ends."""
    low, high = min(20.0, _rung_below(low_hz)), max(20_000.0, _rung_above(high_hz))
    ticks = [(float(f), hertz(f).replace(" kHz", "k").replace(" Hz", "")) for f in _DIAL_HZ if low <= f <= high]
    # 20 appears next to 10, and 20k next to 10k, only at an end of the scale
    ticks = [(f, text) for f, text in ticks if f not in (20.0, 20_000.0) or f in (low, high)]
    if ticks[0][0] > low:
        ticks.insert(0, (low, hertz(low).replace(" Hz", "")))
    if ticks[-1][0] < high:
        ticks.append((high, hertz(high).replace(" kHz", "k")))
    return Axis(low, high, "log", tuple(_apart(ticks)), "Hz", _ruled(low, high))


def harmonic_dial(tone_hz: float, highest_hz: float) -> Axis:
    """Return the frequency scale from below a tone to above its harmonics, numbered at 1, 2 and 5 of each decade."""
    low, high = _rung_below(tone_hz / 1.6), _rung_above(highest_hz * 1.1)
    ticks = tuple((f, hertz(f).replace(" kHz", "k").replace(" Hz", "")) for f in _ruled(low, high, (1, 2, 5)))
    return Axis(low, high, "log", ticks[-7:], "Hz", _ruled(low, high))


def dial_for(traces: Sequence[Trace]) -> Axis:
    """Return the frequency scale that holds all curves."""
    drawn = [trace for trace in traces if len(trace.x)]
    return dial(min((float(t.x[0]) for t in drawn), default=20.0), max((float(t.x[-1]) for t in drawn), default=20e3))


def _apart(ticks: list[tuple[float, str]]) -> list[tuple[float, str]]:
    """Leave out a number within a fifth of a decade of an end's."""
    low, high = ticks[0][0], ticks[-1][0]
    return [t for t in ticks if t[0] in (low, high) or (t[0] > low * 1.5 and t[0] < high / 1.5)]


def _rung_below(value: float) -> float:
    decade = 10.0 ** math.floor(math.log10(value * 1.001))
    return max(step * decade for step in (1, 2, 5) if step * decade <= value * 1.001)


def _rung_above(value: float) -> float:
    decade = 10.0 ** math.floor(math.log10(value * 0.999))
    return min(step * decade for step in (1, 2, 5, 10) if step * decade >= value * 0.999)


def _ruled(low: float, high: float, steps: Sequence[int] = range(1, 10)) -> tuple[float, ...]:
    """Return the steps of each decade that are between two values."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return tuple(step * 10.0**e for e in decades for step in steps if low <= step * 10.0**e <= high)


def decades(values: Sequence[float], unit: str, fewest: int = 2) -> Axis:
    """Return a vertical scale by decades that holds all values (> 0), at least `fewest` decades."""
    above_zero = [value for value in values if value > 0] or [0.1]
    low = math.floor(math.log10(min(above_zero)) + 1e-9)
    high = math.ceil(math.log10(max(above_zero)) - 1e-9)
    while high - low < fewest:
        low, high = (low - 1, high) if (high - low) % 2 == 0 else (low, high + 1)
    every = max(1, math.ceil((high - low) / 6))
    ticks = [(10.0**e, trimmed(10.0**e)) for e in range(low, high + 1, every)]
    return Axis(10.0**low, 10.0**high, "log", _with_unit(ticks, unit), unit)


def power_scale(values: Sequence[float]) -> Axis:
    """Return a horizontal power scale: logarithmic, a ruler like the frequency scale."""
    low, high = _rung_below(min(values)), _rung_above(max(values))
    ticks = [(value, trimmed(value)) for value in _ruled(low, high, (1, 2, 5))]
    if len(ticks) > 7:
        ticks = [t for t in ticks if f"{t[0]:e}"[0] == "1" or t[0] in (low, high)]
    if len(ticks) > 7:
        ticks = [*ticks[:1], *ticks[1:-1][:: math.ceil((len(ticks) - 2) / 5)], *ticks[-1:]]
    return Axis(low, high, "log", tuple(_apart(ticks)), "W", _ruled(low, high))


def around_zero(largest_db: float) -> Axis:
    """Return a vertical scale about 0 dB: the first step of the ladder that holds the largest deviation."""
    top = next((rung for rung in _LADDER_DB if largest_db <= rung), math.ceil(largest_db / 20) * 20.0)
    return _in_decibels(-top, top, top / 2)


def lopsided(lowest_db: float, highest_db: float) -> Axis:
    """Return a vertical scale for a response that falls much further than it rises: 5 dB above, whole steps below."""
    if max(-lowest_db, highest_db) <= 5:
        return around_zero(max(-lowest_db, highest_db))
    step = next(
        m * 10.0**e for e in range(10) for m in (1, 2, 5) if m * 10.0**e >= 5 and -lowest_db / (m * 10.0**e) <= 5
    )
    low = -max(step, math.ceil(-lowest_db / step) * step)
    high = max(step, math.ceil(highest_db / step) * step)
    axis = _in_decibels(low, high, step)
    return replace(axis, ticks=axis.ticks[-7:])


def twenties(values: Sequence[float]) -> Axis:
    """Return a vertical scale in steps of 20 dB that holds all values and spans at least two of them."""
    most = max(values)
    high = 0.0 if -2 < most <= 1 else math.ceil((most + 2) / 20) * 20.0
    low = min(high - 40.0, math.floor(min(values) / 20) * 20.0)
    step = 20.0 if (high - low) / 20 <= 6 else 40.0
    low = high - math.ceil((high - low) / step) * step
    return _in_decibels(low, high, step)


def turned(axis: Axis) -> Axis:
    """Return a scale of levels below zero as one of how far below: −60 to 0 dB as 0 to 60 dB."""
    ticks = [(-value, trimmed(-value)) for value, _ in reversed(axis.ticks)]
    return Axis(-axis.high, -axis.low, "linear", _with_unit(ticks, "dB"), "dB")


def ohms(values: Sequence[float]) -> Axis:
    """Return a vertical scale of impedance, logarithmic, numbered at 1, 2 and 5 of each decade."""
    low, high = _rung_below(min(values)), _rung_above(max(values))
    ticks = [(value, trimmed(value)) for value in _ruled(low, high, (1, 2, 5))]
    ticks = ticks if len(ticks) <= 7 else [tick for tick in ticks if f"{tick[0]:e}"[0] == "1"]
    return Axis(low, high, "log", _with_unit(ticks, "Ω"), "Ω")


def upward(largest: float, unit: str) -> Axis:
    """Return a vertical scale from zero: 1, 2 or 5 times a power of ten above the largest value."""
    top = _rung_above(largest)
    step = top / (4 if f"{top:e}"[0] in "24" else 5)
    ticks = [(i * step, trimmed(i * step)) for i in range(round(top / step) + 1)]
    return Axis(0.0, top, "linear", _with_unit(ticks, unit), unit)


def swing(largest: float, unit: str) -> Axis:
    """Return a vertical scale for a waveform: the same up and down, three numbers."""
    return swing_to(_rung_above(largest), unit)


def swing_to(top: float, unit: str) -> Axis:
    """Return a vertical scale from −`top` to `top`."""
    ticks = ((-top, f"{MINUS}{trimmed(top)}"), (0.0, "0"), (top, f"{trimmed(top)} {unit}"))
    return Axis(-top, top, "linear", ticks, unit)


def sides(name: str) -> Axis:
    """Return a scale for one channel against the other, the larger of the two from −1 to 1."""
    return Axis(-1.1, 1.1, "linear", ((-1.0, f"{MINUS}1"), (0.0, "0"), (1.0, f"1 {name}")), name)


def milliseconds(length_s: float) -> Axis:
    """Return a time scale from zero, in ms."""
    return _from_zero(length_s * 1000, "ms")


def seconds(length_s: float) -> Axis:
    """Return a time scale from zero to the end of a record, in s."""
    scale = _from_zero(length_s, "s")
    ticks = [tick for tick in scale.ticks if tick[0] < length_s - 0.9 * (scale.ticks[1][0] - scale.ticks[0][0])]
    return Axis(0.0, length_s, "linear", (*ticks, (length_s, trimmed(float(f"{length_s:.3g}")))), "s")


def _from_zero(top: float, unit: str) -> Axis:
    step = next(m * 10.0**e for e in range(-4, 40) for m in (1, 2, 5) if top / (m * 10.0**e) <= 5)
    values = [i * step for i in range(int(top / step + 1e-9) + 1)]
    return Axis(0.0, top, "linear", tuple((v, trimmed(v)) for v in values), unit, tuple(values))


def rates(low_hz: float, high_hz: float) -> Axis:
    """Return a horizontal scale of slow rates, numbered at the decades and the upper end."""
    powers = range(math.floor(math.log10(low_hz) + 1e-9), math.floor(math.log10(high_hz)) + 1)
    ticks = [(10.0**e, trimmed(10.0**e)) for e in powers if 10.0**e < high_hz / 3]
    return Axis(low_hz, high_hz, "log", (*ticks, (high_hz, trimmed(high_hz))), "Hz", _ruled(low_hz, high_hz))


def around_tone(reach_hz: float, tone_hz: float) -> Axis:
    """Return a horizontal scale of frequencies next to a tone, in Hz from it."""
    half = _rung_below(reach_hz)
    words = [(-half, f"{MINUS}{hertz(half)}"), (0.0, hertz(tone_hz, 5)), (half, f"+{hertz(half)}")]
    ticks = tuple((at, text.replace(" kHz", "k").replace(" Hz", "")) for at, text in words)
    return Axis(-reach_hz, reach_hz, "linear", ticks, "Hz", tuple(i * half / 4 for i in range(-5, 6)))


def along(low: float, high: float, unit: str) -> Axis:
    """Return a horizontal scale that holds a range, in parts of its whole steps, of which there are at most six."""
    step, parts = next(
        (m * 10.0**e, parts)
        for e in range(-9, 40)
        for m, parts in ((1, 5), (2, 2), (5, 5))
        if (high - low) <= 6 * m * 10.0**e
    )
    first, last = math.floor(parts * low / step), math.ceil(parts * high / step)
    minor = tuple(i * step / parts for i in range(first, max(last, first + 1) + 1))
    ticks = tuple(
        (minor[i - first], _signed(minor[i - first]).lstrip("+")) for i in range(first, last + 1) if i % parts == 0
    )
    return Axis(minor[0], minor[-1], "linear", ticks, unit, minor)


def _in_decibels(low: float, high: float, step: float) -> Axis:
    """Return a vertical scale with signed numbers."""
    values = [low + step * i for i in range(round((high - low) / step) + 1)]
    return Axis(low, high, "linear", _with_unit([(v, _signed(v)) for v in values], "dB"), "dB")


def _with_unit(ticks: Sequence[tuple[float, str]], unit: str) -> tuple[tuple[float, str], ...]:
    """Return ticks with the unit after the last number."""
    *others, (last, text) = ticks
    return (*others, (last, f"{text} {unit}"))


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{trimmed(value)}"
