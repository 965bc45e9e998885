"""Jitter against tones sampled by a clock that is early and late by a known time.

Truth: one sideband relative to the tone is πfJ for a peak of J (Bessel functions of a small argument); a magazine's
article of 1996 shows sidebands at about −71 dBFS for 10 ns peak at 1 kHz on 10 001 Hz.
"""

from __future__ import annotations

import numpy as np
import pytest
from accuracy import grid

from reviewkit.signal.jitter import Jitter, jitter_lines

ROW = "jitter"


def played(tone_hz, jitter, rate_hz=48_000, seconds=4.0, noise_db=None, am=0.0):
    t = np.arange(round(rate_hz * seconds)) / rate_hz
    late = sum(peak * np.sin(2 * np.pi * hz * t + hz) for hz, peak in jitter)
    samples = (1 + am * np.sin(2 * np.pi * 120 * t)) * np.sin(2 * np.pi * tone_hz * (t + late))
    if noise_db is not None:
        samples = samples + np.random.default_rng(5).normal(0, 0.5**0.5 * 10 ** (noise_db / 20), len(t))
    return samples


@pytest.mark.parametrize(
    ("tone_hz", "sideband_db", "rate_hz", "jitter_hz"),
    grid(
        [(10_000, -90.0570), (11_025, -89.2094), (12_000, -88.4734)],
        [(48_000, 250.0), (44_100, 229.6875), (96_000, 1000.3)],
    ),
)
def test_a_sine_of_one_nanosecond(tone_hz, sideband_db, rate_hz, jitter_hz, accuracy):
    (found,) = jitter_lines(played(tone_hz, [(jitter_hz, 1e-9)], rate_hz, noise_db=-100), rate_hz, tone_hz)[:1]
    accuracy(ROW, 100 * (found.peak_s / 1e-9 - 1))
    assert found.frequency_hz == pytest.approx(jitter_hz, abs=0.02)
    assert found.sideband_db(tone_hz) == pytest.approx(sideband_db, abs=0.05)
    assert found.rms_s == pytest.approx(found.peak_s * 0.70711, rel=1e-4)


def test_a_wide_modulation_is_read_as_exactly(accuracy):
    """1 µs at 10 kHz is 0.063 rad: its sidebands are off the narrow formula, its phase isn't."""
    lines = jitter_lines(played(10_000, [(100.0, 1e-6), (617.0, 2e-8)]), 48_000, 10_000)
    for found, (hz, peak) in zip(lines, [(100.0, 1e-6), (617.0, 2e-8)], strict=True):
        assert found.frequency_hz == pytest.approx(hz, abs=0.02)
        accuracy(ROW, 100 * (found.peak_s / peak - 1))


def test_sidebands_as_published():
    """−90 dB at 10 kHz is 1006.584 ps peak, −110 dB at 11.025 kHz 91.3002 ps, −100 dB at 10 kHz 318.3099 ps."""
    for level_db, tone_hz, peak_s in ((-90, 1e4, 1006.584e-12), (-110, 11_025, 91.3002e-12), (-100, 1e4, 318.3099e-12)):
        assert Jitter(1.0, peak_s).sideband_db(tone_hz) == pytest.approx(level_db, abs=1e-5)
    assert Jitter(1000.0, 10e-9).sideband_db(10_001) == pytest.approx(-71, abs=1)


def test_amplitude_modulation_is_not_jitter():
    """Sidebands 60 dB down, all of them of the amplitude."""
    lines = jitter_lines(played(10_000, [], am=2e-3, noise_db=-90), 48_000, 10_000)
    assert all(line.peak_s < 1e-10 for line in lines)
    assert not any(abs(line.frequency_hz - 120) < 1 for line in lines)
