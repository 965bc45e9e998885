"""Rise time, overshoot and tilt against step responses in closed form: one and two poles, sampled as oscilloscopes and
interfaces sample, with and without noise 60 dB below the wave's amplitude.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from accuracy import grid
from known_steps import BandPass, LowPass, TwoPoles

from reviewkit.signal.flat_parts import NotSquare
from reviewkit.signal.step_response import read_square

ROW = "rise time, overshoot, tilt"
# sample rate (Hz), frequency (Hz), length (s): exports of an oscilloscope, captures of an interface
SAMPLINGS = [(1e6, 1003.7, 0.02), (5e6, 10_007.0, 0.004), (192e3, 1003.7, 0.1), (192e3, 333.3, 0.2)]


def sampled(system, rate_hz, frequency_hz, length_s, noise_db=None, scale=4.0, offset=0.0, late=0.3):
    """The wave at the sampling instants, the record beginning `late` of a period after a rising edge."""
    time = np.arange(round(length_s * rate_hz)) / rate_hz + late / frequency_hz
    wave = system.wave(frequency_hz, time)
    if noise_db is not None:
        wave = wave + np.random.default_rng(7).normal(0, 10 ** (noise_db / 20), len(wave))
    return scale * wave + offset


def percent(found, exact):
    return 100 * (found / exact - 1)


@pytest.mark.parametrize(
    ("noise_db", "sampling", "samples_in_rise"), grid([None, -60], [(each,) for each in SAMPLINGS], [4.0, 5.7])
)
def test_rise_of_one_pole(sampling, samples_in_rise, noise_db, accuracy):
    rate_hz, frequency_hz, _ = sampling
    through = LowPass(min(samples_in_rise / rate_hz, 0.06 / frequency_hz) / math.log(9))
    read = read_square(sampled(through, *sampling, noise_db), rate_hz)
    accuracy(ROW, percent(read.rise_s.value, through.rise_s))
    assert abs(read.rise_s.value - through.rise_s) <= read.rise_s.uncertainty
    assert read.overshoot.value == 0
    assert abs(read.tilt.value) <= 0.05
    assert read.frequency_hz == pytest.approx(frequency_hz, rel=1e-5)


@pytest.mark.parametrize(
    ("noise_db", "sampling", "damping"), grid([None, -60], [(each,) for each in SAMPLINGS], [0.35, 0.5, 0.6])
)
def test_rise_and_overshoot_of_two_poles(sampling, damping, noise_db, accuracy):
    rate_hz, frequency_hz, _ = sampling
    through = TwoPoles(min(rate_hz / 13, 22 * frequency_hz / damping), damping)
    read = read_square(sampled(through, *sampling, noise_db, offset=1.5), rate_hz)
    accuracy(ROW, percent(read.rise_s.value, through.rise_s))
    accuracy(ROW, percent(read.overshoot.value, through.overshoot_percent))
    assert abs(read.overshoot.value - through.overshoot_percent) <= read.overshoot.uncertainty + 0.05


@pytest.mark.parametrize(
    ("noise_db", "rate_hz", "frequency_hz", "length_s", "ratio"),
    grid([None, -60], [(192e3, 50.3, 0.5), (48e3, 40.1, 1.0), (1e6, 103.1, 0.1)], [0.03, 0.1, 0.25]),
)
def test_tilt_of_one_pole(rate_hz, frequency_hz, length_s, ratio, noise_db, accuracy):
    """`ratio`: the pole's frequency over the square's. About π ratio, in the steady state 1 − exp(−π ratio)."""
    through = BandPass(ratio * frequency_hz, rate_hz / 12)
    read = read_square(sampled(through, rate_hz, frequency_hz, length_s, noise_db, offset=-2.0), rate_hz)
    exact = through.tilt_percent(frequency_hz)
    accuracy(ROW, percent(read.tilt.value, exact))
    assert abs(read.tilt.value - exact) <= read.tilt.uncertainty + 0.002 * exact


def test_the_rise_of_one_pole_is_a_third_over_its_bandwidth():
    """0.35 over the half-power bandwidth, ln 9 / 2π = 0.34970 exactly."""
    read = read_square(sampled(LowPass(1 / (2 * math.pi * 50_000)), 1e6, 1003.7, 0.02), 1e6)
    assert read.rise_s.value * 50_000 == pytest.approx(0.3497, rel=2e-3)


@pytest.mark.parametrize("samples_in_rise", [6.0, 10.0])
def test_a_period_of_whole_samples_is_told_less_well_and_says_so(samples_in_rise):
    """Every period is then sampled at the same instants: nothing is known between two samples."""
    through = LowPass(samples_in_rise / 192e3 / math.log(9))
    read = read_square(sampled(through, 192e3, 1000.0, 0.05), 192e3)
    assert abs(read.rise_s.value - through.rise_s) <= read.rise_s.uncertainty
    assert read.rise_s.uncertainty > 0.05 * through.rise_s


def test_two_periods_are_enough():
    through = LowPass(20e-6)
    read = read_square(sampled(through, 1e6, 1003.7, 2.0 / 1003.7 + 1e-6), 1e6)
    assert read.rise_s.value == pytest.approx(through.rise_s, rel=0.005)
    with pytest.raises(NotSquare, match="fewer than two full periods"):
        read_square(sampled(through, 1e6, 1003.7, 1.9 / 1003.7), 1e6)


def test_turned_round_the_falling_edge_is_read():
    """A linear filter treats both alike."""
    wave = sampled(TwoPoles(15_000, 0.5), 192e3, 1003.7, 0.1)
    one_way, other_way = read_square(wave, 192e3), read_square(-wave, 192e3)
    assert other_way.rise_s.value == pytest.approx(one_way.rise_s.value, rel=1e-3)
    assert other_way.overshoot.value == pytest.approx(one_way.overshoot.value, rel=3e-3)


def test_an_export_of_eight_bits():
    """An oscilloscope's steps: 1/200 of the wave."""
    through = LowPass(30e-6)
    wave = np.round(sampled(through, 1e6, 1003.7, 0.02) * 25) / 25
    read = read_square(wave, 1e6)
    assert read.rise_s.value == pytest.approx(through.rise_s, rel=0.02)
    assert abs(read.rise_s.value - through.rise_s) <= read.rise_s.uncertainty + 0.005 * through.rise_s


TIME_S = np.arange(19_200) / 192e3


@pytest.mark.parametrize(
    ("wave", "why"),
    [
        (np.sin(2 * np.pi * 1003.7 * TIME_S), "time between its two levels"),
        (2 * np.abs(2 * ((1003.7 * TIME_S) % 1) - 1) - 1, "time between its two levels"),
        (np.zeros(19_200), "only one level"),
        (np.where((1003.7 * TIME_S) % 1 < 0.3, 1.0, -1.0), "high for 30 % of its period"),
        (np.sign(np.sin(2 * np.pi * (500 * TIME_S + 4000 * TIME_S**2))), "not evenly spaced"),
        (sampled(TwoPoles(3000, 0.15), 192e3, 1003.7, 0.1), "still moves|its edges do not settle"),
        (sampled(LowPass(60e-6), 192e3, 1003.7, 0.1), "still moves|its edges do not settle"),
        (np.sign(np.sin(2 * np.pi * 12_000 * TIME_S + 0.1)), "too few samples"),
    ],
)
def test_what_is_no_square_wave(wave, why):
    with pytest.raises(NotSquare, match=why):
        read_square(wave, 192e3)
