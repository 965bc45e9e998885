"""Frequency response against analogue filters by scipy.signal.freqs: deviations re 1 kHz, corners where the power is
half that at 1 kHz, and the difference between the channels.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from accuracy import grid
from hypothesis import given, settings
from hypothesis import strategies as st
from known_filters import BandPass, points_hz
from measured_sheets import (
    HERTZ,
    all_of,
    card_of,
    column,
    conditions,
    figures,
    measured,
    one,
    panel_of,
    quantities,
    run_from,
    sheet,
)
from rated_and_found import verdict_of

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating

AUDIO = (20.0, 20_000.0)


def sweep(frequency_hz, unit="dBV", **filters: BandPass):
    """A response's sheet: level of each named channel."""
    columns = [column("frequency", frequency_hz)]
    for name, through in filters.items():
        level = through.level_db(frequency_hz)
        values = 10 ** (level / 20) if unit == "V" else level
        columns.append(column("level", values, "" if name == "mono" else name, unit))
    return sheet(*columns)


# ------------------------------------------------------------------ corners


@pytest.mark.parametrize(
    ("per_octave", "poles", "low_hz", "high_hz"),
    grid([8, 12, 24], [1, 2], [(3.0, 70_000.0), (11.7, 43_210.0), (25.0, 16_000.0), (40.0, 25_500.0)]),
)
def test_corners(poles, low_hz, high_hz, per_octave):
    """Half the power at 1 kHz, from at least 8 points an octave, wherever the points fall: within 0.1 %."""
    through = BandPass(low_hz, high_hz, poles, gain_db=16.0)
    exact_low, exact_high = through.half_power_hz()
    for shift in (1.0, 2 ** (0.25 / per_octave), 2 ** (0.5 / per_octave), 2 ** (0.75 / per_octave)):
        frequency = points_hz(1.0 * shift, 200_000.0 * shift, per_octave)
        found = measured("response", sweep(frequency, mono=through))
        assert one(found, "corner_low").value == pytest.approx(exact_low, rel=1e-3)
        assert one(found, "corner_high").value == pytest.approx(exact_high, rel=1e-3)


def test_a_corner_re_1_khz_is_not_the_filters_own():
    """A pole at 5 kHz has lost 0.17 dB at 1 kHz already: power is half of that at 1 kHz beyond the pole."""
    through = BandPass(1e-3, 5000.0)
    # |H|² = 1 / (1 + (f/5k)²), half of its value at 1 kHz: f = 5k √(1 + 2/25)
    exact = 5000 * math.sqrt(1 + 2 / 25)
    assert through.half_power_hz()[1] == pytest.approx(exact, rel=1e-6)
    found = measured("response", sweep(points_hz(20, 40_000, 24), mono=through))
    assert one(found, "corner_high").value == pytest.approx(exact, rel=1e-3)


def test_a_corner_from_a_reading_one_decibel_down():
    """One pole that is 1 dB down at f has its corner at 1.9652267 f (10^0.1 = 1 + (f/fc)²)."""
    corner = 1.9652267 * 20_000
    found = measured("response", sweep(points_hz(20, 100_000, 24), mono=BandPass(1e-4, corner)))
    assert one(found, "deviation_low", band=[20.0, 20_000.0]).value == pytest.approx(-1.0, abs=0.003)  # re 1 kHz
    assert one(found, "corner_high").value == pytest.approx(corner, rel=2e-3)


def test_a_corner_that_is_not_reached_is_absent():
    found = measured("response", sweep(points_hz(20, 20_000, 8), mono=BandPass(3.0, 70_000.0)))
    assert not {"corner_low", "corner_high"} & quantities(found)


# ------------------------------------------------------------------ deviations


@pytest.mark.parametrize(("poles", "unit"), grid([1, 2], ["dBV", "dB", "dBu", "V"]))
def test_flatness_over_the_audio_band(poles, unit):
    through = BandPass(7.0, 38_000.0, poles, gain_db=-3.0)
    found = measured("response", sweep(points_hz(2, 90_000, 24), unit, L=through, R=through))
    high, low = through.extremes_db(AUDIO)
    for channel in ("L", "R"):
        assert one(found, "deviation_high", channel).value == pytest.approx(high, abs=0.002)
        assert one(found, "deviation_low", channel).value == pytest.approx(low, abs=0.002)
        assert one(found, "flatness", channel).value == pytest.approx(max(high, -low), abs=0.002)
        assert one(found, "flatness", channel).at["band"] == [20.0, 20_000.0]


def test_a_hump_counts_as_a_dip_does():
    """A curve 0.4 dB up and 0.3 dB down re 1 kHz is ±0.4 dB."""
    frequency = np.array([20.0, 50, 100, 1000, 5000, 20_000])
    level = np.array([-0.3, 0.1, 0.4, 0.0, 0.0, -0.2]) + 7.5
    found = measured("response", sheet(column("frequency", frequency), column("level", level, "", "dBV")))
    assert one(found, "deviation_high").value == pytest.approx(0.4)
    assert one(found, "deviation_low").value == pytest.approx(-0.3)
    assert one(found, "flatness").value == pytest.approx(0.4)


def test_rated_bands_are_given_beside_the_audio_band():
    """The maker's band, and the channel balance's: each once, its edges read between points."""
    through = BandPass(4.0, 60_000.0)
    ratings = [
        Rating("flatness", "dB", within=(-0.5, 0.5), band_hz=(10.0, 35_000.0)),
        Rating("channel_balance", "dB", at_most=1.0, band_hz=(100.0, 8000.0)),
        Rating("thd", "%", at_most=1.0, band_hz=(30.0, 15_000.0)),
    ]
    found = measured("response", sweep(points_hz(2, 90_000, 12), L=through, R=through), ratings=ratings)
    bands = [f.at["band"] for f in all_of(found, "flatness", "L")]
    assert bands == [[20.0, 20_000.0], [10.0, 35_000.0], [100.0, 8000.0]]
    for band in bands:
        assert one(found, "deviation_low", "L", band=band).value == pytest.approx(
            through.extremes_db(tuple(band))[1], abs=0.003
        )


@pytest.mark.parametrize(
    ("reach", "band"), [((50, 40_000), [50.0, 20_000.0]), ((5, 12_000), [20.0, 12_000.0]), ((90, 9000), [90.0, 9000.0])]
)
def test_narrower_data_says_how_far_it_goes(reach, band):
    through = BandPass(20.0, 20_000.0)
    found = measured("response", sweep(points_hz(*reach, 24), mono=through))
    low = one(found, "deviation_low")
    assert low.at["band"] == pytest.approx(band)
    assert low.value == pytest.approx(through.extremes_db(tuple(band))[1], abs=0.003)


def test_a_rated_band_that_the_sweep_does_not_touch_has_no_figures():
    ratings = [Rating("flatness", "dB", within=(-3.0, 3.0), band_hz=(30_000.0, 50_000.0))]
    found = measured("response", sweep(points_hz(20, 20_000, 12), mono=BandPass(5.0, 60_000.0)), ratings=ratings)
    assert [f.at["band"] for f in all_of(found, "flatness")] == [[20.0, 20_000.0]]


@pytest.mark.parametrize("reach", [(20.0, 800.0), (1500.0, 20_000.0)])
def test_a_sweep_that_does_not_reach_1_khz_is_withheld(reach):
    found = measured("response", sweep(points_hz(*reach, 12), mono=BandPass(5.0, 50_000.0)))
    assert not found.findings
    assert "does not reach 1 kHz" in found.withheld[0]


def test_1_khz_is_read_between_points():
    """Points at 900 and 1100 Hz, and a slope: the reference is what lies on log frequency between them."""
    frequency = np.array([20.0, 900.0, 1100.0, 20_000.0])
    level = 6 * np.log2(frequency / 1000) + 3  # a straight line through 3 dB at 1 kHz
    found = measured("response", sheet(column("frequency", frequency), column("level", level, "", "dB")))
    assert one(found, "deviation_high").value == pytest.approx(6 * math.log2(20), abs=1e-9)
    assert one(found, "deviation_low").value == pytest.approx(6 * math.log2(0.02), abs=1e-9)


# ------------------------------------------------------------------ balance


def test_balance_is_left_over_right():
    """Gains of 0.98 and 1.00 differ by 20 lg 0.98 = −0.17548 dB."""
    left, right = BandPass(5.0, 60_000.0, gain_db=20 * math.log10(0.98)), BandPass(5.0, 60_000.0)
    for unit in ("V", "dBV"):
        found = measured("response", sweep(points_hz(10, 40_000, 12), unit, L=left, R=right))
        assert one(found, "channel_balance", "both").value == pytest.approx(-0.17548, abs=5e-6)
        assert one(found, "channel_balance", "both").at["frequency"] == 1000.0
        assert one(found, "channel_balance_worst", "both").value == pytest.approx(-0.17548, abs=5e-6)


def test_the_worst_balance_and_where():
    """The right channel's pole lies lower: they part at the top of the band, by the two filters' difference."""
    left, right = BandPass(5.0, 60_000.0), BandPass(5.0, 30_000.0, gain_db=0.1)
    found = measured("response", sweep(points_hz(10, 40_000, 24), L=left, R=right))
    worst = one(found, "channel_balance_worst", "both")
    exact = left.level_db(20_000.0)[0] - right.level_db(20_000.0)[0]
    assert worst.value == pytest.approx(exact, abs=0.002)
    assert worst.at["frequency"] == 20_000.0
    assert worst.at["band"] == [20.0, 20_000.0]
    at_1k = left.level_db(1000.0)[0] - right.level_db(1000.0)[0]
    assert one(found, "channel_balance", "both").value == pytest.approx(at_1k, abs=1e-3)


@pytest.mark.parametrize(
    ("within", "word"), [((-2.0, 0.5), "falls short"), ((-2.0, 1.0), "meets"), ((-1.0, 1.0), "falls short")]
)
def test_unequal_limits_of_the_balance_are_compared_with_both_sides(within, word):
    """Left over right is +0.8 dB at 100 Hz and −1.5 dB at 8 kHz, by construction: the larger one may be inside."""
    frequency = points_hz(20, 20_000, 12)
    left_db = np.interp(np.log10(frequency), np.log10([20, 100, 1000, 8000, 20_000]), [0.0, 0.8, 0.0, -1.5, 0.0])
    rating = Rating("channel_balance", "dB", within=within, band_hz=AUDIO)
    levels = sheet(
        column("frequency", frequency), column("level", left_db, "L", "dBV"), column("level", 0 * left_db, "R", "dBV")
    )
    found = measured("response", levels, ratings=[rating])
    assert verdict_of(rating, *found.findings).verdict == word


def test_no_balance_from_one_channel_or_two_units():
    through = BandPass(5.0, 50_000.0)
    assert not all_of(measured("response", sweep(points_hz(20, 20_000, 6), L=through)), "channel_balance")
    frequency = points_hz(20, 20_000, 6)
    mixed = sheet(
        column("frequency", frequency),
        column("level", through.level_db(frequency), "L", "dBV"),
        column("level", 10 ** (through.level_db(frequency) / 20), "R", "V"),
    )
    found = measured("response", mixed)
    assert not all_of(found, "channel_balance")
    assert "no channel balance, the left is in" in found.withheld[0]
    # each channel re its own 1 kHz does not care
    assert one(found, "flatness", "L").value == pytest.approx(one(found, "flatness", "R").value, abs=1e-9)


# ------------------------------------------------------------------ whatever way it was swept, whichever channel


def test_a_falling_sweep_reads_as_a_rising_one():
    through = BandPass(6.0, 45_000.0)
    frequency = points_hz(2, 90_000, 12)
    rows = [f"{f:.4f},{level:.5f}" for f, level in zip(frequency, through.level_db(frequency), strict=True)]
    head = "Frequency (Hz),Left (dBV)\n"
    rising = measured("response", parse_sheet((head + "\n".join(rows)).encode(), "m.csv"))
    falling = measured("response", parse_sheet((head + "\n".join(reversed(rows))).encode(), "m.csv"))
    assert figures(falling) == figures(rising)
    assert one(falling, "corner_low", "L").value == pytest.approx(through.half_power_hz()[0], rel=1e-3)


_FILTERS = st.builds(BandPass, st.floats(1.5, 60), st.floats(8000, 90_000), st.sampled_from([1, 2]), st.floats(-20, 30))


@settings(max_examples=15, deadline=None)
@given(
    left=_FILTERS, right=_FILTERS, per_octave=st.integers(8, 24), reach=st.tuples(st.floats(1, 90), st.floats(9e3, 2e5))
)
def test_swapping_channels_swaps_findings(left, right, per_octave, reach):
    frequency = points_hz(*reach, per_octave)
    one_way = measured("response", sweep(frequency, L=left, R=right))
    other_way = measured("response", sweep(frequency, L=right, R=left))
    assert len(one_way.findings) == len(other_way.findings)
    turned = {"L": "R", "R": "L", "both": "both"}
    for found in one_way.findings:
        (counterpart,) = [
            f
            for f in other_way.findings
            if (f.quantity, f.channel) == (found.quantity, turned[found.channel])
            and f.at.get("band") == found.at.get("band")
        ]
        sign = -1 if found.channel == "both" else 1
        if found.quantity == "channel_balance_worst":
            assert abs(counterpart.value) == pytest.approx(abs(found.value), abs=1e-9)
        else:
            assert counterpart.value == pytest.approx(sign * found.value, rel=1e-12, abs=1e-12)


@settings(max_examples=12, deadline=None)
@given(through=_FILTERS, per_octave=st.integers(16, 48))
def test_any_filter(through, per_octave):
    """Deviations of any band-pass against the filter's own, wherever the corners lie."""
    found = measured("response", sweep(points_hz(1, 200_000, per_octave), mono=through))
    high, low = through.extremes_db(AUDIO)
    assert one(found, "deviation_high").value == pytest.approx(high, abs=0.012)
    assert one(found, "deviation_low").value == pytest.approx(low, abs=0.012)
    exact_low, exact_high = through.half_power_hz()
    assert one(found, "corner_low").value == pytest.approx(exact_low, rel=1e-3)
    assert one(found, "corner_high").value == pytest.approx(exact_high, rel=1e-3)


def test_the_level_uncertainty_cancels_in_ratios():
    """Common to both readings of a pair: neither a deviation nor the balance carries it."""
    through = BandPass(5.0, 50_000.0)
    found = measured(
        "response", sweep(points_hz(2, 90_000, 8), L=through, R=replace(through, gain_db=0.2)),
        bench=Bench(level_uncertainty_db=0.1),
    )  # fmt: skip
    assert {f.uncertainty for f in found.findings} == {None}


def test_the_corners_that_are_said_are_the_nearest_inside_the_audio_band():
    frequency = points_hz(1, 200_000, 24)
    for left_hz, right_hz, said in ((8e3, 12e3, 8e3), (12e3, 8e3, 8e3), (40e3, 12e3, 12e3)):
        run = run_from(sweep(frequency, L=BandPass(5.0, left_hz), R=BandPass(5.0, right_hz)), conditions("response"))
        (point,) = (point for point in KINDS["response"].points(run, None) if point.name == "corners")
        assert point.facts["high"].value == pytest.approx(BandPass(5.0, said).half_power_hz()[1], rel=1e-3)
        assert point.facts["low"] is None
    for low_hz, high_hz in ((5.0, 40_000.0), (5.0, 21_000.0)):
        run = run_from(sweep(frequency, L=BandPass(low_hz, high_hz)), conditions("response"))
        assert "corners" not in {point.name for point in KINDS["response"].points(run, None)}


def test_conditions_travel():
    found = measured(
        "response", sweep(points_hz(20, 20_000, 8), mono=BandPass(5.0, 50_000.0)), drive=Level(5.0, "W"), input="aux",
        setting="tone controls bypassed", stage="after",
    )  # fmt: skip
    f = one(found, "flatness")
    assert f.at == {
        "frequency": 20_000.0, "band": [20.0, 20_000.0], "power": 5.0, "load": 8.0, "input": "aux",
        "setting": "tone controls bypassed",
    }  # fmt: skip
    assert (f.kind, f.stage, f.unit) == ("response", "after", "dB")


@pytest.mark.parametrize(
    ("drives", "loads", "line"),
    [
        ((1.0, 6.2), (8.0, 8.0), "8 Ω, 1 W before, 6.2 W after"),
        ((6.2, 6.2), (8.0, 8.0), "6.2 W into 8 Ω"),
        ((None, 6.2), (8.0, 8.0), "8 Ω, 6.2 W after"),
        ((5.0, 5.0), (8.0, 4.0), "5 W into 8 Ω before, 5 W into 4 Ω after"),
        ((5.0, 10.0), (8.0, 4.0), "5 W into 8 Ω before, 10 W into 4 Ω after"),
        ((None, None), (8.0, 4.0), "8 Ω before, 4 Ω after"),
    ],
)
def test_levels_and_loads_that_differ_before_and_after_are_both_stated(drives, loads, line):
    runs = []
    for stage, watts, load_ohm in zip(("before", "after"), drives, loads, strict=True):
        data = sheet(column("frequency", [20.0, 1000.0, 20_000.0]), column("level", [0.0, 0.0, 0.0], "L", "dBV"))
        c = conditions("response", stage=stage, drive=watts and Level(watts, "W"), load_ohm=load_ohm, id=stage)
        runs.append(run_from(data, c))
    assert KINDS["response"].card(runs, ()).conditions == (line,)


def test_the_card_holds_what_the_file_says():
    volts = {"L": [1.9, 2.0, 2.0, 2.0, 1.8], "R": [2.0, 2.0, 2.0, 2.0, 2.0]}
    columns = (column("level", values, name) for name, values in volts.items())
    card = card_of("response", sheet(column("frequency", HERTZ), *columns))
    left, right = panel_of(card).traces
    assert (left.label, left.channel, right.label, right.channel) == ("L", "L", "R", "R")
    assert left.x.tolist() == HERTZ
    assert left.y == pytest.approx([20 * math.log10(v / 2) for v in (1.9, 2.0, 2.0, 2.0, 1.8)])
    assert right.y == pytest.approx([0.0] * 5, abs=1e-12)
    # 20 lg 0.9 = −0.915
    assert (card.hero.figure, card.hero.channel) == ("±0.92 dB", "L")


def test_between_unequal_limits_the_sentence_has_what_the_card_has():
    """The left bends 0.5 dB up at 100 Hz, the right 1.2 dB down at the top."""
    data = sheet(
        column("frequency", HERTZ),
        column("level", [0.0, 0.5, 0.0, 0.0, -0.2], "L", "dB"),
        column("level", [0.0, 0.0, 0.0, 0.0, -1.2], "R", "dB"),
    )
    for within, said in (((-2.0, 1.0), "−1.2 to +0.50 dB"), ((-2.0, 2.0), "")):
        rating = Rating("flatness", "dB", within=within, band_hz=(20.0, 20_000.0))
        run = run_from(data, conditions("response", ratings=[rating]))
        flat = next(point for point in KINDS["response"].points(run, None) if point.name == "flatness")
        assert flat.facts["sides"] == said
        assert not said or verdict_of(rating, *run.findings).measured == said
