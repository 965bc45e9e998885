"""The cards of the small samples as data: one figure per story, bounds in words, rings where the figure is."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.model.card import Chart, Ending, Number
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


def test_only_the_lines_that_a_figure_is_of_are_ringed(cards):
    """Pilot 66 dB and subcarrier 70 dB below the tone are 64.5 dB together."""
    card = cards["tuner", "pilot"]
    marks = panel_of(card).marks
    assert [mark.text for mark in marks] == ["pilot", "subcarrier"]
    assert -10 * np.log10(sum(10 ** (mark.y / 10) for mark in marks)) == pytest.approx(64.5, abs=0.1)
    assert (card.hero.figure, card.hero.caption) == ("64.5 dB", "subcarrier suppression")


def test_unequal_limits_have_no_ring(cards):
    """The largest value, +0.03 dB, is 0.47 dB from its limit: a ring there would point at nothing."""
    card = cards["tuner", "response"]
    assert card.verdict.rating.within == (-1.5, 0.5)
    assert panel_of(card).marks == ()
    assert len(panel_of(card).limits) == 1


def test_a_bound_is_in_words_once(cards):
    found, pair, rated, number, ending = (
        cards["turntable", name] for name in ("rumble-found", "rumble", "rumble-rated", "number", "ending")
    )
    assert (found.hero.figure, found.hero.heading) == ("−37.1 dB", "rumble, at most")
    assert (pair.hero.before, pair.hero.figure, pair.hero.heading) == ("−37.1 dB", "−48.9 dB", "rumble after, at most")
    assert (rated.hero.figure, rated.hero.heading) == ("−48.9 dB", "rumble (unweighted), at most")
    assert isinstance(number.body, Number)
    assert (number.body.figure, number.body.sentence) == ("−48.9 dB", "Rumble, down from −37.1 dB")
    assert (number.body.was, number.subject) == ("before, −37.1 dB", "Rumble, unweighted, at most")
    assert isinstance(ending.body, Ending)
    assert (ending.body.hero.before, ending.body.hero.figure) == ("−37.1 dB", "−48.9 dB")
    assert ending.body.hero.heading == "rumble, at most"
    assert "≤ −48.9 dB" in rated.alt


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
