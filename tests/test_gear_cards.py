"""The cards of the small samples as data: one figure per story, bounds in words, rings where the figure is."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from rated_and_found import found

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.episode.bounds import word_bound, word_bounds
from reviewkit.model.card import Axis, Card, Chart, Ending, Hero, Number, Panel, Score, ScoreRow, Trace
from reviewkit.model.finding_conditions import (
    HIDDEN,
    NOT_THIRD_ALONE,
    SWEEP_ENDS,
    TEST_RECORD,
    WITHOUT_NOISE,
    why_bound,
)
from reviewkit.model.quantities import quantity_of

SAMPLES = Path(__file__).resolve().parents[1] / "sample_session"


@pytest.fixture(scope="module")
def cards(tmp_path_factory):
    made = {}
    for session in sorted(SAMPLES.rglob("session.toml")):
        gear = session.parent.name
        folder = tmp_path_factory.mktemp("gear") / gear
        shutil.copytree(session.parent, folder, ignore=shutil.ignore_patterns("out"))
        made |= {(gear, card.id): card for card in pipeline.prepare(folder, open_cache()).episode.stills}
    return made


def panel_of(card):
    assert isinstance(card.body, Chart)
    return card.body.panels[0]


def test_a_pair_and_its_verdict_have_one_figure_at_the_rated_frequency(cards):
    compared = set()
    for (gear, name), rated in cards.items():
        if not name.endswith("-rated") or not rated.verdict.rating.frequency_hz:
            continue
        found, pair = (cards[gear, name.replace("-rated", end)] for end in ("-found", ""))
        (was,), (now,), (judged,) = (card.hero.findings for card in (found, pair, rated))
        if quantity_of(now).name == quantity_of(judged).name:
            compared.add((gear, pair.id))
            assert now == judged
            assert {each.at["frequency"] for each in (was, now)} == {rated.verdict.rating.frequency_hz}
            assert (pair.hero.before, pair.hero.figure) == (found.hero.figure, rated.hero.figure)
    assert compared == {("tuner", "distortion"), ("tuner", "separation")}


def test_distortion_is_ringed_at_the_rated_frequency(cards):
    found, pair = cards["tuner", "distortion-found"], cards["tuner", "distortion"]
    assert (found.hero.figure, found.hero.caption) == ("1.5 %", "distortion, right, at 1 kHz")
    assert (pair.hero.before, pair.hero.figure, pair.hero.caption) == ("1.5 %", "0.23 %", "distortion after, at 1 kHz")
    assert [trace.label for trace in panel_of(found).traces] == ["left channel: 1.4 %", "right channel"]
    on_curve = [*panel_of(found).marks, *filter(None, (panel_of(found).fall, panel_of(pair).fall))]
    assert {each.x for each in on_curve} == {1000.0}


def test_only_the_lines_that_a_figure_is_of_are_named(cards):
    """Pilot 66 dB and subcarrier 70 dB below the tone are 64.5 dB together."""
    card = cards["tuner", "pilot"]
    marks = panel_of(card).marks
    assert [(mark.text, mark.part) for mark in marks] == [("pilot", True), ("subcarrier", True)]
    assert -10 * np.log10(sum(10 ** (mark.y / 10) for mark in marks)) == pytest.approx(64.5, abs=0.1)
    assert (card.hero.figure, card.hero.caption) == ("64.5 dB", "suppression")


def test_unequal_limits_have_no_ring(cards):
    """The largest value, +0.03 dB, is 0.47 dB from its limit: a ring there would point at nothing."""
    card = cards["tuner", "response"]
    assert card.verdict.rating.within == (-1.5, 0.5)
    assert panel_of(card).marks == ()
    assert len(panel_of(card).limits) == 1


def test_a_bound_is_in_words_with_its_reason(cards):
    as_found, pair, rated, number, ending = (
        cards["turntable", name] for name in ("rumble-found", "rumble", "rumble-rated", "number", "ending")
    )
    heroes = [card.hero for card in (as_found, pair, rated)] + [ending.body.hero]
    assert [(hero.heading, hero.before, hero.figure, hero.addition) for hero in heroes] == [
        ("rumble", "", "−37.1 dB", ""),
        ("rumble after", "−37.1 dB", "−48.9 dB", ""),
        ("rumble", "", "−48.9 dB", ""),
        ("rumble", "−37.1 dB", "−48.9 dB", ""),
    ]
    # of all that the overline names, the figure is no bound
    assert {card.conditions[0] for card in (as_found, pair, rated, number)} == {"record's own included"}
    assert isinstance(number.body, Number)
    assert (number.body.figure, number.body.bound) == ("−48.9 dB", "")
    assert (number.body.sentence, number.body.was) == ("Rumble, improved from −37.1 dB", "before, −37.1 dB")
    assert number.subject == "Rumble"
    assert isinstance(ending.body, Ending)
    assert "≤ −48.9 dB" in rated.alt


@pytest.mark.parametrize(
    ("text", "figure", "bound"),
    [("≤ 0.0010 %", "0.0010 %", "or less"), ("≥ 52", "52", "or more"), ("at least 48 W", "48 W", "or more")],
)
def test_the_words_of_a_bound_are_after_its_figure(text, figure, bound):
    """ "At most" before it would be read as what is allowed."""
    hero = word_bound(Hero(text, "distortion", before="≤ 3.0 %" if bound == "or less" else ""))
    assert (hero.heading, hero.figure, hero.addition) == ("distortion", figure, bound)
    assert "≤" not in hero.before
    row = ScoreRow("Distortion, 1 kHz", text, "0.1 %", "meets")
    curve = Trace(np.array([20.0, 2e4]), np.array([1.0, 1.0]), "L", label=f"left channel: {text}")
    axis = Axis(20.0, 2e4, "log", ())
    score, chart = (
        word_bounds(Card("card", "Distortion", (), body)).body
        for body in (Score((), (), (), (row,)), Chart((Panel(axis, axis, (curve,)),)))
    )
    assert (score.met[0].label, score.met[0].measured) == ("Distortion, 1 kHz", f"{figure} {bound}")
    assert chart.panels[0].traces[0].label == f"left channel: {figure} {bound}"


def test_what_is_no_bound_stays_as_it_is():
    hero = Hero("60.3", "power", uncertainty="± 1.6 W")
    assert word_bound(hero) == hero
    assert hero.addition == "± 1.6 W"


@pytest.mark.parametrize("method", ["two loads", TEST_RECORD, HIDDEN, NOT_THIRD_ALONE, WITHOUT_NOISE, SWEEP_ENDS, ""])
def test_the_reason_of_a_bound_has_five_words_at_most(method):
    assert len(why_bound(found("rumble", -40.0, bound="at most", method=method)).split()) <= 5


def test_rumble_is_drawn_over_its_band(cards):
    panel = panel_of(cards["turntable", "rumble"])
    assert (panel.x.low, panel.x.high) == (10.0, 315.0)
    assert all(trace.x.min() >= 10.0 and trace.x.max() <= 315.0 for trace in panel.traces)


def test_both_loudspeakers_fall_below_what_is_allowed(cards):
    card = cards["loudspeakers", "impedance"]
    assert card.title == "Impedance dips too low"
    assert card.hero.figure == "5.93 Ω"
    assert [trace.label for trace in panel_of(card).traces] == ["L", "R"]
    assert panel_of(card).limits[0].label == "lowest allowed"
