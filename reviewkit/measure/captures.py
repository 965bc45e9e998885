"""Captured waveforms and exported spectra: their sample rate, their volts, and what their columns must be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.model.arrays import Array
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Conditions
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.toml_text import inline_table
from reviewkit.signal.decibels import amplitude_of_db, volts_of
from reviewkit.signal.spectrum_lines import is_even
from reviewkit.signal.windows import COSINE_SUMS, window_name

FEWEST_LINES = 32
_KEYS = {"L": "left", "R": "right", "": "level"}  # of `columns`
_NO_WAVEFORM = 'column "{header}" is in {unit}: a waveform is a voltage over time; export it in V'


def sample_rate_hz(sheet: Sheet) -> float:
    """Return the sample rate given by a time column: (n − 1) / span, because exports round the time stamps.

    Parameters
    ----------
    sheet : Sheet
        The file of a waveform.

    Returns
    -------
    float
        In Hz.

    Raises
    ------
    InputError
        If there is only one sample, or if the time stamps aren't evenly spaced.
    """
    time = sheet.find("time")
    assert time is not None
    seconds = time.values
    span = float(seconds[-1] - seconds[0])
    if span <= 0:
        raise sheet.fault("a single sample is not a waveform; export the whole capture")
    rate = (len(seconds) - 1) / span
    stray = np.abs((seconds - seconds[0]) * rate - np.arange(len(seconds)))
    if float(np.max(stray)) > 1.0:
        raise sheet.fault(
            f"the time stamps are not evenly spaced (row {int(np.argmax(stray)) + 1} of the data is "
            "more than a sample off); export the capture without gaps"
        )
    return rate


def waveform_samples(column: Column, source: str) -> tuple[Array, bool]:
    """Return a waveform's samples, and whether they are in volts.

    Fractions of full scale still give every ratio.

    Parameters
    ----------
    column : Column
        The waveform, in a unit of volts or of full scale.
    source : str
        The file, for the message.

    Returns
    -------
    tuple[Array, bool]
        Samples in V or fractions of full scale, shape (n,), and whether they are in volts.

    Raises
    ------
    InputError
        If the unit is neither.
    """
    if column.unit not in ("V", "ratio"):
        raise InputError(Fault(source, 0, _NO_WAVEFORM.format(header=column.header, unit=column.unit)))
    return column.values, column.unit == "V"


def refuse_silence(column: Column, sheet: Sheet) -> None:
    """Refuse a channel of a waveform that holds no signal and not even noise.

    Parameters
    ----------
    column : Column
        The channel.
    sheet : Sheet
        Its file.

    Raises
    ------
    InputError
        If all its samples are the same.
    """
    if np.ptp(column.values):
        return
    others = [other for other in sheet.all("level") if other is not column]
    remedy = "capture it again"
    if others and sheet.source.lower().endswith((".wav", ".wave")):
        kept = inline_table({_KEYS[other.channel]: int(other.header.split()[-1]) for other in others})
        remedy = f"write columns = {kept} under its [[measurement]] in session.toml, or {remedy}"
    elif others:
        remedy = f"export the file without it, or {remedy}"
    named = f"channel {column.channel}" if column.channel else "the capture"
    raise sheet.fault(f"{named} is silent, without even noise; {remedy}")


@dataclass(frozen=True, eq=False)
class ExportedLines:
    """An exported spectrum's levels, shape (n,): in volts, or relative. `window`: None if noise can't be read (see
    `hint`).
    """

    frequency_hz: Array
    level: Array
    volts: bool
    window: str | None
    hint: str


def stated_window(c: Conditions) -> str | None:
    """Return the window that the session says a spectrum has; None if it says none.

    Raises
    ------
    InputError
        If it isn't a known one.
    """
    stated = c.measurement.window
    window = window_name(stated) if stated else None
    if stated and window is None:
        raise c.fault(f'window = "{stated}" is not known; known: {", ".join(COSINE_SUMS)}')
    return window


def exported_lines(sheet: Sheet, column: Column, c: Conditions) -> ExportedLines:
    """Return a channel of an exported spectrum, with its window if that is known.

    Raises
    ------
    InputError
        If there are too few lines, or if the window isn't a known one.
    """
    frequency, m = sheet.need("frequency"), c.measurement
    if len(frequency.values) < FEWEST_LINES:
        raise sheet.fault(
            f"{len(frequency.values)} lines are too few for a spectrum; export more lines, or is this a response?"
        )
    window = stated_window(c)
    hint = "" if window else 'the window is not known; write for example window = "hann"'
    if window and not is_even(frequency.values):
        window, hint = None, "its lines are not evenly spaced"
    volts = volts_of(column.values, column.unit, m.load_ohm, m.full_scale_v)
    # relative levels still carry every ratio
    level = np.asarray(amplitude_of_db(column.values)) if volts is None else volts
    return ExportedLines(frequency.values, level, volts is not None, window, hint)
