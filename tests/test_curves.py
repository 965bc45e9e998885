"""Values read off curves. Curves that are straight lines on the axes used have their values in closed form."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from accuracy import grid
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.measure import curves

SWEEP_HZ = np.geomspace(20.0, 20_000.0, 31)
SLOPE_DB = 6.0 * np.log2(SWEEP_HZ / 1000.0)  # 6 dB an octave through 0 dB at 1 kHz: a straight line over log frequency


@given(st.floats(20.0, 20_000.0))
def test_a_straight_line_is_read_exactly_between_its_points(where_hz):
    assert curves.value_at(SWEEP_HZ, SLOPE_DB, where_hz) == pytest.approx(6 * math.log2(where_hz / 1000), abs=1e-9)


@pytest.mark.parametrize("where_hz", [19.0, 21_000.0])
def test_nothing_is_read_beyond_the_points(where_hz):
    assert curves.value_at(SWEEP_HZ, SLOPE_DB, where_hz) is None


def test_an_edge_within_the_rounding_of_an_export_counts_as_reached():
    frequency = np.array([20.05, 1000.0, 19_950.0])
    level = np.array([-1.0, 0.0, -2.0])
    assert curves.value_at(frequency, level, 20.0) == -1.0
    assert curves.covered(frequency, (20.0, 20_000.0)) == (20.0, 20_000.0)


@pytest.mark.parametrize(
    ("reach", "band", "part"),
    [
        ((10.0, 40_000.0), (20.0, 20_000.0), (20.0, 20_000.0)),
        ((50.0, 40_000.0), (20.0, 20_000.0), (50.0, 20_000.0)),
        ((10.0, 15_000.0), (20.0, 20_000.0), (20.0, 15_000.0)),
        ((100.0, 5000.0), (20.0, 20_000.0), (100.0, 5000.0)),
        ((30_000.0, 40_000.0), (20.0, 20_000.0), None),
    ],
)
def test_what_a_sweep_covers_of_a_band(reach, band, part):
    assert curves.covered(np.geomspace(*reach, 12), band) == part


@pytest.mark.parametrize("band", [(25.0, 15_000.0), (20.0, 20_000.0), (999.0, 1001.0)])
def test_a_part_of_a_curve_has_its_edges(band):
    where, level = curves.part(SWEEP_HZ, SLOPE_DB, band)
    assert (where[0], where[-1]) == pytest.approx(band)
    assert np.all(np.diff(where) > 0)
    assert level == pytest.approx(6 * np.log2(where / 1000), abs=1e-9)


@given(st.floats(-30.0, 24.0), st.integers(0, 30))
def test_a_crossing_of_a_straight_line(level_db, start):
    """Walking either way from any point: the one crossing is found where the closed form has it, else there is none."""
    exact = 1000.0 * 2 ** (level_db / 6)
    for step in (-1, 1):
        found = curves.crossing(SWEEP_HZ, SLOPE_DB, level_db, start, step)
        ahead = (exact - SWEEP_HZ[start]) * step
        if found is None:
            assert ahead < SWEEP_HZ[start] * 1e-9 or not SWEEP_HZ[0] <= exact <= SWEEP_HZ[-1] * (1 + 1e-9)
        else:
            assert found == pytest.approx(exact, rel=1e-9)


def test_the_first_crossing_on_the_way_counts():
    x, y = np.array([1.0, 10.0, 100.0, 1000.0, 1e4]), np.array([0.0, -6.0, 0.0, 0.0, -6.0])
    # half way down from 0 to −6 dB on the log axis
    assert curves.crossing(x, y, -3.0, 2, +1) == pytest.approx(10**3.5)
    assert curves.crossing(x, y, -3.0, 2, -1) == pytest.approx(10**1.5)


def test_a_crossing_is_never_extrapolated():
    assert curves.crossing(SWEEP_HZ, SLOPE_DB, 40.0, 15, +1) is None
    assert curves.crossing(SWEEP_HZ, SLOPE_DB, 40.0, 15, -1) is None


def test_power_at_one_percent_on_log_axes():
    """50, 55, 60 W at 0.05, 0.3, 3 %: ln 55 + ln(1/0.3)/ln(3/0.3) · ln(60/55), 57.5601 W; on linear axes 56.2963 W."""
    power, percent = np.array([50.0, 55.0, 60.0]), np.array([0.05, 0.3, 3.0])
    assert curves.rise_through(power, percent, 1.0).at == pytest.approx(57.5601, abs=5e-5)


def test_a_rise_counts_above_the_minimum_only():
    power = np.array([0.01, 0.1, 1.0, 10.0, 40.0, 50.0])
    percent = np.array([3.0, 0.9, 0.3, 0.1, 0.2, 10.0])  # noise passes 1 % on its way down
    expected = 40.0 * (50 / 40) ** (math.log(1 / 0.2) / math.log(10 / 0.2))
    assert curves.rise_through(power, percent, 1.0).at == pytest.approx(expected)
    assert curves.rise_through(power, percent, 20.0) is None
    assert curves.rise_through(power, percent, 0.05) is None


def clipped(power_w):
    """An amplifier with 0.01 % that clips a sine above 40 W (closed form), distortion in percent."""
    level = np.linspace(1, 0.5, 5000)
    angle = np.arcsin(level)
    first = 2 / np.pi * (angle + level * np.cos(angle))
    mean_square = 2 / np.pi * ((angle - level * np.cos(angle)) / 2 + level**2 * (np.pi / 2 - angle))
    percent = 100 * np.sqrt(np.maximum(2 * mean_square / first**2 - 1, 0))
    return np.hypot(0.01, np.interp(power_w, 80 * mean_square / level**2, percent))


def protected(power_w):
    """One whose protection cuts in at some 40 W, on an analyser that shows no more than 10 %."""
    return np.minimum(0.01 + 0.02 * np.maximum(power_w / 40, 1) ** 60 - 0.02, 10)


# by default; each value of each parameter, and each curve with a sweep that was stopped
KNEES = [(clipped, True, 0.01), (clipped, False, 0.05), (protected, False, 0.2), (protected, True, 0.05)]


@pytest.mark.parametrize(
    ("curve", "goes_on", "step"),
    [
        pytest.param(*case, marks=() if case in KNEES else pytest.mark.long)
        for case in itertools.product((clipped, protected), (True, False), (0.01, 0.05, 0.2))
    ],
)
@given(st.floats(0, 1))
def test_the_steps_at_the_knee_are_in_the_uncertainty(curve, goes_on, step, phase):
    """Wherever the points fall, the true power lies between the bounds; and by no more than U from what is read."""
    fine = np.linspace(40, 60, 20_001)
    truth = float(fine[np.argmax(curve(fine) >= 1.0)])
    power = 10 * (1 + step) ** (np.arange(round(2 / math.log1p(step))) + phase)
    if not goes_on:  # the sweep was stopped as soon as the limit was passed
        power = power[: int(np.argmax(curve(power) >= 1.0)) + 1]
    rise = curves.rise_through(power, curve(power), 1.0)
    assert rise.low - 0.001 <= truth <= rise.high + 0.001
    assert abs(rise.at - truth) <= rise.expanded + 0.001
    assert rise.expanded <= 2 / math.sqrt(3) * step * rise.high  # a rectangle whose far end is one step away


def test_a_straight_rise_leaves_nothing_open():
    power = np.array([1.0, 2.0, 8.0, 9.0, 40.0, 60.0])
    rise = curves.rise_through(power, 0.01 * power**2, 1.0)
    assert (rise.at, rise.low, rise.high) == pytest.approx((10.0, 10.0, 10.0))
    assert rise.expanded == pytest.approx(0, abs=1e-6)


def test_a_point_on_the_limit_leaves_nothing_open_either():
    assert curves.rise_through(np.array([1.0, 40.0, 50.0]), np.array([0.02, 0.1, 1.0]), 1.0) == (50.0, 50.0, 50.0)


def test_where_no_neighbour_bounds_a_rise_its_own_points_do():
    """The point before falls and none comes after: anywhere from 40 to 50 W, and 46.7 W as read."""
    rise = curves.rise_through(np.array([20.0, 40.0, 50.0]), np.array([0.02, 0.01, 10.0]), 1.0)
    assert (rise.low, rise.high) == pytest.approx((40.0, 50.0))
    assert rise.at == pytest.approx(40 * 1.25 ** (2 / 3))
    # the rectangle's own half width over √3 where the figure stands in its middle
    assert curves.Rise(45.0, 40.0, 50.0).expanded == pytest.approx(2 * 5 / math.sqrt(3))
    assert rise.expanded == pytest.approx(2 * math.sqrt(100 / 12 + (rise.at - 45) ** 2))


# ------------------------------------------------------------------ curved


def test_a_cubic_over_log_frequency_is_read_exactly():
    """Four points determine it; so does every window of four along it, the ends' too."""
    level = np.polynomial.Polynomial([1.0, -2.0, 0.5, 0.3])
    y = level(np.log(SWEEP_HZ))
    where = np.geomspace(20.0, 20_000.0, 97)
    assert curves.values_at(SWEEP_HZ, y, where) == pytest.approx(level(np.log(where)), rel=1e-9)
    assert curves.value_at(SWEEP_HZ, y, 777.0) == pytest.approx(level(math.log(777.0)), rel=1e-9)
    exact = float(level(math.log(3333.0)))
    assert curves.crossing(SWEEP_HZ, y, exact, 15, +1, curved=True) == pytest.approx(3333.0, rel=1e-7)


@given(st.integers(3, 24), st.floats(0, 1), st.floats(200.0, 5000.0))
def test_between_points_of_a_pole(per_octave, phase, corner_hz):
    """One pole, −10 lg(1 + (f/fc)²): the cubic's error is below 0.01 dB from three points an octave."""
    frequency = 20.0 * 2 ** ((np.arange(10 * per_octave + 1) + phase) / per_octave)
    where = np.geomspace(frequency[1], frequency[-2], 200)
    found = curves.values_at(frequency, -10 * np.log10(1 + (frequency / corner_hz) ** 2), where)
    assert found == pytest.approx(-10 * np.log10(1 + (where / corner_hz) ** 2), abs=0.01)


def test_few_readings_far_apart_are_no_curve():
    """Straight between them, as without `curved`."""
    x, y = np.array([20.0, 1000.0, 10_000.0, 20_000.0]), np.array([-3.0, 0.0, 0.0, -6.0])
    assert curves.value_at(x, y, 200.0) == curves.value_at(x, y, 200.0, curved=False)
    assert curves.crossing(x, y, -3.0, 2, +1, curved=True) == pytest.approx(10_000 * 2**0.5, rel=1e-6)
    assert curves.value_at(x[:3], y[:3], 200.0) == curves.value_at(x[:3], y[:3], 200.0, curved=False)
    assert curves.value_at(x, y, 19.0) is None


@pytest.mark.parametrize(
    ("step_dbf", "floor_db", "more_dbf"),
    grid([1.0, 2.0, 3.0], [(60, 0.45757), (65, 0.13955), (70, 0.043648), (80, 0.00435)]),
)
def test_quieting_of_a_tuner(step_dbf, floor_db, more_dbf, accuracy):
    """S/N(P) = −10 lg(10^(−(P + 36)/10) + 10^(−F/10)): 50 dB is passed at 14 dBf and a little more, by the floor F."""
    level_dbf = np.arange(0.0, 66.0, step_dbf)
    quiet_db = -10 * np.log10(10 ** (-(level_dbf + 36) / 10) + 10 ** (-floor_db / 10))
    ratio = curves.crossing(10 ** (level_dbf / 20), quiet_db, 50.0, 0, +1)
    accuracy("quieting crossing", 20 * math.log10(ratio) - 14 - more_dbf)


@pytest.mark.parametrize(
    ("at_0_db_percent", "mol_db", "step_db"),
    grid([(0.5, 7.7815), (1.0, 4.7712), (1.5, 3.0103), (2.0, 1.7609), (3.5, -0.6695)], [2.0, 3.0]),
)
def test_mol_of_a_tape(at_0_db_percent, mol_db, step_db, accuracy):
    """Third harmonic rises 2 dB per dB: MOL = L + 10 lg(3 / k3). Its crossing is one of logarithms, not of percent."""
    level_db = np.arange(-10.0, 13.0, step_db)
    third = at_0_db_percent * 10 ** (level_db / 10)
    accuracy("MOL", 20 * math.log10(curves.rise_through(10 ** (level_db / 20), third, 3.0).at) - mol_db)


@pytest.mark.parametrize(("step_dbf", "floor_percent"), grid([1.0, 2.0], [0.1, 0.3, 1.0]))
def test_usable_sensitivity_of_a_tuner(step_dbf, floor_percent, accuracy):
    """Noise of 100 % · 10^(−(P + 20)/20) and a floor of distortion, added as power: 3 % of both (IHF-T-200, from
    memory) is 30.4576 dB.
    """
    level_dbf = np.arange(0.0, 66.0, step_dbf)
    percent = np.hypot(100 * 10 ** (-(level_dbf + 20) / 20), floor_percent)
    place = curves.crossing(10 ** (level_dbf / 20), np.log(percent), math.log(3.0), 0, +1)
    true = -20 * math.log10(math.sqrt(3.0**2 - floor_percent**2) / 100) - 20
    accuracy("quieting crossing", 20 * math.log10(place) - true)
