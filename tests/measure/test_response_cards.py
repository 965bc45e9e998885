"""What a response's card and sentences are made of: limit, figure, the curves of each run, the facts worth saying."""

from __future__ import annotations

import pytest
from measured_sheets import column, conditions, run_from, sheet

from reviewkit.measure.kinds import KINDS
from reviewkit.model.session import Rating

HERTZ = [10.0, 20.0, 100.0, 1000.0, 5000.0, 20_000.0, 50_000.0]
DROOP = [-6.0, -0.8, 0.0, 0.0, 0.1, 0.3, -7.0]  # dB re 1 kHz
FLAT = [0.0] * 7
BAND = (20.0, 20_000.0)


def run(left=DROOP, right=None, **stated):
    columns = [column("level", left, "L", "dB")] + ([column("level", right, "R", "dB")] if right else [])
    return run_from(sheet(column("frequency", HERTZ), *columns), conditions("response", **stated))


def rated(low, high, band_hz=BAND, **more):
    return Rating("flatness", "dB", within=(low, high), band_hz=band_hz, **more)


def card(*runs):
    return KINDS["response"].card(list(runs), ())


def facts(one, before=None):
    return {point.name: point.facts for point in KINDS["response"].points(one, before)}


def test_the_limit_is_inside_the_picture():
    (panel,) = card(run(FLAT, ratings=[rated(-5.0, 5.0)])).body.panels
    (limit,) = panel.limits
    assert (limit.low, limit.high, limit.from_x, limit.to_x) == (-5.0, 5.0, *BAND)
    assert panel.y.low < -5.0
    assert panel.y.high > 5.0
    # but no further out than it takes: 1.2 times the limit, on the next scale
    assert panel.y.high <= 10.0


def test_a_limit_on_one_side():
    (panel,) = card(run(FLAT, ratings=[rated(-3.0, 0.0)])).body.panels
    assert (panel.limits[0].low, panel.limits[0].high) == (-3.0, 0.0)
    assert panel.y.low < -3.0


def test_of_two_channels_the_worse_is_large_and_named():
    hero = card(run(DROOP, FLAT)).hero
    assert (hero.figure, hero.channel, hero.caption) == ("±0.80 dB", "L", "response, left, 20 Hz – 20 kHz")
    assert card(run(DROOP)).hero.caption == "response, 20 Hz – 20 kHz"  # the only one needs no name


def test_each_run_has_its_curves_and_the_bench_its_own_name():
    before, after = run(stage="before"), run(FLAT, FLAT, stage="after")
    bench = run(FLAT, stage="bench")
    (panel,) = card(before, after, bench).body.panels
    assert [(trace.role, trace.label) for trace in panel.traces] == [
        ("before", "L"),
        ("now", "L"),
        ("now", "R"),
        ("bench", "bench"),
    ]


def test_the_band_that_is_rated_is_the_one_spoken_of():
    assert facts(run())["flatness"]["band"] == [20.0, 20_000.0]
    own = [rated(-1.0, 1.0, (100.0, 5000.0))]
    assert facts(run(ratings=own))["flatness"]["band"] == [100.0, 5000.0]
    # a rating of another input says nothing of this one
    phono = [rated(-1.0, 1.0, (100.0, 5000.0), input="phono")]
    assert facts(run(ratings=phono, input="aux"))["flatness"]["band"] == [20.0, 20_000.0]
    assert facts(run(ratings=phono, input="phono"))["flatness"]["band"] == [100.0, 5000.0]


def test_how_flat_it_was_before_is_a_fact_only_with_a_before():
    assert facts(run())["flatness"]["before"] is None
    fact = facts(run(FLAT), run())["flatness"]["before"]
    assert fact.value == pytest.approx(-0.8, abs=0.01)


def test_corners_and_balance_are_facts_only_where_they_are_news():
    """A corner outside the audio band, and channels within half a decibel, are as expected."""
    inside = [-9.0, -6.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    corners = facts(run(inside))["corners"]
    assert corners["high"] is None
    assert corners["low"].value > 20
    assert "corners" not in facts(run(DROOP, [-6.0, -0.8, 0.0, 0.0, 0.0, 0.0, 0.0]))
    assert "balance" in facts(run(FLAT, [value - 0.6 for value in FLAT]))
    assert "balance" in facts(run(FLAT, [0.5] * 7))  # from half a decibel on, either way
    assert "balance" not in facts(run(FLAT, [value - 0.4 for value in FLAT]))
    assert "corners" not in facts(run(FLAT))


def test_the_picture_holds_the_whole_curves():
    (panel,) = card(run(DROOP)).body.panels
    assert (panel.x.low, panel.x.high) == (10.0, 50_000.0)


def test_the_further_figures_are_the_rated_ones():
    assert card(run(DROOP, [value - 0.2 for value in FLAT])).readings == (
        ("response, left, 20 Hz – 20 kHz", "±0.80 dB"),
        ("response, right, 20 Hz – 20 kHz", "±0.00 dB"),
        ("channel balance, at 1 kHz", "+0.20 dB"),
    )


def test_the_furthest_deviation_is_that_of_the_worse_channel_in_the_band_spoken_of():
    """Over the audio band the left is 0.8 dB down at 20 Hz; between 100 Hz and 5 kHz only 0.1 dB up."""
    own = [rated(-1.0, 1.0, (100.0, 5000.0))]
    fact = facts(run(DROOP, FLAT, ratings=own))["flatness"]["furthest"]
    assert (fact.channel, fact.value) == ("L", pytest.approx(0.1))
    fact = facts(run(FLAT, DROOP))["flatness"]["furthest"]
    assert (fact.channel, fact.value) == ("R", pytest.approx(-0.8))


def test_a_before_that_does_not_cover_the_band_is_no_fact():
    narrow = sheet(column("frequency", [100.0, 1000.0, 5000.0]), column("level", [-1.0, 0.0, 0.0], "L", "dB"))
    before = run_from(narrow, conditions("response", stage="before"))
    assert facts(run(stage="after"), before)["flatness"]["before"] is None


def test_a_flat_response_has_the_finest_scale():
    (panel,) = card(run(FLAT)).body.panels
    assert (panel.y.low, panel.y.high) == (-0.5, 0.5)
