"""Which measurement before the repair answers which after it, and which figures are the same in both."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rated_and_found import found

from reviewkit.model.change import Change
from reviewkit.model.finding import Conditions, Run
from reviewkit.model.session import Bench, Measurement
from reviewkit.verdict.changes import changes, counterpart


def run(stage, name, *findings, kind="tone", **keys):
    keys.setdefault("card", name)
    return Run(Conditions(Measurement(name, kind, file=f"{name}.csv", stage=stage, **keys), Bench()), findings)


BEFORE = run("before", "tone-before", card="tone")
AFTER = run("after", "tone-after", card="tone")


def test_the_same_kind_on_the_same_card_answers():
    other = run("before", "another")
    assert counterpart(AFTER, [other, BEFORE, AFTER]) is BEFORE


def test_without_a_shared_card_all_that_was_set_must_agree():
    set_up = {"setting": "flat", "load_ohm": 8.0, "input": "aux", "drive_w": 5.0, "frequency_hz": 1000.0}
    after, before = run("after", "a", **set_up), run("before", "b", **set_up)
    assert counterpart(after, [before, after]) is before
    for key, other in {
        "setting": "loudness on",
        "load_ohm": 4.0,
        "input": "phono",
        "drive_w": 40.0,
        "frequency_hz": 10_000.0,
    }.items():
        assert counterpart(after, [run("before", "b", **{**set_up, key: other}), after]) is None


@pytest.mark.parametrize("stage", ["before", "bench", ""])
def test_only_a_measurement_after_the_repair_is_answered(stage):
    assert counterpart(run(stage, "x", card="tone"), [BEFORE]) is None


@pytest.mark.parametrize("stage", ["after", "bench", ""])
def test_only_one_before_the_repair_answers(stage):
    assert counterpart(AFTER, [run(stage, "x", card="tone"), AFTER]) is None


def test_another_kind_answers_nothing():
    assert counterpart(AFTER, [run("before", "x", kind="response", card="tone"), AFTER]) is None


def of(before, after):
    return changes([run("before", "b", *before, card="c"), run("after", "a", *after, card="c")])


def test_a_change_is_the_same_figure_twice():
    before, after = (found("thd", v, side, frequency=1000.0) for v, side in ((1.4, "R"), (0.026, "R")))
    left = found("thd", 0.02, "L", frequency=1000.0)
    assert of([before], [left, after]) == (Change(before, after),)
    assert of([before, left], [left, after]) == (Change(left, left), Change(before, after))
    assert of([], [after]) == ()


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ({"frequency": 1000.0}, {"frequency": 1000.4}, True),
        ({"frequency": 1000.0}, {"frequency": 1020.0}, False),
        ({"frequency": 1000.0}, {}, True),
        ({"limit": 1.0}, {"limit": 0.05}, False),
        ({"weighting": "A"}, {}, False),
        ({"reference": 1.0}, {"reference": 40.0}, False),
        ({"load": 8.0}, {"load": 4.0}, False),
        ({"input": "aux"}, {"input": "phono"}, False),
        ({"setting": "one"}, {"setting": "other"}, True),
    ],
)
def test_what_a_figure_holds_under_must_agree(one, other, same):
    before, after = found("power_at_limit", 30.0, **one), found("power_at_limit", 43.0, **other)
    assert bool(of([before], [after])) == same


def test_worst_points_may_lie_elsewhere_but_over_the_same_band():
    band = (20.0, 20_000.0)
    before = found("worst_distortion", 1.2, band=band, frequency=20_000.0)
    after = found("worst_distortion", 0.04, band=band, frequency=18_000.0)
    assert of([before], [after]) == (Change(before, after),)
    assert of([before], [replace(after, at={"band": (20.0, 10_000.0)})]) == ()


def test_a_tones_bandwidth_is_no_sweep():
    """The band of a tone's distortion is how far its products were counted: the tone must be the same."""
    at = {"band": (20.0, 20_000.0)}
    before, after = (found("thd", 1.0, frequency=hz, **at) for hz in (1000.0, 10_000.0))
    assert of([before], [after]) == ()
    assert len(of([before], [replace(after, at={**at, "frequency": 1001.0})])) == 1
