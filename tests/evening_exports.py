"""An evening's exports: 22 files in ten layouts, as several programs write them, of an amplifier that doesn't exist.

The Ostwick 240, its maker and every reading are invented. Each file comes from a closed form and seeded noise. Beside
it is what someone who was at the bench knows of it; two files don't show it all by themselves.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

Array = NDArray[np.float64]
RATE_HZ = 48_000
HZ = np.geomspace(10, 50_000, 75)
WATTS = np.unique(np.concatenate((np.geomspace(0.1, 36, 30), np.geomspace(36, 52, 12))))

SESSION = """[unit]
maker = "Ostwick"
model = "240"

[bench]
input = "aux"
load = "8 ohm"
channels = "both"
mains = "230 V 50 Hz"
"""


@dataclass(frozen=True)
class Export:
    """A file, and what is true of it: the keys of its table. `layout`: how it is written; `clear`: whether it shows
    them.
    """

    name: str
    layout: str
    content: bytes
    kind: str
    truth: dict[str, Any] = field(default_factory=dict)
    clear: bool = True


# ------------------------------------------------------------------ layouts


def _table(head: str, *columns: Array, separator: str = ",", digits: int = 4, comma: bool = False) -> str:
    lines = [separator.join(f"{value:.{digits}f}" for value in row) for row in np.column_stack(columns)]
    text = "\n".join(lines)
    return f"{head}\n{text.replace('.', ',') if comma else text}\n"


def _plain(head: str, *columns: Array, digits: int = 4) -> bytes:
    return _table(head, *columns, digits=digits).encode()


def _semicolons(head: str, *columns: Array, digits: int = 4) -> bytes:
    return ("\ufeff" + _table(head, *columns, separator=";", digits=digits, comma=True)).replace("\n", "\r\n").encode()


def _tabs(head: str, *columns: Array, digits: int = 5) -> bytes:
    lead = "# saved by the bench program\n# two channels\n"
    return (lead + _table(head.replace(",", "\t"), *columns, separator="\t", digits=digits)).encode()


def _spaces(names: str, units: str, *columns: Array) -> bytes:
    rows = ["  ".join(f"{value:12.4f}" for value in row) for row in np.column_stack(columns)]
    return "\n".join(
        ("  ".join(f"{n:>12}" for n in names.split()), "  ".join(f"{u:>12}" for u in units.split()), *rows)
    ).encode()


def _utf16(head: str, *columns: Array) -> bytes:
    return _table(head.replace(",", "\t"), *columns, separator="\t").encode("utf-16")


def _with_lines_above(lines: str, head: str, *columns: Array) -> bytes:
    return (f"{lines}\n\n" + _table(head, *columns, digits=3)).encode()


def _quoted(head: str, *columns: Array) -> bytes:
    rows = [",".join(f'"{value:.4f}"' for value in row) for row in np.column_stack(columns)]
    return "\n".join((",".join(f'"{cell}"' for cell in head.split(",")), *rows)).encode()


def _grouped(units: str, *columns: Array) -> bytes:
    """Channels in a row of their own, as from a spreadsheet; the sweep falls."""
    rows = [",".join(f"{value:.4f}" for value in row) for row in np.column_stack(columns)[::-1]]
    return "\n".join((",Left,Right", units, *rows)).encode()


def _wav(*channels: Array, full_scale_v: float, subtype: str) -> bytes:
    made = io.BytesIO()
    soundfile.write(made, np.stack(channels, axis=1) / full_scale_v, RATE_HZ, format="WAV", subtype=subtype)
    return made.getvalue()


# ------------------------------------------------------------------ signals


def _sines(seconds: float, *tones: tuple[float, float]) -> Array:
    """(Hz, peak in volts) each, summed."""
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.sum([peak * np.sin(2 * math.pi * hertz * time + hertz) for hertz, peak in tones], axis=0)


def _high(corner_hz: float) -> Array:
    return -10 * np.log10(1 + (HZ / corner_hz) ** 2)


def _riaa() -> Array:
    """IEC 60098: 3180, 318 and 75 µs, in dB."""
    db = lambda seconds: 10 * np.log10(1 + (2 * math.pi * HZ * seconds) ** 2)  # noqa: E731
    return db(318e-6) - db(3180e-6) - db(75e-6)


def _spectrum(rng: np.random.Generator, tones: dict[float, float], floor_db: float) -> tuple[Array, Array]:
    """A spectrum through a Hann window: dBV of tones that are on a line, and noise."""
    hertz = np.arange(8193) * RATE_HZ / 16384
    power = 10 ** ((floor_db + rng.normal(0, 2, hertz.size)) / 10)
    for tone_hz, level_db in tones.items():
        line = round(tone_hz / hertz[1])
        for offset, lower_db in ((-1, -6.02), (0, 0.0), (1, -6.02)):
            power[line + offset] += 10 ** ((level_db + lower_db) / 10)
    return hertz, 10 * np.log10(power)


@cache
def exports() -> tuple[Export, ...]:
    """All of them."""
    rng = np.random.default_rng(240)
    noise = lambda count, rms: rng.normal(0, rms, count)  # noqa: E731
    count = RATE_HZ // 4
    time_ms = np.arange(count) / RATE_HZ * 1000
    tone = lambda third: _sines(0.25, (1000, 4.0), (2000, 0.003), (3000, third)) + noise(count, 3e-4)  # noqa: E731
    wall = lambda most: 20 / (1 + np.exp(-(WATTS / most - 1) * 50))  # noqa: E731
    flat = 12.04 + _high(90_000) - 10 * np.log10(1 + (4 / HZ) ** 2)
    thd = 0.02 + 0.03 * (HZ / 20_000) ** 1.5
    leak = lambda floor: floor + 10 * np.log10(1 + (HZ / 4000) ** 2)  # noqa: E731
    ohms = 120 + HZ / 150
    square_us = np.arange(2000) / 2.0
    phase = (square_us / 100) % 1
    edge = lambda part: 1 - 2 * np.exp(-part / 10_000 * 2 * math.pi * 90_000)  # noqa: E731
    square = np.where(phase < 0.5, edge(phase), -edge(phase - 0.5)) * 2
    cycles = (11, 23, 47, 101, 211, 431, 887, 1801)
    block = np.arange(16_384)
    many = np.sum([0.3 * np.sin(2 * math.pi * each * block / block.size + each) for each in cycles], axis=0)
    idle = lambda hum: _sines(2, (100, hum), (50, hum / 3), (200, hum / 6)) + noise(2 * RATE_HZ, 2e-4)  # noqa: E731
    pair = _sines(0.5, (19_000, 5.0), (20_000, 5.0), (1000, 0.003), (18_000, 0.002), (21_000, 0.002))
    hum_hz, hum_db = _spectrum(rng, {49.8: -72, 99.6: -66, 149.4: -80}, -118)
    imd_hz, imd_db = _spectrum(rng, {60.06: 18, 7001.0: 6, 6940.9: -58, 7061.0: -57}, -105)
    two = lambda left, right: (left, right)  # noqa: E731
    frequency = "Frequency (Hz)"
    meter = "name,channel,value,unit,at,note\nDC offset,L,9.0,mV,warm,\nDC offset,R,-12.0,mV,warm,\n"
    made = [
        (
            "before/tone-1khz.csv",
            "comma",
            _plain("Time (ms),Left (V),Right (V)", time_ms, tone(0.004), tone(0.4), digits=6),
            "tone",
            {"stage": "before"},
        ),
        (
            "after/tone-1khz.csv",
            "comma",
            _plain("Time (ms),Left (V),Right (V)", time_ms, tone(0.004), tone(0.005), digits=6),
            "tone",
            {"stage": "after"},
        ),
        (
            "before/thd-vs-power 8ohm.csv",
            "semicolon",
            _semicolons("Power (W);THD+N L (%);THD+N R (%)", WATTS, 0.05 + wall(44), 0.8 + wall(31)),
            "distortion-power",
            {"stage": "before", "load": "8 ohm"},
        ),
        (
            "after/thd-vs-power 8ohm.csv",
            "semicolon",
            _semicolons("Power (W);THD+N L (%);THD+N R (%)", WATTS, 0.05 + wall(44), 0.06 + wall(43)),
            "distortion-power",
            {"stage": "after", "load": "8 ohm"},
        ),
        (
            "after/thd-vs-power_4ohm_1kHz.txt",
            "tab",
            _tabs("Output level (V),THD+N L (%),THD+N R (%)", np.sqrt(4 * WATTS), 0.07 + wall(46), 0.08 + wall(45)),
            "distortion-power",
            {"stage": "after", "load": "4 ohm", "frequency": "1 kHz"},
        ),
        (
            "after/THD 40W.csv",
            "channels in a row",
            _grouped("Frequency (Hz),THD+N (%),THD+N (%)", HZ, *two(thd, 1.1 * thd)),
            "distortion-frequency",
            {"stage": "after", "drive": "40 W"},
        ),
        (
            "before/response.txt",
            "spaces",
            _spaces("Frequency Left Right", "Hz dBV dBV", HZ, flat, flat - 5 - 10 * np.log10(1 + (70 / HZ) ** 2)),
            "response",
            {"stage": "before", "drive": "4 V"},
        ),
        (
            "after/response.txt",
            "spaces",
            _spaces("Frequency Left Right", "Hz dBV dBV", HZ, flat, flat - 0.1),
            "response",
            {"stage": "after", "drive": "4 V"},
        ),
        (
            "after/crosstalk.csv",
            "quoted",
            _quoted("Frequency (kHz),L to R (dB),R to L (dB)", HZ / 1000, leak(-63), leak(-61)),
            "crosstalk",
            {"stage": "after", "channels": "one"},
        ),
        (
            "after/left driven.csv",
            "UTF-16",
            _utf16(f"{frequency},Left (dBV),Right (dBV)", HZ, flat, flat + leak(-64)),
            "crosstalk",
            {"stage": "after", "driven": "L", "channels": "one", "drive": "4 V"},
        ),
        (
            "after/output.csv",
            "comma",
            _plain(f"{frequency},Output impedance L (mΩ),Output impedance R (mΩ)", HZ, ohms, ohms + 4),
            "source-impedance",
            {"stage": "after"},
        ),
        (
            "after/square 10 kHz.txt",
            "tab",
            _tabs("Time (µs),Left (V),Right (V)", square_us, square + noise(2000, 2e-3), square + noise(2000, 2e-3)),
            "square",
            {"stage": "after"},
        ),
        (
            "after/noise shorted.wav",
            "WAV, 16 bits",
            _wav(idle(6e-4), idle(9e-4), full_scale_v=0.02, subtype="PCM_16"),
            "noise",
            {"stage": "after", "termination": "shorted"},
        ),
        (
            "after/hum lines.csv",
            "lines above",
            _with_lines_above(
                "FFT points,16384\nWindow,Hann\nAverages,32",
                f"{frequency},Left (dBV),Right (dBV)",
                hum_hz,
                hum_db,
                hum_db + 1,
            ),
            "noise",
            {"stage": "after", "window": "hann"},
        ),
        (
            "after/imd smpte.csv",
            "lines above",
            _with_lines_above(
                "FFT points,16384\nWindow,Hann\nAverages,8",
                f"{frequency},Left (dBV),Right (dBV)",
                imd_hz,
                imd_db,
                imd_db - 0.05,
            ),
            "intermodulation",
            {"stage": "after", "window": "hann"},
        ),
        (
            "after/19+20.wav",
            "WAV, floats",
            _wav(pair + noise(pair.size, 1e-4), pair + noise(pair.size, 1e-4), full_scale_v=12, subtype="FLOAT"),
            "intermodulation",
            {"stage": "after"},
        ),
        (
            "after/multitone.wav",
            "WAV, floats",
            _wav(many + noise(many.size, 1e-4), many + noise(many.size, 1e-4), full_scale_v=5, subtype="FLOAT"),
            "multitone",
            {"stage": "after"},
        ),
        (
            "after/bass up.csv",
            "quoted",
            _quoted(
                f"{frequency},Left (dBV),Right (dBV)",
                HZ,
                flat - 9 + 9 / (1 + (HZ / 160) ** 2),
                flat - 9 + 9 / (1 + (HZ / 160) ** 2),
            ),
            "contour",
            {"stage": "after", "drive": "1.46 V", "card": "tone-controls"},
        ),
        ("after/readings.csv", "comma", meter.encode(), "reading", {"stage": "after"}),
        (
            "bench/loopback.csv",
            "semicolon",
            _semicolons("Frequency (Hz);THD+N L (%);THD+N R (%)", HZ, thd / 40, thd / 38, digits=6),
            "distortion-frequency",
            {"stage": "bench"},
        ),
    ]
    unclear = [
        # a control's sweep that isn't called one; a phono stage at the tape output, which its name doesn't say
        (
            "after/Sweep 7.csv",
            "UTF-16",
            _utf16(f"{frequency},Left (dBV),Right (dBV)", HZ, flat + _high(3000), flat + _high(3000)),
            "contour",
            {"stage": "after"},
        ),
        (
            "after/phono.csv",
            "comma",
            _plain(
                f"{frequency},Left (mV),Right (mV)", HZ, *two(150 * 10 ** (_riaa() / 20), 148 * 10 ** (_riaa() / 20))
            ),
            "phono",
            {"stage": "after", "load": "open"},
        ),
    ]
    return (*(Export(*each) for each in made), *(Export(*each, clear=False) for each in unclear))


def write(folder: Path) -> Path:
    """The exports in a folder."""
    for each in exports():
        place = folder / each.name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(each.content)
    return folder
