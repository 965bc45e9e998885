"""Speed, wow and flutter against tones of known frequency modulation.

Truth: closed forms of a sine's and of two sines' statistics (2 sigma is the value exceeded 5 % of the time), the dB of
IEC 60386, Table 1 (= DIN 45507, AES6-2008), and sums of many sines, each weighted by that table.
"""

from __future__ import annotations

import numpy as np
import pytest
from accuracy import grid
from scipy import signal

from reviewkit.signal.demodulation import NotModulated, demodulate
from reviewkit.signal.flutter import analyse_flutter, flutter_weighting

# IEC 60386:1972, Table 1: rate, Hz; weight, dB; tolerance, dB (the tolerances from memory)
TABLE = (
    (0.1, -48.0, None),
    (0.2, -30.6, (10.0, -4.0)),
    (0.315, -19.7, (4.0, -4.0)),
    (0.4, -15.0, (4.0, -4.0)),
    (0.63, -8.4, (2.0, -2.0)),
    (0.8, -6.0, (2.0, -2.0)),
    (1.0, -4.2, (2.0, -2.0)),
    (1.6, -1.8, (2.0, -2.0)),
    (2.0, -0.9, (2.0, -2.0)),
    (4.0, 0.0, (0.001, -0.001)),
    (6.3, -0.9, (2.0, -2.0)),
    (10.0, -2.1, (2.0, -2.0)),
    (20.0, -5.9, (2.0, -2.0)),
    (40.0, -10.4, (2.0, -2.0)),
    (63.0, -14.2, (2.0, -2.0)),
    (100.0, -17.3, (4.0, -4.0)),
    (200.0, -23.0, (4.0, -4.0)),
)
SINE_2_SIGMA = np.sin(0.95 * np.pi / 2)


def table_weight(rate):
    """The table as a ratio, dB linear over the logarithm of the rate."""
    hz, db, _ = zip(*TABLE, strict=True)
    return 10 ** (np.interp(np.log(rate), np.log(hz), db) / 20)


def tape(sines, *, tone_hz=3150.0, seconds=20.0, rate_hz=48_000, speed=0.0, drift=0.0, hiss_db=None):
    """A recorded tone: `sines` of deviation (rate, peak), a linear drift (peak to peak) about the speed, hiss."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    turns = tone_hz * ((1 + speed) * t + drift * (t**2 / (2 * seconds) - t / 2))
    for rate, peak in sines:
        turns += tone_hz * peak / (2 * np.pi * rate) * np.sin(2 * np.pi * rate * t + 7.7 * rate)
    samples = 0.5 * np.sin(2 * np.pi * turns)
    if hiss_db is not None:
        samples += np.random.default_rng(11).normal(0, 0.5 / 2**0.5 * 10 ** (hiss_db / 20), len(t))
    return samples


def off(value, true):
    return 100 * (value / true - 1)


@pytest.mark.parametrize(("rate", "weight_db", "tolerance"), TABLE, ids=[str(row[0]) for row in TABLE])
def test_weighting_as_printed(rate, weight_db, tolerance, accuracy):
    error = 20 * np.log10(flutter_weighting(rate)) - weight_db
    if tolerance:
        accuracy("flutter weighting", error / tolerance[0])
    assert error <= 1e-9


def test_weighting_between_the_rows(accuracy):
    """A filter fitted to the table within 0.27 dB (a minimax fit): s = jf, 0 dB at 4 Hz."""
    s = 1j * np.geomspace(0.2, 200, 400)

    def fitted(s):
        pair = s**2 + s * 0.446 / 0.612 + 0.446**2
        return np.abs(s**3 * (s + 32.164) / ((s + 44.013) * (s + 1.415) * (s + 8.693) * pair))

    errors = 20 * np.log10(flutter_weighting(s.imag) / (fitted(s) / fitted(4j)))
    accuracy("flutter weighting", np.max(np.abs(errors)) / 2.0)


def test_nothing_counts_outside_the_table():
    assert flutter_weighting(0.0) == 0.0
    assert flutter_weighting(np.array([0.05, 4.0, 300.0])).tolist() == [0.0, 1.0, 0.0]


@pytest.mark.parametrize(
    ("tone_hz", "rate_hz", "speed"),
    grid([3150.0, 3000.0], [44_100, 48_000, 96_000], [-0.04, 0.0, 0.00012, 0.015]),
)
def test_speed(tone_hz, rate_hz, speed, accuracy):
    sines = [(0.555556, 2e-3), (7.58, 6e-4), (9.9, 3e-4)]
    found = analyse_flutter(tape(sines, tone_hz=tone_hz, rate_hz=rate_hz, speed=speed, hiss_db=-45), rate_hz, tone_hz)
    accuracy("speed error", 100 * (found.speed_error - speed))


@pytest.mark.parametrize(
    ("rate", "weight_db", "seconds"),
    grid(
        [(0.555556, -10.227), (0.75, -6.648), (1.304348, -2.843), (4, 0), (7.579754, -1.380), (50, -12.267)],
        [20.0, 31.7, 8.3],
    ),
)
def test_one_sine(rate, weight_db, seconds, accuracy):
    """Peak p: 2 sigma is 0.996917 p and r.m.s. 0.707107 p; weights as read from the table."""
    found = analyse_flutter(tape([(rate, 1e-3)], seconds=seconds, speed=0.003, drift=1e-3), 48_000, 3150.0)
    if rate * seconds > 10:  # fewer cycles that aren't whole have another r.m.s.
        accuracy("wow and flutter, unweighted", off(found.unweighted_peak, SINE_2_SIGMA * 1e-3))
        weight = 10 ** (weight_db / 20)
        accuracy("wow and flutter, weighted", off(found.weighted_peak, SINE_2_SIGMA * weight * 1e-3))
        accuracy("wow and flutter, weighted", off(found.weighted_rms, 0.5**0.5 * weight * 1e-3))
    assert found.rates[0].frequency_hz == pytest.approx(rate, abs=0.02 / seconds)
    assert found.rates[0].peak == pytest.approx(1e-3, rel=2e-3)
    assert found.drift == pytest.approx(1e-3, rel=0.06)
    accuracy("speed error", 100 * (found.speed_error - 0.003))


def test_two_sines_at_unrelated_rates(accuracy):
    """p and p: 1.8460 p; p and p/2: 1.3912 p. 0.1 % at 4 Hz and at 10 Hz: 0.16488 % and 0.08991 % after weighting."""
    equal = analyse_flutter(tape([(4, 1e-3), (10.0303, 1e-3)], seconds=30), 48_000, 3150.0)
    accuracy("wow and flutter, weighted", off(equal.weighted_peak, 0.16488e-2))
    accuracy("wow and flutter, weighted", off(equal.weighted_rms, 0.08991e-2))
    accuracy("wow and flutter, weighted", off(equal.unweighted_peak, 1.8460e-3))
    half = analyse_flutter(tape([(4, 1e-3), (10.0303, 5e-4)], seconds=30), 48_000, 3150.0)
    accuracy("wow and flutter, weighted", off(half.unweighted_peak, 1.3912e-3))
    assert [round(rate.frequency_hz, 3) for rate in half.rates] == [4.0, 10.03]


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.long) for seed in (1, 2, 3))])
def test_unsteady_flutter(seed, accuracy):
    """Sixty sines of random rates and phases, as a worn mechanism's: the sum of each after the table's dB."""
    rng = np.random.default_rng(seed)
    rates = np.exp(rng.uniform(np.log(0.3), np.log(150), 60))
    peaks = rng.rayleigh(2e-4, 60)
    samples = tape(list(zip(rates, peaks, strict=True)), speed=-0.002, rate_hz=16_000)
    found = analyse_flutter(samples, 16_000, 3150.0)
    t = found.time_s
    angles = 2 * np.pi * rates * t[:, None] + 7.7 * rates
    true = np.cos(angles) @ (peaks * table_weight(rates))
    accuracy("wow and flutter, weighted", off(found.weighted_peak, np.quantile(np.abs(true), 0.95)))
    accuracy("wow and flutter, weighted", off(found.weighted_rms, np.sqrt(np.mean(true**2))))
    accuracy("speed error", 100 * (found.speed_error + 0.002))


def test_a_steady_tone_has_none():
    found = analyse_flutter(tape([], hiss_db=-60), 48_000, 3150.0)
    assert found.weighted_peak < 1e-6
    assert found.rates == ()
    assert abs(found.speed_error) < 1e-7


def test_the_sidebands_are_no_measure_of_slow_wow():
    """0.1 % at 0.5556 Hz leaves the carrier 26 dB down (Bessel functions of 5.67), and is still found as 0.1 %."""
    samples = tape([(0.555556, 1e-3)], seconds=18.0)
    found = analyse_flutter(samples, 48_000, 3150.0)
    assert found.unweighted_peak == pytest.approx(SINE_2_SIGMA * 1e-3, rel=1e-3)


def test_demodulation_is_that_of_the_analytic_signal():
    """scipy.signal.hilbert, away from the ends."""
    samples = tape([(4, 1e-3), (60, 2e-4)], seconds=2.0)
    found = demodulate(samples, 48_000, 3150.0, 200.0)
    turns = np.unwrap(np.angle(signal.hilbert(samples))) / (2 * np.pi)
    at = found.start_s + np.arange(len(found.frequency_hz)) / found.rate_hz
    true = np.interp(at, (np.arange(len(turns) - 1) + 0.5) / 48_000, np.diff(turns) * 48_000)
    assert np.max(np.abs(found.frequency_hz - true)[200:-200]) < 2e-3


@pytest.mark.parametrize(
    ("samples", "error", "words"),
    [
        (tape([], seconds=3.0), NotModulated, "3 s long"),
        (np.zeros(300_000), NotModulated, "no tone near 3150 Hz"),
    ],
    ids=["short", "silent"],
)
def test_what_cannot_be_measured_is_refused(samples, error, words):
    with pytest.raises(error, match=words):
        analyse_flutter(samples, 48_000, 3150.0)
