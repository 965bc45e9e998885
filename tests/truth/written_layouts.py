"""Columns of numbers written as bench programs and spreadsheets write them: header words, units, separators, decimal
marks, line ends, encodings and order picked at random. The layouts are common practice, no source. Nothing of reviewkit
is imported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# what a quantity may be written in: unit -> factor from the unit the numbers are in
_LINEAR: dict[str, dict[str, float]] = {
    "frequency": {"Hz": 1.0, "kHz": 1e-3},
    "time": {"s": 1.0, "ms": 1e3, "µs": 1e6},
    "power": {"W": 1.0, "mW": 1e3},
    "impedance": {"Ω": 1.0, "ohm": 1.0, "mΩ": 1e3, "mohm": 1e3},
    "distortion": {"%": 1.0, "ppm": 1e4, "percent": 1.0},
    "volts": {"V": 1.0, "mV": 1e3, "Vrms": 1.0},
    "waveform": {"V": 1.0, "mV": 1e3},
}
# decibels of volts: unit -> r.m.s. volts at 0 dB
_DECIBELS = {"dBV": 1.0, "dBu": 0.6**0.5}
_WORDS = {
    "frequency": ("Frequency", "Freq", "frequency", "FREQUENCY"),
    "time": ("Time", "time", "Time"),
    "power": ("Power", "Output power", "power"),
    "impedance": ("Impedance", "Output impedance", "Z"),
    "distortion": ("THD+N", "THDN", "THD+noise"),
    "volts": ("Level", "Output", "Amplitude", ""),
    "waveform": ("", "Level", "Voltage"),
    "crosstalk": ("", "Crosstalk"),
}
_SIDES = ({"L": "Left", "R": "Right"}, {"L": "L", "R": "R"}, {"L": "Ch 1", "R": "Ch 2"}, {"L": "left", "R": "right"})
_ARROWS = ("{} to {}", "{} into {}", "{}->{}", "{} > {}")


@dataclass(frozen=True)
class Written:
    """A column to be written: what it is, whose, and its numbers in Hz, s, W, Ω, %, V or (crosstalk) dB."""

    quantity: str
    channel: str
    values: Array


def written(columns: list[Written], rng: np.random.Generator, *, may_fall: bool = False) -> bytes:
    """A file that holds these columns. `may_fall`: it may be written from its end to its beginning."""

    def pick(options):
        return options[int(rng.integers(len(options)))]

    separator = pick([",", ";", "\t", "  "])
    decimal = pick([".", ","]) if separator in (";", "\t") else "."
    style = pick(["{} ({})", "{} [{}]", "units row", "{} ({})"])
    sides = pick(_SIDES)
    arrow = pick(_ARROWS)
    words = {quantity: pick(options) for quantity, options in _WORDS.items()}
    units: dict[str, str] = {}
    cells: list[list[str]] = []
    heads: list[str] = []
    unit_row: list[str] = []
    for column in columns:
        if column.quantity not in units:
            options = list(_LINEAR.get(column.quantity, {"dB": 1.0}))
            units[column.quantity] = pick([*options, *(_DECIBELS if column.quantity == "volts" else ())])
        unit = units[column.quantity]
        if unit in _DECIBELS:
            numbers = 20 * np.log10(column.values / _DECIBELS[unit])
        else:
            numbers = column.values * _LINEAR.get(column.quantity, {"dB": 1.0})[unit]
        cells.append([f"{number:.10g}".replace(".", decimal) for number in numbers.tolist()])
        if ">" in column.channel:
            channel = arrow.format(*(sides[side] for side in column.channel.split(">")))
        else:
            channel = sides.get(column.channel, "")
        name = f"{words[column.quantity]} {channel}".strip() or "Level"
        heads.append(name if style == "units row" else style.format(name, unit))
        unit_row.append(unit)
    rows = list(zip(*cells, strict=True))
    if may_fall and rng.random() < 0.4:
        rows.reverse()
    lines = [separator.join(heads)]
    if style == "units row":
        lines.append(separator.join(unit_row))
    lines += [separator.join(row) for row in rows]
    preamble = pick([[], [], ["# second bench"], ["An export of the second bench", ""], ["Averages: 8"]])
    end = pick(["\n", "\n", "\r\n"])
    text = end.join([*preamble, *lines]) + pick(["", end])
    encoding = pick(["utf-8", "utf-8", "utf-8-sig", "utf-16"])
    if all(ord(sign) < 256 for sign in text):
        encoding = pick([encoding, "cp1252"])
    return text.encode(encoding)
