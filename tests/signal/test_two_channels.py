"""Phase, delay, polarity, level and azimuth between two channels, against tones shifted by a known time."""

from __future__ import annotations

import numpy as np
import pytest
from accuracy import grid

from reviewkit.signal.between_channels import Between, azimuth_arcmin, compare_channels, delay_between
from reviewkit.signal.tone_lines import NoTones

CASSETTE = (0.047625, 0.0009)  # 1 7/8 in/s; 0.6 mm tracks with 0.3 mm between them
PHASE, LEVEL, AZIMUTH = "phase between channels", "level between channels", "azimuth"


def two(tones_hz, delay_s, *, level_db=0.0, rate_hz=48_000, seconds=2.0, sign=1.0, wow=0.0, hiss_db=None, seed=0):
    """Two channels with the same tones, the second later; wow moves both, and hiss is each its own."""
    t = np.arange(round(rate_hz * seconds)) / rate_hz
    rng = np.random.default_rng(seed)
    phases = rng.uniform(0, 2 * np.pi, len(tones_hz))

    def played(at):
        moved = at + wow / (2 * np.pi * 4) * np.sin(2 * np.pi * 4 * at)
        return sum(np.sin(2 * np.pi * hz * moved + phase) for hz, phase in zip(tones_hz, phases, strict=True))

    channels = [played(t), sign * 10 ** (level_db / 20) * played(t - delay_s)]
    if hiss_db is not None:
        channels = [one + rng.normal(0, 0.5**0.5 * 10 ** (hiss_db / 20), len(t)) for one in channels]
    return channels


@pytest.mark.parametrize(
    ("hz", "delay_s", "phase_deg", "rate_hz"),
    grid(
        [
            (1000, 1e-6, 0.36),
            (10_000, 10e-6, 36.0),
            (3150, 50e-6, 56.7),
            (1000, 1 / 48_000, 7.5),
            (10_000, 1 / 44_100, 81.6327),
            (10_000, -20e-6, -72.0),
            (315, 0.0, 0.0),
        ],
        [44_100, 96_000],
    ),
)
def test_phase_of_one_tone(hz, delay_s, phase_deg, rate_hz, accuracy):
    """360° · f · τ."""
    channels = two([hz + 0.37], delay_s, level_db=-3.2, rate_hz=rate_hz)
    (found,) = compare_channels(*channels, rate_hz)
    accuracy(PHASE, found.phase_deg - phase_deg * (hz + 0.37) / hz)
    accuracy(LEVEL, found.level_db + 3.2)
    assert found.frequency_hz == pytest.approx(hz + 0.37, rel=1e-5)


@pytest.mark.parametrize(("delay_s", "sign"), grid([80e-6, -80e-6, 27.5e-6, 0.0], [1.0, -1.0]))
def test_the_low_tone_decides(delay_s, sign, accuracy):
    """80 µs is 28.8° at 1 kHz, and 288° at 10 kHz, which alone reads −72°."""
    channels = two([315.0, 1000.0, 6300.0, 10_000.0], delay_s, sign=sign)
    tones = compare_channels(*channels, 48_000)
    assert [round(tone.frequency_hz) for tone in tones] == [315, 1000, 6300, 10_000]
    found = delay_between(tones)
    assert (found.inverted, found.lone) == (sign < 0, False)
    assert found.seconds == pytest.approx(delay_s, abs=2e-9)
    true = 360 * 10_000 * delay_s + (180 if sign < 0 else 0)
    accuracy(PHASE, (tones[-1].phase_deg - true + 180) % 360 - 180)


@pytest.mark.parametrize(("wow", "arcmin"), grid([0.001, 0.003], [0.0, 1.0, -5.0, 10.0]))
def test_azimuth_of_a_cassette_that_wavers(arcmin, wow, accuracy):
    """1′ is 5.4971 µs at 47.625 mm/s and 0.9 mm; 10′ is 197.9° at 10 kHz. Hiss 40 dB below each tone."""
    delay_s = 0.0009 * np.tan(np.radians(arcmin / 60)) / 0.047625
    channels = two([315.0, 3150.0, 10_000.0], delay_s, wow=wow, hiss_db=-40, seconds=5.0)
    tones = compare_channels(*channels, 48_000)
    found = delay_between(tones)
    accuracy(AZIMUTH, azimuth_arcmin(found.seconds, *CASSETTE) - arcmin)
    accuracy(PHASE, (tones[-1].phase_deg - 360e4 * delay_s + 180) % 360 - 180)
    assert found.inverted is False


@pytest.mark.parametrize(
    ("delay_s", "speed", "spacing", "arcmin", "within"),
    [
        (5.497100e-6, *CASSETTE, 1.0, 1e-6),
        (27.485519e-6, *CASSETTE, 5.0, 1e-6),
        (54.971155e-6, *CASSETTE, 10.0, 1e-6),
        # McKnight: 300 µrad, 10 kHz, 2 mm edge tracks on 6.3 mm tape: 45° at 95 mm/s and 22° at 190 mm/s, rounded
        (45 / 360e4, 0.095, 0.0040, 1.03, 0.03),
        (22 / 360e4, 0.190, 0.0040, 1.03, 0.06),
    ],
)
def test_azimuth_of_worked_examples(delay_s, speed, spacing, arcmin, within):
    assert azimuth_arcmin(delay_s, speed, spacing) == pytest.approx(arcmin, abs=within)


def test_one_tone_alone_leaves_whole_periods_open():
    tone = Between(10_000.0, -72.0, 0.0)
    found = delay_between([tone])
    assert (found.lone, found.inverted) == (True, None)
    assert found.seconds == pytest.approx(-20e-6)
    assert delay_between([Between(400.0, 178.0, 0.0)]).inverted is True
    assert delay_between([Between(400.0, 90.0, 0.0)]).inverted is None


def test_channels_without_a_tone_are_refused():
    with pytest.raises(NoTones, match="no tone"):
        compare_channels(np.zeros(48_000), np.zeros(48_000), 48_000)
    with pytest.raises(NoTones, match="one of them silent"):
        compare_channels(*two([1000.0], 0.0, level_db=0.0)[:1], np.zeros(96_000), 48_000)
