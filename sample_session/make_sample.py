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
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from norrvale import (
    CHANNELS,
    LEFT,
    LOAD_OHM,
    OPEN_VOLTS,
    RIGHT,
    SWEEP_POWER_W,
    Array,
    leak,
    linear_gain,
    looped_back,
    network,
    phono_gain,
    reading,
    sensitivity_v,
    source_impedance,
)
from sample_files import cells, lines_of, samples_of
from sample_waveforms import (
    modulation_file,
    multitone_file,
    noise_file,
    sound_files,
    spectrum_file,
    square_file,
    tone_files,
)

HERE = Path(__file__).resolve().parent
SEED = 1977
RESPONSE_POWER_W = 4.0
CONTOUR_POWER_W = 1.0
PHONO_INPUT_V = 2.5e-3


def response_file(rng: np.random.Generator) -> dict[str, str]:
    """The response at 4 W, swept downwards, with a byte order mark and CRLF."""
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


def contour_files(rng: np.random.Generator) -> dict[str, str]:
    """Tone controls (dBu, tabs) and filters with loudness (aligned by spaces), the level set on the left at 1 kHz."""

    def levels_dbv(name: str, frequency: Array) -> list[Array]:
        gains = [abs(network(name, c, frequency) * linear_gain(c, frequency)) for c in CHANNELS]
        at_1k = float(abs(network(name, LEFT, np.array(1000.0)) * linear_gain(LEFT, np.array(1000.0))))
        scatter = rng.normal(0, 0.0015, (2, frequency.size))
        drive_v = math.sqrt(CONTOUR_POWER_W * LOAD_OHM) / at_1k
        return [20 * np.log10(drive_v * gain) + error for gain, error in zip(gains, scatter, strict=True)]

    files = {}
    frequency = np.round(np.geomspace(10, 40_000, 97), 2)
    for name in ("bass-up", "bass-down", "treble-up", "treble-down"):
        # 0 dBu is √0.6 V
        levels = [level - 20 * math.log10(math.sqrt(0.6)) for level in levels_dbv(name, frequency)]
        columns = [cells(frequency, ".2f"), *(cells(x, ".3f") for x in levels)]
        files[f"{name}.txt"] = lines_of(["Frequency (Hz)\tL (dBu)\tR (dBu)"], columns, "\t")
    frequency = np.round(np.geomspace(5, 56_000, 97), 2)
    for name in ("loudness", "low-filter", "high-filter"):
        columns = [cells(frequency, "10.2f"), *(cells(x, "10.3f") for x in levels_dbv(name, frequency))]
        files[f"{name}.txt"] = lines_of(["        Hz     L_dBV     R_dBV"], columns, "")
    return files


def phono_file(rng: np.random.Generator) -> dict[str, str]:
    """The phono stage from a flat input to the tape output, in mV, with a running number before each row."""
    frequency = np.round(np.geomspace(10, 40_000, 121), 2)
    volts = [
        PHONO_INPUT_V * abs(phono_gain(c, frequency)) * 10 ** (rng.normal(0, 0.0015, frequency.size) / 20)
        for c in CHANNELS
    ]
    number = [str(row) for row in range(1, frequency.size + 1)]
    columns = [number, cells(frequency, ".2f"), *(cells(1000 * x, ".3f") for x in volts)]
    return {"phono.csv": lines_of(["Point,Frequency (Hz),Left (mV),Right (mV)"], columns, ",")}


def bench_file(rng: np.random.Generator) -> dict[str, str]:
    """THD+N of the bench with its output led straight to its input, laid out as the sweep at 40 W is."""
    frequency = np.geomspace(20, 20_000, 31)
    percent = [looped_back(frequency, c) * (1 + 0.001 * rng.normal(size=frequency.size)) for c in CHANNELS]
    columns = [cells(frequency, ".2f", ","), *(cells(x, ".6f", ",") for x in percent)]
    return {"bench-looped.csv": lines_of(["Frequency (Hz);THD+N L (%);THD+N R (%)"], columns, ";")}


def reading_file(_: np.random.Generator) -> dict[str, str]:
    """What was read off a meter, one value a row: it has no noise of its own, but the digits end."""
    rows = ["name,channel,value,unit,at,note"]
    for c in CHANNELS:
        hum = math.hypot(*(volts for _, volts in c.hum_v))
        wanted = 'into 8 ohm",volume full up'
        rows += [
            f'DC offset,{c.name},{1000 * c.offset_v:.1f},mV,warm,no loudspeaker connected',
            f'bias,{c.name},{1000 * c.bias_v:.1f},mV,warm,across an emitter resistor',
            f'input sensitivity,{c.name},{1000 * sensitivity_v(c, "aux"):.1f},mV,"aux input, 1 kHz, 40 W {wanted}',
            f'input sensitivity,{c.name},{1000 * sensitivity_v(c, "phono"):.3f},mV,"phono input, 1 kHz, 40 W {wanted}',
            f'phono overload,{c.name},{1000 * c.phono_ceiling_v / c.phono_1k:.1f},mV,1 kHz,where the tape output clips',
            f'hum voltage,{c.name},{1e6 * hum:.0f},µV,aux input,"idle, selective meter, mains lines to 240 Hz"',
        ]  # fmt: skip
    return {"readings.csv": "\n".join(rows) + "\n"}


def make() -> dict[str, bytes]:
    """Every file of measurements/, by name. Each draws from its own seed, so that one may change without the others."""
    makers: tuple[Callable[[np.random.Generator], Mapping[str, str | bytes]], ...] = (
        *(tone_files, spectrum_file, response_file, distortion_files, crosstalk_file, source_impedance_file),
        *(contour_files, phono_file, bench_file, reading_file, modulation_file, square_file, multitone_file),
        noise_file,
        sound_files,
    )
    made: dict[str, bytes] = {}
    for number, maker in enumerate(makers):
        for name, content in maker(np.random.default_rng([SEED, number])).items():
            made[name] = content.encode() if isinstance(content, str) else content
    return made


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
    own = folder / "measurements"
    found = {path.relative_to(own).as_posix(): path.read_bytes() for path in own.rglob("*") if path.is_file()}
    lines = [f"measurements/{name}: missing" for name in sorted(made.keys() - found.keys())]
    lines += [f"measurements/{name}: not made by this script" for name in sorted(found.keys() - made.keys())]
    for name in sorted(made.keys() & found.keys()):
        alike = samples_of if name.endswith(".flac") else bytes
        if made[name] != found[name] and alike(made[name]) != alike(found[name]):
            lines.append(f"measurements/{name}: differs")
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
    for name, content in make().items():
        (HERE / "measurements" / name).parent.mkdir(parents=True, exist_ok=True)
        (HERE / "measurements" / name).write_bytes(content)
        print(f"measurements/{name}: {len(content)} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
