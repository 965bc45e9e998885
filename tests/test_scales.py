"""The scales of the cards: they hold what is drawn, carry few numbers, and stay the same for values alike."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.measure import scales
from reviewkit.model.card import Axis, Trace

MOST_NUMBERS = 7


def well_formed(axis: Axis) -> None:
    values = [value for value, _ in axis.ticks]
    assert axis.low < axis.high
    assert 2 <= len(values) <= MOST_NUMBERS
    assert values == sorted(set(values))
    edge = 1e-9 * (axis.high - axis.low)
    assert axis.low - edge <= values[0]
    assert values[-1] <= axis.high + edge
    assert len({text for _, text in axis.ticks}) == len(values)
    assert all(axis.low - edge <= value <= axis.high + edge for value in axis.minor)
    assert "-" not in "".join(text for _, text in axis.ticks)
    assert "e" not in "".join(text for _, text in axis.ticks)


def texts(axis: Axis) -> list[str]:
    return [text for _, text in axis.ticks]


# ------------------------------------------------------------------ the dial


def test_the_dial_of_the_audible_band():
    axis = scales.dial(20, 20_000)
    assert texts(axis) == ["20", "100", "1k", "10k", "20k"] or texts(axis) == ["20", "100", "1k", "20k"]
    assert (axis.low, axis.high, axis.scale, axis.unit) == (20, 20_000, "log", "Hz")
    # a tick at each 1 … 9 of a decade
    decade = [20, 30, 40, 50, 60, 70, 80, 90]
    assert axis.minor == pytest.approx([*decade, *(m * d for d in (100, 1000) for m in range(1, 10)), 10_000, 20_000])


@given(st.floats(1, 900), st.floats(1100, 400_000))
def test_the_dial_holds_the_data_and_never_less_than_the_audible_band(low, high):
    axis = scales.dial(low, high)
    well_formed(axis)
    assert axis.low <= min(20, low * 1.001)
    assert axis.high >= max(20_000, high * 0.999)


def test_the_dial_holds_all_curves():
    def curve(*x):
        return Trace(np.array(x, dtype=float), np.zeros(len(x)), "L")

    axis = scales.dial_for([curve(10, 15_000), curve(), curve(30, 80_000)])
    assert (axis.low, axis.high) == (10, 100_000)
    assert scales.dial_for([]) == scales.dial(20, 20_000)
    assert scales.dial_for([curve(30, 15_000)]) == scales.dial(20, 20_000)


# ------------------------------------------------------------------ upright scales


@given(st.lists(st.floats(1e-5, 100), min_size=1, max_size=20))
def test_decades_hold_all_values(values):
    axis = scales.decades(values, "%")
    well_formed(axis)
    assert axis.low <= min(values) * (1 + 1e-6)
    assert axis.high >= max(values) * (1 - 1e-6)
    assert math.log10(axis.high / axis.low) >= 2 - 1e-9
    assert texts(axis)[-1].endswith(" %")


def test_decades_leave_out_what_a_log_axis_cannot_hold():
    assert scales.decades([0.0, 0.02], "%") == scales.decades([0.02], "%")
    well_formed(scales.decades([0.0], "%"))
    well_formed(scales.decades([], "%"))


@given(st.floats(0.001, 500), st.floats(1, 1000))
def test_a_power_scale_holds_the_sweep(low, span):
    axis = scales.power_scale([low, low * span * 1.01])
    well_formed(axis)
    assert axis.low <= low * 1.001
    assert axis.high >= low * span * 1.01 * 0.999


@pytest.mark.parametrize(
    ("largest", "top"), [(0.0, 0.5), (0.5, 0.5), (0.51, 1), (1.4, 2), (4, 5), (12, 20), (40, 40), (41, 60), (75, 80)]
)
def test_a_response_takes_the_first_rung_that_holds_it(largest, top):
    axis = scales.around_zero(largest)
    well_formed(axis)
    assert (axis.low, axis.high) == (-top, top)
    assert texts(axis)[2] == "0"
    assert texts(axis)[0].startswith("−")
    assert texts(axis)[-1].startswith("+")
    assert texts(axis)[-1].endswith(" dB")


@given(st.floats(-200, 0), st.floats(0, 60))
def test_a_lopsided_scale_holds_both_ends(lowest, highest):
    axis = scales.lopsided(lowest, highest)
    well_formed(axis)
    assert axis.low <= lowest
    assert axis.high >= highest


@given(st.lists(st.floats(-180, 20), min_size=1, max_size=10))
def test_twenties_hold_all_levels(levels):
    axis = scales.twenties(levels)
    well_formed(axis)
    assert axis.low <= min(levels)
    assert axis.high >= max(levels) - 1
    assert axis.high - axis.low >= 40


@given(st.floats(1e-4, 1e4))
def test_upward_from_zero(largest):
    axis = scales.upward(largest, "Ω")
    well_formed(axis)
    assert axis.low == 0
    assert largest * 0.999 <= axis.high <= largest * 2.6
    assert texts(axis)[0] == "0"


@given(st.floats(1e-4, 1e4))
def test_a_swing_is_the_same_up_and_down(largest):
    axis = scales.swing(largest, "V")
    well_formed(axis)
    assert axis.low == -axis.high
    assert axis.high >= largest * 0.999


@given(st.floats(20e-6, 2.0))
def test_milliseconds_hold_the_cycles_that_are_shown(length_s):
    axis = scales.milliseconds(length_s)
    well_formed(axis)
    assert (axis.low, axis.high) == (0, length_s * 1000)


def test_three_cycles_of_ten_hertz_have_a_scale():
    assert texts(scales.milliseconds(0.3)) == ["0", "100", "200", "300"]


@pytest.mark.parametrize("factor", [1.0, 1.2, 1.4])
def test_values_alike_share_a_scale(factor):
    assert scales.around_zero(0.6 * factor) == scales.around_zero(0.6)
    assert scales.decades([0.02 * factor, 0.5 * factor], "%") == scales.decades([0.02, 0.5], "%")
    assert scales.twenties([-50.0 - 20.0 * factor]) == scales.twenties([-65.0])


def test_what_nobody_measures_has_a_scale_too():
    # a slip of the pen must not end in a traceback
    assert scales.milliseconds(1e20).high == 1e23
