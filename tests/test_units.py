"""The closed table of units. Prefixes after the SI (BIPM, SI brochure, 9th edition, table 7: from memory)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.model.units import (
    EXAMPLES,
    UNITS,
    UnitError,
    last_digit,
    normalised,
    read_quantity,
    scaled,
    split_quantity,
    unit_of,
)

PREFIXES = {"": 1.0, "k": 1e3, "M": 1e6, "m": 1e-3, "µ": 1e-6}
# every unit that a file or a session may use -> the unit it is converted to, and the factor
NAMED = {
    **{f"{prefix}Hz": ("Hz", PREFIXES[prefix]) for prefix in ("", "k", "M")},
    **{f"{prefix}s": ("s", PREFIXES[prefix]) for prefix in ("", "m", "µ")},
    **{f"{prefix}V": ("V", PREFIXES[prefix]) for prefix in ("", "m", "µ")},
    **{f"{prefix}W": ("W", PREFIXES[prefix]) for prefix in ("", "m")},
    **{f"{prefix}Ω": ("Ω", PREFIXES[prefix]) for prefix in ("", "k", "m")},
    **{name: (name, 1.0) for name in ("dB", "dBr", "dBFS", "dBV", "dBu", "dBW", "dBm")},
    "%": ("%", 1.0),
    "ppm": ("%", 1e-4),
    "ratio": ("%", 100.0),
}
SPELLINGS = {
    "ohm": "Ω",
    "ohms": "Ω",
    "Ohm": "Ω",
    "\u2126": "Ω",  # the ohm sign of older tables
    "\u03a9": "Ω",
    "kohm": "kΩ",
    "k\u2126": "kΩ",
    "mohm": "mΩ",
    "m\u2126": "mΩ",
    "us": "µs",
    "\u00b5s": "µs",
    "\u03bcs": "µs",
    "uV": "µV",
    "\u00b5V": "µV",
    "\u03bcV": "µV",
    "hz": "Hz",
    "hertz": "Hz",
    "khz": "kHz",
    "Vrms": "V",
    "volts": "V",
    "watts": "W",
    "sec": "s",
    "percent": "%",
    "dbu": "dBu",
    "dBfs": "dBFS",
}


def test_every_unit_is_known():
    for name in NAMED:
        base, factor = NAMED[name]
        assert unit_of(name) is not None, name
        assert (unit_of(name).base, unit_of(name).factor) == (base, pytest.approx(factor, rel=1e-15)), name
        assert read_quantity(f"2.5 {name}", base) == pytest.approx(2.5 * factor, rel=1e-15), name


SPELLINGS = SPELLINGS


def test_the_usual_spellings_are_the_same_unit():
    for spelling in SPELLINGS:
        assert unit_of(spelling) == unit_of(SPELLINGS[spelling]), spelling
        assert unit_of(f"  {spelling} ") == unit_of(spelling), spelling


@pytest.mark.parametrize("unknown", ["MW", "Mhz", "MV", "KV", "parsec", "dBA", "dB SPL", "", "Hz Hz", "m", "k"])
def test_what_is_not_in_the_table_is_not_guessed(unknown):
    assert unit_of(unknown) is None


def test_milli_and_mega_are_never_confused():
    assert unit_of("mW").factor == 1e-3
    assert unit_of("mΩ").factor == 1e-3
    assert unit_of("MHz").factor == 1e6
    assert not [s for s in UNITS if s.startswith("M") and UNITS[s].factor < 1]
    assert not [s for s in UNITS if s.startswith("m") and UNITS[s].factor > 1]


VALUES = [
    ("40 W", "W", 40.0),
    ("40W", "W", 40.0),
    (" 40  W ", "W", 40.0),
    ("250 mW", "W", 0.25),
    ("8 ohm", "Ω", 8.0),
    ("8 Ω", "Ω", 8.0),
    ("20 kHz", "Hz", 20_000.0),
    ("0.05 %", "%", 0.05),
    (".05%", "%", 0.05),
    ("-96 dB", "dB", -96.0),
    ("\u221296\u00a0dB", "dB", -96.0),
    ("+3 dB", "dB", 3.0),
    ("1e3 Hz", "Hz", 1000.0),
    ("5. V", "V", 5.0),
    ("0.1 ms", "s", 0.0001),
    ("0.3 mV", "V", 0.0003),
    ("300 ppm", "%", 0.03),
    ("0.0005 ratio", "%", 0.05),
]


def test_a_value_with_its_unit():
    for text, base, value in VALUES:
        assert read_quantity(text, base) == value, text


@pytest.mark.parametrize(
    ("text", "base", "said"),
    [
        ("40", "W", '"40" has no unit; write "40 W"'),
        ("8", "Ω", '"8" has no unit; write "8 ohm"'),
        ("-96", "dB", '"-96" has no unit; write "-96 dB"'),
        ("40 MW", "W", '"40 MW": the unit "MW" is not known; write for example "40 W"'),
        ("0.05 percents", "%", '"0.05 percents": the unit "percents" is not known; write for example "0.05 %"'),
        ("40 W", "V", '"40 W" is in W where V is needed; write for example "2.83 V"'),
        ("8 ohm", "Hz", '"8 ohm" is in Ω where Hz is needed; write for example "1 kHz"'),
        ("0.5 dBV", "dB", '"0.5 dBV" is in dBV where dB is needed; write for example "0.5 dB"'),
        ("loud", "dB", '"loud" is not a number with a unit'),
        ("", "W", '"" is not a number with a unit'),
        ("1e999 W", "W", '"1e999 W" is too large to be a value'),
        ("nan W", "W", '"nan W" is not a number with a unit'),
    ],
)
def test_a_message_says_what_to_write(text, base, said):
    with pytest.raises(UnitError) as raised:
        read_quantity(text, base)
    assert str(raised.value) == said


@pytest.mark.parametrize("text", ["0,5 dB", ",5 dB", "0,05 %", "-0,5 dB"])
def test_a_comma_is_told_to_be_a_point(text):
    with pytest.raises(UnitError, match="write the decimal mark as a point"):
        read_quantity(text, unit_of(text.split()[1]).base)


@pytest.mark.parametrize("base", EXAMPLES)
def test_every_example_can_be_read(base):
    assert math.isfinite(read_quantity(EXAMPLES[base], base))


@pytest.mark.parametrize(
    ("text", "step"),
    [("12.71 V", 0.01), ("12 V", 1.0), ("12. V", 1.0), ("12.710 V", 0.001), (".5 V", 0.1), ("\u22120.30 V", 0.01)],
)
def test_what_the_last_digit_written_is_worth(text, step):
    assert last_digit(text) == step


@given(st.integers(1, 10**7), st.sampled_from([1e-3, 1e-6, 1e-4]))
def test_a_prefix_costs_no_more_than_one_rounding(value, factor):
    # the quotient of two whole numbers is rounded once by IEEE 754
    assert scaled(value, factor) == value / round(1 / factor)


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(sorted(UNITS)))
def test_whatever_can_be_written_is_read_back(value, spelling):
    number, unit = split_quantity(f"{value!r} {spelling}")
    assert number == value
    assert unit_of(unit) == UNITS[normalised(spelling)]
