"""What to measure: a recipe for every rating, levels, order, ticks, and advice that gives a verdict once followed.

Levels are checked against Ohm's law and the examples of 16 CFR Part 432 worked out by hand; orders against every other
order that there is.
"""

from __future__ import annotations

import csv
import html
import itertools
import json
import math
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rated_and_found import found, rated, runs_of, session
from test_comparison import LIMITS, SIDES

from reviewkit.ingest.reading_conditions import conditions_of
from reviewkit.ingest.reading_file import parse_readings
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.capture_requests import find_blocker
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.capture_request import Basis
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.level import Level
from reviewkit.model.ratings import RULES
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Bench, Measurement, Rating, Session
from reviewkit.model.verdict import Verdict
from reviewkit.plan.entries import at_cell, measurement_tables, reading_header, reading_rows
from reviewkit.plan.gates import GATE, gate_checks
from reviewkit.plan.levels import Gain, dummy_loads, known_gains, output_voltage, plan_preconditioning, work_out_level
from reviewkit.plan.needs import AGAIN, ANSWERED, CLOSER, OPEN, SETTLED, find_needs
from reviewkit.plan.order import Capture, SetUp, plan_captures
from reviewkit.plan.plan import Plan, make_plan
from reviewkit.plan.recipes import capture_requests
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_page import describe_plan
from reviewkit.verdict.comparison import Mains
from reviewkit.verdict.limits import margin
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT, UNMEASURED, judge

COLUMNS = {name: kind.about for name, kind in KINDS.items()}
PAGES = Pages(places.templates(), places.templates())
POWER = rated("power", at_least=40.0, load_ohm=8.0, thd_percent=0.05, band_hz=(20.0, 20_000.0), channels="both")


def planned(of: Session, *findings: Finding, repair: tuple[RepairRow, ...] = (), repaired: bool = False) -> Plan:
    runs = runs_of(*findings)
    return make_plan(of, runs, judge(of, runs), repair, COLUMNS, repaired=repaired)


def one_of(rating: Rating, **bench: Any) -> Capture:
    """The capture that decides about one rating."""
    return plan_captures([rating], Basis(Bench(**bench), (rating,)))[-1]


# ------------------------------------------------------------------ a recipe for every rating

SAID: dict[str, list[Any]] = {
    "load_ohm": [4.0, 8.0, 16.0],
    "input": ["aux", "phono", "main in"],
    "channels": ["both", "one"],
    "weighting": ["A", "468"],
    "tones_hz": [(60.0, 7000.0), (19_000.0, 20_000.0), (250.0, 8000.0)],
    "band_hz": [(20.0, 20_000.0), (40.0, 15_000.0), (10.0, 35_000.0), (2000.0, 9000.0)],
    "frequency_hz": [1000.0, 63.0, 10_000.0],
    "power_w": [1.0, 20.0, 40.0],
    "conditions": [(("tape", "chrome"),), (("speed", "33 1/3"), ("tape", "metal"))],
    "signal": [Level(65.0, "dBf"), Level(250.0, "nWb/m")],
}
# which of them a rule's conditions are said by
KEYS = {"load": "load_ohm", "tones": "tones_hz", "band": "band_hz", "frequency": "frequency_hz", "level": "power_w"}
FIELDS = {"signal": "level"}


@st.composite
def ratings(draw: st.DrawFn, names: tuple[str, ...] = tuple(RULES)) -> Rating:
    """A rating under any of the conditions that its rule knows."""
    name = draw(st.sampled_from(names))
    keys: dict[str, Any] = {}
    for condition in RULES[name].conditions:
        key = KEYS.get(condition, condition)
        if key in SAID and draw(st.booleans()) and not (name == "power" and key == "power_w"):
            keys[FIELDS.get(key, key)] = draw(st.sampled_from(SAID[key]))
    limits = dict(LIMITS[name])
    if name == "power":
        for key in ("thd_percent", "thd_plus_noise_percent"):
            limits[key] = None
        key = draw(st.sampled_from(["thd_percent", "thd_plus_noise_percent", ""]))
        if key:
            limits[key] = 0.05
        keys["rule"] = draw(st.sampled_from(["", "continuous", "music"]))
    if name == "snr" and draw(st.booleans()):
        at_input = {"reference": "5 mV", "reference_v": 0.005}
        keys |= draw(
            st.sampled_from([{"reference": "1 W", "reference_w": 1.0}, {"reference": "rated output"}, at_input])
        )
        if "reference_v" in keys and keys.get("weighting") == "468":
            del keys["weighting"]  # a reading re a voltage at the input cannot be written down
    if name in ("flatness", "riaa_deviation") and draw(st.booleans()):
        limits["within"] = (-1.0, 0.5)
    return rated(name, **limits, **keys)


BENCHES = st.sampled_from(
    [
        {},
        {"load_ohm": 8.0},
        {"load_ohm": 8.0, "input": "aux", "channels": "both"},
        {"load_ohm": 4.0, "input": "tape", "channels": "one"},
    ]
)


def test_every_rated_name_has_a_recipe():
    for name in RULES:
        # a rated name that is new fails here until it has a recipe, a limit in test_comparison, and its words
        rating = rated(name, **LIMITS[name])
        steps = capture_requests(rating, Basis(Bench(load_ohm=8.0, input="aux"), (rating,)))
        assert steps, name
        assert steps[-1].decides, name
        for wanted in steps:
            if wanted.decides:
                assert set(wanted.quantities) <= set(RULES[name].findings), name
        words = describe_plan(planned(session(rating, load_ohm=8.0, input="aux")), PAGES)
        for step in (step for block in (*words.cold, *words.hot) for step in block.steps):
            assert len(step.what.split()) > 4, name
            assert step.level, name
            assert len(step.serves) == 1, name
            assert step.serves[0].startswith(words.ratings[0].label), name
        assert dict(words.columns) == {wanted.kind: KINDS[wanted.kind].about for wanted in steps}, name


@settings(max_examples=20)
@given(st.lists(ratings(), min_size=1, max_size=6), BENCHES)
def test_every_plan_can_be_said(of, bench):
    for findings in ((), [found(RULES[r.quantity].findings[0], 1.0, limit=1.0, band=[50, 900]) for r in of]):
        words = describe_plan(planned(session(*of, **bench), *findings), PAGES)
        assert len(words.ratings) == len(of)
        said = [*words.prepare, *(t for b in (*words.cold, *words.hot) for s in b.steps for t in (s.what, s.level))]
        said += [r.text for r in words.ratings]
        for text in said:
            assert text
            assert text[-1] in ".…"
            for rest in ("None", "[]", "()", "  ", " ,", " .", "Undefined"):
                assert rest not in text.replace("[[]]", ""), text


# ------------------------------------------------------------------ levels


# U = √(P·R): 16 CFR Part 432's example of 50 W into 8 Ω, and sheets of dummy-load voltages (closed form)
@pytest.mark.parametrize(
    ("power_w", "load_ohm", "output_v"),
    [(1, 8, 2.828427), (5, 8, 6.324555), (40, 8, 17.888544), (50, 8, 20.0), (60, 4, 15.491933), (100, 8, 28.284271)],
)
def test_the_level_at_the_output(power_w, load_ohm, output_v):
    assert output_voltage(power_w, load_ohm) == pytest.approx(output_v, abs=1e-6)
    capture = one_of(replace(POWER, at_least=power_w, load_ohm=load_ohm))
    assert work_out_level(capture, ()).output_v == pytest.approx(output_v, abs=1e-6)
    assert work_out_level(capture, ()).power_w == power_w


@pytest.mark.parametrize(("text", "power_w"), [("17.89 V", 40.0), ("20 V", 50.0), ("2.828 V", 1.0)])
def test_the_level_as_it_is_written(text, power_w):
    words = describe_plan(planned(session(replace(POWER, at_least=power_w))), PAGES)
    (over_band, _) = words.hot[0].steps
    assert over_band.level.startswith(f"{power_w:g} W into 8 Ω, {text} at the output")


# 16 CFR 432.3(c): an eighth of the rated power; 100 W is 12.5 W, 10.000 V into 8 Ω
def test_preconditioning_is_an_eighth_and_a_choice():
    hundred = replace(POWER, at_least=100.0)
    made = plan_preconditioning(Basis(Bench(), (hundred,)))
    assert made is not None
    assert (made.power_w, made.output_v) == (12.5, pytest.approx(10.0, abs=1e-9))
    words = describe_plan(planned(session(hundred)), PAGES)
    assert words.preconditioning is not None
    what, risk = words.preconditioning
    assert "12.5 W into 8 Ω, 10 V" in what
    assert "can destroy" in risk
    page = PAGES.text("plan.md.j2", plan=words)
    assert f"Only if you choose it: {what}" in page
    # before what is hot, behind what is not
    assert page.index("Captures at power") < page.index(what)
    assert plan_preconditioning(Basis(Bench(), (rated("flatness", within=(-1.0, 1.0)),))) is None


@given(
    st.floats(1, 500), st.sampled_from([(60.0, 7000.0), (250.0, 8000.0), (19_000.0, 20_000.0), (14_000.0, 15_000.0)])
)
def test_two_tones_peak_as_the_sine_does_and_stand_in_their_ratio(power_w, tones):
    # IEC 60268-3 from memory: 4:1 for the modulation method, 1:1 for the difference of two near tones
    made = work_out_level(one_of(rated("imd", at_most=0.1, power_w=power_w, load_ohm=8.0, tones_hz=tones)), ())
    low, high = made.parts_v
    assert low / high == pytest.approx(4.0 if tones[1] > 2 * tones[0] else 1.0)
    assert low + high == pytest.approx(math.sqrt(power_w * 8.0))
    assert made.meter_v == pytest.approx(math.sqrt(low**2 + high**2))


def test_two_tones_at_the_generator_peak_as_its_sine_does():
    """62 W into 8 Ω at 150 mV: 120 + 30 mV, shown as 124 mV in r.m.s.; 150 mV there would be 1.7 dB more."""
    sensitivity = rated("input_sensitivity", at_most=0.15, input="aux")
    imd = rated("imd", at_most=0.03, power_w=62.0, load_ohm=8.0, tones_hz=(60.0, 7000.0), input="aux")
    power = replace(POWER, at_least=62.0)
    words = describe_plan(planned(session(power, sensitivity, imd, input="aux")), PAGES)
    (step,) = [step for block in words.hot for step in block.steps if step.kind == "intermodulation"]
    assert step.level.endswith("; generator about 120 mV and 30 mV, 124 mV r.m.s. together.")
    basis = Basis(Bench(input="aux"), (power, sensitivity, imd))
    made = work_out_level(one_of(imd, input="aux"), known_gains((), basis))
    assert sum(made.generator_parts_v) == pytest.approx(0.15)
    assert made.generator_v == pytest.approx(math.hypot(0.12, 0.03))


def test_the_generator_is_told_from_the_best_that_is_known_and_from_nothing_else():
    sensitivity = rated("input_sensitivity", at_most=0.15, input="aux")
    response = rated("flatness", within=(-0.5, 0.5), input="aux")
    basis = Basis(Bench(input="aux", load_ohm=8.0), (POWER, sensitivity, response))
    swept = next(c for c in plan_captures(basis.ratings, basis) if c.kind == "response")
    # 4 W of 40 W: a tenth of the power is the voltage's √10th
    (rated_only,) = known_gains((), basis)
    assert rated_only.known_from == "rated"
    assert work_out_level(swept, [rated_only]).generator_v == pytest.approx(0.15 / math.sqrt(10))
    by_meter = found("input_sensitivity", 0.14, input="aux", measurement="readings")
    by_tone = found("gain", 40.0, input="aux", measurement="tone")
    known = known_gains([by_meter, by_tone], basis)
    assert [g.known_from for g in known] == ["gain", "sensitivity", "rated"]
    made = work_out_level(swept, known)
    assert made.generator_v == pytest.approx(math.sqrt(32.0) / 100)  # 40 dB are a factor of a hundred
    assert work_out_level(swept, known[1:]).generator_v == pytest.approx(0.14 / math.sqrt(10))
    assert work_out_level(swept, [Gain(100.0, "gain", "phono")]).generator_v is None
    assert known_gains((), Basis(Bench(), (sensitivity,))) == ()  # no power is rated that it would be for
    text = " ".join(describe_plan(planned(session(*basis.ratings, input="aux"), by_meter), PAGES).prepare)
    assert "the input sensitivity measured in readings" in text


def test_no_volts_without_a_load_and_the_plan_says_what_to_write():
    words = describe_plan(planned(session(replace(POWER, load_ohm=None))), PAGES)
    assert any('Write load = "8 ohm"' in text for text in words.prepare)
    assert all(" V" not in step.level for block in words.hot for step in block.steps)


def test_each_channels_load_bears_twice_what_is_asked_of_it():
    # dummy loads at twice their use: textbook practice, from memory
    four = replace(POWER, at_least=60.0, load_ohm=4.0)
    basis = Basis(Bench(), (POWER, four))
    assert [(load.ohms, load.watts) for load in dummy_loads(plan_captures(basis.ratings, basis))] == [
        (8.0, 80.0),
        (4.0, 120.0),
    ]
    text = " ".join(describe_plan(planned(session(POWER, four)), PAGES).prepare)
    assert "8 Ω: two dummy loads, one on each channel, 80 W or more each" in text


# ------------------------------------------------------------------ order


def set_up_changes(setups):
    return sum(one != other for one, other in itertools.pairwise(setups))


def fewest(cold: list[SetUp], hot: list[SetUp]) -> int:
    """The fewest changes with the hot ones together behind the cold ones, by trying every order."""
    return min(
        set_up_changes([*one, *other]) for one in itertools.permutations(cold) for other in itertools.permutations(hot)
    )


@settings(max_examples=30)
@given(st.lists(ratings(), min_size=1, max_size=5), BENCHES)
def test_no_set_up_change_is_wasted_and_what_is_hot_comes_together_and_last(of, bench):
    made = plan_captures(of, Basis(Bench(**bench), tuple(of)))
    flags = [c.hot for c in made]
    assert flags == sorted(flags)
    cold = list(dict.fromkeys(c.setup for c in made if not c.hot))
    hot = list(dict.fromkeys(c.setup for c in made if c.hot))
    assert set_up_changes(c.setup for c in made) == fewest(cold, hot)
    # each once: no file is made twice, and each rating is served
    assert sorted({number for c in made for number, _ in c.uses}) == list(range(len(of)))
    # once the load is changed while it is hot, more of it never comes before less
    ohms = [c.setup.load_ohm for c in made if c.hot and c.setup.load_ohm is not None]
    rest = [load for load in ohms if load != ohms[0]]
    assert rest == sorted(rest, reverse=True)


def test_one_sweep_serves_all_ratings_that_it_can():
    music = rated("power", at_least=55.0, load_ohm=8.0, rule="music")
    made = plan_captures((POWER, music), Basis(Bench(load_ohm=8.0), (POWER, music)))
    (sweep,) = [c for c in made if c.kind == "distortion-power"]
    assert [number for number, _ in sweep.uses] == [0, 1]
    assert sweep.level.watts == 55.0  # as high as the higher of the two
    assert sweep.wording["limits"] == (0.05, 1.0)


# ------------------------------------------------------------------ advice, and what comes of it


def followed(of: Session, number: int, *, inside: bool) -> list[Finding]:
    """What the plan's captures for one rating would give: findings under the conditions that it names."""
    rating = of.ratings[number]
    made = []
    for capture in plan_captures(of.ratings, Basis(of.bench, of.ratings)):
        for n, wanted in capture.uses:
            for quantity, channel in itertools.product(wanted.quantities, wanted.channels) if n == number else ():
                if (rating.quantity, quantity) not in SIDES:
                    continue  # what the rating's own figure is worked out with
                value = SIDES[rating.quantity, quantity][0 if inside else 1]
                made.append(found(quantity, value, channel, measurement=f"new-{wanted.name}", **wanted.at))
    return made


def word_of(of: Session, number: int, *findings: Finding) -> Verdict:
    return judge(of, runs_of(*findings))[number]


OTHER_WAYS: dict[str, list[Any]] = {
    "load": [2.0, 8.0, 16.0],
    "channels": ["one", "both"],
    "band": [(100.0, 10_000.0), (20.0, 20_000.0)],
    "frequency": [400.0, 1000.0],
    "power": [5.0, 40.0],
    "limit": [0.05, 1.0],
    "figure": ["THD", "THD+N"],
    "weighting": ["A", "C"],
    "reference": [1.0, 40.0],
    "input": ["tape", "aux"],
    "tones": [(60.0, 7000.0), (50.0, 5000.0)],
}


@st.composite
def held(draw: st.DrawFn, rating: Rating) -> list[Finding]:
    """What a session may hold for a rating: figures under some other conditions, of one channel or of both."""
    quantity = draw(st.sampled_from(RULES[rating.quantity].findings))
    at = {k: draw(st.sampled_from(v)) for k, v in OTHER_WAYS.items() if draw(st.booleans())}
    at.setdefault("band", (100.0, 10_000.0))
    # a response has both of its deviations
    pair = ("deviation_high", "deviation_low")
    made = pair if quantity in pair else (quantity,)
    side = draw(st.integers(0, 1))
    ways = [("L", "R"), ("L",), ("",)]
    if quantity.startswith("crosstalk"):
        ways = [("L>R", "R>L"), ("L>R",)]
    elif quantity.startswith("channel_balance"):
        ways = [("both",)]
    channels = draw(st.sampled_from(ways))
    return [
        found(name, SIDES[rating.quantity, name][side], channel, measurement="held", **at)
        for name in made
        for channel in channels
    ]


@settings(max_examples=60)
@given(st.data(), BENCHES, st.booleans())
def test_advice_that_is_followed_gives_a_verdict(data, bench, inside):
    rating = data.draw(ratings())
    of = session(rating, wants="120 V", had="120 V", **bench)
    blocked_by = find_blocker(rating, Basis(of.bench, of.ratings))
    there = data.draw(held(rating)) if data.draw(st.booleans()) else []
    before = word_of(of, 0, *there)
    new = followed(of, 0, inside=inside)
    after = word_of(of, 0, *there, *new)
    if blocked_by == "":
        alone = word_of(of, 0, *new)
        assert alone.verdict == (MEETS if inside else SHORT), (alone.why, rating)
        assert after.verdict in (MEETS, SHORT), (before.verdict, after.why, rating)
    elif blocked_by == "music":
        assert not inside or word_of(of, 0, *new).verdict == MEETS
    else:
        # what is said to be blocked is: no capture confirms it, so the plan is right to say that the table must change
        assert word_of(of, 0, *new).verdict != MEETS


@settings(max_examples=50)
@given(st.data())
def test_every_verdict_that_is_none_says_what_is_in_the_way(data):
    rating = data.draw(ratings())
    of = session(rating, load_ohm=8.0, wants="120 V", had=data.draw(st.sampled_from(["120 V", "110 V", "127 V"])))
    there = data.draw(held(rating))
    verdicts = judge(of, runs_of(*there))
    mains = Mains(120.0, float(of.bench.mains.split()[0]))
    (need,) = find_needs(verdicts, runs_of(*there), mains, Basis(of.bench, of.ratings))
    word = verdicts[0].verdict
    assert need.state == {MEETS: ANSWERED, SHORT: ANSWERED, CLOSE: CLOSER, UNMEASURED: OPEN}.get(word, need.state)
    if word == INCOMPARABLE:
        assert need.state in (AGAIN, SETTLED)
        assert need.differs or need.reasons or need.blocked
        # in the words of the table's own row
        assert any(why in verdicts[0].why for why in need.differs) or need.reasons or need.blocked
        line = describe_plan(planned(of, *there), PAGES).ratings[0]
        assert not line.done or need.state == SETTLED
        assert all(why in line.text for why in need.differs)


def test_what_is_not_as_rated_is_named():
    thd = rated("thd", at_most=0.05, load_ohm=8.0, power_w=40.0)
    there = [found("thd", 0.02, channel, frequency=1000.0, load=8.0, power=5.0) for channel in "LR"]
    made = planned(session(thd), *there)
    (need,) = made.needs
    assert (need.state, need.measurements) == (AGAIN, ("m",))
    assert need.differs == ("rated at 40 W, measured at 5 W",)
    (step,) = made.steps
    assert (step.state, step.measurements, step.capture.level.watts) == (AGAIN, ("m",), 40.0)
    (line,) = describe_plan(made, PAGES).ratings
    assert line.text == "Measured: m, 0.020 %. But rated at 40 W, measured at 5 W. Capture step 1 as written."


def test_a_capture_that_only_tells_more_is_said_to_be_optional():
    over_band, sweep = describe_plan(planned(session(POWER)), PAGES).hot[0].steps
    assert over_band.serves == ("Power into 8 Ω",)
    assert sweep.serves == ("Power into 8 Ω (optional: gives the figure itself; the verdict doesn't need it)",)


def test_what_brings_a_close_figure_nearer():
    factor = rated("damping_factor", at_least=50.0, load_ohm=8.0, frequency_hz=1000.0)
    near = [found("damping_factor", 50.2, c, frequency=1000.0, load=8.0, uncertainty=1.0) for c in "LR"]
    (line,) = describe_plan(planned(session(factor), *near), PAGES).ratings
    assert "more digits of the meter, a heavier load, loads measured to better than their marking;" in line.text
    thd = rated("thd", at_most=0.05)
    near = [found("thd", 0.0499, c, frequency=1000.0, uncertainty=0.001) for c in "LR"]
    (line,) = describe_plan(planned(session(thd), *near), PAGES).ratings
    assert "a lower floor and a better known level;" in line.text


def test_two_names_of_what_may_be_one_input_are_asked_about():
    of = (rated("snr", at_least=78.0, input="phono MM"), rated("riaa_deviation", within=(-0.3, 0.3), input="phono"))
    text = " ".join(describe_plan(planned(session(POWER, *of, input="aux")), PAGES).prepare)
    assert "The inputs phono and phono MM are planned as two. If they are one" in text
    assert "planned as two" not in " ".join(describe_plan(planned(session(POWER, of[1], input="aux")), PAGES).prepare)


def test_a_sensitivity_says_where_to_begin():
    of = session(POWER, rated("input_sensitivity", at_most=0.0025, input="phono"), input="aux")
    steps = [step for block in describe_plan(planned(of), PAGES).hot for step in block.steps if step.kind == "reading"]
    assert steps[0].level == "40 W into 8 Ω, 17.89 V at the output; the maker says 2.5 mV at the input."


def test_one_channel_where_both_are_rated():
    thd = rated("thd", at_most=0.05, channels="both")
    there = [found("thd", 0.02, "L", frequency=1000.0, channels="both"), found("level", 1.0, "R")]
    (need,) = planned(session(thd), *there).needs
    assert (need.state, need.reasons) == (AGAIN, ("one side",))


def test_a_figure_at_the_floor_and_a_sweep_that_stops():
    at_floor = [found("thd", 0.2, c, frequency=1000.0, bound="at most") for c in "LR"]
    (need,) = planned(session(rated("thd", at_most=0.1)), *at_floor).needs
    assert (need.state, need.reasons) == (AGAIN, ("bound",))
    stopped = [found("power_reached", 30.0, c, limit=1.0, frequency=1000.0, load=8.0, figure="THD") for c in "LR"]
    (need,) = planned(session(rated("power", at_least=40.0, load_ohm=8.0)), *stopped).needs
    assert (need.state, need.reasons) == (AGAIN, ("stops early",))


def test_continuous_power_below_a_music_rating_has_said_all_it_can():
    music = rated("power", at_least=55.0, load_ohm=8.0, rule="music")
    there = [found("power_at_limit", 46.0, c, limit=1.0, frequency=1000.0, load=8.0, figure="THD") for c in "LR"]
    made = planned(session(music), *there)
    assert made.needs[0].state == SETTLED
    assert made.lacking == ()
    assert made.steps[0].done
    # into another load it has not: the plan asks for the rated one
    other = [replace(f, at={**f.at, "load": 4.0}) for f in there]
    assert planned(session(music), *other).needs[0].state == AGAIN


@settings(max_examples=40)
@given(ratings(tuple(n for n in RULES if n not in ("power",))), st.floats(0.02, 0.9), st.booleans())
def test_a_close_figure_is_called_once_its_uncertainty_is_below_the_distance(rating, share, inside):
    of = session(rating, load_ohm=8.0)
    if find_blocker(rating, Basis(of.bench, of.ratings)):
        return
    new = followed(of, 0, inside=inside)
    near = [replace(f, uncertainty=distance(rating, f) * (1 + share)) for f in new]
    verdict = word_of(of, 0, *near)
    assert verdict.verdict == CLOSE
    (need,) = planned(of, *near).needs
    assert need.state == CLOSER
    assert need.distance is not None
    called = [replace(f, uncertainty=distance(rating, f) * (1 - share)) for f in new]
    assert word_of(of, 0, *called).verdict == (MEETS if inside else SHORT)
    assert need.distance == pytest.approx(distance(rating, verdict.findings[-1]))


# ------------------------------------------------------------------ what to write down


def as_toml(rating: Rating) -> str:
    words = {"load_ohm": ("load", "{:g} ohm"), "input": ("input", "{}"), "channels": ("channels", "{}")}
    words |= {
        "weighting": ("weighting", "{}"),
        "frequency_hz": ("frequency", "{:g} Hz"),
        "power_w": ("power", "{:g} W"),
    }
    words |= {"thd_percent": ("thd", "{:g} %"), "thd_plus_noise_percent": ("thd_plus_noise", "{:g} %")}
    lines = ["[[rated]]", f'quantity = "{rating.quantity}"']
    for key in ("at_least", "at_most"):
        if (limit := getattr(rating, key)) is not None:
            lines.append(f'{key} = "{limit:g} {rating.unit}"' if rating.unit else f"{key} = {limit:g}")
    if rating.within:
        lines.append(f'within = ["{rating.within[0]:g} dB", "{rating.within[1]:+g} dB"]')
    if rating.conditions:
        lines.append(
            f"conditions = {{ {', '.join(f'{json.dumps(k)} = {json.dumps(v)}' for k, v in rating.conditions)} }}"
        )
    if rating.level:
        lines.append(f'level = "{rating.level.value:g} {rating.level.unit}"')
    for key, (name, form) in words.items():
        if getattr(rating, key):
            lines.append(f'{name} = "{form.format(getattr(rating, key))}"')
    for key, name in (("band_hz", "band"), ("tones_hz", "tones")):
        if pair := getattr(rating, key):
            lines.append(f'{name} = ["{pair[0]:g} Hz", "{pair[1]:g} Hz"]')
    return "\n".join(lines)


@settings(max_examples=10)
@given(st.lists(ratings(), min_size=1, max_size=4), BENCHES, st.booleans())
def test_the_tables_to_write_down_are_read_back_with_the_conditions_that_are_wanted(
    tmp_path_factory, of, bench, repaired
):
    folder = tmp_path_factory.getbasetemp() / "written-down"
    (folder / "measurements").mkdir(parents=True, exist_ok=True)
    of = [replace(r, reference="", reference_w=None, rule="") for r in of]
    basis = Basis(Bench(**bench), tuple(of))
    made = plan_captures(of, basis)
    tables = measurement_tables(list(enumerate(made, start=1)), basis.bench, repaired=repaired)
    said = {"load_ohm": "load", "input": "input", "channels": "channels"}
    on_bench = [f'{said[k]} = "{f"{v:g} ohm" if k == "load_ohm" else v}"' for k, v in bench.items()]
    lines = ['[unit]\nmaker = "Norrvale"\nmodel = "Forty"', "[bench]", *on_bench, *map(as_toml, of)]
    lines += ["\n".join(table).replace('"…"', '"1.234 V"') for _, table in tables]
    for name in re.findall(r'^file = "(.+)"$', "\n".join(lines), re.MULTILINE):
        (folder / name).touch()
    read = parse_session("\n".join(lines), folder, kinds=KINDS)
    by_number = {number: m for (number, _), m in zip(tables, read.measurements, strict=True)}
    for number, capture in enumerate(made, start=1):
        if capture.kind == "reading":
            continue
        m = by_number[number]
        assert m.kind == capture.kind
        assert m.stage == ("after" if repaired else "")
        for _, wanted in capture.uses:
            if m.loads_ohm:  # by voltmeter: the loads are in the reading itself
                assert wanted.at.get("load", 8.0) in (*m.loads_ohm, 8.0)
                continue
            had = {"load": m.load_ohm, "input": m.input, "channels": m.channels, "power": m.drive_w}
            had["conditions"] = dict(m.conditions)
            had |= m.level.entries() if m.level else {}
            for key in set(had) & set(wanted.at):
                exact = isinstance(wanted.at[key], (str, dict))
                assert had[key] == (wanted.at[key] if exact else pytest.approx(wanted.at[key], rel=1e-5))


@settings(max_examples=60)
@given(ratings(), BENCHES)
def test_the_rows_to_write_down_hold_the_conditions_that_are_wanted(rating, bench):
    for capture in plan_captures([rating], Basis(Bench(**bench), (rating,))):
        rows = list(csv.reader(reading_rows(capture)))
        assert bool(rows) == (capture.kind == "reading")
        assert all(len(row) == len(reading_header().split(",")) for row in rows)
        for _, wanted in capture.uses if rows else ():
            said: list[str] = []
            at = conditions_of(at_cell(wanted), str, said.append)
            assert said == []
            assert at == {key: pytest.approx(v) if isinstance(v, float) else v for key, v in wanted.at.items()}


# ------------------------------------------------------------------ as it came in, and the gate


def row(point: str, found_v: float | None, expected: float | None = 0.0, tolerance: float = 0.05, note: str = ""):
    shown = "" if found_v is None else f"{found_v:g} V"
    return RepairRow(point, expected, f"{expected:g} V", found_v, shown, "V", tolerance, f"{tolerance:g} V", "", note)


def gate_of(*rows: RepairRow, findings: tuple[Finding, ...] = ()) -> dict[str, Any]:
    return {check.name: check for check in planned(session(POWER), *findings, repair=rows, repaired=True).gate}


def test_a_reading_in_order_ticks_its_line_and_a_bad_one_stops():
    lines = gate_of(row("DC offset L, cold", 0.01), row("DC offset R, cold", 0.4))
    assert not lines["offset-cold"].done
    assert [reading.verdict for reading in lines["offset-cold"].readings] == ["OK", "out of tolerance"]
    assert lines["offset-warm"].readings == ()
    words = describe_plan(planned(session(POWER), repair=(row("DC offset R", 0.4),), repaired=True), PAGES)
    assert "DC offset R: 0.4 V, out of tolerance" in words.stop
    # neither cold nor warm: it stops at both lines, and is said once
    assert len(words.stop) == 1
    # a later reading of the same channel is the one that counts
    assert gate_of(row("DC offset R, cold", 0.4), row("DC offset R, cold, again", 0.02), row("DC offset L, cold", 0.0))[
        "offset-cold"
    ].done


def test_what_was_read_before_the_repair_is_no_go_for_what_comes_after():
    lines = gate_of(row("DC offset L, before", 0.01), row("Bias R, as found", 0.02))
    assert lines["offset-cold"].readings == ()
    assert lines["bias-cold"].readings == ()
    made = planned(session(POWER), repair=(row("DC offset L, before", 0.01),), repaired=True)
    sheet = {check.name: check for check in made.as_it_came}
    assert sheet["readings-before"].done


def test_the_rows_that_the_plan_gives_tick_every_line_of_the_gate_that_asks_for_a_reading():
    """And those of the step "DC offset, warm" tick its line, not the step alone."""
    offset = rated("dc_offset", at_most=0.05)
    of = session(POWER, offset)
    asked = {name for name in GATE if name.split("-")[0] in ("rails", "offset", "bias")}
    for rows, ticked in (
        (describe_plan(planned(of), PAGES).gate_rows, asked),
        ((reading_header(), *reading_rows(one_of(offset))), {"offset-warm"}),
    ):
        sheet = parse_readings("\n".join(rows).replace("…", "12"), "r.csv")
        conditions = Conditions(Measurement("readings", "reading"), Bench())
        run = Run(conditions, KINDS["reading"].findings(sheet, conditions).findings)
        assert {check.name for check in gate_checks((), [run]) if check.done} == ticked
    words = describe_plan(planned(of, repair=(row("DC offset L, cold", 0.01), row("DC offset R, cold", 0.01))), PAGES)
    assert not [line for line in words.gate_rows if line.startswith("DC offset") and ",cold," in line]
    for template in ("plan.md.j2", "plan.html"):
        assert words.gate_rows[-1].split(",", 1)[0] in PAGES.text(template, plan=words)


def test_parts_are_no_readings_and_each_rail_counts():
    lines = gate_of(row("Bias trimmer R", 0.02), row("Bias resistor L", 0.02))
    assert lines["bias-cold"].readings == lines["bias-warm"].readings == ()
    rails = gate_of(row("Rail, positive", 60.0, 38.5, 2.0), row("Rail, negative", 38.4, 38.5, 2.0))["rails"]
    assert len(rails.readings) == 2
    assert not rails.done


def test_the_gate_ticks_from_readings_by_meter_too():
    left, right = (
        replace(found("dc_offset", 0.012, channel, measurement="readings", setting="warm"), kind="reading")
        for channel in "LR"
    )
    lines = gate_of(findings=(left, right))
    assert lines["offset-warm"].done
    assert [reading.shown for reading in lines["offset-warm"].readings] == ["12.0 mV", "12.0 mV"]
    assert lines["offset-cold"].readings == ()
    # one side alone is no go, and no stop either
    alone = gate_of(findings=(left,))["offset-warm"]
    assert (alone.done, alone.stops) == (False, ())
    # and a figure that nothing is held against takes no bad one back
    assert gate_of(row("DC offset L, warm", 0.4), findings=(left, right))["offset-warm"].stops


def test_a_rail_that_is_ok_is_no_stop_beside_one_that_is_not():
    rails = (row("TP1 main rail +", 30.0, 30.0, 1.5), row("TP2 main rail −", -21.0, -30.0, 1.5))
    words = describe_plan(planned(session(POWER), repair=rails, repaired=True), PAGES)
    assert words.stop == ("TP2 main rail −: -21 V, out of tolerance",)
    assert "TP1 main rail +: 30 V, OK" in next(line.notes for line in words.gate if "rail" in line.text)
    for template in ("plan.md.j2", "plan.html"):
        page = PAGES.text(template, plan=words)
        assert page.count("Stop: ") == 1
        assert page.count("TP1 main rail") == 1  # and no reading is listed twice


@pytest.mark.parametrize("repaired", [False, True])
def test_each_reading_is_listed_once(repaired):
    rows = (
        row("Rail, positive", 38.4, 38.5, 2.0),
        row("DC offset L", 0.01, note="cold and warm"),
        row("DC offset R", 0.012, note="cold and warm"),
        replace(row("Bias L, warm", 0.021, 0.02), found_text="21.0 mV"),
        row("Bias R, before", 0.001, 0.02, 0.005),
    )
    # the same reading by meter, written down a second time
    again = replace(found("bias", 0.021, "L", measurement="readings", setting="warm"), kind="reading")
    words = describe_plan(planned(session(POWER), again, repair=rows, repaired=repaired), PAGES)
    notes = [note for line in (*words.as_it_came, *words.gate) for note in line.notes]
    points = [note.partition(": ")[0] for note in notes if ": " in note]
    assert sorted(points) == sorted(each.point for each in rows)
    warm = next(line for line in words.gate if line.text.startswith("DC offset") and "warm" in line.text)
    assert (warm.done, warm.notes) == (True, ("Its readings are listed with another line.",))


def test_what_the_gate_asks_for_is_not_asked_for_again():
    words = describe_plan(planned(session(POWER, rated("dc_offset", at_most=0.05))), PAGES)
    rows = [line.casefold() for line in (*words.gate_rows, *words.readings) if "…" in line]
    assert "dc offset,l,…,mv,warm," in rows
    assert len(rows) == len(set(rows))


def test_a_signal_to_noise_ratio_is_no_voltage_at_the_input():
    """86 dB re 5 mV at the input needs the input's sensitivity, which the maker doesn't give."""
    ratio = rated("snr", at_least=86.0, weighting="A", input="phono", reference="5 mV", reference_v=0.005)
    words = describe_plan(planned(session(POWER, ratio, load_ohm=8.0)), PAGES)
    levels = [step.level for block in (*words.cold, *words.hot) for step in block.steps]
    assert not [level for level in levels if "the maker says" in level]
    printed = rated("input_sensitivity", nominal=0.0025, input="phono")
    words = describe_plan(planned(session(POWER, ratio, printed, load_ohm=8.0)), PAGES)
    levels = [step.level for block in (*words.cold, *words.hot) for step in block.steps]
    assert len([level for level in levels if "the maker says 2.5 mV at the input" in level]) == 1


def test_a_nominal_value_is_not_called_music_power():
    nominal = rated("input_sensitivity", nominal=0.15, input="aux")
    there = [
        found("input_sensitivity", 0.147, side, input="aux", frequency=1000.0, power=40.0, load=8.0) for side in "LR"
    ]
    (_, line) = describe_plan(planned(session(POWER, nominal, load_ohm=8.0), *there), PAGES).ratings
    assert line.text == "147 mV, −2 % (m). A nominal value has no limit, so there is no verdict."


def test_leakage_is_read_both_ways_before_the_unit_goes_back():
    one = row("Leakage from the chassis, plug one way", 0.02, 0.0, 0.75)
    other = replace(one, point="Leakage from the chassis, plug the other way")
    for rows, done, stops in (((), False, 0), ((one,), False, 0), ((one, other), True, 0)):
        made = planned(session(POWER), repair=rows, repaired=True)
        assert [(check.done, len(check.stops)) for check in made.going_back] == [(done, stops)]
    bad = row("Leakage from the chassis, plug one way", 1.2, 0.0, 0.75)
    words = describe_plan(planned(session(POWER), repair=(bad, other), repaired=True), PAGES)
    assert words.stop == ("Leakage from the chassis, plug one way: 1.2 V, out of tolerance",)
    page = PAGES.text("plan.md.j2", plan=words)
    assert page.index(words.hot[-1].steps[-1].what) < page.index(words.going_back[0].text)


def test_one_line_says_what_the_session_has_ticked():
    words = describe_plan(planned(session(POWER)), PAGES)
    assert words.ticked == "Nothing is ticked by the session's readings and verdicts yet; the boxes are yours."
    rails = (row("Rail, positive", 38.4, 38.5, 2.0), row("Rail, negative", -38.4, -38.5, 2.0))
    words = describe_plan(planned(session(POWER), repair=rails), PAGES)
    lines = [*words.gate, *words.going_back]
    assert sum(line.done for line in lines) == 1
    assert f"1 of {len(lines)} go/no-go lines, 0 of 2 captures" in words.ticked


@pytest.mark.parametrize("template", ["plan.md.j2", "plan.html"])
def test_each_caution_comes_right_before_the_step_where_it_applies(template):
    words = describe_plan(planned(session(POWER)), PAGES)
    page = html.unescape(PAGES.text(template, plan=words))
    said = PAGES.cautions(repaired=False)
    applies = [
        (said["all"][-1], words.as_it_came[0].text, "1. As it came in"),
        (said["open"][0], "Unplug. Check the supply capacitors", "every control is set"),
        (said["repair"][1], "film and capture what shows the fault", "as found, at the first power-up"),
        (said["repair"][0], "First power-up through a current-limited", "No loudspeaker connected, and"),
        ("This part is live.", "Each supply rail", "The lamp goes dim"),
        (said["power"][0], words.hot[0].steps[0].what, words.prepare[0]),
    ]
    for caution, step, previous in applies:
        assert page.count(caution) == 1
        if previous == "1. As it came in":
            assert page.index(caution) < page.index(previous) < page.index(step)
        else:
            assert page.index(previous) < page.index(caution) < page.index(step)


def test_nothing_powered_before_it_is_recorded_and_no_load_before_the_gate():
    words = describe_plan(planned(session(POWER)), PAGES)
    page = PAGES.text("plan.md.j2", plan=words)
    order = [*words.first_cautions, words.as_it_came[0].text, words.gate[0].text, words.prepare[0]]
    order += [words.hot[0].steps[0].what]
    assert [page.index(text[:40]) for text in order] == sorted(page.index(text[:40]) for text in order)
    gate = " ".join(line.text for line in words.gate)
    for wanted in ("current-limited", "No loudspeaker", "DC offset", "Bias", "cold", "warm", "rail"):
        assert wanted in gate
    sheet = " ".join(line.text for line in words.as_it_came)
    for wanted in ("Photograph", "serial number", "off camera", "fault", 'stage = "before"', "trimmer"):
        assert wanted in sheet
    caution = " ".join(words.cautions)
    for wanted in (
        "Mains voltage can kill",
        "stay charged",
        "get hot",
        "damage your hearing",
        "Local codes",
        "licensed",
    ):
        assert wanted in caution


def test_a_response_rated_at_a_power_is_captured_at_it():
    flat = rated("flatness", within=(-1.0, 0.0), band_hz=(10.0, 50_000.0), power_w=1.0)
    levels = {
        c.kind: c.level and c.level.watts
        for c in plan_captures((POWER, flat), Basis(Bench(load_ohm=8.0), (POWER, flat)))
    }
    assert levels["response"] == 1.0
    plain = replace(flat, power_w=None)
    levels = {
        c.kind: c.level and c.level.watts
        for c in plan_captures((POWER, plain), Basis(Bench(load_ohm=8.0), (POWER, plain)))
    }
    assert levels["response"] == pytest.approx(4.0)  # 10 dB under the rated 40 W


def distance(rating, finding):
    """How far a figure is from its limit, in its own unit."""
    return abs(margin(rating, finding, finding.value).amount)


@pytest.mark.parametrize("held", [False, True])
def test_signal_to_noise_re_a_voltage_at_the_input_wants_that_inputs_sensitivity_too(held):
    rating = rated("snr", at_least=78.0, weighting="A", input="phono", reference="5 mV", reference_v=0.005)
    there = [found("input_sensitivity", 0.0025, side, input="phono", frequency=1000.0, power=40.0) for side in "LR"]
    made = planned(session(POWER, rating, load_ohm=8.0), *(there if held else ()))
    steps = {step.capture.name: step for step in made.steps if any(n == 1 for n, _ in step.capture.uses)}
    assert set(steps) == {"noise", "input-sensitivity"}
    assert steps["input-sensitivity"].done == held
    assert not steps["noise"].done


def test_what_was_read_of_another_input_before_the_repair_is_not_named():
    rating = rated("snr", at_least=70.0, input="phono")
    keys = {"reference": 40.0, "stage": "before"}
    told = [found("snr", 95.0, input="aux", measurement="idle", **keys)]
    (need,) = planned(session(rating), *told).needs
    assert need.before == ()
    told.append(found("snr", 71.0, input="phono", measurement="idle-phono", **keys))
    told.append(found("snr", 96.0, input="aux", measurement="idle-after", reference=40.0, stage="after"))
    (need,) = planned(session(rating), *told).needs
    assert (need.verdict.verdict, need.before) == ("not measured", ("idle-phono",))
