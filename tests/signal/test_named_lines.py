"""Rumble in a band from 10 Hz, against noise made line by line so that its power is known; a pilot at its level."""

from __future__ import annotations

import numpy as np
import pytest
from accuracy import grid
from known_waveforms import noise

from reviewkit.signal.named_lines import RUMBLE_BAND_HZ, line_at
from reviewkit.signal.noise_lines import band_volts, of_waveform

RATE_HZ = 48_000


@pytest.mark.parametrize(("seed", "lines_hz"), grid(range(6), [[], [25.0, 33.4], [12.7, 100.0]]))
def test_unweighted_rumble(seed, lines_hz, accuracy):
    """Groove noise, a motor's lines, much below 10 Hz (a warp of 0.556 Hz) and above 315 Hz that must not count."""
    rng = np.random.default_rng(seed)
    count = 30 * RATE_HZ
    t = np.arange(count) / RATE_HZ
    inside = noise(rng, count, RATE_HZ, RUMBLE_BAND_HZ, 1e-3)
    samples = inside + noise(rng, count, RATE_HZ, (400.0, 5000.0), 1e-3)
    samples += 3e-3 * np.sin(2 * np.pi * 0.5556 * t) + 2e-3 * np.sin(2 * np.pi * 7.0 * t)
    power = 1e-6
    for hz in lines_hz:
        samples += 1e-3 * np.sin(2 * np.pi * hz * t + 1)
        power += 0.5e-6
    accuracy("unweighted rumble", 20 * np.log10(band_volts(of_waveform(samples, RATE_HZ), RUMBLE_BAND_HZ) / power**0.5))


def test_a_pilot_tone():
    """19 kHz at 9 %, −20.915 dB relative to 75 kHz deviation (47 CFR 73.322), beside a tone and noise."""
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    samples = np.sin(2 * np.pi * 1000 * t) + 0.09 * np.sin(2 * np.pi * 19_000.4 * t)
    samples += np.random.default_rng(1).normal(0, 1e-3, len(t))
    spectrum = of_waveform(samples, RATE_HZ)
    pilot = line_at(spectrum, 19_000)
    assert 20 * np.log10(pilot.level_v * 2**0.5) == pytest.approx(-20.915, abs=0.01)
    assert pilot.frequency_hz == pytest.approx(19_000.4, abs=0.05)
    nothing = line_at(spectrum, 15_625)
    assert (pilot.is_distinct, nothing.is_distinct) == (True, False)
    assert line_at(spectrum, 38_000) is None


@pytest.mark.parametrize(("line_hz", "slope_db"), grid([25.0, 33.3, 50.0], [0.0, -6.0, -12.0, -18.0]))
def test_a_line_in_noise_that_rises_towards_the_bass(line_hz, slope_db, accuracy):
    """26 dB above the noise of 1 Hz at its place, which falls so much an octave: the mean error of a dozen records of
    20 s, each of which scatters by 0.1 dB.
    """
    rate_hz, seconds = 4000.0, 20.0
    count = round(rate_hz * seconds)
    hz = np.fft.rfftfreq(count, 1 / rate_hz)
    shape = np.zeros(len(hz))
    shape[hz > 3] = (hz[hz > 3] / line_hz) ** (slope_db / (20 * np.log10(2)))
    errors = []
    for seed in range(12):
        random = np.random.default_rng(seed)
        # white noise of variance 1 has a density of 2 / rate
        noise = np.fft.irfft(np.fft.rfft(random.normal(size=count)) * shape, count)
        level = np.sqrt(2 / rate_hz) * 10 ** (26 / 20)
        tone = level * np.sqrt(2) * np.sin(2 * np.pi * line_hz * np.arange(count) / rate_hz + seed)
        found = line_at(of_waveform(noise + tone, rate_hz), line_hz)
        assert found is not None
        assert found.is_distinct
        errors.append(20 * np.log10(found.level_v / level))
    accuracy("levels of lines in steep noise", np.mean(errors))
