"""Loudness and true peak against what is published for meters, and levels set for two passages.

EBU Tech 3341 (the signals of its table 1, from memory) gives signals and what a meter must read of them; ITU-R
BS.1770-4 gives the filters. scipy filters with the printed coefficients.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from accuracy import grid
from scipy.signal import lfilter, resample_poly

from reviewkit.signal.loudness import _weighted, k_weighting, measure_loudness, measure_true_peak
from reviewkit.signal.playing_level import NoLevel, fade, find_tone_levels, quantise, set_levels

RATES = (44_100, 48_000, 96_000)
# ITU-R BS.1770-4, tables 1 and 2, for 48 kHz (from memory)
SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])


def stereo(dbfs: float, seconds: float, rate_hz: int, hertz: float = 1000.0) -> np.ndarray:
    """A sine in both channels, in phase. Its level is that of its peak."""
    wave = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate_hz)) / rate_hz)
    return np.stack([wave, wave], axis=1)


# ------------------------------------------------------------------ loudness


@pytest.mark.parametrize("rate_hz", [48_000, *(pytest.param(r, marks=pytest.mark.long) for r in RATES if r != 48_000)])
@pytest.mark.parametrize(
    ("levels", "lufs"),
    [
        ([(-23, 20)], -23.0),  # case 1
        ([(-33, 20)], -33.0),  # case 2
        ([(-36, 10), (-23, 60), (-36, 10)], -23.0),  # case 3: the relative gate
        ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),  # case 4: both gates
        ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),  # case 5: nothing is gated
    ],
    ids=["case 1", "case 2", "case 3", "case 4", "case 5"],
)
def test_the_signals_of_ebu_tech_3341(levels, lufs, rate_hz, accuracy):
    signal = np.concatenate([stereo(dbfs, seconds, rate_hz) for dbfs, seconds in levels])
    accuracy("loudness", measure_loudness(signal, rate_hz) - lufs)


def test_one_channel_of_full_scale_reads_what_the_standard_says(accuracy):
    """BS.1770-4: a sine of 997 Hz at 0 dBFS in one channel reads -3.01 LKFS."""
    signal = stereo(0, 5, 48_000, 997.0)[:, :1]
    accuracy("loudness", measure_loudness(signal, 48_000) + 3.01)


def test_the_weighting_is_that_of_the_printed_filters():
    noise = np.random.default_rng(1770).normal(0, 0.1, 3 * 48_000 + 17)
    filtered = lfilter(*HIGH_PASS, lfilter(*SHELF, noise))
    assert np.abs(_weighted(noise, 48_000) - filtered).max() < 1e-12


@pytest.mark.parametrize(
    ("hertz", "rate_hz"), grid([50.0, 500.0, 3000.0], [8000, 11_025, 32_000, 44_100, 88_200, 96_000, 192_000])
)
def test_every_rate_reads_as_48_khz_does(hertz, rate_hz, accuracy):
    expected = measure_loudness(stereo(-20, 4, 48_000, hertz), 48_000)
    accuracy("loudness", measure_loudness(stereo(-20, 4, rate_hz, hertz), rate_hz) - expected)


def test_the_weighting_has_no_gain_at_dc_and_four_decibels_at_the_top():
    assert abs(k_weighting(0.0)) == 0
    assert 20 * math.log10(abs(k_weighting(20_000.0))) == pytest.approx(4.0, abs=0.05)


@pytest.mark.parametrize("signal", [np.zeros((48_000, 2)), stereo(-71, 2, 48_000), stereo(-23, 0.39, 48_000)])
def test_nothing_above_the_gate_has_no_loudness(signal):
    assert measure_loudness(signal, 48_000) == -math.inf


# ------------------------------------------------------------------ true peak


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize(
    ("amplitude", "part", "degrees", "dbtp"),
    [
        (0.5, 4, 0.0, -6.0),  # case 15
        (0.5, 4, 45.0, -6.0),  # case 16: its samples are 3 dB lower
        (0.5, 6, 60.0, -6.0),  # case 17
        (0.5, 8, 67.5, -6.0),  # case 18
        (1.41, 4, 45.0, 3.0),  # case 19: no sample reaches full scale
    ],
    ids=["case 15", "case 16", "case 17", "case 18", "case 19"],
)
def test_a_peak_between_samples(amplitude, part, degrees, dbtp, rate_hz, accuracy):
    phase = 2 * np.pi * np.arange(rate_hz) / part + math.radians(degrees)
    # faded, so that no edge of the record is its peak
    signal = fade((amplitude * np.sin(phase))[:, np.newaxis], 2000)
    if degrees == 45.0:
        assert 20 * math.log10(np.abs(signal).max()) == pytest.approx(dbtp - 3.01, abs=0.03)
    accuracy("true peak", measure_true_peak(signal) - dbtp)


def test_a_peak_is_found_wherever_it_is():
    """One loud stretch among many parts that are oversampled by themselves, in either channel."""
    rng = np.random.default_rng(4)
    for place, channel in ((0, 0), (7000, 1), (50_123, 0), (99_000, 1)):
        signal = rng.normal(0, 0.01, (100_000, 2))
        signal[place : place + 1000, channel] += np.hanning(1000) * np.sin(np.pi / 2 * np.arange(1000) + np.pi / 4)
        expected = 20 * math.log10(np.abs(resample_poly(signal, 4, 1, axis=0)).max())
        assert measure_true_peak(signal) == pytest.approx(expected, abs=0.1)


def test_silence_has_no_peak():
    assert measure_true_peak(np.zeros((1000, 2))) == -math.inf


# ------------------------------------------------------------------ two passages made ready


def test_one_gain_for_both_brings_the_louder_to_its_target():
    levels = set_levels([-31.0, -45.0], [-12.0, -20.0], -23.0)
    assert levels.gains_db == pytest.approx((8.0, 8.0))
    assert levels.loudness_lufs == pytest.approx((-23.0, -37.0))
    assert levels.peaks_dbtp == pytest.approx((-4.0, -12.0))
    assert levels.lowered_db == 0


def test_both_are_lowered_to_leave_room_for_a_peak():
    levels = set_levels([-31.0, -45.0], [-6.0, -20.0], -23.0)
    assert levels.peaks_dbtp[0] <= -1.0
    assert levels.gains_db[0] == levels.gains_db[1] == pytest.approx(4.9)
    assert levels.lowered_db == pytest.approx(3.1)


def test_matched_levels_are_equal_even_when_lowered():
    levels = set_levels([-31.0, -45.0], [-6.0, -14.0], -14.0, [-31.0, -45.0])
    assert levels.loudness_lufs[0] == pytest.approx(levels.loudness_lufs[1])
    assert max(levels.peaks_dbtp) == pytest.approx(-1.1)


def test_one_silent_passage_has_its_gain_and_cannot_be_matched():
    silent, loud = -math.inf, -40.0
    assert set_levels([silent, loud], [silent, -30.0], -23.0).gains_db == (17.0, 17.0)
    with pytest.raises(NoLevel, match="one of the two is silent"):
        set_levels([silent, loud], [silent, -30.0], -23.0, [silent, loud])
    with pytest.raises(NoLevel, match="nothing louder than -70 LUFS"):
        set_levels([silent, silent], [silent, silent], -23.0)


def test_a_tone_is_found_over_both_channels():
    """-20 dBFS in one channel and half of it in the other: r.m.s. 0.05 √2 √1.25; harmonics count for nothing."""
    one, other = stereo(-20, 2, 48_000), stereo(-20, 2, 48_000) * 3
    one[:, 1] /= 2
    one += 0.5 * stereo(-20, 2, 48_000, 3000)
    hertz, levels = find_tone_levels([one, other], 48_000)
    assert hertz == pytest.approx(1000, rel=1e-6)
    assert levels[0] == pytest.approx(10 * math.log10(0.1**2 / 2 * 1.25), abs=1e-3)
    assert levels[1] == pytest.approx(10 * math.log10(0.3**2), abs=1e-3)


@pytest.mark.parametrize(
    ("before_hz", "after_hz", "message"),
    [
        (60, 60, "between 200 Hz and 5 kHz, and here it is at 60 Hz"),
        (8000, 8000, "between 200 Hz and 5 kHz, and here it is at 8000 Hz"),
        (1000, 1040, "at 1000 Hz before and at 1040 Hz after"),
    ],
)
def test_a_tone_that_cannot_match(before_hz, after_hz, message):
    with pytest.raises(NoLevel, match=message):
        find_tone_levels([stereo(-20, 1, 48_000, hertz) for hertz in (before_hz, after_hz)], 48_000)


def test_noise_has_no_tone_to_match_by():
    noise = np.random.default_rng(3).normal(0, 0.1, (48_000, 2))
    with pytest.raises(NoLevel, match="no tone to match levels by"):
        find_tone_levels([noise, noise], 48_000)


def test_a_fade_begins_and_ends_in_silence_and_leaves_the_middle():
    faded = fade(np.ones((1000, 2)), 100)
    assert faded[0].max() < 1e-3
    assert faded[-1].max() < 1e-3
    assert np.array_equal(faded, faded[::-1])
    assert (faded[100:-100] == 1).all()
    assert (np.diff(faded[:101, 0]) > 0).all()


def test_samples_take_the_upper_three_bytes():
    values = quantise(np.array([[0.5, -0.25], [2.0**-23, 0.0]]), 0.0)
    assert values.dtype == np.int32
    assert values.tolist() == [[1 << 30, -(1 << 29)], [1 << 8, 0]]
