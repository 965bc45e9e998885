"""A square wave through the kind: figures with their conditions, what is refused, what is withheld. Truth: closed forms
of one and two poles.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from known_steps import BandPass, LowPass, TwoPoles
from measured_sheets import (
    CAPTURED,
    capture_of,
    card_of,
    column,
    conditions,
    measured,
    one,
    quantities,
    run_from,
    sheet,
)

from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Finding
from reviewkit.model.level import Level

KIND = KINDS["square"]
RATE_HZ, SQUARE_HZ, LENGTH_S = 192_000.0, 1003.7, 0.05
ROW = "rise time, overshoot, tilt"


def captured(rate_hz=RATE_HZ, frequency_hz=SQUARE_HZ, length_s=LENGTH_S, unit="V", scale=9.0, noise=0.0, **channels):
    """A capture of several systems' outputs. `noise`: r.m.s., of the wave's amplitude."""
    time = np.arange(round(length_s * rate_hz)) / rate_hz
    random = np.random.default_rng(11)
    columns = [column("time", time)]
    for name, system in channels.items():
        wave = system.wave(frequency_hz, time + 0.3 / frequency_hz) + noise * random.normal(size=len(time))
        columns.append(column("level", scale * wave, "" if name == "mono" else name, unit))
    return sheet(*columns)


def test_each_channel_by_itself(accuracy):
    left, right = TwoPoles(16_000, 0.5), TwoPoles(13_000, 0.6)
    found = measured("square", captured(L=left, R=right, noise=1e-3))
    for channel, system in (("L", left), ("R", right)):
        rise, over = one(found, "rise_time", channel), one(found, "overshoot", channel)
        accuracy(ROW, 100 * (rise.value / system.rise_s - 1))
        accuracy(ROW, 100 * (over.value / system.overshoot_percent - 1))
        assert abs(one(found, "tilt", channel).value) < 0.1
        assert rise.at["frequency"] == pytest.approx(SQUARE_HZ, rel=1e-5)
        assert (rise.unit, over.unit) == ("s", "%")
        assert rise.uncertainty
    assert not found.withheld


def test_swapping_channels_swaps_findings():
    left, right = TwoPoles(16_000, 0.5), LowPass(12e-6)
    one_way, other_way = measured("square", captured(L=left, R=right)), measured("square", captured(L=right, R=left))
    turned = {"L": "R", "R": "L"}
    assert {(f.quantity, turned[f.channel], f.value) for f in one_way.findings} == {
        (f.quantity, f.channel, f.value) for f in other_way.findings
    }


def test_tilt_of_a_low_square(accuracy):
    system = BandPass(4.0, 16_000)
    found = one(measured("square", captured(frequency_hz=50.3, length_s=0.2, mono=system)), "tilt")
    accuracy(ROW, 100 * (found.value / system.tilt_percent(50.3) - 1))


def test_fractions_of_full_scale_carry_every_figure():
    """All three are ratios or times."""
    in_volts = measured("square", captured(mono=TwoPoles(16_000, 0.5)))
    in_ratios = measured("square", captured(mono=TwoPoles(16_000, 0.5), unit="ratio", scale=0.4))
    assert quantities(in_ratios) == {"rise_time", "overshoot", "tilt"}
    for f in in_volts.findings:
        assert one(in_ratios, f.quantity).value == pytest.approx(f.value, rel=1e-6, abs=1e-6)


def test_an_edge_of_the_captures_own_is_withheld():
    """1.3 samples in the rise: the capture would have made that of any faster edge."""
    found = measured("square", captured(L=LowPass(3e-6), R=LowPass(12e-6)))
    assert {f.quantity for f in found.findings if f.channel == "L"} == {"tilt"}
    assert {f.quantity for f in found.findings if f.channel == "R"} == {"rise_time", "overshoot", "tilt"}
    (why,) = found.withheld
    # 0.35 over half of 192 kHz is 3.65 µs
    assert "m, channel L: no rise time and no overshoot" in why
    assert "192 kHz" in why
    assert "3.65 µs" in why


def test_a_noisy_edge_is_withheld():
    found = measured("square", captured(mono=LowPass(20e-6), noise=0.1))
    assert quantities(found) == {"tilt"}
    assert "the noise is 5" in found.withheld[0]
    assert one(found, "tilt").uncertainty > 0.1


def test_less_noise_is_less_uncertain():
    quiet, loud = (
        one(measured("square", captured(mono=LowPass(20e-6), noise=noise)), "rise_time") for noise in (1e-4, 1e-2)
    )
    assert quiet.uncertainty < loud.uncertainty
    assert abs(loud.value - LowPass(20e-6).rise_s) <= loud.uncertainty


def looped_back(rise_s):
    """Conditions of a measurement beside a bench whose own edge takes this long."""
    bench = Finding("rise_time", "", rise_s, "s", {}, "loop", "square", "bench", "measurements/loop.csv")
    return replace(conditions("square", drive=Level(1.0, "W")), floor=(bench,))


def test_an_edge_not_three_times_as_slow_as_the_bench_is_withheld():
    data = captured(mono=LowPass(12e-6))  # 26.4 µs
    quick, slow = (KIND.findings(data, looped_back(rise_s)) for rise_s in (8.7e-6, 8.9e-6))
    assert quantities(quick) == {"rise_time", "overshoot", "tilt"}
    assert quantities(slow) == {"tilt"}
    (why,) = slow.withheld
    assert "the bench looped back rises in 8.90 µs by itself, more than a third of the 26.4 µs read" in why


def test_what_the_bench_adds_to_an_edge_is_in_its_uncertainty():
    """Two poles in a row: what is read holds the bench's rise, in quadrature."""
    data = captured(mono=LowPass(12e-6))
    alone = one(measured("square", data), "rise_time")
    beside = one(KIND.findings(data, looped_back(6e-6)), "rise_time")
    added = alone.value - (alone.value**2 - 6e-6**2) ** 0.5
    assert beside.value == alone.value
    assert beside.uncertainty == pytest.approx((alone.uncertainty**2 + added**2) ** 0.5)


def test_the_card_says_that_the_bench_was_not_looped_back():
    alone = run(mono=LowPass(12e-6))
    beside = replace(alone, conditions=looped_back(6e-6))
    assert "bench not looped back" in KIND.card([alone], ()).conditions
    assert "bench not looped back" not in KIND.card([beside], ()).conditions


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (captured(L=LowPass(12e-6), length_s=1.8 / SQUARE_HZ), "channel L has .*: it holds fewer than two full"),
        (captured(mono=LowPass(70e-6)), "the capture has no square wave that can be read: it .*lower frequency"),
        (captured(mono=LowPass(12e-6), unit="dBV"), "a waveform is a voltage over time"),
    ],
)
def test_what_cannot_be_read(data, message):
    with pytest.raises(InputError, match=message) as refused:
        measured("square", data)
    assert refused.value.faults[0].source == "measurements/m.csv"


def run(stage="", **channels):
    return run_from(captured(**channels), conditions("square", stage=stage, drive=Level(1.0, "W")))


def test_the_card_marks_the_slower_channels_edge():
    card = KIND.card([run(L=TwoPoles(16_000, 0.5), R=TwoPoles(12_000, 0.5))], ())
    (below,) = card.body.panels
    assert below.x.unit == "µs"
    assert [mark.y for mark in below.marks] == [10.0, 90.0]
    assert {mark.channel for mark in below.marks} == {"R"}
    rise_us = below.marks[1].x - below.marks[0].x
    assert rise_us == pytest.approx(1e6 * TwoPoles(12_000, 0.5).rise_s, rel=0.005)
    assert card.hero.figure.endswith(" µs")
    assert (card.hero.channel, card.hero.caption) == ("R", "rise time, right")
    assert {name.split(", ")[0] for name, _ in card.readings} == {"rise time", "overshoot", "tilt"}
    assert "1 kHz" in card.conditions


def test_a_withheld_edge_is_drawn_without_marks():
    card = KIND.card([run(mono=LowPass(3e-6))], ())
    assert card.body.panels[0].marks == ()
    assert card.hero is None
    assert [name for name, _ in card.readings] == ["tilt, at 1 kHz"]


def test_what_is_said():
    now, was = run("after", L=TwoPoles(16_000, 0.5)), run("before", L=TwoPoles(12_000, 0.5))
    (said,) = KIND.points(now, was)
    assert said.facts["rise_time_before"].stage == "before"
    assert said.facts["overshoot"] is not None
    assert said.facts["tilt"] is None  # too small to see
    (slow,) = KIND.points(run(mono=LowPass(12e-6)), None)
    assert slow.facts["overshoot"] is None


def test_the_card_holds_what_the_file_says():
    wave = 2 * TwoPoles(12_000, 0.5).wave(500.3, np.arange(CAPTURED) / 96_000)
    card = card_of("square", capture_of(wave))
    (panel,) = card.body.panels
    assert (panel.x.unit, panel.y.unit) == ("µs", "%")
    shown = panel.traces[0]
    # the edge from its base to its top and its overshoot: 16 % of the step for a damping of 0.5, from memory
    assert shown.y.min() == pytest.approx(0.0, abs=1.0)
    assert shown.y.max() == pytest.approx(116.3, abs=1.0)
