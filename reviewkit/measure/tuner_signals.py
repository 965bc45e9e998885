"""A tuner's signal at the aerial in dBf, and its noise relative to the output with the tone, in dB."""

from __future__ import annotations

import re

import numpy as np

from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.finding import Conditions, Finding
from reviewkit.model.sheet import Column
from reviewkit.model.toml_text import inline_table
from reviewkit.signal.decibels import amplitude_of_db, dbf_of_volts, relative_db, volts_of, volts_of_dbf

_RATIO = re.compile(r"quieting|s\s*/\s*n|snr", re.IGNORECASE)
_KEYS = {"L": "left", "R": "right"}


def aerial_dbf(column: Column, c: Conditions) -> Array:
    """Return the signal at the aerial.

    Parameters
    ----------
    column : Column
        What was set, in dBf, in dBµV or in volts above zero, shape (n,).
    c : Conditions
        The conditions, which must say of volts across what they are, and whether terminated.

    Returns
    -------
    Array
        In dBf, shape (n,).

    Raises
    ------
    InputError
        If they don't.
    """
    if column.unit == "dBf":
        return column.values
    m = c.measurement
    if m.aerial_ohm is None or not m.microvolts:
        raise c.fault(
            f'"{column.header}" is in volts: across which impedance, and with the tuner connected or the generator\'s '
            'own e.m.f., which is twice that? Write aerial = "75 ohm" (or "300 ohm") and microvolts = "terminated" (or '
            '"e.m.f.")'
        )
    volts = column.values if column.unit == "V" else 1e-6 * amplitude_of_db(column.values)
    half = 2.0 if m.microvolts == "e.m.f." else 1.0
    return read_only(np.asarray(dbf_of_volts(volts / half, m.aerial_ohm)))


def noise_db(column: Column, c: Conditions) -> Array:
    """Return the noise relative to the output with the tone, from either or from their ratio.

    Parameters
    ----------
    column : Column
        Noise over a rising signal, shape (n,): relative to the tone, or as a level of its own.
    c : Conditions
        The conditions, with the output with the tone as `reference_level` if the level is its own.

    Returns
    -------
    Array
        In dB, shape (n,).

    Raises
    ------
    InputError
        If it isn't clear what the level is relative to, or if it doesn't fall as the signal rises.
    """
    found = _relative_db(column, c)
    if len(found) > 1 and found[-1] >= found[0]:
        raise c.fault(f'"{column.header}" doesn\'t fall as the signal rises, as noise does; name that of the noise')
    return found


def _relative_db(column: Column, c: Conditions) -> Array:
    level, reference = column.values, c.measurement.reference_level
    if column.unit == "dBr" or (column.unit == "dB" and _RATIO.search(column.header)):
        return level if level[-1] <= 0 else read_only(-level)  # a ratio of signal to noise is above zero
    volts = volts_of(level, column.unit, full_scale_v=c.measurement.full_scale_v)
    if reference is not None and reference.unit == "V" and volts is not None:
        return read_only(relative_db(volts / reference.value, "V"))
    if reference is not None and reference.unit == column.unit == "dBFS":
        return read_only(level - reference.value)
    line = inline_table({**c.measurement.units, _KEYS.get(column.channel, "level"): "dBr"})
    raise c.fault(
        f'"{column.header}" is relative to what? If 0 dB is the output with the tone, write units = {line}; else its '
        'own unit, and the output with the tone as reference_level = "775 mV"'
    )


def in_microvolts(f: Finding) -> str:
    """Return a sensitivity as the voltages across both usual impedances; "" of anything else."""
    if f.unit != "dBf":
        return ""
    at = [quantities.shown(float(volts_of_dbf(f.value, ohm)), "volts") for ohm in (75.0, 300.0)]
    return f"{at[0]} at 75 Ω, {at[1]} at 300 Ω"
