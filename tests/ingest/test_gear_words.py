"""The closed tables of gear: names, words of conditions and weightings, in a brochure and beside a reading."""

from __future__ import annotations

from pathlib import Path

import pytest
from session_texts import UNIT

from reviewkit.ingest.conditions import CONDITION_OF_UNIT, SHARED_WORDS
from reviewkit.ingest.known_names import misspelled
from reviewkit.ingest.reading_conditions import conditions_of
from reviewkit.ingest.reading_file import parse_readings
from reviewkit.ingest.session.rating_phrases import PRINTED_ONLY
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.gear_names import LIMIT_OF, SHOWN, UNITS_OF, shown_name, spelled
from reviewkit.model.ratings import RULES, TRADE_WORDS, own_name
from reviewkit.model.session import Rating
from reviewkit.model.units import SINGLE_UNITS
from reviewkit.model.weightings import FLATTERING, RMS, SPELLINGS, weighted, weighting_of

# a figure that has no second reading: none is a thousand times another, and none is below zero where that is refused
FIGURE = {"number": "0.7", "%": "0.5 %", "°": "2°"}


def only(line: str) -> Rating:
    (rating,) = parse_session(UNIT, Path(), kinds=(), brochure=f"{line}\n").ratings
    return rating


def figure(unit: str) -> str:
    return FIGURE.get(unit, f"12 {unit}")


def test_every_word_for_a_name_is_that_name():
    for words, name in SHOWN.items():
        rating = only(f"{words}: {figure(UNITS_OF[name][0])}")
        assert (rating.quantity, rating.called) == (own_name(name), name), words
        value = {key: getattr(rating, key) for key in ("at_most", "at_least", "within", "nominal")}
        assert [key for key, limit in value.items() if limit is not None] == [LIMIT_OF[name]], words
        assert (shown_name(words), own_name(words)) == (name, own_name(name)), words
        assert misspelled(words) is None, words


def test_a_name_may_have_each_of_its_units_and_no_other():
    for name, units in UNITS_OF.items():
        for unit in units:
            assert unit == "number" or unit in SINGLE_UNITS, name
            assert only(f"{name}: {figure(unit)}").unit == ("" if unit == "number" else unit), name


def test_no_name_has_two_meanings():
    of_rules = {spelled(word) for word in (*RULES, *TRADE_WORDS)}
    assert not set(SHOWN) & of_rules
    assert not set(SHOWN) & {spelled(word) for word in PRINTED_ONLY}


def test_a_word_is_the_same_condition_in_a_brochure_and_beside_a_reading():
    for words, meant in SHARED_WORDS.items():
        key, value = meant
        at = conditions_of(words, str, pytest.fail)
        rating = only(f"Selectivity, {words}: 60 dB")
        if key == "named":
            assert at == {"conditions": dict([value])}, words
            assert rating.conditions == (value,), words
        else:
            assert at == {key: value}, words
            assert getattr(rating, key) == value, words


@pytest.mark.parametrize("line", ["Jitter: 300 ps rms", "Jitter: 300 ps r.m.s.", "Jitter, rms: 300 ps"])
def test_a_jitter_is_given_as_rms_and_nothing_else_is(line):
    assert only(line).weighting == RMS
    assert only(line.replace("Jitter", "Selectivity").replace("300 ps", "60 dB")).weighting == ""


@pytest.mark.parametrize(
    ("row", "at"),
    [
        ("jitter,,300,ps,rms,", {"weighting": RMS}),
        ("jitter,,300,ps,cold; r.m.s.,", {"weighting": RMS, "setting": "cold"}),
        ("jitter,,300,ps,cold,", {"setting": "cold"}),
        ("jitter,,300,ps,,", {}),
        ("selectivity,,60,dB,rms,", {"setting": "rms"}),
    ],
)
def test_a_reading_of_jitter_may_be_in_rms(row, at):
    (reading,) = parse_readings(f"name,channel,value,unit,at,note\n{row}\n", "measurements/readings.csv").readings
    assert reading.at == at


@pytest.mark.parametrize(("unit", "name"), CONDITION_OF_UNIT.items())
def test_an_amount_that_only_a_condition_has(unit, name):
    assert conditions_of(f"2 {unit}", str, pytest.fail) == {"conditions": {name: f"2 {unit}"}}
    assert only(f"Selectivity, 2 {unit}: 60 dB").conditions == ((name, f"2 {unit}"),)


def test_weightings_are_spelled_in_many_ways():
    for words, name in SPELLINGS.items():
        assert weighting_of(words) == weighting_of(words.upper()) == weighting_of(words.replace(" ", "-")) == name, (
            words
        )
        table = f'[[rated]]\nquantity = "rumble"\nat_most = "-60 dB"\nweighting = "{words}"\n'
        assert parse_session(UNIT + table, Path(), kinds=()).ratings[0].weighting == name, words


@pytest.mark.parametrize(
    ("weighting", "said"),
    [
        ("", "unweighted"),
        ("A", "A-weighted"),
        ("468", "468-weighted"),
        ("CCIR/ARM", "CCIR/ARM-weighted"),
        ("DIN B", "DIN B-weighted"),
        ("WRMS", "weighted r.m.s."),
        ("weighted peak", "weighted peak"),
    ],
)
def test_weightings_in_words(weighting, said):
    assert weighted(weighting) == said


def test_what_reads_higher_flatters_nobody():
    # white noise through 468 reads 7.3 dB higher (the handbook's closed form), through A 2.05 dB lower
    assert "468" not in FLATTERING
    assert "CCIR/ARM" not in FLATTERING


def test_a_reading_may_have_every_unit():
    for unit in sorted({*SINGLE_UNITS} - {"ratio", "Ratio"}):
        sheet = parse_readings(f"name,channel,value,unit,at,note\nrail trap,,12,{unit},,\n", "readings.csv")
        (reading,) = sheet.readings
        assert reading.unit == SINGLE_UNITS[unit].base, unit
        assert reading.value == pytest.approx(12 * SINGLE_UNITS[unit].factor, rel=1e-12), unit
