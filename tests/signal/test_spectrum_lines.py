"""A tone in an exported spectrum, its window from scipy.signal.windows, against the wave it was made from.

A tone's power is the sum over its lobe over the window's noise bandwidth (Harris 1978). What a window hides by its own
leakage must be withheld, not given wrong.
"""

from __future__ import annotations

import math
from functools import lru_cache

import known_spectra
import known_waveforms as known
import numpy as np
import pytest
from accuracy import grid

from reviewkit.signal.spectrum_lines import NoLines, analyse_lines, is_even

RATE_HZ = 48_000
POINTS = 16_384
AVERAGES = 4
LINE_HZ = RATE_HZ / POINTS
LEVELS_DB = {2: -50.0, 3: -60.0, 4: -80.0}
NOISE_BAND_HZ = (30.0, 19_900.0)


def db(ratio: float) -> float:
    return 20 * math.log10(ratio)


@lru_cache(maxsize=12)
def captured(line: float, noise_db: float, levels_db: tuple[tuple[int, float], ...], hum_db: float) -> np.ndarray:
    """A unit sine so many lines above 0 Hz, its harmonics, noise of a known power, hum at 60 Hz."""
    rng = np.random.default_rng([int(line * 1000), int(-noise_db)])
    count = POINTS * AVERAGES
    samples = known.wave(known.of_levels(dict(levels_db), rng), line / POINTS, count, phase=float(rng.uniform(0, 6)))
    samples += known.noise(rng, count, RATE_HZ, NOISE_BAND_HZ, 10 ** (noise_db / 20) / math.sqrt(2))
    samples += 10 ** (hum_db / 20) * np.sin(2 * np.pi * 60 / RATE_HZ * np.arange(count))
    return samples


def spectrum(name: str, line: float, noise_db: float, levels_db: dict[int, float] | None = None, hum_db: float = -300):
    levels = tuple((LEVELS_DB if levels_db is None else levels_db).items())
    return known_spectra.exported(captured(line, noise_db, levels, hum_db), RATE_HZ, POINTS, name)


def check(tone, line: float, noise_db: float, snr_tolerance_db: float = 0.1) -> None:
    assert tone.frequency_hz == pytest.approx(line * LINE_HZ, abs=0.01 * LINE_HZ)
    assert db(tone.level * math.sqrt(2)) == pytest.approx(0, abs=0.01)
    for order, level in LEVELS_DB.items():
        # noise inside a lobe moves a small harmonic: its tolerance follows from how far it stands above
        inside_db = noise_db + 10 * math.log10(10 / (20_000 / LINE_HZ))
        tolerance = 0.01 + 3 * 8.69 * 10 ** ((inside_db - level) / 20) / math.sqrt(AVERAGES)
        assert db(tone.harmonics[order] / tone.level) == pytest.approx(level, abs=tolerance), order
    assert tone.thd == pytest.approx(math.sqrt(sum(10 ** (v / 10) for v in LEVELS_DB.values())), rel=0.003)
    assert tone.snr_db == pytest.approx(-noise_db, abs=snr_tolerance_db)
    rest = math.sqrt(10 ** (noise_db / 10) + sum(10 ** (v / 10) for v in LEVELS_DB.values()))
    assert tone.sinad_db == pytest.approx(-db(rest), abs=0.05)
    assert db(tone.thd_plus_noise) == pytest.approx(db(rest / math.hypot(1, rest)), abs=0.05)


def check_levels(tone) -> None:
    """Where only noise is hidden: the tone, the harmonics far above the leakage, and their sum."""
    assert tone.noise is tone.rest is tone.snr_db is tone.sinad_db is tone.thd_plus_noise is None
    assert db(tone.level * math.sqrt(2)) == pytest.approx(0, abs=0.01)
    assert set(tone.harmonics) >= {2, 3}
    for order in tone.harmonics.keys() & LEVELS_DB.keys():
        # 40 dB above the leakage: 0.17 dB where the two are in phase
        assert db(tone.harmonics[order] / tone.level) == pytest.approx(LEVELS_DB[order], abs=0.17), order
    assert tone.thd == pytest.approx(math.sqrt(sum(10 ** (v / 10) for v in LEVELS_DB.values())), rel=0.005)


@pytest.mark.parametrize(("name", "noise_db"), grid([*known_spectra.SCIPY_NAMES], [-70.0, -110.0]))
def test_on_a_line(noise_db, name):
    """With the generator locked to the lines no window leaks, and all give the same figures."""
    frequency, level = spectrum(name, 341, noise_db)
    check(analyse_lines(frequency, level, name), 341, noise_db)


@pytest.mark.parametrize(
    ("name", "noise_db", "fraction"), grid([*known_spectra.SCIPY_NAMES], [-70.0, -90.0, -110.0], [0.5, 0.81])
)
def test_off_a_line_a_figure_is_right_or_withheld(fraction, noise_db, name):
    frequency, level = spectrum(name, 341 + fraction, noise_db)
    try:
        tone = analyse_lines(frequency, level, name)
    except NoLines as why:
        assert "leakage hides" in str(why) and "export with another window" in str(why)  # noqa: PT017, PT018
        return
    if tone.noise_hidden:
        check_levels(tone)
        return
    # leakage of a twentieth of the noise may stay: 0.2 dB
    check(tone, 341 + fraction, noise_db, 0.25)


@pytest.mark.parametrize(
    ("name", "noise_db"),
    [("hann", -70.0), ("blackman", -70.0), ("blackman", -90.0), ("blackman-harris", -70.0), ("blackman-harris", -80.0),
     ("nuttall", -70.0), ("flat top", -60.0)],
)  # fmt: skip
def test_windows_that_serve_off_a_line(name, noise_db):
    """Their side lobes lie below this noise: the figures are there."""
    frequency, level = spectrum(name, 341.37, noise_db)
    check(analyse_lines(frequency, level, name), 341.37, noise_db, 0.25)


@pytest.mark.parametrize("fraction", [0.2, 0.5])
def test_the_rectangular_window_off_a_line_is_withheld(fraction):
    frequency, level = spectrum("rectangular", 341 + fraction, -90.0)
    with pytest.raises(NoLines, match="rectangular window's own leakage hides the harmonics and the noise"):
        analyse_lines(frequency, level, "rectangular")


@pytest.mark.parametrize("fraction", [0.0, 0.37])
def test_a_tone_without_harmonics(fraction):
    """Nothing is made up: no harmonic rises above the noise in its lobe, and SNR equals SINAD."""
    frequency, level = spectrum("blackman-harris", 341 + fraction, -70.0, levels_db={})
    tone = analyse_lines(frequency, level, "blackman-harris")
    assert tone.thd < 10 ** (-90 / 20)
    assert tone.snr_db == pytest.approx(70, abs=0.1)
    assert tone.sinad_db == pytest.approx(70, abs=0.1)


@pytest.mark.parametrize("name", ["hann", "blackman-harris", "flat top"])
def test_an_unknown_window(name):
    """Levels of the tones are given (a parabola through a peak: within 0.3 dB off a line), noise is not."""
    for line, tolerance in ((341.0, 0.01), (341.37, 0.3)):
        frequency, level = spectrum(name, line, -100.0)
        tone = analyse_lines(frequency, level, None)
        assert tone.noise is None
        assert tone.snr_db is None
        assert tone.sinad_db is None
        assert tone.thd_plus_noise is None
        assert db(tone.level * math.sqrt(2)) == pytest.approx(0, abs=tolerance)
        for order, harmonic_db in LEVELS_DB.items():
            assert db(tone.harmonics[order] * math.sqrt(2)) == pytest.approx(harmonic_db, abs=2 * tolerance)


@pytest.mark.parametrize("name", ["hann", "blackman-harris"])
def test_hum(name):
    frequency, level = spectrum(name, 341, -100.0, hum_db=-66.0)
    tone = analyse_lines(frequency, level, name, mains_hz=60.0)
    assert tone.hum is not None
    assert db(tone.hum / tone.level) == pytest.approx(-66, abs=0.1)
    without = analyse_lines(*spectrum(name, 341, -100.0), name, mains_hz=60.0)
    assert without.hum is None


def test_a_spectrum_that_begins_above_zero():
    frequency, level = spectrum("blackman-harris", 341.37, -80.0)
    check(analyse_lines(frequency[5:], level[5:], "blackman-harris"), 341.37, -80.0)


def test_levels_rounded_as_an_export_rounds_them():
    """0.01 dB and 0.1 Hz cost no more than a few thousandths of a dB."""
    frequency, level = spectrum("blackman-harris", 341.37, -80.0)
    rounded = 10 ** (np.round(20 * np.log10(level), 2) / 20)
    check(analyse_lines(np.round(frequency, 1), rounded, "blackman-harris"), 341.37, -80.0)


def test_the_tone_looked_for():
    frequency, level = spectrum("hann", 341, -90.0, {2: -50.0}, hum_db=6.0)
    assert analyse_lines(frequency, level, "hann", near_hz=1000).frequency_hz == pytest.approx(341 * LINE_HZ, abs=0.05)
    assert analyse_lines(frequency, level, "hann").frequency_hz == pytest.approx(60, abs=0.05)


def test_the_band_widens_where_the_third_harmonic_lies_above():
    """At 9 kHz the second alone would lie in 20 kHz; the data reach 24 kHz, and the third is outside them."""
    frequency, level = spectrum("blackman-harris", 3000, -90.0, {2: -50.0})
    tone = analyse_lines(frequency, level, "blackman-harris")
    assert tone.band_hz == (20.0, 24_000.0)
    assert not tone.third_in_band
    assert db(tone.harmonics[2] / tone.level) == pytest.approx(-50, abs=0.02)


def test_no_tone():
    frequency = np.arange(2000) * LINE_HZ
    with pytest.raises(NoLines, match="there is no tone inside the spectrum"):
        analyse_lines(frequency, np.zeros(2000), "hann")


def test_a_tone_too_near_to_zero():
    with pytest.raises(NoLines, match="export a spectrum with more lines"):
        analyse_lines(*spectrum("flat top", 10, -90.0, {}), "flat top")


def test_even_lines():
    frequency = np.arange(1, 2001) * LINE_HZ
    assert is_even(frequency)
    assert is_even(np.round(frequency, 1))  # as exports round them
    assert not is_even(np.geomspace(20, 20_000, 2000))
    assert not is_even(np.delete(frequency, 900))


@pytest.mark.parametrize("orders", [(2,), (1, 2, 3), (2, 4, 6, 8)])
@pytest.mark.parametrize("spacing_hz", [2.0, 4.0, 8.0, 10.0])
@pytest.mark.parametrize("name", ["hann", "blackman-harris"])
def test_hum_of_coarse_lines_is_right_or_withheld(name, spacing_hz, orders):
    """A half-width is two lines and four: mains lines must be three of them apart."""
    count, rate_hz = round(48_000 / spacing_hz), 48_000
    turns = 2 * np.pi * np.arange(count) / rate_hz
    samples = np.sin(3150.3 * turns) + 0.01 * np.sin(6300.6 * turns) + np.random.default_rng(1).normal(0, 1e-5, count)
    samples += 0.01 * sum(np.sin(order * 50 * turns + order) for order in orders)
    tone = analyse_lines(*known_spectra.exported(samples, rate_hz, count, name), name, 50.0)
    half_hz = {"hann": 2, "blackman-harris": 4}[name] * spacing_hz
    if 3 * half_hz > 50:
        assert tone.hum is None
        assert tone.hum_needs_s == pytest.approx(3 * half_hz / spacing_hz / 50)
    else:
        assert tone.hum is not None
        assert db(tone.hum / 0.01) == pytest.approx(10 * math.log10(len(orders) / 2), abs=0.1)


# ------------------------------------------------------------------ hum under a tone's skirts


def with_hum(name: str, tone_hz: float, hum_db: float, noise_db: float, second_db: float = -70.0, averages: int = 8):
    """A unit sine, its second harmonic, 50 Hz and noise over 20 Hz to 20 kHz, as an analyser exports them."""
    rng = np.random.default_rng(int(tone_hz * 100))
    count = POINTS * averages
    angle = 2 * np.pi * np.arange(count) / RATE_HZ
    samples = np.sin(tone_hz * angle) + 10 ** (second_db / 20) * np.sin(2 * tone_hz * angle + 0.5)
    samples += 10 ** (hum_db / 20) * np.sin(50 * angle + 1.0)
    samples += known.noise(rng, count, RATE_HZ, (20.0, 20_000.0), 10 ** (noise_db / 20) / math.sqrt(2))
    return known_spectra.exported(samples, RATE_HZ, POINTS, name)


@pytest.mark.parametrize(
    ("name", "tone_hz", "hum_db", "noise_db"),
    grid(
        ["hann", "blackman", "blackman-harris"],
        [997.3, 1000.0, 1000.49, 440.2],
        [(-80.0, -95.0), (-70.0, -90.0), (-85.0, -80.0)],
    ),
)
def test_hum_and_noise_add(hum_db, noise_db, tone_hz, name):
    """-80 dB and -95 dB together are 10 lg (1e-8 + 3.16e-10) = -79.86 dB: hum counts once, and fills no gaps."""
    tone = analyse_lines(*with_hum(name, tone_hz, hum_db, noise_db), name, 50.0)
    together_db = 10 * math.log10(10 ** (hum_db / 10) + 10 ** (noise_db / 10))
    assert tone.snr_db == pytest.approx(-together_db, abs=0.1)
    assert tone.hum is not None
    assert db(tone.hum / tone.level) == pytest.approx(hum_db, abs=0.1)


@pytest.mark.parametrize("name", ["nuttall", "flat top"])
@pytest.mark.parametrize("tone_hz", [997.3, 1000.49])
def test_where_only_noise_is_hidden_levels_are_given(tone_hz, name):
    tone = analyse_lines(*with_hum(name, tone_hz, -80.0, -95.0), name, 50.0)
    assert tone.noise_hidden
    assert tone.snr_db is tone.sinad_db is tone.thd_plus_noise is None
    assert tone.hum is not None
    assert db(tone.hum / tone.level) == pytest.approx(-80.0, abs=0.1)
    assert db(tone.level * math.sqrt(2)) == pytest.approx(0.0, abs=0.01)
    assert db(tone.harmonics[2] / tone.level) == pytest.approx(-70.0, abs=0.05)
    assert db(tone.thd) == pytest.approx(-70.0, abs=0.05)


@pytest.mark.parametrize("name", ["nuttall", "flat top"])
def test_harmonics_under_the_leakage_are_not_made_up(name):
    """A second harmonic at -112 dB lies about where the windows' own leakage does."""
    with pytest.raises(NoLines, match="hides the harmonics and the noise"):
        analyse_lines(*with_hum(name, 1000.49, -80.0, -125.0, second_db=-112.0), name, 50.0)
