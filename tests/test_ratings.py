"""The table of what a maker may rate, the trade words for it, and a rating in words."""

from __future__ import annotations

import re

import pytest
from rated_and_found import rated

from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.rating_words import label, limit_text, line, small_parts
from reviewkit.model.ratings import EQUAL, HARD, RULES, TRADE_WORDS, UPWARD, rated_name
from reviewkit.model.session import Rating

BAND = (20.0, 20_000.0)
POWER = rated("power", at_least=40.0, load_ohm=8.0, thd_percent=0.05, band_hz=BAND, channels="both")


WORDS_OF_MAKERS = [
    ("power", "power"),
    ("thd", "thd"),
    ("THD", "thd"),
    ("thd_plus_noise", "thd_plus_noise"),
    ("thd plus noise", "thd_plus_noise"),
    ("THD+N", "thd_plus_noise"),
    ("damping factor", "damping_factor"),
    ("Damping-Factor", "damping_factor"),
    ("  channel   balance ", "channel_balance"),
    ("snr", "snr"),
    ("S/N", "snr"),
    ("riaa deviation", "riaa_deviation"),
    ("response", "flatness"),
    ("frequency response", "flatness"),
    ("intermodulation", "imd"),
    ("IM distortion", "imd"),
    ("IM", "imd"),
    ("separation", "separation"),
    ("crosstalk", "crosstalk"),
    ("distortion", "distortion"),
    ("input sensitivity", "input_sensitivity"),
    ("loudness", None),
    ("", None),
    ("flatness of the response", None),
]


def test_a_makers_word_stands_for_a_rated_name():
    for word, name in WORDS_OF_MAKERS:
        assert rated_name(word) == name, word


def test_every_name_is_known_with_spaces_and_with_underscores():
    for name in RULES:
        assert rated_name(name) == rated_name(name.replace("_", " ")) == rated_name(name.upper()) == name, name


def test_trade_words_lead_into_the_table_and_hide_none_of_its_names():
    assert set(TRADE_WORDS.values()) <= set(RULES)
    assert not set(TRADE_WORDS) & set(RULES)


def test_the_table_is_well_formed():
    for name in RULES:
        rule = RULES[name]
        assert rule.label[0].isupper(), name
        assert rule.findings, name
        assert len(set(rule.findings)) == len(rule.findings), name
        assert rule.limits, name
        assert set(rule.limits) <= {"at_least", "at_most", "within", "nominal"}, name
        assert rule.margin in {"percent", "db", "ratio"}, name
        assert len(set(rule.conditions)) == len(rule.conditions), name
        assert rule.level in ({EQUAL, HARD, UPWARD} if {"level", "signal"} & {*rule.conditions} else {""}), name
        # a distance in dB is told in dB; a ratio of two dB figures says nothing
        assert (rule.margin == "db") == (rule.unit == "dB"), name


def test_a_figure_has_the_unit_of_the_rating_that_it_answers():
    for name, figure in [(n, f) for n, r in RULES.items() for f in r.findings if f in QUANTITIES]:
        if name == "power" and figure in ("worst_distortion", "highest_distortion", "thd", "distortion"):
            unit = "%"  # held against the distortion that the power is rated at
        else:
            unit = RULES[name].unit
        assert QUANTITIES[figure].unit == unit, (name, figure)


# ------------------------------------------------------------------ in words


def test_a_power_with_all_its_conditions():
    assert line(POWER) == "40 W into 8 Ω at 0.05 % THD, 20 Hz – 20 kHz, both channels"
    assert label(POWER) == "Power into 8 Ω"
    assert limit_text(POWER) == "40 W"
    assert small_parts(POWER) == ["at 0.05 % THD", "20 Hz – 20 kHz", "both channels"]


@pytest.mark.parametrize(
    ("rating", "limit"),
    [
        (rated("power", at_least=0.25), "250 mW"),
        (rated("power", at_least=33.75), "33.75 W"),
        (rated("thd", at_most=0.05), "0.05 %"),
        (rated("thd", at_most=0.0125), "0.0125 %"),
        (rated("flatness", within=(-0.5, 0.5)), "±0.5 dB"),
        (rated("flatness", within=(-1.0, 0.0)), "−1 to +0 dB"),
        (rated("flatness", within=(-3.0, 1.5)), "−3 to +1.5 dB"),
        (rated("flatness", within=(0.0, 1.0)), "−0 to +1 dB"),
        (rated("damping_factor", at_least=60.0), "60"),
        (rated("damping_factor", at_least=1255.0), "1255"),
        (rated("crosstalk", at_most=-50.0), "−50 dB"),
        (rated("separation", at_least=50.0), "50 dB"),
        (rated("gain", at_least=0.0), "0 dB"),
        (rated("gain", at_most=34.25), "34.25 dB"),
        (rated("snr", at_least=92.0, weighting="A"), "92 dB (A)"),
        (rated("source_impedance", at_most=0.13), "0.13 Ω"),
        (rated("corner_high", at_least=35_000.0), "35 kHz"),
        (rated("input_sensitivity", at_most=0.15), "150 mV"),
        (rated("input_sensitivity", at_most=0.0025), "2.5 mV"),
        (rated("phono_overload", at_least=0.2155), "215.5 mV"),
    ],
)
def test_a_limit_as_the_maker_printed_it(rating, limit):
    """A number that somebody else stated is quoted, never rounded."""
    assert limit_text(rating) == limit


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"total": True}, "40 W in total"),
        ({"load_ohm": 4.0}, "40 W into 4 Ω"),
        ({"thd_plus_noise_percent": 0.1}, "40 W at 0.1 % THD+N"),
        ({"band_hz": (10.0, 35_000.0)}, "40 W, 10 Hz – 35 kHz"),
        ({"frequency_hz": 1000.0}, "40 W, 1 kHz"),
        ({"channels": "one"}, "40 W, one channel"),
        ({"input": "aux"}, "40 W, aux"),
        ({"rule": "DIN"}, "40 W, DIN"),
        ({}, "40 W"),
    ],
)
def test_each_condition_is_printed(keys, said):
    assert line(rated("power", at_least=40.0, **keys)) == said


def test_a_reference_at_the_input_is_said_to_be_there():
    rating = rated("snr", at_least=78.0, reference="5 mV", reference_v=0.005, input="phono")
    assert line(rating) == "78 dB re 5 mV at the input, phono"


def test_the_reference_and_the_weighting_of_a_signal_to_noise():
    rating = rated("snr", at_least=92.0, weighting="A", reference="rated output", input="aux")
    assert line(rating) == "92 dB (A) re rated output, aux"
    assert label(rating) == "Signal to noise, aux"
    assert small_parts(rating) == ["re rated output"]


@pytest.mark.parametrize(
    ("rating", "text"),
    [
        (rated("thd", at_most=0.05, power_w=40.0, band_hz=BAND), "THD at 40 W, 20 Hz – 20 kHz"),
        (rated("thd_plus_noise", at_most=0.1, power_w=0.25), "THD+N at 250 mW"),
        (rated("crosstalk", at_most=-50.0, frequency_hz=10_000.0), "Crosstalk, 10 kHz"),
        (rated("flatness", within=(-0.5, 0.5), band_hz=(10.0, 35_000.0)), "Response, 10 Hz – 35 kHz"),
        (rated("power", at_least=60.0, rule="music"), "Music power"),
        (rated("power", at_least=60.0, rule="continuous", load_ohm=4.0), "Continuous power into 4 Ω"),
        (rated("power", at_least=60.0, rule="DIN"), "DIN power"),
    ],
)
def test_what_a_row_is_called(rating, text):
    assert label(rating) == text


SEVERAL = [
    POWER,
    rated("power", at_least=60.0, rule="music", load_ohm=8.0, input="aux"),
    rated("power", at_least=80.0, total=True, load_ohm=8.0, frequency_hz=1000.0, thd_plus_noise_percent=1.0),
    rated("thd", at_most=0.05, power_w=40.0, band_hz=BAND, load_ohm=8.0, channels="both"),
    rated("snr", at_least=92.0, weighting="A", reference="50 mW", reference_w=0.05, input="phono"),
    rated("flatness", within=(-0.5, 0.5), band_hz=(10.0, 35_000.0)),
    rated("damping_factor", at_least=60.0, load_ohm=8.0, frequency_hz=1000.0),
]


@pytest.mark.parametrize("rating", SEVERAL, ids=lambda r: r.quantity)
def test_nothing_is_said_twice_and_nothing_is_lost(rating: Rating):
    """Label, limit and small print together say each condition of the whole line, and none of them twice."""
    named, rest = label(rating), ", ".join(small_parts(rating))
    for part in re.split(r", | (?=at |into |re )", line(rating)[len(limit_text(rating)) :].strip(" ,")):
        assert part.lower() in f"{named}, {rest}".lower()
    assert "  " not in rest
    for part in rest.split(", "):
        assert not part or part not in named
