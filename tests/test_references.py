"""Levels of gear without a load, and signal to noise ratios relative to them.

Levels: closed forms, and the steps between tape references that handbooks print (250 over 200 nWb/m is +1.9382 dB, 320
over 250 +2.1442 dB, 10 over 8 cm/s 1.9382 dB). A ratio is 20 lg(reference / noise).
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from rated_and_found import found, rated, runs_of, session, verdict_of

from reviewkit.ingest.reading_conditions import conditions_of
from reviewkit.ingest.references import read_reference
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.errors import InputError
from reviewkit.model.level import Level
from reviewkit.model.session import Rating
from reviewkit.model.units import split_single
from reviewkit.verdict.verdict import INCOMPARABLE, MEETS, SHORT, judge

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Deck"\n'


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        (Level(250.0, "nWb/m"), Level(200.0, "nWb/m"), 1.9382),
        (Level(320.0, "nWb/m"), Level(250.0, "nWb/m"), 2.1442),
        (Level(10.0, "cm/s"), Level(8.0, "cm/s"), 1.9382),
        (Level(10.0, "cm/s"), Level(3.5355, "cm/s"), 9.0309),
        (Level(65.0, "dBf"), Level(14.0, "dBf"), 51.0),
        (Level(0.0, "VU"), Level(-20.0, "VU"), 20.0),
        (Level(-20.0, "dB", reference="250 nWb/m"), Level(250.0, "nWb/m"), -20.0),
        (Level(0.0, "dB", reference="5 cm/s"), Level(10.0, "cm/s"), -6.0206),
        (Level(65.0, "dBf"), Level(0.002, "V"), None),
        (Level(250.0, "nWb/m"), Level(5.0, "cm/s"), None),
        (Level(0.0, "VU"), Level(0.0, "dBFS"), None),
    ],
)
def test_levels_of_gear_are_compared_in_decibels(one, other, apart):
    above = one.decibels_above(other)
    assert above == (None if apart is None else pytest.approx(apart, abs=1e-4))
    assert other.decibels_above(one) == (None if apart is None else pytest.approx(-apart, abs=1e-4))


@pytest.mark.parametrize(
    ("text", "watts", "volts", "level"),
    [
        ("rated output", None, None, None),
        ("1 W", 1.0, None, None),
        ("5 mV", None, 0.005, None),
        ("5 mV input", None, 0.005, None),
        ("2 V output", None, None, Level(2.0, "V")),
        ("2 V at the output", None, None, Level(2.0, "V")),
        ("0 dBFS", None, None, Level(0.0, "dBFS")),
        ("250 nWb/m", None, None, Level(250.0, "nWb/m")),
        ("3 % third harmonic distortion", None, None, Level(3.0, "%", reference="third harmonic")),
    ],
)
def test_what_a_ratio_can_be_relative_to(text, watts, volts, level):
    read = read_reference(text)
    assert read is not None
    assert (read.reference_w, read.reference_v, read.reference_level) == (watts, volts, level)


@pytest.mark.parametrize("text", ["loud", "-3 dB", "0 W", "-5 mV", "3 %", "0 nWb/m", "5 Hz"])
def test_what_a_ratio_cannot_be_relative_to(text):
    assert read_reference(text) is None
    with pytest.raises(InputError, match="is not what a ratio can be relative to"):
        parse_session(
            f'{UNIT}[[rated]]\nquantity = "snr"\nat_least = "60 dB"\nreference = "{text}"\n', Path(), kinds=()
        )


@pytest.mark.parametrize(
    ("cell", "at"),
    [
        ("65 dBf", {"dbf": 65.0}),
        ("-20 dB re 250 nWb/m", {"relative_level": [-20.0, "250 nWb/m"]}),
        ("re 250 nWb/m", {"reference_level": [250.0, "nWb/m", ""]}),
        ("re 2 V output", {"reference_level": [2.0, "V", ""]}),
        ("re 2 V", {"reference_level": [2.0, "V", ""]}),
        ("re 5 mV input", {"reference_input": 0.005}),
        ("re 40 W", {"reference": 40.0}),
        ("A-weighted re 40 W", {"weighting": "A", "reference": 40.0}),
        ("5 cm/s, 1 kHz", {"velocity": 5.0, "frequency": 1000.0}),
        ("0 VU; 90 dB SPL", {"vu": 0.0, "sound_pressure": 90.0}),
        ("input shorted, volume at minimum", {"termination": "shorted", "volume": "minimum"}),
        ("chrome tape, NR on, mono", {"conditions": {"tape": "chrome", "noise reduction": "on", "mode": "mono"}}),
        ("speed = 33 1/3 rpm", {"conditions": {"speed": "33 1/3 rpm"}}),
        ("33 1/3 rpm", {"conditions": {"speed": "33 1/3 rpm"}}),
        ("1 W, 1 m", {"power": 1.0, "conditions": {"distance": "1 m"}}),
        ("1.5 g", {"conditions": {"tracking force": "1.5 g"}}),
        ("DIN B", {"weighting": "DIN B"}),
        ("WRMS", {"weighting": "WRMS"}),
        ("98 MHz, FM input", {"frequency": 98e6, "input": "FM"}),
        ("warm", {"setting": "warm"}),
    ],
)
def test_conditions_beside_a_reading(cell, at):
    assert conditions_of(cell, str, pytest.fail) == at


@pytest.mark.parametrize(
    ("text", "value", "base"),
    [
        ("33 1/3 rpm", 100 / 3, "rpm"),
        ("33⅓ rpm", 100 / 3, "rpm"),
        ("16 2/3 rpm", 50 / 3, "rpm"),
        ("20°", 20.0, "°"),
        ("80 µm", 8e-5, "m"),
        ("300 uV/m", 3e-4, "V/m"),
        ("200 ps", 2e-10, "s"),
        # 1e-6 cm/dyn is 1 µm/mN
        ("20 × 10⁻⁶ cm/dyne", 20.0, "µm/mN"),
        ("90 dB (SPL)", 90.0, "dB SPL"),
    ],
)
def test_single_values(text, value, base):
    found_value, unit = split_single(text)
    assert (found_value, unit.base) == (pytest.approx(value, rel=1e-12), base)


# ------------------------------------------------------------------ signal to noise


def snr(db: float, text: str, **keys: object) -> Rating:
    read = read_reference(text)
    assert read is not None
    return rated("snr", at_least=db, **read._asdict(), **keys)


# 2 V over 20 µV is 100 dB, over 63.2 µV 90 dB
@pytest.mark.parametrize(("db", "word"), [(99.0, MEETS), (101.0, SHORT)])
def test_re_a_voltage_at_a_line_output(db, word):
    verdict = verdict_of(snr(db, "2 V output"), found("noise", 20e-6))
    assert (verdict.verdict, verdict.measured) == (word, "100.0 dB")


@pytest.mark.parametrize(
    ("text", "at", "other"),
    [
        ("0 dBFS", {"dbfs": 0.0}, {"dbfs": -60.0}),
        ("250 nWb/m", {"flux": 250.0}, {"flux": 200.0}),
        ("250 nWb/m", {"relative_level": [0.0, "250 nWb/m"]}, {"relative_level": [-20.0, "250 nWb/m"]}),
        ("65 dBf", {"dbf": 65.0}, {"dbf": 45.0}),
        ("0 VU", {"vu": 0.0}, {"vu": -20.0}),
    ],
)
def test_re_a_level_whose_output_was_read(text, at, other):
    """0.58 V over 0.58 mV is 60 dB; without that output, or with another level's, nothing is worked out."""
    noise = found("noise", 0.58e-3)
    verdict = verdict_of(snr(59.0, text), noise, found("level", 0.58, **at))
    assert (verdict.verdict, verdict.measured) == (MEETS, "60.0 dB")
    assert "from its output of 580 mV" in verdict.assumed
    assert verdict_of(snr(61.0, text), noise, found("level", 0.58, **at)).verdict == SHORT
    assert not verdict_of(snr(59.0, text), noise, found("level", 0.58, **other)).measured
    assert not verdict_of(snr(59.0, text), noise).measured


def test_the_uncertainties_of_noise_and_output_add_up():
    noise = found("noise", 1e-3, uncertainty=1e-5)
    level = found("level", 1.0, uncertainty=0.01, dbfs=0.0)
    (finding,) = verdict_of(snr(59.0, "0 dBFS"), noise, level).findings
    # 1 % each: 8.686 dB · √2 %
    assert finding.uncertainty == pytest.approx(20 / math.log(10) * 0.01 * math.sqrt(2), rel=1e-9)


def test_a_ratio_by_meter_must_have_the_same_reference():
    by_meter = replace(found("snr", 60.0, reference_level=[250.0, "nWb/m", ""]), kind="reading")
    assert verdict_of(snr(59.0, "250 nWb/m"), by_meter).verdict == MEETS
    assert verdict_of(snr(59.0, "0 dBFS"), by_meter).verdict == INCOMPARABLE
    assert verdict_of(snr(59.0, "200 nWb/m"), by_meter).brief == "measured re 250 nWb/m"


def test_a_tuner_s_ratio_is_not_relative_to_the_amplifier_s_power():
    power = rated("power", at_least=40.0, load_ohm=8.0)
    by_meter = replace(found("snr", 75.0, input="FM", dbf=65.0), kind="reading")
    fm = rated("snr", at_least=74.0, input="FM", level=Level(65.0, "dBf"))
    assert judge(session(power, fm), runs_of(by_meter))[1].verdict == MEETS
