"""Several tones in one spectrum against sums of sines: where each stands, how strong it is, what is not there."""

from __future__ import annotations

import math

import known_spectra
import known_tones as known
import known_waveforms
import numpy as np
import pytest
from accuracy import grid

from reviewkit.signal.between_tones import check_tones, strongest_between
from reviewkit.signal.tone_lines import (
    NoTones,
    beta_for,
    clear_of,
    least_spacing,
    of_spectrum,
    of_waveform,
    peaks,
    product_at,
)

RATE_HZ = 48_000
POINTS = 16_384
LINE_HZ = RATE_HZ / POINTS
HERTZ = [203.7, 1000.3, 7003.1, 15_001.9]
PEAKS = [1.0, 0.5, 0.25, 0.8]


def db(ratio):
    return 20 * math.log10(ratio)


def waveform(hertz, peaks_, count=POINTS, beta=20.0, noise=0.0):
    samples = known.sines(hertz, peaks_, np.linspace(0, 5, len(hertz)), RATE_HZ, count)
    if noise:
        samples += known_waveforms.noise(np.random.default_rng(1), count, RATE_HZ, (20, 20_000), noise)
    return of_waveform(samples, RATE_HZ, beta)


def spectrum(hertz, peaks_, window, blocks=1):
    samples = known.sines(hertz, peaks_, np.linspace(0, 5, len(hertz)), RATE_HZ, POINTS * blocks)
    return of_spectrum(*known_spectra.exported(samples, RATE_HZ, POINTS, window), window)


@pytest.mark.parametrize("window", [None, "hann", "blackman", "blackman-harris", "nuttall", "flat top"])
def test_tones_are_found_where_they_are(window):
    """Frequency to 1 part in 10⁴, level to 0.01 dB, whatever the window and the place between the lines."""
    lines = waveform(HERTZ, PEAKS) if window is None else spectrum(HERTZ, PEAKS, window)
    found = peaks(lines, 0.1)
    assert [t.frequency_hz for t in found] == pytest.approx(HERTZ, rel=1e-5 if window is None else 1e-4)
    for tone, peak in zip(found, PEAKS, strict=True):
        assert db(tone.level / (peak / math.sqrt(2))) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(
    ("offset", "window"), grid([0.0, 0.13, 0.31, 0.5, 0.77], ["hann", "blackman-harris", "flat top"])
)
def test_the_place_between_two_lines_does_not_matter(window, offset):
    (tone,) = peaks(spectrum([(341 + offset) * LINE_HZ], [1.0], window), 0.1)
    assert tone.place == pytest.approx(341 + offset, abs=2e-4)
    assert db(tone.level * math.sqrt(2)) == pytest.approx(0, abs=0.003)


def test_a_window_not_known_gives_peak_levels():
    """A parabola through the logarithms of three lines: within 0.3 dB for Hann (scalloping is 1.42 dB, Harris 1978)."""
    exported = known_spectra.exported(known.sines(HERTZ, PEAKS, [0, 1, 2, 3], RATE_HZ, POINTS), RATE_HZ, POINTS, "hann")
    found = peaks(of_spectrum(*exported, None), 0.1)
    assert len(found) == 4
    for tone, peak in zip(found, PEAKS, strict=True):
        assert db(tone.level / (peak / math.sqrt(2))) == pytest.approx(0, abs=0.3)


def test_only_tones_within_the_ratio_are_given():
    assert len(peaks(waveform([500.0, 3000.0], [1.0, 0.09]), 0.1)) == 1
    assert len(peaks(waveform([500.0, 3000.0], [1.0, 0.11]), 0.1)) == 2


def test_two_tones_in_one_lobe_are_refused():
    with pytest.raises(NoTones, match="no single steady tone"):
        peaks(waveform([1000.0, 1000.0 + 2.2 * LINE_HZ], [1.0, 0.9]), 0.1)


def test_a_tone_that_wanders_is_refused():
    """A siren from 1000 to 1040 Hz has no line to fit."""
    time = np.arange(POINTS) / RATE_HZ
    with pytest.raises(NoTones, match="wanders"):
        peaks(of_waveform(np.sin(2 * np.pi * (1000 + 60 * time) * time), RATE_HZ, 20.0), 0.1)


def test_silence_holds_no_tone():
    with pytest.raises(NoTones, match="there is no tone in it"):
        peaks(of_waveform(np.zeros(POINTS), RATE_HZ, 20.0), 0.1)


@pytest.mark.parametrize("spacing", [5.0, 8.0, 12.5, 30.0])
def test_lobes_stay_apart(spacing):
    """The first zero of a Kaiser window lies √((β/π)² + 1) lines off (closed form)."""
    beta = beta_for(spacing)
    assert math.sqrt((beta / math.pi) ** 2 + 1) + int(beta / math.pi) + 0.5 <= spacing + 0.01
    assert beta > 6
    assert least_spacing(of_waveform(np.ones(512), RATE_HZ, beta)) <= spacing + 0.5


@pytest.mark.parametrize("level_db", [-60.0, -100.0, -140.0])
def test_a_product_between_the_tones(level_db):
    lines = waveform([*HERTZ, 4000.3], [*PEAKS, 10 ** (level_db / 20)], beta=28.0)
    tones = peaks(lines, 0.1)
    free = clear_of(lines, [t.place for t in tones], beyond=lines.half) & clear_of(lines, [lines.place(4000.3)])
    found = product_at(lines, 4000.3, tones, free)
    assert found.is_distinct
    assert db(found.level * math.sqrt(2)) == pytest.approx(level_db, abs=0.01)


def test_what_is_not_there_is_bounded_by_the_noise():
    lines = waveform(HERTZ, PEAKS, noise=1e-3)
    tones = peaks(lines, 0.1)
    found = product_at(lines, 4000.0, tones, clear_of(lines, [t.place for t in tones], beyond=lines.half))
    per_line = 1e-3 * math.sqrt(LINE_HZ / 19_980)
    assert not found.is_distinct
    assert per_line < found.most < 10 * per_line


def test_what_leakage_hides_is_no_product():
    """Hann's side lobes fall by 18 dB an octave (Harris 1978): 20.5 lines off a tone they would hide −100 dB."""
    tone = 341.5 * LINE_HZ
    lines = spectrum([tone, tone + 20 * LINE_HZ], [1.0, 1e-5], "hann")
    (found,) = peaks(lines, 0.1)
    free = clear_of(lines, [found.place], beyond=2)
    hidden = product_at(lines, tone + 20 * LINE_HZ, [found], free)
    assert not hidden.is_distinct
    assert hidden.level >= 1e-5 / math.sqrt(2)
    clean = spectrum([tone, tone + 20 * LINE_HZ], [1.0, 1e-3], "hann")
    assert product_at(clean, tone + 20 * LINE_HZ, [found], free).is_distinct


def test_the_uncertainty_holds_what_noise_does():
    """Of forty records of a product 26 dB above a line's noise, nearly all lie within the expanded uncertainty."""
    rng = np.random.default_rng(4)
    outside = 0
    for _ in range(40):
        samples = known.sines([1000.0, 4000.0], [1.0, 1e-3], rng.uniform(0, 6, 2), RATE_HZ, 4096)
        noise = known_waveforms.noise(rng, 4096, RATE_HZ, (20, 24_000), 1e-3)
        lines = of_waveform(samples + noise, RATE_HZ, 15.0)
        tones = peaks(lines, 0.1)
        places = [tones[0].place, lines.place(4000.0)]
        found = product_at(lines, 4000.0, tones, clear_of(lines, places, beyond=3))
        assert found.is_distinct
        assert 0.03 < found.uncertainty / found.level < 0.3
        outside += abs(found.level - 1e-3 / math.sqrt(2)) > found.uncertainty
    assert outside <= 6


def test_the_tones_of_a_multitone():
    hertz = known.third_octaves(-7, 12)
    lines = waveform(hertz, [0.1] * len(hertz))
    tones = peaks(lines, 0.1)
    check_tones(lines, tones)
    assert [t.frequency_hz for t in tones] == pytest.approx(list(hertz), rel=1e-6)


@pytest.mark.parametrize(
    ("hertz", "peaks_", "says"),
    [
        ([1000.0], [1.0], "is it of tone"),
        ([1000.0, 2000.0], [1.0, 1.0], "is it of intermodulation"),
        ([1000.0, 2000.0, 2000.0 + 10 * LINE_HZ], [1.0, 1.0, 1.0], "too close"),
    ],
)
def test_what_is_no_multitone(hertz, peaks_, says):
    lines = waveform(hertz, peaks_)
    with pytest.raises(NoTones, match=says):
        check_tones(lines, peaks(lines, 0.1))


def test_tones_must_be_told_from_the_rest():
    """A line 3 dB below the weakest tone might be either."""
    lines = waveform([500.0, 1000.0, 2000.0, 3100.0], [1.0, 1.0, 0.101, 0.0707])
    with pytest.raises(NoTones, match="cannot be separated from the rest"):
        strongest_between(lines, peaks(lines, 0.1), (20.0, 20_000.0))


def test_the_band_is_held():
    lines = waveform([500.0, 1000.0, 2000.0, 3100.0, 21_000.0], [1.0, 1.0, 1.0, 1e-4, 1e-2])
    tones = peaks(lines, 0.1)
    assert strongest_between(lines, tones, (20.0, 20_000.0)).frequency_hz == pytest.approx(3100.0, rel=1e-5)
    assert strongest_between(lines, tones, (20.0, 23_000.0)).frequency_hz == pytest.approx(21_000.0, rel=1e-5)
