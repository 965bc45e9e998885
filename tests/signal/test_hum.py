"""Hum beside a tone and in an idle output, in records from a tenth of a second to a second."""

from __future__ import annotations

import math

import numpy as np
import pytest
from accuracy import grid

from reviewkit.signal import noise_lines
from reviewkit.signal.spectrum import analyse

RATE_HZ = 48_000.0
TONE_V, LINE_V = 8.0, 0.052
LENGTHS_S = (0.1, 0.12, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.7, 1.0)
LINES = ((2,), (1, 2, 3), (2, 4, 6, 8, 10))


def humming(seconds: float, mains_hz: float, orders: tuple[int, ...], noise: float, seed: int) -> np.ndarray:
    """Lines of one peak at multiples of the mains, with any phases, and white noise of an r.m.s. value."""
    rng = np.random.default_rng(seed)
    turns = 2 * np.pi * np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phases = rng.uniform(0, 2 * np.pi, len(orders))
    lines = [np.sin(order * mains_hz * turns + at) for order, at in zip(orders, phases, strict=True)]
    return LINE_V * np.sum(lines, axis=0) + rng.normal(0, noise, len(turns))


def with_tone(samples: np.ndarray, tone_hz: float) -> np.ndarray:
    turns = 2 * np.pi * np.arange(len(samples)) / RATE_HZ
    return samples + TONE_V * np.sin(tone_hz * turns) + 4e-3 * np.sin(2 * tone_hz * turns + 1)


@pytest.mark.parametrize(
    ("mains_hz", "noise", "orders", "seconds"),
    grid([(50.0, 1e-4), (60.0, 5e-3), (50.0, 5e-3), (60.0, 1e-4)], [(orders,) for orders in LINES], LENGTHS_S),
)
def test_hum_beside_a_tone_in_a_short_record(accuracy, seconds, mains_hz, orders, noise):
    """The mains may be up to 0.4 % off its nominal frequency."""
    truth_db = 20 * math.log10(LINE_V * math.sqrt(len(orders)) / TONE_V)
    for seed, off in enumerate((0.0, 0.002, -0.004)):
        samples = with_tone(humming(seconds, mains_hz * (1 + off), orders, noise, seed), 1000.0)
        tone = analyse(samples, RATE_HZ, mains_hz)
        assert tone.hum is not None
        accuracy("hum in a short record", 20 * math.log10(tone.hum / tone.level) - truth_db)


@pytest.mark.parametrize("tone_hz", [315.0, 440.0, 3150.0])
def test_drift_beside_hum_is_no_hum(accuracy, tone_hz):
    samples = with_tone(humming(0.1, 50.0, (1, 2, 3), 1e-4, 4), tone_hz)
    samples += 0.2 + 0.1 * np.linspace(0, 1, len(samples))
    tone = analyse(samples, RATE_HZ, 50.0)
    assert tone.hum is not None
    accuracy("hum in a short record", 20 * math.log10(tone.hum / (LINE_V * math.sqrt(1.5))))


@pytest.mark.parametrize("seconds", LENGTHS_S)
def test_noise_and_harmonics_are_no_hum(seconds):
    assert analyse(with_tone(humming(seconds, 50.0, (), 5e-3, 3), 1000.0), RATE_HZ, 50.0).hum is None


@pytest.mark.parametrize(("mains_hz", "shortest_s"), [(50.0, 0.1), (60.0, 5 / 60)])
def test_hum_is_withheld_below_five_cycles_of_the_mains(mains_hz, shortest_s):
    short = analyse(with_tone(humming(0.95 * shortest_s, mains_hz, (2,), 1e-4, 1), 1000.0), RATE_HZ, mains_hz)
    assert (short.hum, short.hum_needs_s) == (None, shortest_s)
    enough = analyse(with_tone(humming(shortest_s, mains_hz, (2,), 1e-4, 1), 1000.0), RATE_HZ, mains_hz)
    assert enough.hum is not None
    assert enough.hum_needs_s is None


@pytest.mark.parametrize(
    ("mains_hz", "orders", "seconds"),
    grid([50.0, 60.0], [(orders,) for orders in LINES], [0.2, 0.25, 0.3, 0.5, 1.0]),
)
def test_hum_of_a_short_idle_output(seconds, mains_hz, orders):
    noise = noise_lines.of_waveform(humming(seconds, mains_hz, orders, 1e-4, 2), RATE_HZ)
    band_hz = noise.band(20.0, 20_000.0)
    assert band_hz is not None
    true_v = LINE_V * math.sqrt(len(orders) / 2)
    for read_v in (noise_lines.hum_volts(noise, mains_hz, band_hz), noise_lines.band_volts(noise, band_hz)):
        assert 20 * math.log10(read_v / true_v) == pytest.approx(0, abs=0.05)
