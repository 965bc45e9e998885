"""What `[unit] type` decides: the plan, its cautions, what a repair needs, the order of the story.

What each type must be warned of is this project's own list (valve supplies, platters, beams, tweeters); which chapter
comes first is a judgement. Nothing outside the project states either.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from rated_and_found import found, rated, runs_of

from reviewkit.build.card_series import _order_of_kinds
from reviewkit.episode.chapters import ASKED, segment_of_still
from reviewkit.episode.episode import ORDER, story_order
from reviewkit.episode.outcome import find_outcome
from reviewkit.episode.stills import make_stills
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.capture_request import Basis
from reviewkit.model.card import Card
from reviewkit.model.change import Change
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Point
from reviewkit.model.gear import TYPES, gear_of
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating, Session, Unit
from reviewkit.plan.gates import GATE, gate_of
from reviewkit.plan.plan import Plan, make_plan
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_page import describe_plan, render_plan
from reviewkit.verdict.verdict import judge

PAGES = Pages(places.templates(), places.templates())
SNR = rated("snr", at_least=74.0)
RESPONSE = rated("flatness", within=(-3.0, 3.0), band_hz=(40.0, 15_000.0))
FLUTTER = Rating("wow_and_flutter", "%", called="wow and flutter", at_most=0.05)


def session(*types: str, ratings: tuple[Rating, ...] = (SNR, RESPONSE, FLUTTER), **bench: object) -> Session:
    return Session(Path("session"), Unit("Norrvale", "Tune", type=types), Bench(**bench), ratings=ratings)


def plan_of(*types: str, ratings: tuple[Rating, ...] = (SNR, RESPONSE, FLUTTER), **bench: object) -> Plan:
    of = session(*types, ratings=ratings, **bench)
    return make_plan(of, (), judge(of, ()), (), {name: kind.about for name, kind in KINDS.items()}, repaired=False)


def text_of(plan: Plan) -> str:
    """The plan as it is read, in Markdown."""
    return render_plan(describe_plan(plan, PAGES), PAGES)["plan.md"].decode()


@pytest.mark.parametrize("kind", TYPES)
def test_every_type_has_a_plan_and_a_story(kind):
    gear = gear_of([kind])
    assert gear is not None
    assert sorted(gear.asked) == sorted(ASKED)
    assert sorted(story_order(gear)) == sorted(ORDER)
    of_kinds = [KINDS[name].asked_of(gear) for name in _order_of_kinds(session(kind))]
    assert list(dict.fromkeys(of_kinds)) == [asked for asked in gear.asked if asked in of_kinds]
    text = text_of(plan_of(kind))
    assert "Undefined" not in text
    assert "None" not in text
    assert text.count("\n- [ ] **1.**") == 1


@pytest.mark.parametrize("kind", [kind for kind in TYPES if not gear_of([kind]).loads])
def test_a_line_output_and_a_loudspeaker_have_no_dummy_load(kind):
    # even if the bench has loads for other units
    plan = plan_of(kind, load_ohm=8.0)
    assert plan.loads == ()
    assert plan.preconditioning is None
    assert {step.capture.setup.load_ohm for step in plan.steps} == {None}
    text = text_of(plan).lower()
    for word in ("dummy load", "no load is stated", "before any load", "damage your hearing"):
        assert word not in text


@pytest.mark.parametrize(
    ("types", "lacks"),
    [
        (("player",), ("bias", "offset", "no-loudspeaker")),
        (("tuner",), ("bias", "offset", "no-loudspeaker")),
        (("headphone amplifier",), ("bias",)),
        (("valve amplifier",), ("offset",)),
        (("amplifier",), ()),
        (("tuner", "amplifier"), ()),
        (("loudspeaker",), ("bias", "offset-", "rails", "full-mains", "switch-on")),
    ],
)
def test_the_gate_asks_only_for_what_there_is(types, lacks):
    names = gate_of(gear_of(types))
    for word in lacks:
        assert not any(name.startswith(word) for name in names)
    if not lacks:
        assert names == GATE
    words = describe_plan(plan_of(*types), PAGES)
    said = " ".join(item.text for item in (*words.as_it_came, *words.gate)).lower()
    assert ("bias" in said) == (not any(word == "bias" for word in lacks))
    assert len(words.gate) == len(names)


def test_a_loudspeaker_has_neither_mains_nor_leakage():
    plan = plan_of("loudspeaker")
    assert plan.going_back == ()
    text = text_of(plan)
    assert "amplifier that drives it" in text
    for word in ("Mains voltage", "fuse", "leakage", "Before it goes back"):
        assert word not in text


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("valve amplifier", ("400 to 500 volts", "bleeders fail open", "without a load", "residual-current")),
        ("turntable", ("under the platter",)),
        ("player", ("invisible", "interlock")),
        ("loudspeaker", ("amplifier's DC offset first", "tweeters", "kilovolts")),
    ],
)
def test_the_cautions_of_its_kind_are_given_and_those_of_others_are_not(kind, words):
    said = {
        each: " ".join(s for lines in PAGES.cautions(gear=gear_of([each])).values() for s in lines) for each in TYPES
    }
    for word in words:
        assert word in said[kind]
        assert word not in said["tuner"]
    assert all("lead" in each for each in said.values())
    power = rated("power", at_least=35.0, load_ohm=8.0, thd_percent=1.0)
    text = text_of(plan_of(kind, ratings=(power,) if kind == "valve amplifier" else (SNR,)))
    assert all(word in text for word in words)


def test_without_a_type_the_cautions_are_those_of_an_amplifier():
    plain, amplifier = PAGES.cautions(), PAGES.cautions(gear=gear_of(["amplifier"]))
    assert {topic: lines for topic, lines in plain.items() if topic != "open"} == {
        topic: lines for topic, lines in amplifier.items() if topic != "open"
    }
    assert plain["open"] == amplifier["open"][:2]


@pytest.mark.parametrize("kind", TYPES)
def test_each_caution_is_said_in_a_breath(kind):
    for lines in PAGES.cautions(gear=gear_of([kind])).values():
        for line in lines:
            assert all(len(sentence.split()) <= 24 for sentence in re.split(r"(?<=[.:]) ", line)), line


@pytest.mark.parametrize(
    ("types", "wanted"),
    [
        (("amplifier",), ("DC offset", "bias", "electrical safety, mains leakage with the plug both ways")),
        (("valve amplifier",), ("bias", "electrical safety, mains leakage with the plug both ways")),
        (("player",), ("electrical safety, mains leakage with the plug both ways",)),
        (("loudspeaker",), ()),
    ],
)
def test_what_a_repair_needs_to_be_one(types, wanted):
    before = found("thd", 1.4, measurement="before", stage="before", frequency=1000.0)
    after = found("thd", 0.02, measurement="after", stage="after", frequency=1000.0)
    runs = runs_of(before, after)
    outcome = find_outcome(session(*types), (), runs, [Change(before, after)])
    assert outcome.unchecked == wanted
    assert outcome.word == ("Improved" if wanted else "Repaired")


def test_the_radio_of_a_receiver_is_measured_at_its_line_output():
    fm = rated("snr", at_least=74.0, input="FM")
    power = rated("power", at_least=40.0, load_ohm=8.0, thd_percent=0.1)
    plan = plan_of("tuner", "amplifier", ratings=(power, fm), load_ohm=8.0, input="aux")
    assert [load.ohms for load in plan.loads] == [8.0]
    (of_fm,) = [step for step in plan.steps if step.capture.setup.input == "FM"]
    assert (of_fm.capture.setup.load_ohm, of_fm.capture.setup.place) == (None, "line output")


@pytest.mark.parametrize(
    ("kind", "driven"), [("tuner", False), ("player", False), ("preamplifier", True), ("deck", True)]
)
def test_no_generator_is_asked_to_drive_a_source(kind, driven):
    separation = rated("separation", at_least=40.0, frequency_hz=1000.0)
    text = text_of(plan_of(kind, ratings=(SNR, separation, RESPONSE)))
    for words in ("Input shorted", "No gain is known", "input terminated"):
        assert (words in text) == driven
    assert ("the left alone from the test signal" in text) != driven


THD = rated("thd", at_most=0.005, band_hz=(20.0, 20_000.0), level=Level(2.0, "V"))
IMPEDANCE = rated("source_impedance", nominal=600.0)


def lines_of(plan: Plan) -> dict[str, str]:
    """The set-up, what to do and the level of each step, by its kind."""
    words = describe_plan(plan, PAGES)
    blocks = (*words.cold, *words.hot)
    return {step.kind: f"{block.setup}. {step.what} {step.level}" for block in blocks for step in block.steps}


@pytest.mark.parametrize("kind", ["preamplifier", "equaliser", "deck"])
def test_what_has_a_line_output_is_measured_there(kind):
    text = text_of(plan_of(kind, ratings=(THD, IMPEDANCE)))
    assert "loudspeaker" not in text
    assert "into 10 kΩ" in text
    assert 'loads = ["open", "10000 ohm"]' in text
    assert "at one level" in text


def test_a_source_is_not_driven():
    text = text_of(plan_of("turntable", ratings=(RESPONSE, rated("separation", at_least=25.0, frequency_hz=1000.0))))
    assert "As the test record gives it" in text
    for words in ("500 mV", "tone controls", "nothing driven", "input not named", 'drive = "'):
        assert words not in text


def test_the_distortion_of_a_player_and_its_noise_are_those_of_full_scale():
    level = Rating("output_level", "V", called="output level", nominal=2.0)
    ratings = (rated("thd", at_most=0.005), rated("snr", at_least=96.0, weighting="A"), level)
    steps = lines_of(plan_of("player", ratings=ratings))
    assert set(steps) == {"tone", "noise"}
    assert "Signal at 0 dBFS." in steps["tone"]
    text = text_of(plan_of("player", ratings=ratings))
    assert 'drive = "0 dBFS"' in text
    assert "optional" not in text


def test_noise_re_a_voltage_at_the_input_is_captured_at_a_line_output_too():
    rating = rated("snr", at_least=80.0, weighting="A", input="phono", reference="5 mV", reference_v=0.005)
    assert set(lines_of(plan_of("preamplifier", ratings=(rating,)))) == {"noise", "reading"}


def test_de_emphasis_is_in_a_tuner_s_sweep_and_takes_a_disc_of_its_own():
    ratings = (RESPONSE, Rating("de_emphasis_deviation", "dB", called="de-emphasis deviation", within=(-0.5, 0.5)))
    assert len(plan_of("tuner", ratings=ratings).steps) == 1
    assert len(plan_of("player", ratings=ratings).steps) == 2
    text = text_of(plan_of("player", ratings=ratings))
    assert "Feed it" not in text
    assert text.count('target = "50 µs"  # or') == 1


def test_a_signal_ends_with_one_full_stop():
    distortion = rated("thd", at_most=1.0, level=Level(-10.0, "dB", reference="250 nWb/m"))
    text = text_of(plan_of("deck", ratings=(distortion,)))
    assert "Signal at −10 dB re 250 nWb/m.\n" in text


def test_the_amplifier_of_a_receiver_is_not_driven_through_its_radio():
    power = rated("power", at_least=40.0, load_ohm=8.0, thd_percent=0.1)
    fm = [rated(name, at_least=40.0, input="FM") for name in ("separation", "snr")]
    distortion = rated("thd", at_most=0.3, input="FM", level=Level(65.0, "dBf"))
    quieting = Rating(
        "50_db_quieting_sensitivity", "dBf", called="50 dB quieting sensitivity", at_most=15.0, input="FM"
    )
    ratings = (power, rated("damping_factor", at_least=40.0), *fm, distortion, quieting)
    plan = plan_of("tuner", "amplifier", ratings=ratings, load_ohm=8.0)
    inputs = {step.capture.kind: step.capture.setup.input for step in plan.steps}
    assert inputs["distortion-power"] == inputs["source-impedance"] == ""
    assert inputs["level-sweep"] == "FM"
    assert not any(step.capture.hot for step in plan.steps if step.capture.setup.input == "FM")
    steps = lines_of(plan)
    assert "As the generator at the aerial gives it" in steps["crosstalk"]
    # the name that most ratings have, if it is an input
    ratings += tuple(rated("snr", at_least=70.0, input=name) for name in ("phono", "phono", "aux"))
    assert Basis(Bench(), ratings, gear_of(["amplifier", "tuner"])).input == "aux"
    assert Basis(Bench(), ratings, gear_of(["tuner"])).input == "aux"
    assert Basis(Bench(), tuple(fm), gear_of(["tuner"])).input == "FM"


def test_the_words_for_headphones_are_not_those_for_loudspeakers():
    power = rated("power", at_least=0.2, load_ohm=32.0, thd_percent=0.05)
    plan = plan_of("headphone amplifier", ratings=(power,))
    text = text_of(plan)
    assert "32 Ω: two dummy loads" in text
    assert "No headphones connected" in text
    assert "Headphones at these levels" in text
    for words in ("loudspeaker", "fan", "for an hour", "heat sinks", "bias"):
        assert words not in text
    assert "Check DC offset after the last one." in text
    assert "Put a fan on them" in text_of(plan_of("amplifier", ratings=(replace(power, at_least=20.0),)))


def test_an_output_transformer_is_never_left_open():
    ratings = (rated("damping_factor", at_least=10.0, load_ohm=8.0), IMPEDANCE)
    text = text_of(plan_of("valve amplifier", ratings=ratings, load_ohm=8.0))
    assert "into 8 Ω and then into 16 Ω" in text
    assert 'loads = ["8 ohm", "16 ohm"]' in text
    assert "at its tap" in text
    power = rated("power", at_least=35.0, load_ohm=8.0, thd_percent=1.0)
    assert "Check bias after the last one." in text_of(plan_of("valve amplifier", ratings=(power,)))
    assert "open and then" in text_of(plan_of("amplifier", ratings=ratings, load_ohm=8.0))


def test_a_tone_control_is_not_a_band_of_an_equaliser():
    ratings = tuple(rated(f"{name}_control", at_least=10.0, frequency_hz=100.0) for name in ("bass", "treble"))
    what = lines_of(plan_of("preamplifier", ratings=ratings))["contour"]
    assert "the bass full up" in what
    assert "equaliser" not in what


def test_the_radio_s_files_have_no_load_but_their_own(tmp_path):
    (tmp_path / "measurements").mkdir()

    def loads(bench: str, table: str) -> list[float | None]:
        text = f'[unit]\nmaker = "A"\nmodel = "B"\n[bench]\nload = "8 ohm"\n{bench}'
        for name in ("FM", "am", "aux"):
            (tmp_path / "measurements" / f"{name}.csv").touch()
            text += f'[[measurement]]\nkind = "tone"\nfile = "measurements/{name}.csv"\ninput = "{name}"\n{table}'
        return [m.load_ohm for m in parse_session(text, tmp_path, kinds=KINDS).measurements]

    assert loads("", "") == [None, None, 8.0]
    text = (
        '[unit]\nmaker = "A"\nmodel = "B"\n[bench]\nchannels = "both"\n'
        '[[measurement]]\nkind = "tone"\nfile = "measurements/FM.csv"\ninput = "FM"\n'
    )
    assert parse_session(text, tmp_path, kinds=KINDS).measurements[0].channels == ""
    assert loads('[bench.fm]\nload = "16 ohm"\n', "") == [16.0, None, 8.0]
    assert loads("", 'load = "4 ohm"\n') == [4.0, 4.0, 4.0]


def test_distortion_over_frequency_is_of_power_where_there_is_power():
    kind = KINDS["distortion-frequency"]
    asked = {name: kind.asked_of(gear_of([name])) for name in TYPES}
    assert {name for name, segment in asked.items() if segment == "power"} == {
        name for name in TYPES if gear_of([name]).loads
    }
    assert kind.asked_of(None) == "power"
    run = replace(runs_of(found("worst_distortion", 0.01))[0], curves=())
    run = replace(
        run,
        conditions=replace(
            run.conditions,
            gear=gear_of(["preamplifier"]),
            measurement=replace(run.conditions.measurement, kind="distortion-frequency"),
        ),
    )
    card = Card("m", "Distortion", "", (), None)
    (still,) = make_stills(card, card, [run], (), (), ())
    assert segment_of_still(still) == "clean"


def test_a_platter_is_called_one():
    facts = {"speed": found("speed_error", 0.0), "flutter": found("wow_and_flutter", 0.02), "weighting": "WRMS"}
    facts |= {"speed_before": None, "before": None, "rate": found("frequency", 0.556)}
    for turns, words in (("33⅓ rpm", "the platter, 33⅓ rpm"), ("capstan", "the capstan")):
        said = PAGES.sentences(Point("flutter", "steady", {**facts, "turns": turns}, "m"))
        assert said[-1].endswith(f"has the rate of {words}.")


def test_the_chapter_of_the_bench_is_named_for_the_gear():
    facts = dict.fromkeys(("unit", "year", "hook", "priced", "worth", "repaired", "found"), "")
    facts |= {"cards": {"hunt": "", "score": "", "ending": ""}}
    titles = PAGES.chapter_titles({**facts, "gear": gear_of(["turntable"])})
    assert titles["bench"] == titles["after"] == "How does the turntable measure?"
    assert "power" not in titles["power"]
    plain = PAGES.chapter_titles({**facts, "gear": None})
    assert (plain["bench"], plain["power"]) == ("How does it measure?", "Does it make its power?")


def test_an_empty_plan_asks_for_what_makers_of_such_gear_print():
    for kind, word in (
        ("tuner", "sensitivity"),
        ("deck", "Wow and flutter"),
        ("turntable", "Rumble"),
        ("player", "EIAJ"),
    ):
        text = text_of(plan_of(kind, ratings=()))
        assert word in text
        assert "40 W per channel" not in text
    assert "40 W per channel" in text_of(plan_of(ratings=()))


@pytest.mark.parametrize(
    ("line", "types"),
    [
        ('type = "tuner"', ("tuner",)),
        ('type = ["Tuner", "amplifier"]', ("tuner", "amplifier")),
        ('type = "graphic equalizer"', None),
        ('type = "Equalizer"', ("equaliser",)),
        ("type = 5", None),
        ("type = []", None),
    ],
)
def test_types_as_they_are_written(line, types):
    text = f'[unit]\nmaker = "Norrvale"\nmodel = "Tune"\n{line}\n'
    if types is None:
        with pytest.raises(InputError, match=r"session.toml:4: \[unit\] type.* is not a type of gear"):
            parse_session(text, Path(), kinds=())
    else:
        assert parse_session(text, Path(), kinds=()).unit.type == types
