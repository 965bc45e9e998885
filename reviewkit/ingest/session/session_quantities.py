"""Values of session.toml that carry a unit. Each function returns the value in its base unit or raises ValueError.

A message begins with what is there and ends with what to write; the caller puts the key before it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any, NamedTuple

from reviewkit.ingest.session.session_values import NUMBER, text, written
from reviewkit.model.units import (
    EXAMPLES,
    UNITS,
    UnitError,
    column_unit,
    last_digit,
    normalised,
    read_quantity,
    scaled,
    split_quantity,
    unit_of,
)

MOST_HELD_S = 600.0
_LARGEST, _SMALLEST = 1e12, 1e-15  # in the base unit
_PLUS_MINUS = re.compile(r"^\s*(?:±|\+/-|\+-)\s*")


class Drive(NamedTuple):
    """The level a capture was made at: one of the two as written."""

    watts: float | None
    volts: float | None


class Volts(NamedTuple):
    """A meter's reading, and what one step of the last digit written is worth."""

    volts: float
    step: float


def quantity(base: str, *, sign: str = "positive") -> Callable[[Any], float]:
    """A reader of a value with its unit, converted to `base`. `sign`: "positive" or "any"."""
    example = EXAMPLES.get(base, f"1 {base}")

    def read(value: Any) -> float:
        bare = isinstance(value, (int, float)) and not isinstance(value, bool)
        if bare or (isinstance(value, str) and NUMBER.fullmatch(normalised(value).strip())):
            # the base unit, never a prefix: a bare 1000 is likelier hertz than kilohertz
            unit = "ohm" if base == "Ω" else base
            raise ValueError(f'{written(value)} has no unit; write "{written(value).strip(chr(34)).strip()} {unit}"')
        if not isinstance(value, str):
            raise ValueError(f'{written(value)} is no value with a unit; write for example "{example}"')
        try:
            result = read_quantity(value, base)
        except UnitError as error:
            raise ValueError(with_remedy(str(error), example)) from None
        _check_size(result, value, f'write for example "{example}"')
        if sign == "positive" and not result > 0:
            remedy = f'write "{normalised(value).strip().lstrip("-")}"' if result else f'write for example "{example}"'
            raise ValueError(f"{written(value)} is not above zero; {remedy}")
        return result

    return read


def _check_size(result: float, value: Any, remedy: str) -> None:
    """Raise ValueError for what is far from any measurement: its square may be no number any more, or zero."""
    if not abs(result) <= _LARGEST:
        raise ValueError(f"{written(value)} is too large; {remedy}")
    if 0 < abs(result) < _SMALLEST:
        raise ValueError(f"{written(value)} is too small; {remedy}")


def with_remedy(message: str, example: str) -> str:
    """A message of the units' table, with an example where it names no remedy yet."""
    return message if "; write " in message or "(write " in message else f'{message}; write for example "{example}"'


def without_sign(value: Any) -> Any:
    """A text without a leading ±, anything else as it is: "±0.5 dB" means the same as "0.5 dB" here."""
    return _PLUS_MINUS.sub("", value) if isinstance(value, str) else value


def plus_minus_db(value: Any) -> float:
    """Half the width of an interval in dB: "0.1 dB" or "±0.1 dB"."""
    return quantity("dB")(without_sign(value))


def hold(value: Any) -> float:
    """Return how long a card stands in its clip, in s. Raises ValueError if no clip is that long."""
    seconds = quantity("s")(value)
    if seconds > MOST_HELD_S:
        raise ValueError(f'{written(value)} is longer than a card stands; write at most "{MOST_HELD_S:g} s"')
    return seconds


def load(value: Any) -> float:
    """A load in Ω, infinite for "open"."""
    if isinstance(value, str) and value.strip().casefold() == "open":
        return math.inf
    try:
        return quantity("Ω")(value)
    except ValueError as error:
        raise ValueError(f'{error}, or "open"' if str(error).endswith('"') else str(error)) from None


def drive(value: Any) -> Drive:
    """The level of a capture: a power or a voltage."""
    remedy = 'write a power or a voltage, for example "5 W" or "2.83 V"'
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        raise ValueError(f"{written(value)} has no unit; {remedy}")
    if not isinstance(value, str):
        raise ValueError(f"{written(value)} is no level; {remedy}")
    try:
        amount, unit = split_quantity(value)
    except UnitError as error:
        raise ValueError(f"{error}; {remedy}") from None
    if not unit:
        raise ValueError(f"{written(value)} has no unit; {remedy}")
    known = unit_of(unit)
    if known is None or known.base not in ("W", "V"):
        raise ValueError(f"{written(value)} is no power and no voltage; {remedy}")
    result = scaled(amount, known.factor)
    _check_size(result, value, remedy)
    if not result > 0:
        raise ValueError(f"{written(value)} is not above zero; {remedy}")
    return Drive(result, None) if known.base == "W" else Drive(None, result)


def band(value: Any) -> tuple[float, float]:
    """Two frequencies, the lower one first, in Hz."""
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(f'{written(value)} is no band; write two frequencies: ["20 Hz", "20 kHz"]')
    low, high = (quantity("Hz")(edge) for edge in value)
    if not low < high:
        raise ValueError(f'{written(value)} does not rise; write the lower frequency first: ["20 Hz", "20 kHz"]')
    return low, high


def tones(value: Any) -> tuple[float, float]:
    """The two tones of intermodulation, the lower one first, in Hz."""
    if not isinstance(value, list) or len(value) != 2:
        remedy = 'write their two frequencies: ["60 Hz", "7 kHz"]'
        raise ValueError(f"{written(value)} is no pair of tones; {remedy}")
    low, high = (quantity("Hz")(edge) for edge in value)
    if not low < high:
        raise ValueError(f'{written(value)} does not rise; write the lower tone first: ["60 Hz", "7 kHz"]')
    return low, high


def within(value: Any) -> tuple[float, float]:
    """A tolerance in dB as (low, high): "0.5 dB" is ±0.5 dB; two values are the limits below and above."""
    if not isinstance(value, list):
        half = plus_minus_db(value)
        return -half, half
    remedy = 'write the limit below and the one above: ["-1 dB", "+0 dB"]'
    if len(value) != 2:
        raise ValueError(f"{written(value)} is no pair of limits; {remedy}")
    low, high = (quantity("dB", sign="any")(limit) for limit in value)
    if not (low <= 0 <= high and low < high):
        raise ValueError(f"{written(value)} does not hold zero between its limits; {remedy}")
    return low + 0.0, high + 0.0  # "-0 dB" becomes plain zero


def loads(value: Any) -> tuple[float, ...]:
    """The loads of a two-load reading, in Ω, all different."""
    if not isinstance(value, list) or len(value) < 2:
        raise ValueError(f'{written(value)} is no list of loads; write at least two: ["open", "8 ohm"]')
    ohms = tuple(load(item) for item in value)
    if len(set(ohms)) != len(ohms):
        raise ValueError(f'{written(value)} names a load twice; write different ones: ["open", "8 ohm"]')
    return ohms


def readings(value: Any) -> tuple[Volts, ...]:
    """A channel's voltages, one per load, with the meter's step."""
    if not isinstance(value, list) or not value:
        raise ValueError(f'{written(value)} is no list of voltages; write one per load: ["12.71 V", "12.46 V"]')
    return tuple(_reading(item) for item in value)


def _reading(value: Any) -> Volts:
    volts = quantity("V")(value)
    factor = UNITS[split_quantity(value)[1]].factor
    return Volts(volts, scaled(last_digit(value), factor))


def unit_word(value: Any) -> str:
    """The unit of a column, as written; it must be in the table of units."""
    word = text(value)
    if column_unit(word) is None:
        raise ValueError(f'{written(value)} is no unit that is known; write for example "kHz", "dBV" or "%"')
    return normalised(word).strip()
