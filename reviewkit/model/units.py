"""The closed table of units, and the parser of quantities written by hand. An unknown unit is an error."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar

from reviewkit.model.errors import shortened

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

# Spellings are case-sensitive on purpose: mW and MW differ by a factor of a thousand million.


@dataclass(frozen=True)
class UnitSpelling:
    """The meaning of one spelling: the unit that values are converted to, and the factor."""

    base: str
    factor: float


_BASE_SPELLINGS: dict[tuple[str, float], tuple[str, ...]] = {
    ("Hz", 1.0): ("Hz", "hz", "HZ", "hertz", "Hertz"),
    ("Hz", 1e3): ("kHz", "khz", "KHz", "KHZ"),
    ("Hz", 1e6): ("MHz",),
    ("s", 1.0): ("s", "S", "sec", "Sec", "secs", "second", "seconds", "Seconds"),
    ("s", 1e-3): ("ms", "msec"),
    ("s", 1e-6): ("us", "µs", "usec", "µsec", "microsecond", "microseconds"),
    ("V", 1.0): ("V", "v", "Vrms", "VRMS", "V rms", "Volt", "volt", "volts", "Volts"),
    ("V", 1e-3): ("mV", "mVrms", "mV rms", "millivolt", "millivolts"),
    ("V", 1e-6): ("uV", "µV", "uVrms", "µVrms"),
    ("W", 1.0): ("W", "w", "watt", "watts", "Watt", "Watts"),
    ("W", 1e-3): ("mW",),
    ("Ω", 1.0): ("Ω", "ohm", "ohms", "Ohm", "Ohms", "OHM"),
    ("Ω", 1e3): ("kΩ", "kohm", "kOhm", "kohms", "kOhms", "kilohm", "kilohms"),
    ("Ω", 1e-3): ("mΩ", "mohm", "mOhm", "mohms", "mOhms"),
    ("%", 1.0): ("%", "percent", "pct", "Percent"),
    ("%", 1e-4): ("ppm", "PPM"),
    ("%", 1e2): ("ratio", "Ratio"),
    ("dB", 1.0): ("dB", "db", "DB", "decibel", "decibels", "Decibel", "Decibels"),
    ("dBr", 1.0): ("dBr", "dBR", "dbr"),
    ("dBV", 1.0): ("dBV", "dbV"),
    ("dBu", 1.0): ("dBu", "dBU", "dbu"),
    ("dBW", 1.0): ("dBW", "dBw"),
    ("dBm", 1.0): ("dBm", "dbm"),
    ("dBFS", 1.0): ("dBFS", "dBfs", "dbfs"),
    ("A", 1.0): ("A", "amp", "amps"),
    ("A", 1e-3): ("mA",),
}
UNITS: dict[str, UnitSpelling] = {
    spelling: UnitSpelling(base, factor)
    for (base, factor), spellings in _BASE_SPELLINGS.items()
    for spelling in spellings
}

# Units of single values only: of parts, test points and gear. No column of a file and no key of session.toml with a
# fixed unit may have them.
_SINGLE_SPELLINGS: dict[tuple[str, float], tuple[str, ...]] = {
    ("F", 1.0): ("F",),
    ("F", 1e-3): ("mF",),
    ("F", 1e-6): ("µF",),
    ("F", 1e-9): ("nF",),
    ("F", 1e-12): ("pF",),
    ("H", 1.0): ("H",),
    ("H", 1e-3): ("mH",),
    ("H", 1e-6): ("µH",),
    ("Ω", 1e6): ("MΩ", "Mohm", "Mohms", "MOhm", "MOhms", "megohm", "megohms"),
    ("V", 1e3): ("kV",),
    ("A", 1e-6): ("µA",),
    ("s", 1e-9): ("ns", "nsec", "nanoseconds"),
    ("s", 1e-12): ("ps", "picoseconds"),
    ("h", 1.0): ("h", "hour", "hours"),
    ("°C", 1.0): ("°C", "C", "degC", "deg C"),
    ("°", 1.0): ("°", "deg", "degree", "degrees"),
    ("dBf", 1.0): ("dBf",),
    ("dB SPL", 1.0): ("dB SPL", "dBSPL", "dB (SPL)"),
    ("VU", 1.0): ("VU", "dB VU"),
    ("rpm", 1.0): ("rpm", "r.p.m.", "RPM", "r/min"),
    ("g", 1.0): ("g", "grams", "gram"),
    ("mN", 1.0): ("mN",),
    ("m", 1.0): ("m", "metre", "metres", "meter", "meters"),
    ("m", 1e-2): ("cm",),
    ("m", 1e-3): ("mm",),
    ("m", 1e-6): ("µm",),
    ("nWb/m", 1.0): ("nWb/m",),
    ("cm/s", 1.0): ("cm/s", "cm/sec", "cm/sec."),
    ("V/µs", 1.0): ("V/µs", "V/µsec", "V/microsecond"),
    ("V/m", 1.0): ("V/m",),
    ("V/m", 1e-3): ("mV/m",),
    ("V/m", 1e-6): ("µV/m",),
    ("%/°", 1.0): ("%/°", "%/deg", "%/degree"),
    # 1e-6 cm/dyn is 1 µm/mN (dyn: 1e-5 N)
    ("µm/mN", 1.0): ("µm/mN", "mm/N", "x 10-6 cm/dyne", "x 10-6 cm/dyn"),
}
SINGLE_UNITS: dict[str, UnitSpelling] = UNITS | {
    each: UnitSpelling(base, factor)
    for (base, factor), spellings in _SINGLE_SPELLINGS.items()
    for spelling in spellings
    for each in {spelling, spelling.replace("µ", "u")}
}
_POWER_OF_TEN = re.compile(r"[×x]\s?10(?:\^?-6|⁻⁶)")

# A column may be in peak volts, read as those of a sine; no value in session.toml may.
_PEAK_SPELLINGS: dict[float, tuple[str, ...]] = {
    0.5**0.5: ("Vp", "Vpk", "Vpeak", "V pk", "V peak"),
    0.125**0.5: ("Vpp", "Vp-p", "Vpk-pk", "V pp", "V p-p", "V pk-pk", "V peak-to-peak"),
}
PEAK_UNITS: dict[str, UnitSpelling] = {
    prefix + spelling: UnitSpelling("V", factor * part)
    for factor, spellings in _PEAK_SPELLINGS.items()
    for spelling in spellings
    for prefix, part in (("", 1.0), ("m", 1e-3))
}

# Only a column has those in peak volts and those of what was set for each row; the position of a knob is a bare number.
COLUMN_UNITS: dict[str, UnitSpelling] = {
    **{spelling: SINGLE_UNITS[spelling] for spelling in ("dBf", "nWb/m")},
    **dict.fromkeys(("dBµV", "dBuV"), UnitSpelling("dBµV", 1.0)),
    **dict.fromkeys(("position", "positions"), UnitSpelling("position", 1.0)),
    **PEAK_UNITS,
    **UNITS,
}

# Both Unicode micro signs and both ohm signs are in use; typographic minus and several kinds of space come from
# spreadsheets and from our own outputs pasted back.
SAME_CHARACTER = str.maketrans(
    {"\u03bc": "µ", "\u2126": "Ω", "\u2212": "-", "\u2013": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "}
)
_MIXED = re.compile(r"\s*(\d{1,4}) +([12])/([23])(?![\d/])")
_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")

EXAMPLES = {
    "W": "40 W",
    "V": "2.83 V",
    "Hz": "1 kHz",
    "Ω": "8 ohm",
    "%": "0.05 %",
    "dB": "0.5 dB",
    "s": "6 s",
}


_LONGEST_VALUE = 200  # characters; anything longer isn't a value, and would only be slow to parse

_SYMBOLS: dict[tuple[str, float], str] = {
    key: next((each for each in spellings if "µ" in each), spellings[0])
    for key, spellings in (_BASE_SPELLINGS | _SINGLE_SPELLINGS).items()
}


Scaled = TypeVar("Scaled", float, "Array")


class UnitError(ValueError):
    """A value that can't be read; the message says what to write instead."""


def normalised(text: str) -> str:
    """Replace look-alike characters (micro, ohm, minus, spaces) with the ones used here."""
    return text.translate(SAME_CHARACTER)


def unit_of(text: str, table: Mapping[str, UnitSpelling] = UNITS) -> UnitSpelling | None:
    """Return the unit of a spelling, or None if it isn't in the table."""
    return table.get(normalised(text).strip())


def single_unit(text: str) -> UnitSpelling | None:
    """Return the unit that a spelling of a single value means, or None if it is in neither table."""
    return SINGLE_UNITS.get(_POWER_OF_TEN.sub("x 10-6", normalised(text)).strip())


def canonical(text: str) -> str:
    """Return a unit as it is shown, however it was spelled: "ohms" -> "Ω", "uF" -> "µF"; an unknown one as it is."""
    known = single_unit(text)
    return symbol_of(known) if known else text


def symbol_of(unit: UnitSpelling) -> str:
    """Return the usual spelling of a unit."""
    return _SYMBOLS[unit.base, unit.factor]


def read_quantity(text: str, base: str) -> float:
    """Parse a value with its unit, such as "20 kHz", and convert it.

    Parameters
    ----------
    text : str
        The value as written.
    base : str
        Unit to convert to: Hz, s, V, W, Ω, %, dB ….

    Returns
    -------
    float
        The value in that unit.

    Raises
    ------
    UnitError
        If the unit is missing, unknown, or of another kind.
    """
    value, unit = split_quantity(text)
    text = shortened(text, 60)
    example = f"{text.strip()} {'ohm' if base == 'Ω' else base}"
    if not unit:
        raise UnitError(f'"{text}" has no unit; write "{example}"')
    known = unit_of(unit)
    if known is None:
        usual = EXAMPLES.get(base, f"1 {base}")
        raise UnitError(f'"{text}": the unit "{shortened(unit, 20)}" is not known; write for example "{usual}"')
    if known.base != base:
        raise UnitError(
            f'"{text}" is in {known.base} where {base} is needed; write for example "{EXAMPLES.get(base, "1 " + base)}"'
        )
    return scaled(value, known.factor)


def split_quantity(text: str) -> tuple[float, str]:
    """Split a value written by hand into number and unit.

    Raises
    ------
    UnitError
        If it doesn't begin with a number.
    """
    match = _QUANTITY.match(_without_fraction(normalised(text))) if len(text) <= _LONGEST_VALUE else None
    text = shortened(text, 60)
    if not match:
        hint = " (write the decimal mark as a point)" if "," in text else ""
        raise UnitError(f'"{text}" is not a number with a unit{hint}')
    if match[2].startswith(","):
        raise UnitError(f'"{text}" is not a number with a unit (write the decimal mark as a point, no thousands mark)')
    value = float(match[1])
    if not math.isfinite(value):
        raise UnitError(f'"{text}" is too large to be a value')
    return value, match[2]


def _without_fraction(text: str) -> str:
    """Return a text with its whole number and thirds or halves as one number: "33 1/3 rpm" is 33.33… rpm."""
    plain = text.replace("⅓", " 1/3").replace("⅔", " 2/3").replace("½", " 1/2")
    match = _MIXED.match(plain)
    return (
        f"{float(int(match[1]) + Fraction(int(match[2]), int(match[3]))):.17g}{plain[match.end() :]}" if match else text
    )


def split_single(text: str) -> tuple[float, UnitSpelling]:
    """Split a single value into its number in the base unit, and the unit; "" is the base of a bare number.

    Raises
    ------
    UnitError
        If it isn't a number, or its unit isn't known.
    """
    value, unit = split_quantity(text)
    known = single_unit(unit) if unit else UnitSpelling("", 1.0)
    if known is None:
        usual = "such as %, dB, V, W, Hz, s, dBf, rpm, g or °"
        raise UnitError(
            f'"{shortened(text, 60)}": the unit "{shortened(unit, 20)}" is not known; write a known one, {usual}'
        )
    return scaled(value, known.factor), known


def scaled(value: Scaled, factor: float) -> Scaled:
    """Return value × factor, rounded once: 0.1 ms is 0.0001 s and not 0.00010000000000000002 s.

    Parameters
    ----------
    value : float or ndarray of float64
        A value or several, of any shape. For a factor of 1 the result is the array itself.
    factor : float
        Of a unit.

    Returns
    -------
    float or ndarray of float64
        Same shape.
    """
    if factor == 1:
        return value
    if factor > 1:
        return value * factor
    return value / (1 / factor) if (1 / factor).is_integer() else value * factor


def last_digit(text: str) -> float:
    """Return the worth of the last digit written, in the number's own unit: "12.71 V" → 0.01."""
    match = re.match(r"\s*[+-]?\d*(?:\.(\d*))?", normalised(text))
    decimals = len(match[1]) if match and match[1] else 0
    return float(Fraction(1, 10**decimals))
