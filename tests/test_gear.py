"""What `[unit] type` decides: the plan, its cautions, what a repair needs, the order of the story.

What each type must be warned of is this project's own list (valve supplies, platters, beams, tweeters); which chapter
comes first is a judgement. Nothing outside the project states either.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from rated_and_found import found, rated, runs_of

from reviewkit.build.card_series import _order_of_kinds
from reviewkit.episode.chapters import ASKED
from reviewkit.episode.episode import ORDER, story_order
from reviewkit.episode.outcome import find_outcome
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure import KINDS
from reviewkit.model import places
from reviewkit.model.change import Change
from reviewkit.model.errors import InputError
from reviewkit.model.gear import TYPES, gear_of
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
    of_kinds = [KINDS[name].asks for name in _order_of_kinds(session(kind))]
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
        (("amplifier",), "still to check: DC offset, bias, mains leakage, plug both ways"),
        (("valve amplifier",), "still to check: bias, mains leakage, plug both ways"),
        (("player",), "still to check: mains leakage, plug both ways"),
        (("loudspeaker",), ""),
    ],
)
def test_what_a_repair_needs_to_be_one(types, wanted):
    before = found("thd", 1.4, measurement="before", stage="before", frequency=1000.0)
    after = found("thd", 0.02, measurement="after", stage="after", frequency=1000.0)
    runs = runs_of(before, after)
    outcome = find_outcome(session(*types), (), runs, [Change(before, after)])
    assert outcome.pending == ((wanted,) if wanted else ())
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
