"""Makes the sample's captures: waveforms over time, and the spectra that a program makes of them."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from norrvale import (
    CHANNELS,
    LEFT,
    MAINS_HZ,
    MODULATION_HZ,
    MODULATION_PEAK_V,
    MULTITONE_BLOCK,
    MULTITONE_TONES,
    MULTITONE_TOTAL_V,
    NOISE_V_PER_RTHZ,
    RATE_HZ,
    SPECTRUM_HZ,
    SPECTRUM_PEAK_V,
    SQUARE_HZ,
    SQUARE_PEAK_V,
    TONE_HZ,
    TONE_PEAK_V,
    Array,
    Channel,
    curve,
    harmonics,
    linear_gain,
    multitone_bins,
    multitone_phases,
)
from sample_files import cells, lines_of, wav_of

TONE_SECONDS = 0.5
SPECTRUM_POINTS = 2**14
SPECTRUM_AVERAGES = 8
IDLE_SECONDS = 2.5
IDLE_FULL_SCALE_V = 10e-3
MULTITONE_FULL_SCALE_V = 5.0
SCOPE_HZ, SCOPE_SECONDS, SCOPE_NOISE_V = 2e6, 2.5e-3, 0.2e-3
OVERSAMPLED = 16  # harmonics that the static curve makes above the capture's band must not fold into it


def idle(channel: Channel, count: int, rng: np.random.Generator) -> Array:
    """Noise and hum as a 48 kHz interface records them, V. Shape (count,)."""
    turns = np.arange(count) / RATE_HZ
    volts: Array = rng.normal(0, NOISE_V_PER_RTHZ * math.sqrt(RATE_HZ / 2), count)
    for multiple, hum in channel.hum_v:
        volts = volts + math.sqrt(2) * hum * np.sin(2 * np.pi * multiple * MAINS_HZ * turns + multiple)
    return volts


def capture(
    channel: Channel, stage: str, peak_v: float, frequency_hz: float, count: int, rng: np.random.Generator
) -> Array:
    """What a 48 kHz interface records of a tone, V. Shape (count,). `peak_v` is what is asked of the left channel.

    Built from harmonics below half the rate: its anti-alias filter lets no others through.
    """
    turns = np.arange(count) / RATE_HZ
    phasors = harmonics(channel, stage, peak_v * channel.gain, frequency_hz)
    volts = np.zeros(count)
    for order in range(1, int(RATE_HZ / 2 // frequency_hz) + 1):
        angle = 2 * np.pi * order * frequency_hz * turns
        volts += phasors[order].real * np.cos(angle) - phasors[order].imag * np.sin(angle)
    return volts + idle(channel, count, rng)


def through_curve(asked_v: Array, channel: Channel, frequency_hz: float) -> Array:
    """One period of a waveform after the static curve, mended unit, as a 48 kHz interface sees it: no DC, nothing above
    half the rate. `asked_v`: shape (OVERSAMPLED · n,); the result has (n,).
    """
    bent = curve(asked_v, channel, "after", frequency_hz, 8.0)
    lines = np.fft.rfft(bent)[: bent.size // OVERSAMPLED // 2] / OVERSAMPLED
    lines[0] = 0
    volts: Array = np.fft.irfft(lines, bent.size // OVERSAMPLED)
    return volts


def spectrum_dbv(volts: Array) -> Array:
    """Averaged power spectrum: a sine on a line stands at its r.m.s. level. Shape (points / 2 + 1,)."""
    turn = 2 * np.pi * np.arange(SPECTRUM_POINTS) / SPECTRUM_POINTS
    # four-term Blackman–Harris window (Harris 1978)
    window = 0.35875 - 0.48829 * np.cos(turn) + 0.14128 * np.cos(2 * turn) - 0.01168 * np.cos(3 * turn)
    lines = np.abs(np.fft.rfft(volts.reshape(SPECTRUM_AVERAGES, SPECTRUM_POINTS) * window)) ** 2
    level: Array = 10 * np.log10(2 * lines.mean(axis=0) / window.sum() ** 2)
    return level


def spectrum_lines_hz() -> Array:
    """Where the spectrum's lines stand. Shape (points / 2 + 1,)."""
    lines: Array = np.arange(SPECTRUM_POINTS // 2 + 1) * RATE_HZ / SPECTRUM_POINTS
    return lines


def tone_files(rng: np.random.Generator) -> dict[str, str]:
    """The 4 W tone before (seconds, commas) and after (milliseconds, tabs)."""
    count = int(TONE_SECONDS * RATE_HZ)
    seconds = np.arange(count) / RATE_HZ
    before, after = (
        [cells(capture(channel, stage, TONE_PEAK_V, TONE_HZ, count, rng), ".5f") for channel in CHANNELS]
        for stage in ("before", "after")
    )
    return {
        "tone-before.csv": lines_of(["Time (s),Left (V),Right (V)"], [cells(seconds, ".6f"), *before], ","),
        "tone-after.txt": lines_of(
            ["# waveform, two channels, 48000 samples a second", "Time (ms)\tLeft (V)\tRight (V)"],
            [cells(seconds * 1000, ".4f"), *after], "\t"),
    }  # fmt: skip


def spectrum_file(rng: np.random.Generator) -> dict[str, str]:
    """The spectrum of a tone at rated power, with the lines an analyser writes above it."""
    count = SPECTRUM_POINTS * SPECTRUM_AVERAGES
    captures = [capture(channel, "after", SPECTRUM_PEAK_V, SPECTRUM_HZ, count, rng) for channel in CHANNELS]
    levels = [spectrum_dbv(volts) for volts in captures]
    head = [f"FFT points,{SPECTRUM_POINTS}", f"Averages,{SPECTRUM_AVERAGES}", "Window,4-term", "",
            "Frequency (Hz),Left (dBV),Right (dBV)"]  # fmt: skip
    columns = [cells(spectrum_lines_hz(), ".4f"), *(cells(x, ".2f") for x in levels)]
    return {"spectrum-40w.csv": lines_of(head, columns, ",")}


@cache
def modulation_period() -> int:
    """Samples at 48 kHz in which both tones of the intermodulation test have whole cycles."""
    return RATE_HZ // math.gcd(*(int(hertz) for hertz in MODULATION_HZ))


def modulation_file(rng: np.random.Generator) -> dict[str, str]:
    """The spectrum of 60 Hz and 7 kHz, 4:1, to 10 kHz, semicolons and decimal commas."""
    count = SPECTRUM_POINTS * SPECTRUM_AVERAGES
    turns = np.arange(modulation_period() * OVERSAMPLED) / (RATE_HZ * OVERSAMPLED)
    asked = sum(
        peak * np.sin(2 * np.pi * hertz * turns) for hertz, peak in zip(MODULATION_HZ, MODULATION_PEAK_V, strict=True)
    )
    lines_hz = spectrum_lines_hz()
    kept = lines_hz <= 10_000
    levels = []
    for channel in CHANNELS:
        # loop gain taken as at the upper tone, where the products are
        period = through_curve(channel.gain * np.asarray(asked), channel, MODULATION_HZ[1])
        levels.append(spectrum_dbv(np.resize(period, count) + idle(channel, count, rng))[kept])
    head = ["Frequency (Hz);Left (dBV);Right (dBV)"]
    columns = [cells(lines_hz[kept], ".4f", ","), *(cells(x, ".2f", ",") for x in levels)]
    return {"intermodulation.csv": lines_of(head, columns, ";")}


def multitone_file(rng: np.random.Generator) -> dict[str, bytes]:
    """One block of many tones of one size, as WAV."""
    turns = 2 * np.pi * np.arange(MULTITONE_BLOCK * OVERSAMPLED) / (MULTITONE_BLOCK * OVERSAMPLED)
    peak_v = MULTITONE_TOTAL_V * math.sqrt(2 / MULTITONE_TONES)
    asked = np.zeros(turns.size)
    for cycles, phase in zip(multitone_bins(), multitone_phases().tolist(), strict=True):
        asked += peak_v * np.sin(cycles * turns + phase)
    channels = [
        # loop gain taken as at 1 kHz
        through_curve(channel.gain * asked, channel, 1000.0) + idle(channel, MULTITONE_BLOCK, rng)
        for channel in CHANNELS
    ]
    return {"multitone.wav": wav_of(channels, MULTITONE_FULL_SCALE_V)}


def noise_file(rng: np.random.Generator) -> dict[str, bytes]:
    """The idle output as WAV, the interface's gain turned up."""
    channels = [idle(channel, int(IDLE_SECONDS * RATE_HZ), rng) for channel in CHANNELS]
    return {"idle.wav": wav_of(channels, IDLE_FULL_SCALE_V)}


def square_file(rng: np.random.Generator) -> dict[str, str]:
    """A square wave as an oscilloscope exports it: time from the trigger, some of it before."""
    period = round(SCOPE_HZ / SQUARE_HZ)
    count = round(SCOPE_HZ * SCOPE_SECONDS)
    start = -count // 10
    order = np.arange(1, period * OVERSAMPLED // 2, 2)
    harmonics_hz = np.asarray(order * SQUARE_HZ, dtype=np.float64)
    volts = []
    for channel in CHANNELS:
        drive = SQUARE_PEAK_V / abs(linear_gain(LEFT, np.array(SQUARE_HZ)))
        lines = np.zeros(period * OVERSAMPLED // 2 + 1, dtype=np.complex128)
        # a square wave's sine series, 4/(πn) for odd n, each through the amplifier's gain
        lines[order] = -1j * 4 / (np.pi * order) * drive * linear_gain(channel, harmonics_hz)
        one = np.fft.irfft(lines * period * OVERSAMPLED / 2, period * OVERSAMPLED)[::OVERSAMPLED]
        volts.append(np.resize(np.roll(one, -start), count) + rng.normal(0, SCOPE_NOISE_V, count))
    seconds = (start + np.arange(count)) / SCOPE_HZ
    columns = [cells(1e6 * seconds, ".1f"), *(cells(x, ".4f") for x in volts)]
    return {"square-1khz.csv": lines_of(["Time,Left,Right", "µs,V,V"], columns, ",")}
