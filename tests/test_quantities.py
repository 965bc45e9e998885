"""The one formatter: a table of edge cases, and what must hold for any value.

Ties to even after NIST SP 811 B.7.1 (from memory), digits of an uncertainty after the GUM's usual practice (two where
the first is 1 or 2, else one); the digit counts are this project's own.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rated_and_found import found

from reviewkit.model import quantities
from reviewkit.model.quantities import QUANTITIES, show, shown

ROUNDED = [
    # two significant digits, trailing zeros kept
    (0.0213, "percent", "0.021 %"),
    (0.1, "percent", "0.10 %"),
    (0.0996, "percent", "0.10 %"),
    (0.0994, "percent", "0.099 %"),
    (0.00999, "percent", "0.010 %"),
    (9.96, "percent", "10 %"),
    (99.6, "percent", "100 %"),
    (1.4, "percent", "1.4 %"),
    (1.0, "percent", "1.0 %"),
    (0.000012, "percent", "0.000012 %"),
    (0.0, "percent", "0 %"),
    # ties to even
    (0.125, "percent", "0.12 %"),
    (0.135, "percent", "0.14 %"),
    (0.0205, "percent", "0.020 %"),
    (0.0215, "percent", "0.022 %"),
    # three significant digits, with the prefix that keeps the number at one or above
    (43.12, "watts", "43.1 W"),
    (43.05, "watts", "43.0 W"),
    (43.15, "watts", "43.2 W"),
    (5.0, "watts", "5.00 W"),
    (120.4, "watts", "120 W"),
    (1204.0, "watts", "1200 W"),
    (0.9996, "watts", "1.00 W"),
    (0.9994, "watts", "999 mW"),
    (0.25, "watts", "250 mW"),
    (0.0001, "watts", "0.100 mW"),
    (0.0, "watts", "0 W"),
    (99.96, "watts", "100 W"),
    (2.83, "volts", "2.83 V"),
    (0.012, "volts", "12.0 mV"),
    (-0.012, "volts", "−12.0 mV"),
    (0.0009996, "volts", "1.00 mV"),
    (0.0009994, "volts", "999 µV"),
    (0.0000004, "volts", "0.400 µV"),
    (999.6, "volts", "1000 V"),
    (4.2e-6, "seconds", "4.20 µs"),
    (0.00035, "seconds", "350 µs"),
    (9.996e-7, "seconds", "1.00 µs"),
    (35e-9, "seconds", "35.0 ns"),
    (9.94, "boost", "+9.9 dB"),
    (-0.04, "boost", "+0.0 dB"),
    (-12.26, "boost", "−12.3 dB"),
    (-5.98, "slope", "−6.0 dB/octave"),
    (12.34, "plain", "12.3"),
    # a tenth of a dB
    (-64.25, "db", "−64.2 dB"),
    (-64.35, "db", "−64.4 dB"),
    (-0.04, "db", "0.0 dB"),
    (-0.05, "db", "0.0 dB"),
    (0.0, "db", "0.0 dB"),
    (-0.0, "db", "0.0 dB"),
    (-99.96, "db", "−100.0 dB"),
    # a hundredth under 1 dB
    (0.283, "flatness", "+0.28 dB"),
    (-0.283, "flatness", "−0.28 dB"),
    (-0.004, "flatness", "+0.00 dB"),
    (0.994, "flatness", "+0.99 dB"),
    (0.996, "flatness", "+1.0 dB"),
    (-1.26, "flatness", "−1.3 dB"),
    (0.28, "plus-minus", "±0.28 dB"),
    (-0.28, "plus-minus", "±0.28 dB"),
    (0.996, "plus-minus", "±1.0 dB"),
    (0.0, "plus-minus", "±0.00 dB"),
    # the others
    (52.4, "factor", "52"),
    (99.7, "factor", "100"),
    (124.0, "factor", "120"),
    (7.96, "factor", "8.0"),
    (0.154, "ohms", "0.154 Ω"),
    (1000.02, "hertz", "1 kHz"),
    (999.6, "hertz", "1 kHz"),
    (999.4, "hertz", "999 Hz"),
    (12_500.0, "hertz", "12.5 kHz"),
    (20.0, "hertz", "20 Hz"),
    (999.6, "corner", "1.00 kHz"),
    (999.4, "corner", "999 Hz"),
    (63_420.0, "corner", "63.4 kHz"),
    (4.0, "corner", "4.00 Hz"),
]


def test_rounding():
    for value, style, text in ROUNDED:
        assert shown(value, style) == text, (value, style)


@pytest.mark.parametrize(
    ("high", "low", "text"),
    [
        (0.0, -0.28, "−0.28 to +0.00 dB"),
        (0.0, 0.0, "−0.00 to +0.00 dB"),
        (-0.001, -0.46, "−0.46 to +0.00 dB"),
        (0.12, -1.26, "−1.3 to +0.12 dB"),
        (1.04, -0.3, "−0.30 to +1.0 dB"),
        (0.125, -0.135, "−0.14 to +0.12 dB"),
    ],
)
def test_the_two_sides_of_a_response(high, low, text):
    assert quantities.deviation(high, low) == text


@pytest.mark.parametrize(
    ("write", "value", "text"),
    [
        (quantities.watts, 5.0, "5 W"),
        (quantities.watts, 0.25, "250 mW"),
        (quantities.watts, 40.0, "40 W"),
        (quantities.watts, 0.9996, "1 W"),
        (quantities.volts, 2.83, "2.83 V"),
        (quantities.volts, 0.15, "150 mV"),
        (quantities.load, 8.0, "8 Ω"),
        (quantities.load, 4.5, "4.5 Ω"),
        (quantities.load, math.inf, "open"),
        (quantities.percent, 0.05, "0.05 %"),
        (quantities.percent, 1.0, "1 %"),
        (quantities.band, (20.0, 20_000.0), "20 Hz – 20 kHz"),
        (quantities.hertz, 19_000.0, "19 kHz"),
        (quantities.hertz, 98e6, "98 MHz"),
        (quantities.hertz, 999_400.0, "999 kHz"),
        (quantities.band, (87.5e6, 108e6), "87.5 MHz – 108 MHz"),
        (quantities.corner, 10.7e6, "10.7 MHz"),
        (quantities.hertz, 440.0, "440 Hz"),
    ],
)
def test_conditions_are_written_without_idle_zeros(write, value, text):
    assert write(value) == text


@pytest.mark.parametrize(
    ("at", "text"),
    [
        ({"power": 5.0, "load": 8.0}, "5 W into 8 Ω"),
        ({"voltage": 2.83, "load": 8.0}, "2.83 V into 8 Ω"),
        ({"power": 5.0, "voltage": 6.3}, "5 W"),
        ({"load": 8.0}, "8 Ω"),
        ({"load": math.inf}, "open"),
        ({}, ""),
        ({"frequency": 1000.0}, ""),
    ],
)
def test_level_and_load_travel_together(at, text):
    assert quantities.conditions(at) == text


def test_a_figure_at_the_benchs_floor_says_so():
    assert show(found("thd", 0.001, bound="at most")) == "≤ 0.0010 %"
    assert show(found("thd", 0.001)) == "0.0010 %"
    assert show(found("crosstalk", -64.2)) == "−64.2 dB"
    assert show(found("power", 43.12, uncertainty=3.0)) == "43 W"


def test_every_quantity_can_be_shown_in_its_unit():
    for name in QUANTITIES:
        quantity = QUANTITIES[name]
        text = show(found(name, 0.5))
        assert re.fullmatch(r"[+±]?\d+(\.\d+)?( \S+|°)?", text), name
        assert text.endswith(quantity.unit), name
        assert quantity.name, name
        assert quantity.better in (-1, 0, 1), name


@pytest.mark.parametrize(
    ("quantity", "value", "uncertainty", "text"),
    [
        ("power", 43.14, 0.994, "43.1 ± 1.0 W"),
        ("power", 0.2534, 0.006, "253 ± 6 mW"),
        ("thd", 0.0482, 0.0021, "0.048 ± 0.002 %"),
        ("noise", 35.2e-6, 0.4e-6, "35.2 ± 0.4 µV"),
        ("damping_factor", 46.3, 3.1, "46 ± 3"),
        ("power", 43.14, 1.04, "43.1 ± 1.0 W"),
        ("damping_factor", 46.3, 3.2, "46 ± 4"),
        ("crosstalk", -63.2, 0.4, "−63.2 ± 0.4 dB"),
        # one that the digits shown would hide is left out, and so is one beside a sign that it would be read with
        ("thd", 0.0482, 0.0000021, "0.048 %"),
        ("flatness", 0.4, 0.05, "±0.40 dB"),
        ("thd", 0.0482, None, "0.048 %"),
    ],
)
def test_a_figure_with_its_uncertainty(quantity, value, uncertainty, text):
    """Value and uncertainty end at the same decimal (GUM, 7.2.6, from memory); no more than 5 % of the uncertainty is
    rounded away (EA-4/02, 6.3, from memory)."""
    assert quantities.with_uncertainty(found(quantity, value, uncertainty=uncertainty)) == text


def test_an_unknown_style_is_a_fault_of_ours():
    with pytest.raises(KeyError):
        shown(1.0, "furlongs")


# ------------------------------------------------------------------ for any value

STYLES = sorted({quantity.style for quantity in QUANTITIES.values()})
SCALES = {"W": 1.0, "mW": 1e-3, "V": 1.0, "mV": 1e-3, "µV": 1e-6, "MHz": 1e6, "kHz": 1e3, "Hz": 1.0}
SCALES |= {"kΩ": 1e3, "s": 1.0, "ms": 1e-3, "µs": 1e-6, "ns": 1e-9}
amounts = st.one_of(st.just(0.0), st.floats(1e-7, 1e6), st.floats(-1e6, -1e-7))


def read_back(text: str) -> tuple[float, float]:
    """The value that a text states, and the worth of its last digit."""
    number, _, unit = text.replace("−", "-").lstrip("±≤ ").partition(" ")
    scale = SCALES.get(unit, 1.0)
    return float(number) * scale, scale * 10.0 ** -len(number.partition(".")[2])


@given(amounts, st.sampled_from(STYLES))
def test_what_is_written_is_near_what_was_found(value, style):
    text = shown(value, style)
    stated, step = read_back(text)
    size = abs(value) if style == "plus-minus" else value
    digits = 2 if style in ("percent", "ohms", "factor") else 3
    assert abs(stated - size) <= max(step / 2, 0.5 * 10 ** (1 - digits) * abs(value)) * (1 + 1e-9)
    assert "-" not in text
    assert not re.search(r"\d[eE]", text)
    assert not re.match(r"−0(\.0+)?( |$)", text)


@given(st.floats(1e-4, 1e4), st.floats(1e-6, 1e4), st.sampled_from(["percent", "ohms", "factor", "db", "flatness"]))
def test_no_digit_stands_below_the_uncertainty(value, uncertainty, style):
    text = shown(value, style, uncertainty)
    number = text.lstrip("+±").split(" ")[0]
    decimals = len(number.partition(".")[2])
    if decimals:
        # one more digit is carried where the uncertainty begins with 1 or 2
        assert 10.0**-decimals >= uncertainty / 30 * (1 - 1e-9)
    stated = float(number.replace("−", "-"))
    plain = float(shown(value, style).lstrip("+±").split(" ")[0])
    assert abs(stated - value) <= max(abs(plain - value), uncertainty / 2 * (1 + 1e-6))


@given(st.floats(1e-7, 1e6), st.floats(1e-7, 1e6), st.sampled_from(STYLES))
def test_a_larger_value_is_never_written_smaller(one, other, style):
    low, high = sorted((one, other))
    assert read_back(shown(low, style))[0] <= read_back(shown(high, style))[0] * (1 + 1e-12)


# ------------------------------------------------------------------ bounds, and readings by meter


@pytest.mark.parametrize(
    ("quantity", "value", "bound", "text"),
    [
        ("damping_factor", 1556.0, "at least", "≥ 1500"),
        ("damping_factor", 1500.0, "at least", "≥ 1500"),
        ("snr", 104.27, "at least", "≥ 104.2 dB"),
        ("snr", 104.2, "at least", "≥ 104.2 dB"),
        ("thd", 0.000912, "at most", "≤ 0.00092 %"),
        ("crosstalk", -101.26, "at most", "≤ −101.2 dB"),
        ("noise", 34.21e-6, "at most", "≤ 34.3 µV"),
        ("thd", 0.00996, "at most", "≤ 0.010 %"),
    ],
)
def test_a_bound_is_rounded_outwards(quantity, value, bound, text):
    assert show(found(quantity, value, bound=bound)) == text


@given(st.floats(1e-6, 1e6), st.sampled_from(["at most", "at least"]), st.sampled_from(["thd", "snr", "noise"]))
def test_a_written_bound_holds(value, bound, quantity):
    text = show(found(quantity, value, bound=bound))
    stated, step = read_back(text.replace("≥ ", ""))
    slack = 1e-9 * value
    assert stated >= value - slack if bound == "at most" else stated <= value + slack
    assert abs(stated - value) <= max(step, 0.1 * value) * (1 + 1e-9)


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [(0.009, 0.001, "9 mV"), (0.0123, 0.0001, "12.3 mV"), (0.31, 0.01, "310 mV"), (12.0, 1.0, "12 V")],
)
def test_a_meters_reading_has_no_digit_that_the_meter_did_not_show(value, step, text):
    assert show(replace(found("dc_offset", value), step=step)) == text
