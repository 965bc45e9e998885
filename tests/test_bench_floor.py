"""The bench looped back on itself: what it reads is the floor of every figure of its kind.

±floor is a rectangle, so U = 2/√3 · floor (GUM first order, JCGM 100:2008, from memory); 6 dB is 20 lg of the ratio.
"""

from __future__ import annotations

import math
from dataclasses import replace

import known_waveforms as known
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure.measured_sheets import column, conditions, one, sheet
from rated_and_found import found as found_one
from rated_and_found import rated, runs_of, session, verdict_of

from reviewkit.measure import bench_floor
from reviewkit.measure.kinds import KINDS
from reviewkit.model.finding import Run
from reviewkit.model.quantities import claimed, show
from reviewkit.model.session import Bench
from reviewkit.verdict.verdict import judge

FREQUENCY_HZ = np.geomspace(20, 20_000, 31)
SIX_DB = 10 ** (6 / 20)


def over_a_bench(kind, unit, alone, *, bench=None, of_bench=None, **told):
    """What a kind finds of the unit's sheet where another sheet is the bench alone."""
    c = conditions(kind, bench=bench, **told)
    loop = replace(c, measurement=replace(c.measurement, id="loop", stage="bench", **(of_bench or {})))
    return KINDS[kind].findings(unit, replace(c, floor=KINDS[kind].findings(alone, loop).findings))


def tone(second_db, volts=1.0):
    """A second of 997 Hz at 48 kHz with a second harmonic so far below it, and noise 110 dB down."""
    rng = np.random.default_rng(3)
    phase = 2 * np.pi * 997 * np.arange(48_000) / 48_000
    samples = np.sin(phase) + 10 ** (second_db / 20) * np.sin(2 * phase)
    samples += known.noise(rng, 48_000, 48_000.0, (100.0, 18_000.0), 10 ** (-110 / 20) / math.sqrt(2))
    return sheet(column("time", np.arange(48_000) / 48_000), column("level", volts * math.sqrt(2) * samples))


def distortion(percent, abscissa="frequency", at=FREQUENCY_HZ):
    return sheet(column(abscissa, at), column("distortion", np.broadcast_to(percent, len(at)), "L", "%", "THD+N L (%)"))


def crosstalk(level_db):
    return sheet(column("frequency", FREQUENCY_HZ), column("level", np.full(31, level_db), "L>R", "dB"))


# ------------------------------------------------------------------ kind by kind


def test_a_tone():
    """Harmonics at −94 dB over a bench of −98 dB are a bound; at −80 dB they are not."""
    near, clear = (over_a_bench("tone", tone(db), tone(-98.0)) for db in (-94.0, -80.0))
    for quantity in ("thd", "harmonic_2"):
        assert one(near, quantity).bound == "at most"
        assert one(clear, quantity).bound == ""
    assert show(one(near, "thd")).startswith("≤ 0.00")
    # of its noise the unit adds none: more would be better, so it reads "at least"
    assert one(near, "snr").bound == one(clear, "snr").bound == "at least"
    assert show(one(clear, "snr")).startswith("≥ 1")
    assert one(clear, "level").bound == one(clear, "frequency").bound == ""


def test_distortion_over_frequency():
    found = over_a_bench("distortion-frequency", distortion(0.01), distortion(0.0051))
    assert one(found, "distortion", "L").bound == one(found, "worst_distortion", "L").bound == "at most"
    found = over_a_bench("distortion-frequency", distortion(0.01), distortion(0.0049))
    assert one(found, "distortion", "L").bound == one(found, "worst_distortion", "L").bound == ""


def test_a_spot_has_the_floor_of_its_own_frequency_and_the_worst_that_of_the_band():
    """The bench is good at 1 kHz and bad at 20 kHz."""
    alone = distortion(np.where(FREQUENCY_HZ > 10_000, 0.02, 0.0005))
    found = over_a_bench("distortion-frequency", distortion(0.01), alone)
    assert one(found, "distortion", "L").bound == ""
    assert one(found, "worst_distortion", "L").bound == "at most"


def test_distortion_over_power():
    power_w = np.array([1.0, 5.0, 20.0, 40.0, 50.0])
    unit = distortion([0.02, 0.01, 0.015, 0.1, 5.0], "power", power_w)
    near = over_a_bench("distortion-power", unit, distortion(0.006, "power", power_w))
    assert one(near, "lowest_distortion", "L").bound == "at most"
    assert one(near, "power_at_limit", "L").bound == ""  # 1 % is far above it
    clear = over_a_bench("distortion-power", unit, distortion(0.002, "power", power_w))
    assert one(clear, "lowest_distortion", "L").bound == ""


def test_crosstalk():
    near = over_a_bench("crosstalk", crosstalk(-80.0), crosstalk(-85.9))
    clear = over_a_bench("crosstalk", crosstalk(-80.0), crosstalk(-86.1))
    for spot in (1000.0, 10_000.0):
        assert one(near, "crosstalk", "L>R", frequency=spot).bound == "at most"
        assert one(clear, "crosstalk", "L>R", frequency=spot).bound == ""
    assert one(near, "crosstalk_worst", "L>R").bound == "at most"
    # U = 20 lg(1 + 1.155 · 10^(−5.9/20)) = 4.0 dB carries no tenths
    assert show(one(near, "crosstalk_worst", "L>R")) == "≤ −80 dB"


@pytest.mark.parametrize("kind", ["distortion-frequency", "crosstalk"])
def test_the_bench_alone_has_no_floor_beneath_it(kind):
    data = distortion(0.001) if kind == "distortion-frequency" else crosstalk(-90.0)
    c = conditions(kind, bench=Bench(distortion_floor_percent=0.001), stage="bench")
    found = KINDS[kind].findings(data, replace(c, floor=KINDS[kind].findings(data, c).findings))
    assert {(f.bound, f.uncertainty) for f in found.findings} == {("", None)}


# ------------------------------------------------------------------ which floor


def floor_of(quantity, *floors, channel="L", stated=None, **at):
    c = replace(conditions("tone", bench=Bench(distortion_floor_percent=stated)), floor=floors)
    return bench_floor.of(c, quantity, channel, at)


def test_the_stated_floor_is_of_distortion_alone():
    for quantity in ("thd", "thd_plus_noise", "worst_distortion", "imd", "harmonic_7", "sinad"):
        assert floor_of(quantity, stated=0.0008) == pytest.approx(8e-6)
        assert floor_of(quantity) is None
    for quantity in ("crosstalk", "snr", "noise", "hum", "level", "power", "flatness", "rail_voltage"):
        assert floor_of(quantity, stated=0.0008) is None


def test_a_measured_floor_comes_before_the_stated_one():
    assert floor_of("thd", found_one("thd", 0.002), stated=0.0008) == pytest.approx(2e-5)


@pytest.mark.parametrize(
    ("key", "same", "other"),
    [
        ("frequency", 1005.0, 1200.0),
        ("weighting", "A", "C"),
        ("reference", 40.0, 1.0),
        ("tones", [60.0, 7000.0], [19e3, 20e3]),
        ("figure", "THD", "THD+N"),
    ],
)
def test_only_the_floor_of_the_same_figure_counts(key, same, other):
    here = {"frequency": 1000.0} if key == "frequency" else {key: same}
    assert floor_of("thd", found_one("thd", 0.002, **{key: same}), **here) == pytest.approx(2e-5)
    assert floor_of("thd", found_one("thd", 0.002, **{key: other}), **here) is None
    assert floor_of("thd", found_one("thd", 0.002, **{key: other}), stated=0.001, **here) == pytest.approx(1e-5)


def test_each_channel_has_its_own_floor():
    pair = found_one("thd", 0.002, "L"), found_one("thd", 0.004, "R")
    assert floor_of("thd", *pair, channel="L") == pytest.approx(2e-5)
    assert floor_of("thd", *pair, channel="R") == pytest.approx(4e-5)
    assert floor_of("thd", *pair, channel="") == pytest.approx(4e-5)  # which channel it was is not said
    assert floor_of("thd", found_one("thd", 0.002, ""), channel="R") == pytest.approx(2e-5)


def test_of_several_levels_the_figures_own_else_the_worst():
    loops = found_one("thd", 0.002, power=5.0), found_one("thd", 0.005, power=1.0), found_one("thd", 0.001, power=40.0)
    assert floor_of("thd", *loops, power=5.0) == pytest.approx(2e-5)
    assert floor_of("thd", *loops, power=20.0) == pytest.approx(5e-5)


# ------------------------------------------------------------------ 6 dB, and what it does to the figure


@pytest.mark.parametrize(
    ("quantity", "floor", "inside", "outside", "word"),
    [
        ("thd", 0.001, 0.001 * SIX_DB * 0.9999, 0.001 * SIX_DB * 1.0001, "at most"),
        ("noise", 1e-4, 1e-4 * SIX_DB * 0.9999, 1e-4 * SIX_DB * 1.0001, "at most"),
        ("crosstalk", -90.0, -84.0, -83.999, "at most"),  # 6 dB exactly is within 6 dB
        ("hum", -90.0, -84.001, -83.999, "at most"),
        ("harmonic_2", -110.0, -120.0, -103.999, "at most"),  # below the floor too
        ("snr", 100.0, 94.0, 93.999, "at least"),
        ("sinad", 100.0, 94.001, 93.999, "at least"),
        ("multitone_clearance", 100.0, 110.0, 93.999, "at least"),
    ],
)
def test_six_decibels(quantity, floor, inside, outside, word):
    ratio = floor_of(quantity, found_one(quantity, floor))
    assert bench_floor.bound(quantity, inside, ratio) == word
    assert bench_floor.bound(quantity, outside, ratio) == ""


@pytest.mark.parametrize(
    ("quantity", "floor", "below", "above"),
    [
        ("thd", 0.0008, 0.0004, 0.0009),
        ("noise", 1e-4, 0.0, 2e-4),
        ("harmonic_3", -101.938, -130.0, -100.0),  # 0.0008 % in dB: less of it may be the bench's own, taken off
        ("snr", 100.0, 112.0, 99.0),
    ],
)
def test_no_figure_goes_below_the_floor(quantity, floor, below, above):
    ratio = floor_of(quantity, found_one(quantity, floor))
    own = bench_floor.in_unit(quantity, ratio)
    assert own == pytest.approx(floor)
    bound = bench_floor.bound(quantity, below, ratio)
    assert claimed(replace(found_one(quantity, below, bound=bound), floor=own)) == own
    assert claimed(replace(found_one(quantity, above, bound=bound), floor=own)) == above
    assert claimed(found_one(quantity, below, bound=bound)) == below


def test_what_lies_below_the_stated_floor_is_shown_as_the_floor():
    found = one(
        KINDS["tone"].findings(tone(-125.0), conditions("tone", bench=Bench(distortion_floor_percent=0.0008))),
        "harmonic_2",
    )
    assert (show(found), found.bound) == ("≤ −101 dB", "at most")  # −101.94 dB, rounded outwards
    assert found.value == pytest.approx(-125.0, abs=0.5)  # the file keeps what was computed


def test_nothing_at_all_is_a_bound_too():
    assert bench_floor.bound("thd", 0.0, 1e-5) == "at most"
    assert bench_floor.added("thd", 0.0, None, 1e-5) == pytest.approx(100 * 2 / math.sqrt(3) * 1e-5)


def test_the_floors_share_in_percent_and_in_volts():
    assert bench_floor.added("thd", 0.02, None, 1e-5) == pytest.approx(2 / math.sqrt(3) * 1e-3)
    assert bench_floor.added("thd", 0.02, 0.001, 1e-5) == pytest.approx(math.hypot(0.001, 2 / math.sqrt(3) * 1e-3))
    assert bench_floor.added("noise", 1e-3, None, 1e-4) == pytest.approx(2 / math.sqrt(3) * 1e-4)


@pytest.mark.parametrize(("quantity", "sign"), [("crosstalk", -1), ("snr", 1)])
def test_the_floors_share_in_decibels(quantity, sign):
    """The spread of 20 lg |1 + x| with x from −f to f, each as likely, is U/2 to first order; 30 dB above the floor."""
    x = 10 ** (-30 / 20) * np.linspace(-1, 1, 20_001)
    spread = 20 * np.log10(1 + x)
    floor = floor_of(quantity, found_one(quantity, sign * 90.0))
    assert bench_floor.added(quantity, sign * 60.0, None, floor) == pytest.approx(2 * float(np.std(spread)), rel=0.002)


@given(st.floats(-160.0, -84.1))
def test_a_bound_in_decibels_never_reaches_far_above_figure_and_floor_together(level_db):
    """Of a harmonic below the floor, figure and U stay within what bench and unit add up to: 20 lg(v + 1.155 f)."""
    floor = 10 ** (-90 / 20)
    share = bench_floor.added("harmonic_3", level_db, None, floor)
    together = 20 * math.log10(10 ** (level_db / 20) + 2 / math.sqrt(3) * floor)
    assert level_db + share == pytest.approx(together, abs=1e-9)


# ------------------------------------------------------------------ into the verdict


def made(percent, floor):
    """The 1 kHz distortion of both channels over a bench whose floor is stated."""
    c = conditions("distortion-frequency", bench=Bench(distortion_floor_percent=floor))
    data = sheet(
        column("frequency", FREQUENCY_HZ),
        *(column("distortion", np.full(31, percent), channel, "%", f"THD {channel} (%)") for channel in "LR"),
    )
    return Run(c, KINDS["distortion-frequency"].findings(data, c).findings)


@pytest.mark.parametrize(
    ("percent", "floor", "limit", "word"),
    [
        (0.0090, None, 0.010, "meets"),
        (0.0090, 0.0001, 0.010, "meets"),  # U = 0.000115 %
        (0.0090, 0.0010, 0.010, "too close to call"),  # U = 0.00115 %
        (0.0110, 0.0010, 0.010, "too close to call"),
        (0.0120, 0.0010, 0.010, "falls short"),
        (0.0015, 0.0010, 0.010, "meets"),  # a bound, well inside
        (0.0015, 0.0010, 0.0016, "too close to call"),
        (0.0015, 0.0010, 0.0014, "too close to call"),
        (0.0019, 0.0010, 0.0005, "not comparable"),  # a bound never denies
    ],
)
def test_the_floor_widens_the_guard_band(percent, floor, limit, word):
    (verdict,) = judge(session(rated("thd", at_most=limit, frequency_hz=1000.0)), [made(percent, floor)])
    assert verdict.verdict == word
    if word == "not comparable":
        assert "at the bench's floor" in verdict.why
        assert verdict.measured.startswith("≤ ")


def test_a_bound_upward_meets_and_never_falls_short():
    keys = {"reference": 40.0, "bound": "at least"}
    pair = [found_one("snr", 94.0, channel, **keys) for channel in "LR"]
    assert verdict_of(rated("snr", at_least=90.0), *pair).verdict == "meets"
    assert verdict_of(rated("snr", at_least=90.0), *pair).measured == "≥ 94.0 dB"
    assert verdict_of(rated("snr", at_least=96.0), *pair).verdict == "not comparable"


def test_the_bench_alone_is_never_judged():
    loop, unit = (found_one("thd", 0.001, stage="bench", measurement="loop"), found_one("thd", 0.2, "L"))
    (verdict,) = judge(session(rated("thd", at_most=0.1)), runs_of(loop, unit))
    assert (verdict.verdict, verdict.measurements) == ("falls short", ("m",))
