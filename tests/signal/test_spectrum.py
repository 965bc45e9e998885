"""A captured tone against closed forms: waves built from their Fourier series, noise of a power known exactly.

Sources: THD of standard waves from the closed forms of their series (textbook; full-band values checked with a
transform of a million points); THD re the fundamental, THD+N re the total, SINAD and SNR as in IEEE 1241 (from memory).
"""

from __future__ import annotations

import math

import known_waveforms as known
import numpy as np
import pytest
from accuracy import grid
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit.signal.spectrum import NotOneTone, TooShort, Wavers, analyse, without_fundamental
from reviewkit.signal.tone import Tone, band_for

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


def db(ratio: float) -> float:
    return 20 * math.log10(ratio)


# ------------------------------------------------------------------ distortion of standard waves

# series, highest harmonic of a 1 kHz wave counted, THD without a band limit in closed form or to ten digits
STANDARD_WAVES = {
    "square": (known.square, math.sqrt(math.pi**2 / 8 - 1)),  # 48.34 %
    "triangle": (known.triangle, math.sqrt(math.pi**4 / 96 - 1)),  # 12.12 %
    "clipped at 0.99": (known.clipped(0.99), 0.0028617722),
    "clipped at 0.95": (known.clipped(0.95), 0.0192401388),
    "clipped at 0.9": (known.clipped(0.9), 0.0421993256),
    "clipped at 0.7071": (known.clipped(math.sqrt(0.5)), 0.1341957129),
    "clipped at 0.5": (known.clipped(0.5), 0.2329381374),
    "top clipped at 0.9": (known.clipped_top(0.9), 0.0321045290),
    "top clipped at 0.5": (known.clipped_top(0.5), 0.1946476028),
    "dead zone 0.01": (known.dead_zone(0.01), 0.0061647603),
    "dead zone 0.05": (known.dead_zone(0.05), 0.0310333984),
    "dead zone 0.1": (known.dead_zone(0.1), 0.0626751016),
}


@pytest.mark.parametrize("name", STANDARD_WAVES)
def test_the_series_themselves(name):
    """Taken far enough, the series of these tests reach the published figure of the whole wave."""
    series, whole = STANDARD_WAVES[name]
    assert known.thd(series, 200_001) == pytest.approx(whole, rel=2e-5)


@pytest.mark.parametrize(("name", "frequency_hz"), grid([*STANDARD_WAVES], [1000.0, 997.3]))
def test_thd_of_standard_waves(name, frequency_hz):
    """Counted to 20 kHz, where the series is cut, whether or not the record holds whole cycles."""
    series, _ = STANDARD_WAVES[name]
    samples = known.wave(known.phasors(series, 20), frequency_hz / 48_000, 24_000, phase=0.7)
    tone = analyse(3.0 * samples, 48_000)
    thd = known.thd(series, 20)
    assert tone.thd == pytest.approx(thd, rel=1e-5)
    # nothing but harmonics is there: THD+N is THD, re the total instead of the fundamental
    assert tone.thd_plus_noise == pytest.approx(thd / math.hypot(1, thd), rel=1e-4)
    assert tone.level == pytest.approx(3 * abs(known.phasors(series, 1)[0]) / math.sqrt(2), rel=1e-6)
    assert sorted(tone.harmonics) == list(range(2, 21))
    assert tone.band_hz == (20.0, 20_000.0)


def test_a_square_wave_is_counted_to_the_bands_edge():
    """1 kHz square to 20 kHz: harmonics 3, 5 … 19 give 45.69 %; the whole wave's 48.34 % lies outside the band."""
    samples = known.wave(known.phasors(known.square, 20), 1000 / 48_000, 48_000)
    assert 100 * analyse(samples, 48_000).thd == pytest.approx(45.69, abs=0.005)
    # at 192 kHz the capture holds harmonics to 95; the band ends at 20 kHz all the same
    wide = known.wave(known.phasors(known.square, 95), 1000 / 192_000, 96_000)
    assert 100 * analyse(wide, 192_000).thd == pytest.approx(45.69, abs=0.005)


def test_a_memoryless_curve():
    """y = x + 0.01 x² + 0.004 x³ of a unit sine: h1 = 1.003, h2 = 0.005, h3 = 0.001, so THD = 0.50837682 %."""
    x = np.sin(2 * np.pi * 1003.7 / 48_000 * np.arange(48_000) + 0.4)
    tone = analyse(x + 0.01 * x**2 + 0.004 * x**3, 48_000)
    assert 100 * tone.thd == pytest.approx(0.50837682, rel=1e-7)
    assert tone.level == pytest.approx(1.003 / math.sqrt(2), rel=1e-8)
    assert tone.harmonics[2] == pytest.approx(0.005 / math.sqrt(2), rel=1e-6)
    assert tone.harmonics[3] == pytest.approx(0.001 / math.sqrt(2), rel=1e-6)
    assert tone.dc == pytest.approx(0.005, rel=1e-6)  # a2 / 2


# ------------------------------------------------------------------ any place, phase and rate

LEVELS_DB = {2: -70.0, 3: -60.0, 4: -100.0, 5: -80.0, 6: -120.0, 7: -100.0, 8: -110.0, 9: -120.0}


def _check_levels(tone: Tone, levels_db: dict[int, float]) -> None:
    for order, level in levels_db.items():
        tolerance = 0.01 if level >= -100 else 0.1
        assert db(tone.harmonics[order] / tone.level) == pytest.approx(level, abs=tolerance), order


@settings(max_examples=25, deadline=None)
@given(
    rate_hz=st.sampled_from(RATES_HZ),
    frequency_hz=st.floats(300, 2200),
    phase=st.floats(0, 6.28),
    count=st.integers(9000, 20_000),
    dc=st.floats(-0.2, 0.2),
    scale=st.floats(1e-3, 40.0),
    seed=st.integers(0, 9),
)
def test_any_tone(rate_hz, frequency_hz, phase, count, dc, scale, seed):
    levels = {2: -40.0, 3: -60.0, 5: -100.0, 9: -80.0}
    peaks = known.of_levels(levels, np.random.default_rng(seed))
    tone = analyse(scale * (known.wave(peaks, frequency_hz / rate_hz, count, phase) + dc), rate_hz)
    assert tone.frequency_hz == pytest.approx(frequency_hz, rel=1e-7)
    assert tone.level == pytest.approx(scale / math.sqrt(2), rel=1e-5)
    assert tone.dc == pytest.approx(scale * dc, abs=scale * 1e-4)
    _check_levels(tone, levels)


@pytest.mark.parametrize("bits", [24, 32])
def test_a_capture_of_so_many_bits(bits):
    peaks = known.of_levels(LEVELS_DB, np.random.default_rng(bits))
    samples = 0.9 * known.wave(peaks, 997.1 / 48_000, 240_000)
    step = 2.0 ** (1 - bits)
    tone = analyse(np.round(samples / step) * step, 48_000)
    _check_levels(tone, LEVELS_DB if bits == 32 else {k: v for k, v in LEVELS_DB.items() if v >= -100})


def test_the_tone_looked_for_may_be_the_smaller_one():
    turns = np.arange(48_000) / 48_000
    samples = np.sin(2 * np.pi * 1000.3 * turns) + 2 * np.sin(2 * np.pi * 60.0 * turns)
    assert analyse(samples, 48_000, near_hz=1000).frequency_hz == pytest.approx(1000.3, rel=1e-6)
    assert analyse(samples, 48_000).frequency_hz == pytest.approx(60.0, rel=1e-6)


# ------------------------------------------------------------------ noise


def test_noise_outside_the_band_does_not_count():
    rng = np.random.default_rng(3)
    samples = known.wave(known.of_levels({}, rng), 997.3 / 96_000, 2 * 96_000)
    inside = known.noise(rng, len(samples), 96_000, (30.0, 19_900.0), 1e-4)
    outside = known.noise(rng, len(samples), 96_000, (20_500.0, 47_000.0), 1e-2)
    tone = analyse(samples + inside + outside, 96_000)
    assert tone.noise == pytest.approx(1e-4, rel=0.02)


def test_short_records_are_right_on_the_mean():
    """Half a second, forty seeds: the mean of the noise power is within 0.05 dB of the truth."""
    powers = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        samples = known.wave(known.of_levels({}, rng), 1000.7 / 48_000, 24_000)
        powers.append(analyse(samples + rng.normal(0, 1e-3, 24_000), 48_000).noise ** 2)
    expected = 1e-6 * (20_000 - 20) / 24_000  # white noise spreads evenly up to half the rate
    assert 10 * math.log10(float(np.mean(powers)) / expected) == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize("cycles", [10.5, pytest.param(25.0, marks=pytest.mark.long)])
def test_distortion_and_noise_of_a_short_record(cycles):
    """Ten to thirty cycles: lobes take in most lines, yet harmonics and noise together come out to 0.12 dB.

    Mean of 100 seeds; white noise spreads evenly up to half the rate.
    """
    count = int(48 * cycles)
    powers = []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        samples = np.sin(2 * np.pi * 1000 / 48_000 * np.arange(count) + seed) + rng.normal(0, 1e-3, count)
        powers.append(analyse(samples, 48_000).rest ** 2)
    expected = 1e-6 * (20_000 - 20) / 24_000
    assert 10 * math.log10(float(np.mean(powers)) / expected) == pytest.approx(0, abs=0.12)


# ------------------------------------------------------------------ the band


@pytest.mark.parametrize(
    ("frequency_hz", "reach_hz", "band"),
    [
        (1000.0, 24_000.0, (20.0, 20_000.0)),
        (6666.0, 24_000.0, (20.0, 20_000.0)),
        (6700.0, 24_000.0, (20.0, 24_000.0)),
        (15_000.0, 48_000.0, (20.0, 48_000.0)),
        (15_000.0, 96_000.0, (20.0, 80_000.0)),
        (1000.0, 16_000.0, (20.0, 16_000.0)),
    ],
)
def test_the_band_widens_where_the_third_harmonic_lies_above(frequency_hz, reach_hz, band):
    assert band_for(frequency_hz, reach_hz) == band


def test_a_15_khz_tone():
    """In 20 kHz it would read nearly nothing: at 192 kHz harmonics 2 – 5 count (80 kHz), at 96 kHz 2 and 3."""
    levels = {2: -50.0, 3: -60.0, 4: -55.0, 5: -45.0}
    rng = np.random.default_rng(15)
    for rate_hz, counted in ((192_000, (2, 3, 4, 5)), (96_000, (2, 3))):
        peaks = known.of_levels({n: levels[n] for n in levels if n * 15_002.3 < rate_hz / 2}, rng)
        samples = known.wave(peaks, 15_002.3 / rate_hz, rate_hz)
        samples += known.noise(rng, rate_hz, rate_hz, (25_000.0, 40_000.0), 1e-4)
        tone = analyse(samples, rate_hz)
        assert tuple(sorted(tone.harmonics)) == counted
        assert tone.thd == pytest.approx(math.sqrt(sum(10 ** (levels[n] / 10) for n in counted)), rel=1e-3)
        assert tone.third_in_band
        assert tone.noise == pytest.approx(1e-4, rel=0.02)  # above 20 kHz, and inside the widened band


def test_a_third_harmonic_outside_the_data_is_told():
    samples = known.wave(known.of_levels({}, np.random.default_rng(1)), 19_000 / 48_000, 48_000)
    assert not analyse(samples, 48_000).third_in_band
    wide = known.wave(known.of_levels({}, np.random.default_rng(1)), 19_000 / 192_000, 48_000)
    assert analyse(wide, 192_000).third_in_band


# ------------------------------------------------------------------ what cannot be taken apart


@pytest.mark.parametrize("cycles", [3.3, 7.9, 9.3, 9.8])
def test_fewer_than_ten_cycles_are_refused(cycles):
    samples = np.sin(2 * np.pi * cycles * np.arange(4800) / 4800 + 0.3)
    with pytest.raises(TooShort, match="at least 10 are needed"):
        analyse(samples, 48_000)


@pytest.mark.parametrize(
    ("others", "said"),
    [
        ([(1003.0, 0.1)], "wanders, or another is within"),
        ([(1200.0, 0.99)], "there is another at 1200 Hz"),
    ],
)
def test_two_tones_are_refused(others, said):
    turns = 2 * np.pi * np.arange(48_000) / 48_000
    samples = np.sin(1000 * turns) + sum(peak * np.sin(hertz * turns + 1) for hertz, peak in others)
    with pytest.raises(NotOneTone, match=said):
        analyse(samples, 48_000)


def test_a_tone_that_wanders_is_refused():
    """3 Hz to and fro, once a second: its level and its harmonics are spread over many lines."""
    turns = np.arange(96_000) / 48_000
    samples = np.sin(2 * np.pi * 1000 * turns + 3 * np.sin(2 * np.pi * turns))
    with pytest.raises(NotOneTone, match=r"wanders|wavers"):
        analyse(samples, 48_000)


def test_noise_alone_is_no_tone():
    with pytest.raises(NotOneTone, match="no tone stands out of the noise"):
        analyse(np.random.default_rng(0).normal(size=48_000), 48_000)


def test_what_stands_beside_a_harmonic_is_told():
    """A 19 kHz pilot 5.7 lines from the nineteenth harmonic of 1000.3 Hz; a record four times as long parts them."""
    for seconds, clouded in ((1, (19,)), (4, ())):
        turns = 2 * np.pi * np.arange(seconds * 48_000) / 48_000
        samples = np.sin(1000.3 * turns) + 1e-2 * np.sin(19_000 * turns + 1)
        assert analyse(samples, 48_000).clouded == clouded


def test_silence_is_refused():
    with pytest.raises(TooShort):
        analyse(np.zeros(4800), 48_000)


# ------------------------------------------------------------------ the residual


def test_what_is_left_without_the_fundamental():
    peaks = known.of_levels({2: -60.0, 3: -40.0}, np.random.default_rng(4))
    whole = known.wave(peaks, 1003.3 / 48_000, 24_000, phase=0.5)
    peaks[0] = 0
    rest, phase = without_fundamental(whole + 0.1, 48_000, 1003.3)
    assert rest == pytest.approx(known.wave(peaks, 1003.3 / 48_000, 24_000, phase=0.5), abs=1e-7)
    assert phase == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize(("wander_percent", "flutter_hz"), grid([0.05, 0.2, 1.0], [0.55, 4.0, 9.3]))
def test_flutter_is_refused_as_flutter(flutter_hz, wander_percent):
    """3150 Hz whose frequency swings by a sine: its integral is the phase (closed form)."""
    time = np.arange(4 * 48_000) / 48_000
    index = 3150 * wander_percent / 100 / flutter_hz
    samples = np.sin(2 * np.pi * 3150 * time + index * np.sin(2 * np.pi * flutter_hz * time))
    samples += known.noise(np.random.default_rng(1), len(samples), 48_000, (20, 20_000), 1e-3)
    with pytest.raises(Wavers, match="speed and flutter, not distortion") as refused:
        analyse(samples, 48_000)
    assert float(str(refused.value).split()[4]) == pytest.approx(wander_percent, rel=0.1)


@pytest.mark.parametrize("noise_db", [-20, -40])
def test_noise_is_no_flutter(noise_db):
    samples = known.wave(known.of_levels({3: -30.0}, np.random.default_rng(0)), 3150 / 48_000, 96_000, 1.0)
    samples += known.noise(np.random.default_rng(1), 96_000, 48_000, (20, 20_000), 10 ** (noise_db / 20))
    assert analyse(samples, 48_000).thd == pytest.approx(10 ** (-30 / 20), rel=0.05)
