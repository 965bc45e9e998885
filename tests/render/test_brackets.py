"""Upright distances on a chart: where they stand, what they keep clear of, and what happens where there is no room."""

from __future__ import annotations

import numpy as np
import pytest
from card_samples import HERTZ, texts

from reviewkit.model.card import Axis, Bracket, Card, Curves, Mark, Panel, Readout, Trace
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.scene import LayoutFault, Stroke

DECIBELS = Axis(-120, 20, "linear", ((-120, "−120"), (-80, "−80"), (-40, "−40"), (0, "0"), (20, "+20")), "dB")
WORDS = "72.4 dB · product at 3.1 kHz"


def comb(count=30, floor_db=-90.0):
    """Tones over a floor: hardly any room between them."""
    frequency = np.geomspace(20, 20_000, 2400)
    level = np.full(len(frequency), floor_db) + 6 * np.sin(np.arange(len(frequency)))
    level[:: len(frequency) // count] = 0.0
    return Trace(frequency, level, "R", "now", "R")


def card(*brackets, traces=None, marks=(), label=""):
    panel = Panel(HERTZ, DECIBELS, traces or (comb(),), marks=tuple(marks), label=label, brackets=brackets)
    return Card("m", "Multitone", "31 tones", Curves((panel,)), readings=(Readout("clearance", "72.4 dB"),))


def bracket_of(items):
    """The three strokes of a bracket: upright, top, bottom."""
    strokes = [i for i in items if isinstance(i, Stroke) and i.kind == "mark" and len(i.points) == 2]
    (upright,) = [s for s in strokes if s.points[0][0] == s.points[1][0]]
    top, bottom = sorted((s for s in strokes if s is not upright), key=lambda s: s.points[0][1])
    return upright, top, bottom


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("x", [20.0, 60.0, 1000.0, 3100.0, 19_990.0])
def test_it_fits_wherever_it_stands(look, x):
    items = lay_out(card(Bracket(x, 0.0, -72.4, WORDS)), look)
    assert find_problems(items) == ()
    assert [t.text for t in texts(items)].count(WORDS) == 1


def test_it_spans_its_two_heights():
    """Linear in dB: 0 stands six sevenths up the axis from −120 to 20, −85 a quarter."""
    items = lay_out(card(Bracket(1000.0, 0.0, -85.0, WORDS)), "lamplight")
    upright, top, bottom = bracket_of(items)
    rules = sorted(i.points[0][1] for i in items if isinstance(i, Stroke) and i.kind == "grid")
    high = rules[-1] - rules[0]
    ys = sorted(y for _, y in upright.points)
    assert ys[0] == pytest.approx(rules[-1] - high * 120 / 140, abs=0.01)
    assert ys[1] == pytest.approx(rules[-1] - high * 35 / 140, abs=0.01)
    # closed at both ends, centred
    assert (top.points[0][1], bottom.points[0][1]) == (ys[0], ys[1])
    assert np.mean([x for x, _ in top.points]) == pytest.approx(upright.points[0][0])
    # log axis: 1 kHz lies lg 50 / lg 1000 of the way from 20 Hz to 20 kHz
    grid = next(i for i in items if isinstance(i, Stroke) and i.kind == "grid")
    left, right = (x for x, _ in grid.points)
    assert upright.points[0][0] == pytest.approx(left + (right - left) * np.log(50) / np.log(1000), abs=0.01)


def test_it_reads_the_same_turned_over():
    one, other = (lay_out(card(Bracket(500.0, *ends, WORDS)), "lamplight") for ends in ((0.0, -60.0), (-60.0, 0.0)))
    assert [t.box for t in texts(one)] == [t.box for t in texts(other)]


def test_it_stays_in_the_picture():
    items = lay_out(card(Bracket(5.0, 60.0, -400.0, WORDS)), "lamplight")
    upright, top, bottom = bracket_of(items)
    rules = [i for i in items if isinstance(i, Stroke) and i.kind == "grid"]
    left, right = (x for x, _ in rules[0].points)
    assert all(left <= x <= right for stroke in (upright, top, bottom) for x, _ in stroke.points)
    assert find_problems(items) == ()


def test_marks_words_and_two_brackets_keep_clear_of_each_other():
    items = lay_out(
        card(
            Bracket(300.0, 0.0, -72.4, WORDS),
            Bracket(330.0, 0.0, -60.0, "60.0 dB"),
            marks=(Mark(310.0, 0.0, "a tone"), Mark(320.0, -70.0, "a product")),
        ),
        "lamplight",
    )
    assert find_problems(items) == ()
    assert {WORDS, "60.0 dB", "a tone", "a product"} <= {t.text for t in texts(items)}


def full():
    """A curve that leaves no room anywhere."""
    frequency = np.geomspace(20, 20_000, 4000)
    return Trace(frequency, np.where(np.arange(4000) % 2, 20.0, -120.0), "L", "now", "")


def test_without_room_the_words_stand_over_the_picture():
    items = lay_out(card(Bracket(1000.0, 0.0, -72.4, WORDS), traces=(full(),)), "lamplight")
    (words,) = [t for t in texts(items) if t.text == WORDS]
    upright, _, _ = bracket_of(items)
    assert words.box.bottom < min(y for _, y in upright.points)
    assert find_problems(items) == ()


def test_without_any_room_the_card_is_not_drawn():
    long = "a label over the picture that is as long as it may be " * 2
    with pytest.raises(LayoutFault, match="has no free place in the picture"):
        lay_out(card(Bracket(1000.0, 0.0, -72.4, WORDS), traces=(full(),), label=long.strip()), "lamplight")
