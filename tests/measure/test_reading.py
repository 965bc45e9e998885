"""Single readings by meter: passed through with their conditions, onto one card, into sentences, and held against the
ratings that only they answer.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from measured_sheets import card_of, column, conditions, run_from, sheet
from rated_and_found import rated, session

from reviewkit.ingest.reading_file import parse_readings
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.card import Rows
from reviewkit.model.level import Level
from reviewkit.model.quantities import BY_METER, QUANTITIES, show
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Bench, Rating
from reviewkit.model.sheet import SingleReading
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.verdict import judge

KIND = KINDS["reading"]
HEADER = "name,channel,value,unit,at,note\n"
AFTER = """\
DC offset,L,11,mV,cold,
DC offset,R,9,mV,cold,no loudspeaker
bias,L,22,mV,,
bias,R,22.4,mV,,
hum,,0.6,mV,"phono input, A-weighted",
rail voltage,,43.2,V,idle,
"""
BEFORE = "DC offset,L,12,mV,cold,\nDC offset,R,380,mV,cold,\nbias,L,22,mV,,\nbias,R,22.4,mV,,\n"


def run_of(rows, **told):
    return run_from(parse_readings(HEADER + rows, "measurements/m.csv"), conditions("reading", **told))


def only(rows, **told):
    (finding,) = run_of(rows, **told).findings
    return finding


def verdict(rating, *rows, **told):
    (made,) = judge(session(rating), [run_of("\n".join(rows) + "\n", **told)])
    return made


# ------------------------------------------------------------------ passed through


def test_values_units_and_channels_pass_through():
    found = run_of(AFTER).findings
    assert [(f.quantity, f.channel, f.value, f.unit) for f in found] == [
        ("dc_offset", "L", 0.011, "V"),
        ("dc_offset", "R", 0.009, "V"),
        ("bias", "L", 0.022, "V"),
        ("bias", "R", 0.0224, "V"),
        ("hum_voltage", "", 0.0006, "V"),
        ("rail_voltage", "", 43.2, "V"),
    ]
    assert {(f.measurement, f.kind, f.source) for f in found} == {("m", "reading", "measurements/m.csv")}


def test_swapped_channels_swap_findings():
    swapped = AFTER.replace(",L,", ",?,").replace(",R,", ",L,").replace(",?,", ",R,")
    other = {"L": "R", "R": "L", "": ""}
    assert {(f.quantity, f.channel, f.value) for f in run_of(swapped).findings} == {
        (f.quantity, other[f.channel], f.value) for f in run_of(AFTER).findings
    }


def test_a_readings_own_conditions_come_before_the_measurements():
    told = {
        "input": "aux",
        "channels": "both",
        "setting": "tone flat",
        "drive": Level(40.0, "W"),
        "frequency_hz": 1000.0,
    }
    plain = only("input sensitivity,L,150,mV,,\n", **told)
    assert plain.at == {
        "frequency": 1000.0,
        "power": 40.0,
        "load": 8.0,
        "input": "aux",
        "channels": "both",
        "setting": "tone flat",
    }
    stated = only('input sensitivity,L,3,mV,"phono input, 5 W into 4 ohm, one channel, 400 Hz, loudness on",\n', **told)
    assert stated.at == {
        "frequency": 400.0,
        "power": 5.0,
        "load": 4.0,
        "input": "phono",
        "channels": "one",
        "setting": "loudness on",
    }


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("dc offset", set()),
        ("bias", set()),
        ("heat sink voltage", set()),
        ("hum", {"load", "input"}),
        ("noise", {"load", "input"}),
        ("level", {"load", "input", "channels", "power"}),
    ],
)
def test_what_is_read_at_rest_holds_under_no_drive(name, kept):
    """An offset is read with nothing driven, whatever the bench drives elsewhere."""
    assert set(only(f"{name},L,1,mV,,\n", input="aux", channels="both", drive=Level(5.0, "W")).at) == kept
    assert only(f"{name},L,1,mV,8 ohm,\n", load_ohm=4.0).at["load"] == 8.0


def test_phono_overload_is_of_the_phono_input():
    assert only('phono overload,L,160,mV,"1 kHz",\n', input="aux").at["input"] == "phono"
    assert only('phono overload,L,160,mV,"phono 2 input",\n', input="aux").at["input"] == "phono 2"


def test_the_captures_uncertainty_is_not_the_meters():
    bench = Bench(level_uncertainty_db=0.5, load_tolerance_percent=5)
    rows = AFTER + "power,L,40,W,1 % THD,\n"
    stated, silent = run_of(rows, bench=bench).findings, run_of(rows).findings
    assert [f.uncertainty for f in stated] == [f.uncertainty for f in silent]


@pytest.mark.parametrize(("written", "expanded"), [("40,W", 1.0), ("40.0,W", 0.1), ("0.4,W", 0.1), ("400,mW", 0.001)])
def test_the_last_digit_of_a_meter_may_be_off_by_one(written, expanded):
    """A rectangle of ± one digit: U = 2/√3 of it (GUM, JCGM 100:2008, from memory)."""
    assert only(f"power,L,{written},1 % THD,\n").uncertainty == pytest.approx(2 / math.sqrt(3) * expanded)


def test_what_was_skipped_is_told():
    run = run_of("bias,L,22,mV,,\nbias,R,OL,mV,,\n")
    assert run.withheld == ('measurements/m.csv:3: bias: value "OL", no reading',)


def test_the_benchs_own_readings_are_the_floor():
    """Hum of 0.6 mV where the bench alone reads 0.4 mV: 3.5 dB apart, so no more than a bound."""
    bench = run_of("hum,,0.4,mV,A-weighted,\n", stage="bench")
    c = conditions("reading")
    sheet = parse_readings(HEADER + "hum,,0.6,mV,A-weighted,\n", "m.csv")
    (near,) = KIND.findings(sheet, replace(c, floor=bench.findings)).findings
    assert near.bound == "at most"
    assert show(near).startswith("≤ ")


# ------------------------------------------------------------------ the card


def card(*runs):
    return KIND.card(runs, ())


def rows_of(made):
    return [(row.cells, row.note) for row in made.body.rows]


def test_left_and_right_stand_beside_each_other():
    made = card(run_of(AFTER))
    assert made.body.headers == ("", "left", "right", "as a whole")
    assert rows_of(made) == [
        (("DC offset", "11 mV", "9 mV", ""), "cold; no loudspeaker"),
        (("Bias", "22 mV", "22.4 mV", ""), ""),
        (("Hum", "", "", "0.6 mV"), "8 Ω, A-weighted, phono"),
    ]
    assert made.body.more == "and 1 more"


def test_what_all_share_stands_over_them():
    rows = 'input sensitivity,L,148,mV,"1 kHz",\ninput sensitivity,R,151,mV,"1 kHz",\nlevel,L,20,V,"1 kHz, hot",\n'
    made = card(run_of(rows, input="aux", drive=Level(40.0, "W")))
    assert made.conditions == ("40 W into 8 Ω", "1 kHz", "aux")
    assert [note for _, note in rows_of(made)] == ["", "hot"]


def test_one_channel_only():
    made = card(run_of("damping factor,,93,,1 kHz,\n"))
    assert made.body.headers == ("", "")
    assert rows_of(made) == [(("Damping factor", "93"), "")]
    assert made.conditions == ("8 Ω", "1 kHz")


def test_a_limit_and_its_distortion_are_one_condition():
    assert card(run_of("power,L,43,W,1 % THD+N,\n")).conditions == ("8 Ω", "at 1 % THD+N")


def test_different_conditions_stand_in_lines_of_their_own():
    made = card(run_of("DC offset,L,11,mV,cold,\nbias,L,2,mV,,\nDC offset,R,9,mV,warm,\n"))
    assert rows_of(made) == [
        (("DC offset", "11 mV", ""), "cold"),
        (("DC offset", "", "9 mV"), "warm"),
        (("Bias", "2 mV", ""), ""),
    ]


def test_no_reading_hides_another():
    """Two that differ in the file only by naming what the measurement says anyway."""
    made = card(run_of("level,L,2,V,,\nlevel,L,3,V,aux input,\n", input="aux"))
    assert [cells for cells, _ in rows_of(made)] == [("Level", "2 V"), ("Level", "3 V")]


def test_before_and_after_follow_each_other():
    before = run_of(BEFORE, id="b", stage="before")
    made = card(before, run_of(AFTER, stage="after"))
    assert [cells[0] for cells, _ in rows_of(made)][:4] == [
        "DC offset, before",
        "DC offset, after",
        "Bias, before",
        "Bias, after",
    ]


def test_the_line_of_the_reading_that_answered_a_rating_has_its_verdict():
    run = run_of("power,L,43,W,1 % THD,\nbias,L,22,mV,,\n")
    rating = Rating("power", "W", at_least=40.0)
    judged = Verdict(rating, "Power", "40 W", "40 W", "43 W", "meets", "+7 %", position=0.1, findings=run.findings[:1])
    made = KIND.card([run], [judged])
    assert [row.verdict for row in made.body.rows] == ["meets", ""]
    assert made.body.headers == ("", "left", "rated")
    assert [row.cells[2:] for row in made.body.rows] == [("40 W or more",), ()]
    assert card(run).body.headers == ("", "left")
    assert [row.verdict for row in card(run).body.rows] == ["", ""]


def test_of_many_readings_a_few_are_shown():
    rows = "".join(f"test point {n},L,{n},V,,\ntest point {n},R,{n},V,,\n" for n in range(1, 31))
    body = card(run_of(rows)).body
    assert [row.cells[0] for row in body.rows] == [f"Test point {n}" for n in range(1, 4)]
    assert body.more == "and 27 more"


# ------------------------------------------------------------------ what is said


def sentences(run, before=None):
    pages = Pages(places.templates(), places.templates())
    return [sentence for point in KIND.points(run, before) for sentence in pages.sentences(point)]


def test_a_sentence_a_reading():
    rows = 'input sensitivity,L,148,mV,"1 kHz, 40 W",\ninput sensitivity,R,151,mV,"1 kHz, 40 W",\n' + AFTER
    assert sentences(run_of(rows, input="aux")) == [
        "Aux input sensitivity, 40 W into 8 Ω: 151 mV on the right.",
        "DC offset, cold: 11 mV on the left.",
        "Bias: 22.4 mV on the right.",
        "Phono hum, into 8 Ω, A-weighted: 0.6 mV.",
    ]


def test_what_changed_is_said():
    said = sentences(run_of(AFTER, stage="after"), run_of(BEFORE, stage="before"))
    assert said[0] == "DC offset, cold: 11 mV on the left. It was 380 mV on the right before."
    assert said[1].endswith("22.4 mV on the right. Same as before.")
    assert said[2] == "Phono hum, into 8 Ω, A-weighted: 0.6 mV."


def test_cold_is_not_held_against_warm():
    said = sentences(run_of("DC offset,L,11,mV,warm,\n"), run_of("DC offset,L,12,mV,cold,\n"))
    assert said == ["DC offset, warm: 11 mV on the left."]


def test_names_of_the_users_own_are_said_where_they_changed_or_stand_alone():
    rail, bias = "rail voltage,both,43.2,V,,\n", "bias,L,22,mV,,\nbias,R,22,mV,,\n"
    assert sentences(run_of(rail)) == ["Rail voltage: 43.2 V on both sides."]
    assert sentences(run_of(bias + rail)) == ["Bias: 22 mV on both sides."]
    changed = sentences(run_of(bias + rail), run_of("rail voltage,both,39,V,,\n"))
    assert changed[1] == "Rail voltage: 43.2 V on both sides. It was 39 V on both sides before."


CHROME = (("noise reduction", "off"), ("tape", "chrome"))


def test_conditions_that_the_user_names_travel_and_a_row_s_own_come_first():
    plain, own = run_of('THD,L,0.8,%,1 kHz,\nTHD,L,0.6,%,"1 kHz, metal tape",\n', conditions=CHROME).findings
    assert plain.at["conditions"] == {"noise reduction": "off", "tape": "chrome"}
    assert own.at["conditions"] == {"noise reduction": "off", "tape": "metal"}


def test_conditions_that_the_user_names_are_on_the_card_and_in_the_words():
    run = run_of('THD,L,0.8,%,"1 kHz, chrome tape",\nTHD,L,0.6,%,"1 kHz, metal tape",\n')
    assert [note for _, note in rows_of(card(run))] == ["tape chrome", "tape metal"]
    assert sentences(run) == [
        "THD, into 8 Ω, tape chrome: 0.8 % on the left.",
        "THD, into 8 Ω, tape metal: 0.6 % on the left.",
    ]


def test_one_tape_is_not_compared_with_another():
    before = run_of('THD,L,1.8,%,"1 kHz, chrome tape",\n', stage="before")
    assert "before" in sentences(run_of('THD,L,0.8,%,"1 kHz, chrome tape",\n', stage="after"), before)[0]
    assert "before" not in sentences(run_of('THD,L,0.8,%,"1 kHz, metal tape",\n', stage="after"), before)[0]


@pytest.mark.parametrize("name", ["B+ voltage", "AM suppression", "IF trap", "MOL at 315"])
def test_names_keep_their_capitals(name):
    run = run_of(f"{name},,43.1,V,,\n")
    assert rows_of(card(run)) == [((name, "43.1 V"), "")]
    assert sentences(run) == [f"{name}: 43.1 V."]


def test_the_radio_of_a_receiver_has_neither_the_bench_s_load_nor_its_drive():
    of_fm = only('THD,L,0.1,%,"1 kHz, FM input, 65 dBf",\n', drive=Level(40.0, "W"), channels="both")
    assert set(of_fm.at) == {"frequency", "input", "dbf"}


@pytest.mark.parametrize("name", ["AM sensitivity", "MW sensitivity"])
def test_the_sensitivity_of_a_radio_is_of_no_other_input(name):
    found = only(f"{name},,250,µV/m,1 MHz,\n", input="aux", load_ohm=8.0)
    assert (found.unit, found.value, found.at["input"]) == ("V/m", pytest.approx(250e-6), name[:2])
    assert "load" not in found.at
    rating = Rating(found.quantity, "V/m", called=name, at_most=300e-6)
    (made,) = judge(session(rating), [run_of(f"{name},,250,µV/m,1 MHz,\n", input="aux")])
    assert made.verdict == "meets"


def test_a_separation_has_the_name_and_the_sign_that_the_maker_rates():
    found = run_of("separation,L,44.1,dB,1 kHz,\nseparation,R>L,46,dB,1 kHz,\n").findings
    assert [(f.quantity, f.channel, f.value) for f in found] == [
        ("separation", "L", 44.1),
        ("separation", "R>L", 46.0),
    ]
    for row, rating, kept in (
        ("separation,L,44.1", Rating("crosstalk", "dB", at_most=-40.0), ("crosstalk", -44.1)),
        ("crosstalk,L,-44.1", Rating("separation", "dB", at_least=40.0), ("separation", 44.1)),
    ):
        (f,) = run_of(f"{row},dB,1 kHz,\n", ratings=[rating]).findings
        assert (f.quantity, f.value) == kept


# ------------------------------------------------------------------ held against the ratings


@pytest.mark.parametrize(
    ("value", "limit", "word", "margin"),
    [("148", 0.15, "meets", "1.0 ×"), ("100", 0.15, "meets", "1.5 ×"), ("170", 0.15, "falls short", "0.88 ×")],
)
def test_input_sensitivity_at_most(value, limit, word, margin):
    """Less is more sensitive: the rated voltage must be enough for the rated power."""
    row = f"input sensitivity,both,{value},mV,40 W,"
    made = verdict(rated("input_sensitivity", at_most=limit, input="aux"), row, input="aux")
    assert (made.verdict, made.margin, made.label) == (word, margin, "Input sensitivity, aux")
    assert (made.limit, made.measured) == ("150 mV", f"{value} mV")


def test_the_sensitivity_of_another_input_does_not_compare():
    made = verdict(rated("input_sensitivity", at_most=0.15, input="aux"), 'input sensitivity,both,3,mV,"phono input",')
    assert (made.verdict, made.remark) == ("not measured", "only the phono input was measured")


@pytest.mark.parametrize(
    ("value", "word"),
    [
        ("160", "meets"),
        ("151", "too close to call"),
        ("150.2", "meets"),
        ("150", "too close to call"),
        ("149.4", "falls short"),
        ("149", "too close to call"),
        ("140", "falls short"),
    ],
)
def test_phono_overload(value, word):
    rating = rated("phono_overload", at_least=0.15, frequency_hz=1000.0)
    assert verdict(rating, f"phono overload,both,{value},mV,1 kHz,").verdict == word


def test_phono_overload_at_another_frequency():
    rating = rated("phono_overload", at_least=0.15, frequency_hz=1000.0)
    made = verdict(rating, "phono overload,both,160,mV,100 Hz,")
    assert made.verdict == "not comparable"
    assert "rated at 1 kHz, measured at 100 Hz" in made.why


@pytest.mark.parametrize(("left", "right", "word"), [("12", "-9", "meets"), ("12", "-60", "falls short")])
def test_dc_offset_either_way(left, right, word):
    rating = rated("dc_offset", at_most=0.05)
    made = verdict(rating, f"DC offset,L,{left},mV,,", f"DC offset,R,{right},mV,,")
    assert made.verdict == word
    if word == "falls short":
        assert made.measured == "−60 mV"


def test_the_worst_of_cold_and_warm_decides():
    rating = rated("dc_offset", at_most=0.05)
    made = verdict(rating, *(f"DC offset,{c},{v},mV,{at}," for c in "LR" for v, at in ((9, "cold"), (70, "warm"))))
    assert (made.verdict, made.measured) == ("falls short", "70 mV")


def test_hum_in_volts_and_in_decibels_answer_each_their_own():
    rows = ("hum,both,0.6,mV,,", "hum,both,-80,dB,,")
    in_volts, in_db = verdict(rated("hum_voltage", at_most=1e-3), *rows), verdict(rated("hum", at_most=-70.0), *rows)
    assert (in_volts.verdict, in_volts.measured) == ("meets", "0.6 mV")
    assert (in_db.verdict, in_db.measured) == ("meets", "−80 dB")


def test_a_power_by_meter_at_its_limit():
    rating = rated("power", at_least=40.0, load_ohm=8.0, thd_percent=1.0)
    made = verdict(rating, 'power,both,43,W,"1 % THD, 1 kHz",')
    assert (made.verdict, made.measured) == ("meets", "43 W")


def test_every_quantity_by_meter_can_be_read_and_judged():
    """No rating stumbles over a reading that says nothing of its conditions."""
    for name in [q for q in BY_METER if q not in ("power_at_limit",)]:
        unit = QUANTITIES[name].unit
        row = f"{name},L,{-3 if unit == 'dB' and name != 'separation' else 3},{unit},,\n"
        finding = only(row)
        assert (finding.quantity, finding.unit) == (name, unit), name
        for quantity, rule in RULES.items():
            if name in rule.findings:
                limit = {"within": (-1.0, 1.0)} if rule.limits == ("within",) else {rule.limits[0]: 5.0}
                (made,) = judge(
                    session(rated(quantity, **limit)),
                    [run_of(row)],
                )
                nominal = [""] if rule.limits[0] == "nominal" else []
                assert made.verdict in ("meets", "falls short", "not comparable", "not measured", *nominal), name


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [("0.10", "mV", "0.10 mV"), ("100", "uV", "100 µV"), ("1500", "mV", "1500 mV"), ("0.22", "V", "0.22 V")],
)
def test_a_reading_keeps_the_unit_it_was_written_in(value, unit, shown):
    assert show(only(f"DC offset,L,{value},{unit},,\n")) == shown


def test_the_card_holds_what_the_file_says():
    bias = SingleReading("bias", "L", 0.012, "V", {}, "")
    card = card_of("reading", replace(sheet(column("frequency", [1.0])), columns=(), readings=(bias,)))
    assert isinstance(card.body, Rows)
    assert any("12.0 mV" in cell for row in card.body.rows for cell in row.cells)
