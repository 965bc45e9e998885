"""How exact the figures of a captured tone are, each held against its row of tests/accuracy.py.

Truth: closed forms of Fourier series (textbook; the whole waves' figures agree with a transform of a million points,
tests/test_spectrum.py), tones put together at known levels, noise made line by line so that its power in the band is
known. THD re the fundamental, THD+N re the total, SINAD and SNR as in IEEE 1241 (from memory).
"""

from __future__ import annotations

import math

import known_waveforms as known
import numpy as np
import pytest
from accuracy import grid

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.finding import Conditions
from reviewkit.model.session import Bench, Measurement
from reviewkit.signal.spectrum import analyse
from reviewkit.signal.tone import Tone

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 192_000)
TO_100, TO_120 = "THD and harmonics to -100 dB", "THD and harmonics to -120 dB"
NOISE, FREQUENCY = "THD+N, SNR, SINAD", "frequency"
LEVELS_DB = {2: -70.0, 3: -60.0, 4: -100.0, 5: -80.0, 6: -120.0, 7: -100.0, 8: -110.0, 9: -120.0}


def db(ratio: float) -> float:
    return 20 * math.log10(ratio)


def summed(levels_db) -> float:
    """Levels added as powers, dB."""
    return 10 * math.log10(sum(10 ** (level / 10) for level in levels_db))


def hum(count: int, rate_hz: float, mains_hz: float, peak: float, rng: np.random.Generator) -> np.ndarray:
    """The mains line, and its second and third at half and a third of it."""
    turns = mains_hz / rate_hz * np.arange(count)
    return sum(peak / k * np.sin(2 * np.pi * k * turns + rng.uniform(0, 6.28)) for k in (1, 2, 3))


# ------------------------------------------------------------------ distortion


def held_against(accuracy, tone: Tone, levels_db: dict[int, float]) -> None:
    for order, level in levels_db.items():
        accuracy(TO_100 if level >= -100 else TO_120, db(tone.harmonics[order] / tone.level) - level)
    accuracy(TO_100, db(tone.thd) - summed(levels_db.values()))


@pytest.mark.parametrize(("cycles", "rate_hz"), grid([10.3, 14.5, 30.7, 101.4, 1000.5], RATES_HZ))
def test_harmonics_of_known_level(accuracy, cycles, rate_hz):
    """Any phases, no whole number of cycles, an offset and hum beside: ten drawings of each short length and rate."""
    rng = np.random.default_rng([int(cycles * 10), rate_hz])
    for _ in range(10 if cycles < 100 else 2):
        frequency_hz = float(rng.uniform(300, 2200))
        count = math.ceil((cycles + rng.uniform(0, 0.5)) * rate_hz / frequency_hz)
        samples = known.wave(
            known.of_levels(LEVELS_DB, rng), frequency_hz / rate_hz, count, float(rng.uniform(0, 6.28))
        )
        samples += rng.uniform(-0.1, 0.1) + hum(count, rate_hz, float(rng.choice([50, 60])), 3e-3, rng)
        tone = analyse(float(rng.uniform(0.01, 40)) * samples, rate_hz)
        in_band = {order: level for order, level in LEVELS_DB.items() if order * frequency_hz <= 20_000}
        held_against(accuracy, tone, in_band)


@pytest.mark.parametrize(("frequency_hz", "rate_hz"), [(20.03, 48_000), (99.7, 44_100), (6011.0, 48_000)])
def test_harmonics_of_low_and_high_tones(accuracy, frequency_hz, rate_hz):
    levels = {order: level for order, level in LEVELS_DB.items() if order * frequency_hz <= 20_000}
    rng = np.random.default_rng(int(frequency_hz))
    samples = known.wave(known.of_levels(levels, rng), frequency_hz / rate_hz, 3 * rate_hz, 1.0)
    held_against(accuracy, analyse(samples + 0.02, rate_hz), levels)


@pytest.mark.parametrize("frequency_hz", [7003.0, 10_007.0, 15_011.0, 20_011.0])
def test_harmonics_in_the_wide_band(accuracy, frequency_hz):
    """Up to 80 kHz where three times the fundamental lies above 20 kHz."""
    levels = {order: level for order, level in LEVELS_DB.items() if order * frequency_hz <= 80_000}
    rng = np.random.default_rng(int(frequency_hz))
    samples = known.wave(known.of_levels(levels, rng), frequency_hz / 192_000, 96_000, 2.0)
    held_against(accuracy, analyse(samples + hum(96_000, 192_000, 60, 1e-3, rng), 192_000), levels)


WAVES = {
    "clipped at 0.99": known.clipped(0.99),
    "clipped at 0.9": known.clipped(0.9),
    "clipped at 0.5": known.clipped(0.5),
    "top clipped at 0.9": known.clipped_top(0.9),
    "square": known.square,
    "triangle": known.triangle,
    "dead zone 0.01": known.dead_zone(0.01),
    "dead zone 0.1": known.dead_zone(0.1),
}


@pytest.mark.parametrize(("name", "rate_hz"), grid([*WAVES], RATES_HZ))
def test_waves_of_closed_form(accuracy, name, rate_hz):
    """Cut at 20 kHz, so that nothing folds back: each harmonic and their sum, four places and phases."""
    rng = np.random.default_rng(rate_hz)
    for _ in range(4):
        frequency_hz = float(rng.uniform(400, 3000))
        peaks = known.phasors(WAVES[name], int(20_000 / frequency_hz))
        samples = known.wave(peaks, frequency_hz / rate_hz, rate_hz // 4, float(rng.uniform(0, 6.28)))
        tone = analyse(samples + 0.01 + hum(len(samples), rate_hz, 50, 1e-3, rng), rate_hz)
        accuracy(TO_100, db(tone.thd / known.thd(WAVES[name], len(peaks))))
        accuracy(TO_100, db(tone.level * math.sqrt(2) / abs(peaks[0])))
        for order, level in tone.harmonics.items():
            true_db = db(max(abs(peaks[order - 1] / peaks[0]), 1e-9))
            if true_db >= -100:
                accuracy(TO_100, db(level / tone.level) - true_db)


# ------------------------------------------------------------------ noise


def white(rng, count, rate_hz, band_hz, rms):
    return known.noise(rng, count, rate_hz, band_hz, rms)


def pink(rng, count, rate_hz, band_hz, rms):
    """Equal power in each octave: 1/f in power, inside the band alone, of this r.m.s. value exactly."""
    frequency = np.fft.rfftfreq(count, 1 / rate_hz)
    inside = (frequency >= band_hz[0]) & (frequency <= band_hz[1])
    lines = np.zeros(len(frequency), dtype=complex)
    lines[inside] = (rng.normal(size=inside.sum()) + 1j * rng.normal(size=inside.sum())) / np.sqrt(frequency[inside])
    samples = np.fft.irfft(lines, count)
    return samples * (rms / math.sqrt(float(np.mean(samples**2))))


def rest_of(noise_db: float, levels_db: dict[int, float]) -> float:
    """Everything but the fundamental, re it (a ratio)."""
    return 10 ** (summed([noise_db, *levels_db.values()]) / 20)


def noise_held_against(accuracy, tone: Tone, noise_db: float, levels_db: dict[int, float]) -> None:
    rest = rest_of(noise_db, levels_db)
    accuracy(NOISE, tone.snr_db + noise_db)
    accuracy(NOISE, tone.sinad_db + db(rest))
    accuracy(NOISE, db(tone.thd_plus_noise) - db(rest / math.hypot(1, rest)))


@pytest.mark.parametrize(
    ("frequency_hz", "noise_db", "levels_db"),
    grid(
        [20.0, 100.0, 1000.0, 6000.0, 7000.0, 10_000.0, 20_000.0],
        [(-60.0, {}), (-70.0, {2: -66.0, 3: -75.0}), (-110.0, {2: -80.0, 3: -90.0})],
    ),
)
def test_noise_of_known_power(accuracy, frequency_hz, noise_db, levels_db):
    """Ten seconds at 48 kHz; where the band goes up to 80 kHz, three at 192 kHz hold as many lines."""
    wide = 3 * frequency_hz > 20_000
    rate_hz, top_hz, seconds = (192_000, 80_000, 3) if wide else (48_000, 20_000, 10)
    rng = np.random.default_rng([int(frequency_hz), int(-noise_db)])
    count = seconds * rate_hz
    samples = known.wave(known.of_levels(levels_db, rng), (frequency_hz + 0.137) / rate_hz, count, 0.4)
    samples += white(rng, count, rate_hz, (20.0, top_hz), 10 ** (noise_db / 20) / math.sqrt(2))
    noise_held_against(accuracy, analyse(samples, rate_hz), noise_db, levels_db)


@pytest.mark.parametrize("frequency_hz", [pytest.param(20.6, marks=pytest.mark.long), 1001.4])
def test_noise_that_is_not_white(accuracy, frequency_hz):
    """Pink, with hum lines that count as noise where no harmonic stands on them: mean power of four drawings, since
    few lines carry most of it.
    """
    noise_db, hum_db, count, rate_hz = -60.0, -70.0, 8 * 48_000, 48_000
    rests, noises = [], []
    for seed in range(4):
        rng = np.random.default_rng([seed, int(frequency_hz)])
        samples = known.wave(known.of_levels({2: -75.0}, rng), frequency_hz / rate_hz, count, float(seed))
        samples += pink(rng, count, rate_hz, (20.0, 20_000.0), 10 ** (noise_db / 20) / math.sqrt(2))
        for mains_hz in (50, 150, 250):
            samples += 10 ** (hum_db / 20) * np.sin(2 * np.pi * mains_hz / rate_hz * np.arange(count) + seed)
        tone = analyse(samples, rate_hz)
        assert not tone.clouded
        noises.append((tone.noise / tone.level) ** 2)
        rests.append((tone.rest / tone.level) ** 2)
    others = [noise_db, hum_db, hum_db, hum_db]
    accuracy(NOISE, 10 * math.log10(np.mean(noises)) - summed(others))
    accuracy(NOISE, 10 * math.log10(np.mean(rests)) - summed([*others, -75.0]))


@pytest.mark.long
@pytest.mark.parametrize("seconds", [0.25, 1.0])
def test_noise_of_short_records_on_the_mean(accuracy, seconds):
    """Forty drawings; the power of the noise in the band is the same in each."""
    count, noises = int(seconds * 48_000), []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        samples = known.wave(known.of_levels({2: -50.0}, rng), 1000.7 / 48_000, count, float(seed))
        samples += white(rng, count, 48_000, (20.0, 20_000.0), 1e-3 / math.sqrt(2))
        tone = analyse(samples, 48_000)
        noises.append((tone.noise / tone.level) ** 2)
    accuracy(NOISE, 10 * math.log10(np.mean(noises)) + 60.0)


STRONG = "SNR beside strong harmonics and drift"
SHORT_LOW = "SNR, SINAD of 10 to 20 cycles of 20 Hz"


@pytest.mark.long
@pytest.mark.parametrize("cycles", [10.05, 10.4, 12.6, 16.0])
def test_noise_of_the_shortest_records_of_a_low_tone(accuracy, cycles):
    """A thousand harmonics cover a fifth of the lines: what they hide of the noise can only be inferred."""
    for seed in range(8):
        rng = np.random.default_rng(seed)
        count = int(48_000 * cycles / 20)
        samples = known.wave(known.of_levels({}, rng), 20 / 48_000, count, float(seed))
        tone = analyse(samples + white(rng, count, 48_000, (20.0, 20_000.0), 10**-3.5 / math.sqrt(2)), 48_000)
        accuracy(SHORT_LOW, tone.snr_db - 70)
        accuracy(SHORT_LOW, tone.sinad_db - 70)


@pytest.mark.parametrize("seconds", [0.5, 1.0, pytest.param(4.0, marks=pytest.mark.long), 6.0])
def test_drift_is_no_noise(accuracy, seconds):
    """A slow sine, a ramp and a decay, all below 20 Hz and some 25 dB below the tone: the noise is that put in."""
    for seed in range(4):
        rng = np.random.default_rng(seed)
        count = int(48_000 * seconds) + 37
        time, slow_hz = np.arange(count) / 48_000, 10 ** rng.uniform(-1, 1.17)
        samples = known.wave(known.of_levels({}, rng), 997.3 / 48_000, count, float(seed))
        samples += white(rng, count, 48_000, (20.0, 20_000.0), 10 ** (-91.2 / 20) / math.sqrt(2))
        samples += 0.05 * np.sin(2 * np.pi * slow_hz * time + seed) + 0.02 * time / seconds + 0.02 * np.exp(-time / 0.3)
        accuracy(NOISE, analyse(samples, 48_000).snr_db - 91.2)


@pytest.mark.long
@pytest.mark.parametrize("drift", [0.0, 1.0], ids=["steady", "drifting"])
@pytest.mark.parametrize("wave", ["clipped at 0.5", "square", "falling harmonics"])
@pytest.mark.parametrize(
    ("frequency_hz", "seconds"), [(61.7, 0.5), (97.3, 1.0), (313.1, 0.25), (997.3, 1.0), (61.7, 3.0)]
)
def test_strong_harmonics_are_no_drift(accuracy, frequency_hz, seconds, wave, drift):
    """Noise of known power under harmonics from -14 dB down, with and without drift below 20 Hz: 90 dB, within 0.1."""
    rng = np.random.default_rng([int(frequency_hz), int(100 * seconds)])
    count, highest = int(48_000 * seconds) + 37, int(20_000 / frequency_hz)
    falling = {n: -11.0 - 3 * n for n in range(2, min(highest, 12) + 1)}
    peaks = known.phasors(WAVES[wave], highest) if wave in WAVES else known.of_levels(falling, rng)
    time = np.arange(count) / 48_000
    samples = known.wave(peaks, frequency_hz / 48_000, count, 0.7) / abs(peaks[0])
    samples += white(rng, count, 48_000, (20.0, 20_000.0), 10 ** (-90 / 20) / math.sqrt(2))
    samples += drift * (0.05 * np.sin(2 * np.pi * 3.3 * time + 1) + 0.02 * time / seconds + 0.02 * np.exp(-time / 0.3))
    accuracy(STRONG, analyse(samples, 48_000).snr_db - 90)


@pytest.mark.parametrize(("lines", "order"), grid([8.2, 9.0, 10.5, 12.0, 13.0], [1, 3]))
def test_hum_beside_a_tone(accuracy, lines, order):
    """One line of hum, so many lines above 900 Hz away from the tone or its third harmonic, is counted."""
    rng = np.random.default_rng(int(lines))
    tone_hz = (900 + lines) / order
    samples = known.wave(known.of_levels({3: -50.0}, rng), tone_hz / 48_000, 48_000, 1.0)
    samples += 10 ** (-64.7 / 20) * np.sin(2 * np.pi * 900 / 48_000 * np.arange(48_000) + 2)
    samples += white(rng, 48_000, 48_000, (20.0, 20_000.0), 1e-5)
    tone = analyse(samples, 48_000, 50.0)
    accuracy("hum beside a tone", db(tone.hum / tone.level) + 64.7)


@pytest.mark.long
def test_a_harmonic_in_noise_is_read_as_by_least_squares(accuracy):
    """The variance of a third harmonic 5 dB below the noise, as a ratio to that of a fit of sines to all samples, which
    is the least there can be in white noise (Gauss-Markov).
    """
    read, fitted = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        samples = known.wave(known.of_levels({3: -55.0}, rng), 997.3 / 48_000, 48_017, 1.0)
        samples += white(rng, 48_017, 48_000, (20.0, 20_000.0), 10**-2.5 / math.sqrt(2))
        tone = analyse(samples, 48_000)
        read.append(tone.harmonics[3] / tone.level)
        angle = 2 * np.pi * 997.3 / 48_000 * np.arange(48_017)
        basis = np.stack([f(h * angle) for h in (1, 3) for f in (np.sin, np.cos)], axis=1)
        sines = np.linalg.lstsq(basis, samples, rcond=None)[0]
        fitted.append(math.hypot(*sines[2:]) / math.hypot(*sines[:2]))
    accuracy("variance of a harmonic in noise", np.var(read) / np.var(fitted))


def test_exactly_ten_cycles_are_read(accuracy):
    """50 Hz at 8 kHz, 1600 samples: rounding makes it a hair less than ten."""
    for phase in np.arange(0.0, 6.0, 0.3):
        samples = np.sin(2 * np.pi * 50 / 8000 * np.arange(1600) + phase)
        accuracy(FREQUENCY, analyse(samples, 8000).frequency_hz / 50 - 1)


# ------------------------------------------------------------------ frequency


@pytest.mark.parametrize("phase", [0.0, *(pytest.param(phase, marks=pytest.mark.long) for phase in (1.1, 2.3, 4.0))])
def test_frequency(accuracy, phase):
    """One second of 1 kHz, 60 dB over its noise, ten drawings each."""
    for seed in range(10):
        rng = np.random.default_rng([seed, int(10 * phase)])
        frequency_hz = 1000.0 + float(rng.uniform(-1, 1))
        samples = np.sin(2 * np.pi * frequency_hz / 48_000 * np.arange(48_000) + phase)
        samples += white(rng, 48_000, 48_000, (20.0, 20_000.0), 1e-3 / math.sqrt(2))
        accuracy(FREQUENCY, analyse(samples, 48_000).frequency_hz / frequency_hz - 1)


# ------------------------------------------------------------------ through a text file


def test_a_text_export_with_rounded_stamps(accuracy):
    """Microseconds and seven decimals of a volt, as exports write them: 1 s at 44.1 kHz, stamps off by up to half of
    one.
    """
    levels = {2: -60.0, 3: -70.0, 5: -90.0}
    rng = np.random.default_rng(44)
    volts = 5 * known.wave(known.of_levels(levels, rng), 997.3 / 44_100, 44_101, 0.7)
    rows = (f"{i / 44_100:.6f},{v:.7f}\n" for i, v in enumerate(volts))
    sheet = parse_sheet(("Time (s),Volts (V)\n" + "".join(rows)).encode(), "measurements/tone.csv")
    made = Measurement(id="tone", kind="tone", file="measurements/tone.csv", card="tone", load_ohm=8.0)
    found = {f.quantity: f.value for f in KINDS["tone"].findings(sheet, Conditions(made, Bench())).findings}
    for order, level in levels.items():
        accuracy(TO_100, found[f"harmonic_{order}"] - level)
    accuracy(TO_100, db(found["thd"] / 100) - summed(levels.values()))
    accuracy(FREQUENCY, found["frequency"] / 997.3 - 1)
