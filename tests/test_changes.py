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


def gain(db=30.0, **at):
    return found("gain", db, **{"frequency": 1000.0, **at})


BEFORE = run("before", "tone-before", gain(), card="tone")
AFTER = run("after", "tone-after", gain(), card="tone")


def answering(after, runs):
    before = counterpart(after, runs)
    return before.conditions.measurement.id, before.findings


def test_of_several_the_one_on_the_same_card_answers():
    other = run("before", "another", gain(), found("hum", -80.0))
    assert answering(AFTER, [other, BEFORE, AFTER]) == ("tone-before", BEFORE.findings)
    assert answering(AFTER, [other, AFTER]) == ("another", other.findings[:1])


@pytest.mark.parametrize(
    ("key", "other"),
    [
        ("setting", "loudness on"),
        ("load", 4.0),
        ("input", "phono"),
        ("power", 20.0),
        ("frequency", 10_000.0),
        ("channels", "one"),
        ("termination", "1 kΩ"),
        ("volume", "half"),
    ],
)
@pytest.mark.parametrize("card", ["same", ""])
def test_all_that_was_set_must_agree(key, other, card):
    """On a shared card too, where what is not alike is shown, and no more."""
    set_up = {
        **{"setting": "flat", "load": 8.0, "input": "aux", "power": 1.0, "frequency": 1000.0, "channels": "both"},
        **{"termination": "shorted", "volume": "full"},
    }
    after, before = (run(s, s, gain(**set_up), card=card or s) for s in ("after", "before"))
    assert answering(after, [before, after]) == ("before", before.findings)
    unlike = run("before", "before", gain(**{**set_up, key: other}), card=card or "before")
    assert counterpart(after, [unlike, after]) is None
    assert changes([unlike, after]) == ()
    without = {k: v for k, v in set_up.items() if k != key}
    assert counterpart(after, [run("before", "before", found("gain", 30.0, **without)), after]) is None


# 10 lg(1.122) = 0.500 dB, 10 lg(1.0233) = 0.100 dB; 20 W is 3.01 dB under 40 W
@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ({"power": 1.0}, {"power": 1.121}, True),
        ({"power": 1.0}, {"power": 1.125}, False),
        ({"power": 1.0}, {"power": 20.0}, False),
        ({"power": 20.5}, {"power": 20.9}, True),
        ({"power": 20.5}, {"power": 21.2}, False),
        ({"power": 19.0}, {"power": 19.6}, True),
        # 2.83² / 8 = 1.00 W
        ({"power": 1.0, "load": 8.0}, {"voltage": 2.83, "load": 8.0}, True),
        ({"voltage": 2.0}, {"voltage": 2.1}, True),
        ({"voltage": 2.0}, {"voltage": 2.2}, False),
        ({"dbfs": -20.0}, {"dbfs": -20.4}, True),
        ({"dbfs": 0.0}, {"dbfs": -60.0}, False),
        ({"dbfs": 0.0}, {"voltage": 2.0}, False),
        ({"power": 1.0}, {}, False),
    ],
)
def test_drives_may_be_half_a_decibel_apart_and_near_clipping_a_tenth(one, other, same):
    before, after = gain(**one), gain(**other)
    clips = found("power_at_limit", 40.0, limit=1.0, **{k: 8.0 for k in ("load",) if k in one})
    runs = [run("before", "b", before, card="c"), run("after", "a", after, card="c")]
    assert bool(changes([*runs, run("", "p", clips, load_ohm=one.get("load"))])) == same


def test_a_watt_before_is_no_measure_of_twenty_after():
    """Not on a shared card either; the others of the same two captures are compared."""
    before = [found("thd", 0.05, side, frequency=1000.0, power=1.0) for side in "LR"]
    after = [
        found("thd", 0.05, "L", frequency=1000.0, power=20.0),
        found("thd", 0.02, "R", frequency=1000.0, power=1.0),
    ]
    runs = [run("before", "b", *before, card="c"), run("after", "a", *after, card="c")]
    assert changes(runs) == (Change(before[1], after[1]),)
    assert counterpart(runs[1], runs).findings == (before[1],)


@pytest.mark.parametrize("stage", ["before", "bench", ""])
def test_only_a_measurement_after_the_repair_is_answered(stage):
    assert counterpart(run(stage, "x", gain(), card="tone"), [BEFORE]) is None


@pytest.mark.parametrize("stage", ["after", "bench", ""])
def test_only_one_before_the_repair_answers(stage):
    assert counterpart(AFTER, [run(stage, "x", gain(), card="tone"), AFTER]) is None


def test_another_kind_answers_nothing():
    assert counterpart(AFTER, [run("before", "x", gain(), kind="response", card="tone"), AFTER]) is None


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
        ({"frequency": 1000.0}, {}, False),
        ({"limit": 1.0}, {"limit": 0.05}, False),
        ({"weighting": "A"}, {}, False),
        ({"reference": 1.0}, {"reference": 40.0}, False),
        ({"load": 8.0}, {"load": 4.0}, False),
        ({"input": "aux"}, {"input": "phono"}, False),
        ({"setting": "one"}, {"setting": "other"}, False),
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
