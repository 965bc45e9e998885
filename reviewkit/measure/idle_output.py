"""The file of an idle output, waveform or spectrum: its noise and lines, and the curves drawn of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.captures import refuse_silence, sample_rate_hz, stated_window, waveform_samples
from reviewkit.model import digits, quantities
from reviewkit.model.arrays import read_only
from reviewkit.model.card import Axis, Panel, Trace
from reviewkit.model.finding import Conditions, Curve, Run
from reviewkit.model.sheet import Column, Sheet
from reviewkit.signal import noise_lines
from reviewkit.signal.decibels import amplitude_of_db, db_of_amplitude, volts_of
from reviewkit.signal.noise_lines import Noise
from reviewkit.signal.spectrum_lines import is_even
from reviewkit.signal.tone import AUDIO_BAND_HZ

FEWEST_LINES = 32
SHORTEST_S = 0.2  # in less, the lobes of mains lines overlap
BANDS, LINES = "third-octave bands", "lines as exported"  # what a curve is made of


class Withheld(ValueError):
    """Error for a file that gives no noise figures; the message says why and what to write."""


def read_noise(sheet: Sheet, column: Column, c: Conditions) -> tuple[Noise, bool]:
    """Return one channel's noise, from a waveform or a spectrum, and whether it is in volts.

    Raises
    ------
    InputError
        If the file can't be read as an idle output.
    Withheld
        If it gives no noise figures.
    """
    if sheet.find("time"):
        values, volts = waveform_samples(column, sheet.source)
        refuse_silence(column, sheet)
        rate_hz = sample_rate_hz(sheet)
        if len(values) < SHORTEST_S * rate_hz:
            length = quantities.seconds(len(values) / rate_hz)
            raise sheet.fault(f"a record of {length} is too short for hum; capture a few seconds")
        return noise_lines.of_waveform(values, rate_hz), volts
    frequency_hz, m = sheet.need("frequency").values, c.measurement
    if len(frequency_hz) < FEWEST_LINES:
        raise sheet.fault(
            f"{len(frequency_hz)} lines are too few for a spectrum of noise; export more lines, or is this a response?"
        )
    window = stated_window(c)
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


def refuse_tone(sheet: Sheet, c: Conditions, noise: Noise, band_hz: tuple[float, float]) -> None:
    """Raise InputError if the signal was on.

    The residue of a tone and its distortion isn't the noise of an idle output, and a figure in volts would include the
    tone: no fault of an amplifier gives a tone that dominates like that.

    Parameters
    ----------
    sheet : Sheet
        The file, for the message.
    c : Conditions
        The conditions, with the mains frequency.
    noise : Noise
        The channel's noise and lines.
    band_hz : tuple[float, float]
        The lower and upper edge.

    Raises
    ------
    InputError
        If one tone, with its harmonics, stands out of everything else in the band.
    """
    tone_hz = noise_lines.lone_tone(noise, band_hz, c.mains_hz)
    if tone_hz is not None:
        message = f"a tone of {quantities.hertz(tone_hz)} is in it: capture the idle output, or is it another kind?"
        raise sheet.fault(message)


def not_reached(sheet: Sheet, band_hz: tuple[float, float]) -> list[str]:
    """Return which part of 20 Hz – 20 kHz the figures leave out, and why."""
    said = []
    if band_hz[0] > AUDIO_BAND_HZ[0]:
        if sheet.find("time"):
            why = "the record is too short for that; capture a few seconds"
        elif float(sheet.need("frequency").values[0]) > band_hz[0]:
            why = "the spectrum begins there"
        else:
            why = "the spectrum's lines are too far apart; export more lines"
        said.append(f"noise below {quantities.hertz(band_hz[0])} is not counted: {why}")
    if band_hz[1] < AUDIO_BAND_HZ[1]:
        said.append(f"noise above {quantities.hertz(band_hz[1])} is not counted: the data ends there")
    return said


def bands_curve(channel: str, noise: Noise, *, volts: bool) -> Curve:
    """Return a channel's noise in third-octave bands: x in Hz, y in dBV, or in dB of relative levels."""
    x, y = noise_lines.third_octaves_db(noise, AUDIO_BAND_HZ)
    return Curve(BANDS, channel, read_only(x), read_only(y), {"unit": _unit(volts=volts)})


def lines_curve(sheet: Sheet, column: Column, c: Conditions) -> Curve:
    """Return a channel's lines as exported, from 20 Hz to 20 kHz, if they give no bands.

    x in Hz, y in dBV, or in dB of relative levels.
    """
    level_v = volts_of(column.values, column.unit, c.measurement.load_ohm, c.measurement.full_scale_v)
    y = column.values if level_v is None else db_of_amplitude(np.maximum(np.abs(level_v), 1e-12))
    x = sheet.need("frequency").values
    inside = (x >= AUDIO_BAND_HZ[0]) & (x <= AUDIO_BAND_HZ[1])
    facts = {"unit": _unit(volts=level_v is not None)}
    return Curve(LINES, column.channel, read_only(x[inside]), read_only(y[inside]), facts)


def _unit(*, volts: bool) -> str:
    return "dBV" if volts else "dB"


def panel_of(runs: Sequence[Run], main: Run, reference: tuple[float, str] | None = None) -> tuple[str, Panel]:
    """Return what the main run's curves are made of, and the panel of them and of all that are made of the same, with
    the voltage that a ratio is relative to as a line under its name.
    """
    form, unit = _form_and_unit(main)
    traces = [
        figures.trace(curve, run, runs)
        for run in runs
        # volts and relative levels have no scale in common, nor have bands and lines
        if _form_and_unit(run) == (form, unit)
        for curve in run.curves
        if len(curve.x)
    ]
    if reference and unit == "dBV":
        level = read_only(np.full(2, db_of_amplitude(reference[0])))
        traces.append(Trace(read_only(AUDIO_BAND_HZ), level, "", "bench", reference[1]))
    values = figures.extents(traces)
    return form, Panel(scales.dial(*AUDIO_BAND_HZ), _level_scale(values, unit), tuple(traces))


def _form_and_unit(run: Run) -> tuple[str, str]:
    """Return the kind of a run's curves, and the unit that all of them share."""
    form = LINES if any(curve.name == LINES for curve in run.curves) else BANDS
    return form, "dBV" if all(curve.facts["unit"] == "dBV" for curve in run.curves) else "dB"


def _level_scale(values: Sequence[float], unit: str) -> Axis:
    """Return a vertical scale in steps of 20 dB that holds all values and spans at least 60 dB."""
    high = math.ceil(max(values, default=-60.0) / 20) * 20
    low = min(high - 60, math.floor(min(values, default=-120.0) / 20) * 20)
    ticks = [(float(at), digits.fixed(at, 0)) for at in range(low, high + 1, 20 if high - low <= 120 else 40)]
    return Axis(float(low), float(high), "linear", tuple(ticks), unit)
