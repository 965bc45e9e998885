"""The file of an idle output, waveform or spectrum: its noise taken apart, and the picture made of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from reviewkit import digits, quantities
from reviewkit.arrays import Array
from reviewkit.captures import sample_rate_hz, waveform_samples
from reviewkit.errors import Fault, InputError
from reviewkit.model import Axis, Column, Conditions, Run, Sheet
from reviewkit.signal import noise_lines
from reviewkit.signal.decibels import amplitude_of_db, db_of_amplitude, volts_of
from reviewkit.signal.noise_lines import Noise
from reviewkit.signal.spectrum import AUDIO_BAND_HZ
from reviewkit.signal.spectrum_lines import is_even
from reviewkit.signal.windows import COSINE_SUMS, window_name

FEWEST_LINES = 32
SHORTEST_S = 0.1  # less does not hold the mains line


class Withheld(ValueError):
    """The file gives no noise figures; the message says why and what to write."""


def taken_apart(sheet: Sheet, column: Column, c: Conditions) -> tuple[Noise, bool]:
    """One channel's noise, and whether it is in volts. Raises InputError, or Withheld where the file gives none."""
    if sheet.find("time"):
        values, volts = waveform_samples(column, sheet.source)
        if not np.ptp(values):
            named = f"channel {column.channel}" if column.channel else "the capture"
            message = f"{named} is silent, without even noise; leave it out with columns = {{…}}, or capture it again"
            raise InputError(Fault(sheet.source, 0, message))
        rate_hz = sample_rate_hz(sheet)
        if len(values) < SHORTEST_S * rate_hz:
            length = quantities.seconds(len(values) / rate_hz)
            raise InputError(Fault(sheet.source, 0, f"a record of {length} holds no hum; capture a few seconds"))
        return noise_lines.of_waveform(values, rate_hz), volts
    frequency_hz, m = sheet.need("frequency").values, c.measurement
    if len(frequency_hz) < FEWEST_LINES:
        few = f"{len(frequency_hz)} lines are no spectrum of noise; export more lines, or is this a response?"
        raise InputError(Fault(sheet.source, 0, few))
    window = window_name(m.window) if m.window else None
    if m.window and window is None:
        known = f'[[measurement]] {m.id}: window = "{m.window}" is not known; known: ' + ", ".join(COSINE_SUMS)
        raise InputError(Fault("session.toml", m.line, known))
    if window is None:
        raise Withheld(
            "the window is not known, so the lines' noise bandwidth is not; write for example "
            'window = "hann" in this [[measurement]]'
        )
    if not is_even(frequency_hz):
        raise Withheld("the spectrum's lines are not evenly spaced; export it with even lines")
    level_v = volts_of(column.values, column.unit, m.load_ohm, m.full_scale_v)
    level = amplitude_of_db(column.values) if level_v is None else level_v
    return noise_lines.of_spectrum(frequency_hz, level, window), level_v is not None


def picture(run: Run) -> tuple[str, str, list[tuple[str, Array, Array]]]:
    """A run's curves (channel, Hz, dB), what they are made of, and their unit: third-octave bands, or the lines as
    exported where those give no bands.
    """
    assert run.sheet is not None
    form, unit, curves = "third-octave bands", "dBV", []
    for column in run.sheet.all("level"):
        try:
            noise, volts = taken_apart(run.sheet, column, run.conditions)
            x, y = noise_lines.third_octaves_db(noise, AUDIO_BAND_HZ)
        except Withheld:
            form, m = "lines as exported", run.conditions.measurement
            level_v = volts_of(column.values, column.unit, m.load_ohm, m.full_scale_v)
            volts = level_v is not None
            x = run.sheet.need("frequency").values
            y = column.values if level_v is None else db_of_amplitude(np.maximum(np.abs(level_v), 1e-12))
            inside = (x >= AUDIO_BAND_HZ[0]) & (x <= AUDIO_BAND_HZ[1])
            x, y = x[inside], y[inside]
        unit = unit if volts else "dB"
        if len(x):
            curves.append((column.channel, x, y))
    return form, unit, curves


def level_scale(values: Sequence[float], unit: str) -> Axis:
    """A vertical scale by 20 dB that holds all values, at least 60 dB high."""
    high = math.ceil(max(values, default=-60.0) / 20) * 20
    low = min(high - 60, math.floor(min(values, default=-120.0) / 20) * 20)
    ticks = [(float(at), digits.fixed(at, 0)) for at in range(low, high + 1, 20 if high - low <= 120 else 40)]
    return Axis(float(low), float(high), "linear", tuple(ticks), unit)
