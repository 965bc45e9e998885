"""Rated against measured, as rows."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rated_and_found import found, rated, runs_of, session

from reviewkit.model.session import PriceTag, PrintedFigure, Rating, Unit
from reviewkit.verdict.spec_table import NONE_GIVEN, sources, spec_table
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, UNMEASURED, judge

BAND = (20.0, 20_000.0)
SOURCE = "owner's manual, page 14"
ONE_UNIT = "one unit; says nothing about others, or about it when new"


def table_of(ratings, findings, **bench):
    judged, runs = session(*ratings, **bench), runs_of(*findings)
    return spec_table(judged, runs, judge(judged, runs))


def test_every_rating_in_the_makers_order_then_what_was_measured_without_one():
    ratings = [
        rated("damping_factor", at_least=60.0),
        rated("thd", at_most=0.05, power_w=40.0),
        rated("hum", at_most=-80.0),
    ]
    findings = [
        found("flatness", 0.28, band=BAND, measurement="response"),
        found("crosstalk", -64.0, "L>R", frequency=1000.0, measurement="crosstalk"),
        found("thd", 0.02, frequency=1000.0, power=5.0, measurement="tone"),
        found("damping_factor", 70.0, frequency=1000.0, measurement="two-load"),
    ]
    rows = table_of(ratings, findings).rows
    assert [(r.label, r.verdict) for r in rows] == [
        ("Damping factor", MEETS),
        ("THD at 40 W", INCOMPARABLE),
        ("Hum", UNMEASURED),
        ("Response, 20 Hz – 20 kHz", ""),
        ("Crosstalk, 1 kHz", ""),
    ]
    assert rows[2].measured == "–"
    assert rows[0].position > 0
    assert [r.position for r in rows[1:]] == [None] * 4
    for row in rows[3:]:
        assert row.limit == row.rated == NONE_GIVEN
        assert not row.margin


def test_a_note_says_why_and_what_was_taken_as_the_bench_had_it():
    ratings = [rated("thd", at_most=0.05, power_w=40.0)]
    (row,) = table_of(ratings, [found("thd", 0.02, frequency=1000.0, power=5.0, load=8.0)]).rows[:1]
    why, _, assumed = row.note.partition("; as on the bench: ")
    assert why == "rated at 40 W, measured at 5 W"
    assert "into 8 Ω" in assumed
    assert "at 1 kHz" in assumed


def test_a_note_is_empty_where_all_is_said():
    ratings = [rated("hum", at_most=-80.0)]
    assert table_of(ratings, [found("hum", -90.0)]).rows[0].note == ""


def test_the_worse_channel_stands_for_a_figure_without_a_rating():
    pairs = [
        ("thd_plus_noise", 0.021, 0.026, "0.026 %", {"frequency": 1000.0}),
        ("flatness", 0.28, 0.41, "±0.41 dB", {"band": BAND}),
        ("worst_distortion", 0.06, 0.03, "0.060 %", {"band": BAND}),
        ("power_at_limit", 43.0, 44.0, "43.0 W", {"limit": 1.0, "frequency": 1000.0}),
        ("crosstalk", -64.0, -61.5, "−61.5 dB", {"frequency": 1000.0}),
        ("damping_factor", 70.0, 52.0, "52", {"frequency": 1000.0}),
    ]
    for quantity, left, right, shown, at in pairs:
        rows = table_of([], [found(quantity, left, "L", **at), found(quantity, right, "R", **at)]).rows
        assert [r.measured for r in rows] == [shown]


def test_conditions_travel_with_a_figure_without_a_rating():
    at = {"limit": 1.0, "frequency": 1000.0, "power": 43.0, "load": 8.0, "setting": "tone controls bypassed"}
    (row,) = table_of([], [found("power_at_limit", 43.0, **at)]).rows
    assert row.label == "Power"
    assert row.note == "at 1 %, 8 Ω, tone controls bypassed"
    (row,) = table_of([], [found("thd_plus_noise", 0.02, frequency=1000.0, power=5.0, load=8.0)]).rows
    assert row.label == "THD+N, 1 kHz"
    assert row.note == "5 W into 8 Ω"


def test_a_figure_that_a_rating_covers_is_not_listed_again():
    findings = [
        found("thd_plus_noise", 0.02, frequency=1000.0),
        found("worst_distortion", 0.03, band=BAND, figure="THD+N"),
        found("crosstalk", -64.0, "L>R", frequency=1000.0),
        found("damping_factor", 70.0, frequency=1000.0),
    ]
    ratings = [
        rated("thd", at_most=0.05),
        rated("separation", at_least=50.0),
        rated("source_impedance", at_most=0.1),
    ]
    assert len(table_of(ratings, findings).rows) == 3


def test_measurements_before_the_repair_and_of_the_bench_are_not_listed():
    findings = [
        found("flatness", 3.0, band=BAND, stage="before", measurement="before"),
        found("flatness", 0.2, band=BAND, stage="after", measurement="after"),
        found("crosstalk", -90.0, "L>R", frequency=1000.0, stage="bench", measurement="bench"),
    ]
    rows = table_of([], findings).rows
    assert [r.measured for r in rows] == ["±0.20 dB"]


def test_the_foot_names_each_source_once_and_the_uncertainty_once():
    ratings = [rated("hum", at_most=-80.0, source=SOURCE), rated("power", at_least=40.0, source=SOURCE)]
    findings = [found("hum", -90.0), found("power_at_limit", 43.0, limit=1.0, measurement="sweep")]
    foot = table_of(ratings, findings).foot
    assert foot == (f"ratings: {SOURCE}", "uncertainty not stated", "not preconditioned", ONE_UNIT)


def test_headphones_ask_for_no_preconditioning():
    findings = runs_of(found("power_at_limit", 0.25, limit=1.0))
    for type_, said in (("headphone amplifier", False), ("amplifier", True)):
        of_type = replace(session(rated("power", at_least=0.2)), unit=Unit("Norrvale", "Forty", type=(type_,)))
        foot = spec_table(of_type, findings, judge(of_type, findings)).foot
        assert ("not preconditioned" in foot) == said


@pytest.mark.parametrize(
    ("keys", "stage", "line"),
    [
        ({}, "", ONE_UNIT),
        ({"year": 1977}, "", "one unit, made in 1977; says nothing about others, or about it when new"),
        # 2024 − 1977 = 47
        ({"year": 1977, "to": 2024}, "after", f"one unit, 47 years old, as repaired; {ONE_UNIT.partition('; ')[2]}"),
    ],
)
def test_the_foot_says_whom_the_verdicts_are_about(keys, stage, line):
    of = session(rated("hum", at_most=-80.0))
    price = PriceTag(329.0, "USD", "prices.csv", to=keys["to"]) if "to" in keys else None
    of = replace(of, unit=replace(of.unit, year=keys.get("year")), price=price)
    runs = runs_of(found("hum", -90.0, stage=stage))
    assert spec_table(of, runs, judge(of, runs)).foot[-1] == line
    assert spec_table(of, (), judge(of, ())).one_unit == ""


def test_loudspeakers_are_a_pair_if_both_were_measured():
    of = session(Rating("minimum_impedance", "Ω", at_least=6.4))
    of = replace(of, unit=replace(of.unit, type=("loudspeaker",)))
    left, right = (found("minimum_impedance", 6.5, channel) for channel in "LR")
    for runs, what in ((runs_of(left, right), "one pair; "), (runs_of(left), "one unit; ")):
        assert spec_table(of, runs, judge(of, runs)).one_unit.startswith(what)


def test_a_source_of_some_ratings_does_not_stand_for_all():
    ratings = [rated("hum", at_most=-80.0, source="manual"), rated("gain", at_least=30.0), rated("snr", at_least=90.0)]
    assert sources(ratings) == ["manual (1 of 3)"]
    assert sources([*ratings[:2], replace(ratings[1], source="advert")]) == ["manual (1 of 3)", "advert (1 of 3)"]
    assert sources([*ratings[:1], replace(ratings[1], source="advert")]) == ["manual", "advert"]
    assert sources(ratings[:1]) == ["manual"]
    assert sources(ratings[1:]) == []
    assert table_of(ratings, []).foot[0] == "ratings: manual (1 of 3)"


def test_the_foot_states_the_uncertainty_that_the_verdicts_were_reached_with():
    findings = [found("power_at_limit", 40.2, limit=1.0, uncertainty=0.9)]
    table = table_of([rated("power", at_least=40.0)], findings, level_uncertainty_db=0.1)
    assert table.rows[0].verdict == CLOSE
    assert "level uncertainty 0.1 dB (k = 2)" in table.foot
    assert not [line for line in table.foot if "not stated" in line]


def test_nothing_judged_needs_no_foot():
    assert table_of([rated("hum", at_most=-80.0)], []).foot == ()
    assert table_of([rated("power", at_least=40.0)], []).foot == ()
    assert table_of([], []).rows == ()


def test_preconditioning_concerns_power_alone():
    assert table_of([rated("hum", at_most=-80.0)], [found("hum", -90.0)]).foot == ("uncertainty not stated", ONE_UNIT)


def test_what_is_only_printed_is_a_row_that_was_not_measured_and_is_not_judged():
    judged, runs = session(rated("hum", at_most=-80.0)), runs_of(found("crosstalk", -64.0, "L>R", frequency=1000.0))
    judged = replace(judged, printed=(PrintedFigure("Slew rate", "30 V/µs", "leaflet"),))
    table = spec_table(judged, runs, judge(judged, runs))
    assert [(r.label, r.rated, r.measured, r.verdict, r.only_printed) for r in table.rows] == [
        ("Hum", "−80 dB", "–", UNMEASURED, False),
        ("Slew rate", "30 V/µs", "–", UNMEASURED, True),
        ("Crosstalk, 1 kHz", NONE_GIVEN, "−64.0 dB", "", False),
    ]
    assert table.foot[0] == "ratings: leaflet (1 of 2)"


def test_a_figure_without_a_rating_is_that_of_the_bench_s_own_input_or_names_the_radio():
    of_fm = found("channel_balance", 0.4, "both", frequency=1000.0, input="FM", measurement="fm")
    of_aux = found("channel_balance", 0.1, "both", frequency=1000.0, input="aux", measurement="aux")
    (row,) = table_of([], [of_fm, of_aux], input="aux").rows
    assert (row.measured, row.note) == ("+0.10 dB", "")
    (row,) = table_of([], [of_fm], input="aux").rows
    assert (row.measured, row.note) == ("+0.40 dB", "FM input")
    (row,) = table_of([], [of_fm], input="FM").rows
    assert (row.measured, row.note) == ("+0.40 dB", "")
