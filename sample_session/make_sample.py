"""Makes the measurement files of the sample session from the model in norrvale.py.

    python make_sample.py            writes measurements/*
    python make_sample.py --check    says whether the files on disk are what this script makes

The unit, its maker and every figure are invented. Each file is laid out as another program would export it.
"""

from __future__ import annotations

import argparse
import math
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from norrvale import (
    CHANNELS,
    LEFT,
    LOAD_OHM,
    MAINS_HZ,
    NOISE_V_PER_RTHZ,
    OPEN_VOLTS,
    RIGHT,
    SPECTRUM_HZ,
    SPECTRUM_PEAK_V,
    SWEEP_POWER_W,
    TONE_HZ,
    TONE_PEAK_V,
    Array,
    Channel,
    harmonics,
    leak,
    linear_gain,
    reading,
    source_impedance,
)

HERE = Path(__file__).resolve().parent
SEED = 1977
RATE_HZ = 48_000
TONE_SECONDS = 0.5
RESPONSE_POWER_W = 5.0
SPECTRUM_POINTS = 2**14
SPECTRUM_AVERAGES = 8


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
    for multiple, hum in channel.hum_v:
        volts += math.sqrt(2) * hum * np.sin(2 * np.pi * multiple * MAINS_HZ * turns + multiple)
    noise: Array = rng.normal(0, NOISE_V_PER_RTHZ * math.sqrt(RATE_HZ / 2), count)
    return volts + noise


def spectrum_dbv(volts: Array) -> Array:
    """Averaged power spectrum: a sine on a line stands at its r.m.s. level. Shape (points / 2 + 1,)."""
    turn = 2 * np.pi * np.arange(SPECTRUM_POINTS) / SPECTRUM_POINTS
    # four-term Blackman–Harris window (Harris 1978)
    window = 0.35875 - 0.48829 * np.cos(turn) + 0.14128 * np.cos(2 * turn) - 0.01168 * np.cos(3 * turn)
    lines = np.abs(np.fft.rfft(volts.reshape(SPECTRUM_AVERAGES, SPECTRUM_POINTS) * window)) ** 2
    level: Array = 10 * np.log10(2 * lines.mean(axis=0) / window.sum() ** 2)
    return level


def lines_of(head: Sequence[str], columns: Sequence[Sequence[str]], separator: str, end: str = "\n") -> str:
    """A delimited file: head lines, then one row for each index of the columns."""
    return end.join([*head, *(separator.join(row) for row in zip(*columns, strict=True))]) + end


def cells(values: Array, form: str, decimal: str = ".") -> list[str]:
    """Numbers as text, with the decimal mark wanted."""
    return [format(value, form).replace(".", decimal) for value in values.tolist()]


def tone_files(rng: np.random.Generator) -> dict[str, str]:
    """The 5 W tone before (seconds, commas) and after (milliseconds, tabs)."""
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
    frequency = np.arange(SPECTRUM_POINTS // 2 + 1) * RATE_HZ / SPECTRUM_POINTS
    head = [f"FFT points,{SPECTRUM_POINTS}", f"Averages,{SPECTRUM_AVERAGES}", "Window,4-term", "",
            "Frequency (Hz),Left (dBV),Right (dBV)"]  # fmt: skip
    return {"spectrum-40w.csv": lines_of(head, [cells(frequency, ".4f"), *(cells(x, ".2f") for x in levels)], ",")}


def response_file(rng: np.random.Generator) -> dict[str, str]:
    """The response at 5 W, swept downwards, with a byte order mark and CRLF."""
    frequency = np.round(np.geomspace(90_000, 2, 181), 2)
    jitter = 10 ** (rng.normal(0, 0.0015, (2, frequency.size)) / 20)
    # the level is set on the left channel at 1 kHz
    drive_v = math.sqrt(RESPONSE_POWER_W * LOAD_OHM) / abs(linear_gain(LEFT, np.array(1000.0)))
    levels = [
        20 * np.log10(drive_v * abs(linear_gain(channel, frequency)) * error)
        for channel, error in zip(CHANNELS, jitter, strict=True)
    ]
    head = ["\ufeffFrequency (Hz),Left (dBV),Right (dBV)"]
    return {"response.csv": lines_of(head, [cells(frequency, ".2f"), *(cells(x, ".3f") for x in levels)], ",", "\r\n")}


def distortion_files(rng: np.random.Generator) -> dict[str, str]:
    """THD+N against frequency at 40 W, and against power into 8 Ω before and after and into 4 Ω after."""

    def sweep(stage: str, powers: Array, frequencies: Array, load_ohm: float = LOAD_OHM) -> list[Array]:
        settings = [(float(power), float(frequency)) for power, frequency in np.broadcast(powers, frequencies)]
        exact = [
            np.array([reading(channel, stage, *setting, load_ohm) for setting in settings]) for channel in CHANNELS
        ]
        return [percent * (1 + 0.001 * rng.normal(size=percent.size)) for percent in exact]

    frequency = np.geomspace(20, 20_000, 61)
    power_8 = np.round(np.concatenate([np.geomspace(0.1, 38, 40), np.geomspace(38, 50, 29)[1:]]), 3)
    power_4 = np.concatenate([np.geomspace(0.2, 50, 36), np.geomspace(50, 68, 33)[1:]])
    volts_4 = np.round(np.sqrt(power_4 * 4), 4)
    one_k = np.array(1000.0)
    at_40 = sweep("after", np.array(SWEEP_POWER_W), frequency)
    before_8, after_8 = sweep("before", power_8, one_k), sweep("after", power_8, one_k)
    after_4 = sweep("after", volts_4**2 / 4, one_k, 4.0)
    return {
        "distortion-40w.csv": lines_of(
            ["Frequency (Hz);THD+N L (%);THD+N R (%)"],
            [cells(frequency, ".2f", ","), *(cells(x, ".5f", ",") for x in at_40)], ";"),
        "power-8ohm-before.csv": lines_of(
            ["Power (W),THD+N L (%),THD+N R (%)"], [cells(power_8, ".3f"), *(cells(x, ".4g") for x in before_8)], ","),
        "power-8ohm.csv": lines_of(
            ["Power (W),THD+N L (%),THD+N R (%)"], [cells(power_8, ".3f"), *(cells(x, ".4g") for x in after_8)], ","),
        "power-4ohm.txt": lines_of(
            ["Output level\tTHD+N L\tTHD+N R", "V\t%\t%"],
            [cells(volts_4, ".4f"), *(cells(x, ".4g") for x in after_4)], "\t"),
    }  # fmt: skip


def crosstalk_file(rng: np.random.Generator) -> dict[str, str]:
    """Crosstalk in both directions, frequency in kHz, with remarks above the header."""
    frequency = np.round(np.geomspace(20, 20_000, 91), 1)
    levels = []
    for quiet in (RIGHT, LEFT):  # what leaks into the right channel is "L to R"
        noise = rng.normal(0, 1e-6, (2, frequency.size))
        levels.append(20 * np.log10(abs(leak(quiet, frequency) + noise[0] + 1j * noise[1])))
    head = ["# one channel driven at a time, the other input terminated", "Frequency (kHz),L to R (dB),R to L (dB)"]
    text = [cells(frequency / 1000, ".4f"), *(cells(x, ".2f") for x in levels)]
    return {"crosstalk.csv": lines_of(head, text, ",")}


def source_impedance_file(rng: np.random.Generator) -> dict[str, str]:
    """Source impedance by an injected current, in mΩ; the meter ran out of range at the last frequency."""
    frequency = np.round(np.geomspace(20, 20_000, 61), 1)
    ohms = [abs(source_impedance(c, frequency)) * (1 + 0.001 * rng.normal(size=frequency.size)) for c in CHANNELS]
    columns = [cells(frequency, ".1f"), *(cells(1000 * x, ".1f") for x in ohms)]
    for column, last in zip(columns, ("25000.0", "OL", "OL"), strict=True):
        column.append(last)
    head = ["Frequency (Hz);Impedance L (mΩ);Impedance R (mΩ)"]
    return {"source-impedance.csv": lines_of(head, columns, ";", "\r\n")}


def make() -> dict[str, bytes]:
    """Every file of measurements/, by name. Each draws from its own seed, so that one may change without the others."""
    makers = (tone_files, spectrum_file, response_file, distortion_files, crosstalk_file, source_impedance_file)
    texts: dict[str, str] = {}
    for number, maker in enumerate(makers):
        texts |= maker(np.random.default_rng([SEED, number]))
    return {name: text.encode() for name, text in texts.items()}


def two_load_volts() -> dict[str, list[str]]:
    """The readings without a file: output voltage at 1 kHz open and with 8 Ω, as session.toml has them."""
    volts = {}
    for channel in CHANNELS:
        divided = abs(LOAD_OHM / (LOAD_OHM + source_impedance(channel, np.array(1000.0))))
        volts[channel.name] = [f"{OPEN_VOLTS[channel.name]:.3f} V", f"{OPEN_VOLTS[channel.name] * divided:.3f} V"]
    return volts


def differences(folder: Path) -> list[str]:
    """What in the session folder is not as this script makes it, one line each."""
    made = make()
    found = {path.name: path.read_bytes() for path in (folder / "measurements").glob("*") if path.is_file()}
    lines = [f"measurements/{name}: missing" for name in sorted(made.keys() - found.keys())]
    lines += [f"measurements/{name}: not made by this script" for name in sorted(found.keys() - made.keys())]
    lines += [f"measurements/{name}: differs" for name in sorted(made) if name in found and made[name] != found[name]]
    session = tomllib.loads((folder / "session.toml").read_text(encoding="utf-8"))
    if [m["volts"] for m in session["measurement"] if "volts" in m] != [two_load_volts()]:
        lines.append(f"session.toml: the two-load volts should be {two_load_volts()}")
    return lines


def main() -> int:
    """Write the files, or compare them. Exit status 1 where they differ."""
    parser = argparse.ArgumentParser(description="Make the sample session's measurement files from the stated model.")
    parser.add_argument("--check", action="store_true", help="compare the files on disk instead of writing them")
    if parser.parse_args().check:
        lines = differences(HERE)
        print("\n".join(lines) if lines else "measurements/ and session.toml are as the model makes them")
        return 1 if lines else 0
    (HERE / "measurements").mkdir(exist_ok=True)
    for name, content in make().items():
        (HERE / "measurements" / name).write_bytes(content)
        print(f"measurements/{name}: {len(content)} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
