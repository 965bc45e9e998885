"""Values of session.toml that carry a unit.

A reader returns the value in its base unit or raises ValueError: what is wrong with it, and what to write instead. The
caller puts the key and the value before it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from reviewkit.ingest.session.session_values import with_remedy
from reviewkit.model.level import LINEAR_UNITS, Level
from reviewkit.model.level import UNITS as UNITS_OF_LEVELS
from reviewkit.model.units import (
    COLUMN_UNITS,
    EXAMPLES,
    UNITS,
    last_digit,
    normalised,
    read_quantity,
    scaled,
    single_unit,
    split_quantity,
    split_single,
    unit_of,
)

MOST_HELD_S = 600.0
_LATEST_S = 86_400.0  # in a recording
_LARGEST, _SMALLEST = 1e12, 1e-15  # in the base unit: beyond, its square may be no number any more, or zero
_PLUS_MINUS = re.compile(r"^\s*(?:±|\+/-|\+-)\s*")


class RatedLevel(NamedTuple):
    """The level of a rating: a power, or another."""

    power_w: float | None
    level: Level | None


class TwoLoads(NamedTuple):
    """Each channel's voltages, one per load, and what one step of the last digit written is worth."""

    volts: dict[str, tuple[float, ...]]
    volts_step: dict[str, float]


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueError("is not a value with a unit")
    return str(value)


def quantity_in(base: str, *, signed: bool = False) -> Callable[[Any], float]:
    """Return a reader of a value with its unit, converted to `base`; unless `signed`, it must be above zero."""

    def read(value: Any) -> float:
        try:
            text = _text(value)
            result = read_quantity(text, base)
            if abs(result) > _LARGEST:
                raise ValueError("is too large")
            if base == "s" and result > MOST_HELD_S:
                raise ValueError(f'is longer than a card may stay on screen; write at most "{MOST_HELD_S:g} s"')
            if 0 < abs(result) < _SMALLEST:
                raise ValueError("is too small")
            if result < 0 and not signed:
                raise ValueError(f'is not above zero; write "{normalised(text).strip().lstrip("-")}"')
            if not result and not signed:
                raise ValueError("is not above zero")
        except ValueError as error:
            raise ValueError(with_remedy(str(error), f'"{EXAMPLES.get(base, f"1 {base}")}"')) from None
        return result + 0.0  # "-0 dB" becomes plain zero

    return read


def read_plus_minus_db(value: Any) -> float:
    """Return half the width of an interval in dB: "0.1 dB" and "±0.1 dB" are the same."""
    return quantity_in("dB")(_PLUS_MINUS.sub("", value) if isinstance(value, str) else value)


def read_times(value: Any) -> tuple[float, float]:
    """Return a time in the recordings before and after, s: one for both, or a pair.

    Raises
    ------
    ValueError
        If it isn't one time or a pair of them.
    """
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2:
        raise ValueError('is not a pair of times; write the one before and the one after: ["2.5 s", "4 s"]')
    return _read_time(pair[0]), _read_time(pair[1])


def _read_time(value: Any) -> float:
    try:
        seconds = read_quantity(_text(value), "s")
    except ValueError as error:
        raise ValueError(with_remedy(str(error), '"2.5 s"')) from None
    if not 0 <= seconds <= _LATEST_S:
        raise ValueError('is not a time in a recording; write for example "2.5 s"')
    return seconds


def read_load(value: Any) -> float:
    """Return a load in Ω, infinite for "open".

    Raises
    ------
    ValueError
        If it isn't a resistance above zero.
    """
    if isinstance(value, str) and value.strip().casefold() == "open":
        return math.inf
    try:
        return quantity_in("Ω")(value)
    except ValueError as error:
        raise ValueError(f'{error}, or "open"' if str(error).endswith('"') else str(error)) from None


def read_level(value: Any) -> Level:
    """Return a level: a power, a voltage, dBFS, dBf, dB SPL, VU, nWb/m, cm/s, or dB relative to a reference.

    Raises
    ------
    ValueError
        If it has no unit or another one, if it is above full scale, or if it is in dB without a reference.
    """
    text, _, reference = (part.strip() for part in _text(value).partition(" re "))
    number, unit = split_quantity(text)
    known = single_unit(unit)
    base = known.base if known else ""
    if not unit:
        raise ValueError("has no unit")
    if base == "dB" and not reference:
        raise ValueError('is relative to nothing; write for example "-20 dB re 250 nWb/m"')
    if known is None or base not in UNITS_OF_LEVELS or base == "%" or (reference and base != "dB"):
        raise ValueError("is neither a power nor a voltage")
    if unit_of(unit):
        level = quantity_in(base, signed=base not in LINEAR_UNITS)(text)
    else:
        level = scaled(number, known.factor)
        if (base in LINEAR_UNITS and level <= 0) or abs(level) > _LARGEST:
            raise ValueError('is not a level; write for example "65 dBf" or "250 nWb/m"')
    if base == "dBFS" and level > 0:
        raise ValueError('is above full scale; write for example "0 dBFS" or "-60 dBFS"')
    return Level(level, base, reference=reference)


def read_rated_level(value: Any) -> RatedLevel:
    """Return the level of a rating."""
    level = read_level(value)
    return RatedLevel(level.watts, None) if level.unit == "W" else RatedLevel(None, level)


def read_tolerance(value: Any, nominal: float, unit: str) -> tuple[float, float]:
    """Return what a tolerance of percent or dB allows about a nominal value, in the value's unit.

    Raises
    ------
    ValueError
        If it isn't a percentage or dB above zero, if it is a percentage of dB, or if it allows every value.
    """
    remedy = 'write for example "1 dB"' if unit == "dB" else 'write for example "10 %" or "1 dB"'
    try:
        amount, word = split_quantity(_PLUS_MINUS.sub("", _text(value)))
    except ValueError:
        raise ValueError(f"is not a tolerance; {remedy}") from None
    known = unit_of(word) if word else None
    if known is None or not amount > 0 or known.base not in ("dB", "%") or (unit == "dB" and known.base == "%"):
        raise ValueError(f"is not a tolerance; {remedy}")
    amount = scaled(amount, known.factor)
    if unit == "dB":
        return nominal - amount, nominal + amount
    if known.base == "dB":
        return nominal * 10 ** (-amount / 20), nominal * 10 ** (amount / 20)
    if amount >= 100:
        raise ValueError(f"allows everything; {remedy}")
    return nominal * (1 - amount / 100), nominal * (1 + amount / 100)


def read_within(value: Any) -> tuple[float, float]:
    """Return a tolerance in dB as (low, high): "0.5 dB" is ±0.5 dB; two values are the limits below and above.

    Raises
    ------
    ValueError
        If it isn't a tolerance, or if zero doesn't lie between two limits.
    """
    if not isinstance(value, list):
        half = read_plus_minus_db(value)
        return -half, half
    remedy = 'write the limit below and the one above: ["-1 dB", "+0 dB"]'
    if len(value) != 2:
        raise ValueError(f"is not a pair of limits; {remedy}")
    low, high = (quantity_in("dB", signed=True)(limit) for limit in value)
    if not (low <= 0 <= high and low < high):
        raise ValueError(f"does not have zero between its limits; {remedy}")
    return low, high


def read_reference_frequency(value: Any) -> float | tuple[float, float]:
    """Return what a response is relative to: a frequency in Hz, or the band whose mean it is.

    Raises
    ------
    ValueError
        If it is neither; the message says what to write.
    """
    if not isinstance(value, list):
        return quantity_in("Hz")(value)
    if len(value) != 2:
        raise ValueError('is neither a frequency nor a band; write "315 Hz" or ["300 Hz", "3 kHz"]')
    low_hz, high_hz = check_rising([quantity_in("Hz")(each) for each in value])
    return low_hz, high_hz


def read_signal_level(value: Any) -> Level:
    """Return the level of a captured tone, V or dBFS, or the flux of a tape.

    Raises
    ------
    ValueError
        If it is in another unit.
    """
    level = read_level(value)
    if level.unit not in ("V", "dBFS", "nWb/m"):
        raise ValueError('is no voltage, dBFS or flux; write for example "245 mV", "-12 dBFS" or "250 nWb/m"')
    return level


def read_own(value: Any) -> tuple[float, str]:
    """Return a limit under a name of the maker's own: in its base unit, and that unit; a bare number has none.

    Raises
    ------
    ValueError
        If it isn't a number, or its unit isn't known.
    """
    try:
        text = _text(value)
        number, unit = split_single(_PLUS_MINUS.sub("", text))
    except ValueError as error:
        raise ValueError(with_remedy(str(error), '"0.1 %"')) from None
    if abs(number) > _LARGEST:
        raise ValueError('is too large; write for example "0.1 %"')
    if 0 < abs(number) < _SMALLEST:
        raise ValueError('is too small; write for example "0.1 %"')
    return number + 0.0, unit.base


def single_in(base: str, example: str) -> Callable[[Any], float]:
    """Return a reader of a value above zero in a unit that only single values have, converted to `base`."""

    def read(value: Any) -> float:
        number, unit = read_own(value)
        if unit != base or number <= 0:
            raise ValueError(f'must be above zero, in a unit such as that of "{example}"')
        return number

    return read


def unit_of_own(value: Any) -> str:
    """Return the unit of a limit under an own name; "" if it can't be read, which is noted already."""
    try:
        return read_own(value)[1]
    except ValueError:
        return ""


def read_own_within(value: Any) -> tuple[float, float, str]:
    """Return a tolerance about zero as low, high and their unit: "0.5 %" is ±0.5 %; or the limits below and above.

    Raises
    ------
    ValueError
        If it doesn't hold zero.
    """
    if not isinstance(value, list):
        half, unit = read_own(value)
        if half <= 0:
            raise ValueError('is not above zero; write for example "±0.5 %"')
        return -half, half, unit
    remedy = 'write the limit below and the one above: ["-1 %", "+2 %"]'
    if len(value) != 2:
        raise ValueError(f"is not a pair of limits; {remedy}")
    (low, unit), (high, other) = map(read_own, value)
    if unit != other:
        raise ValueError(f"has limits in two units; {remedy}")
    if not (low <= 0 <= high and low < high):
        raise ValueError(f"does not hold zero between its limits; {remedy}")
    return low, high, unit


def read_own_tolerance(value: Any, nominal: float) -> tuple[float, float]:
    """Return what a tolerance allows about a nominal value under an own name: of percent, or in the value's unit.

    Raises
    ------
    ValueError
        If it isn't above zero.
    """
    amount, unit = read_own(value)
    if amount <= 0:
        raise ValueError('is not above zero; write for example "5 %"')
    about = abs(nominal) * amount / 100 if unit == "%" else amount
    return nominal - about, nominal + about


def check_rising(pair: Sequence[float]) -> tuple[float, ...]:
    """Return two frequencies, the lower one first.

    Raises
    ------
    ValueError
        If the first isn't the lower one.
    """
    if not pair[0] < pair[1]:
        raise ValueError("does not begin with the lower frequency")
    return tuple(pair)


def check_different(loads: Sequence[float]) -> tuple[float, ...]:
    """Return the loads of a two-load reading, all different.

    Raises
    ------
    ValueError
        If two are equal.
    """
    if len(set(loads)) != len(loads):
        raise ValueError('names a load twice; write different ones: ["open", "8 ohm"]')
    return tuple(loads)


def read_volts(value: Any) -> tuple[float, float]:
    """Return a meter's reading in V, and what one step of its last digit is worth."""
    return quantity_in("V")(value), scaled(last_digit(value), UNITS[split_quantity(value)[1]].factor)


def join_channels(channels: Mapping[str, Sequence[tuple[float, float]]]) -> TwoLoads:
    """Return the readings of all channels; a channel is as coarse as its coarsest reading."""
    return TwoLoads(
        {channel: tuple(volts for volts, _ in readings) for channel, readings in channels.items()},
        {channel: max(step for _, step in readings) for channel, readings in channels.items()},
    )


def read_unit(word: str) -> str:
    """Return the unit of a column as written; it must be in the table of units.

    Raises
    ------
    ValueError
        If it isn't in the table.
    """
    if unit_of(word, COLUMN_UNITS) is None:
        raise ValueError('is not a known unit; write for example "kHz", "dBV" or "%"')
    return normalised(word).strip()
