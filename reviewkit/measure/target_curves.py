"""The curve that a response is compared with: a de-emphasis, a tape's replay equalisation, or that of a file."""

from __future__ import annotations

from dataclasses import replace

from reviewkit.measure import curves, sweeps
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.digits import fixed
from reviewkit.model.finding import Conditions
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.targets import FM_S, file_of, seconds_of
from reviewkit.model.unstated_conditions import RADIO
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.equalisation import equalisation_db


def with_target(sheet: Sheet, c: Conditions) -> tuple[Sheet, Array | None]:
    """Return a sweep as far as its target reaches, and the target at its frequencies.

    Parameters
    ----------
    sheet : Sheet
        The sweep.
    c : Conditions
        Its conditions, with a target; `reference` is its file, if it has one.

    Returns
    -------
    tuple[Sheet, Array | None]
        The sweep, and the target in dB, shape (n,), relative to anything; None of the target "flat".

    Raises
    ------
    InputError
        If the target's file hasn't one column of levels, or covers nothing of the sweep.
    """
    frequency_hz, seconds = sheet.need("frequency").values, seconds_of(c.measurement.target)
    if seconds:
        return sheet, equalisation_db(frequency_hz, seconds)
    if not file_of(c.measurement.target) or c.reference is None:
        return sheet, None
    columns, its_hz = sweeps.levels_of(c.reference), c.reference.need("frequency").values
    if len(columns) != 1:
        raise c.fault(f'target = "{c.measurement.target}" has {len(columns)} columns of levels; keep one')
    inside = (frequency_hz >= its_hz[0] / (1 + sweeps.EDGE)) & (frequency_hz <= its_hz[-1] * (1 + sweeps.EDGE))
    if inside.sum() < 2:
        raise c.fault(f'target = "{c.measurement.target}" covers nothing of the sweep; use a curve of its frequencies')
    part = tuple(replace(each, values=read_only(each.values[inside])) for each in sheet.columns)
    target_db = curves.values_at(its_hz, relative_db(columns[0].values, columns[0].unit), frequency_hz[inside])
    return replace(sheet, columns=part), target_db


def is_fm(c: Conditions) -> bool:
    """Return whether a response is that of FM, whose signal may have a pre-emphasis."""
    input_ = c.measurement.input.upper()
    return input_ == "FM" or (c.gear is not None and c.gear.types[0] == "tuner" and input_ not in RADIO)


def refuse_misread(
    sheet: Sheet, c: Conditions, column: Column, target_db: Array | None, to_hz: float | tuple[float, float]
) -> None:
    """Refuse a level response that is compared with time constants, and one of FM that falls as its de-emphasis does.

    Parameters
    ----------
    sheet : Sheet
        The sweep.
    c : Conditions
        Its conditions.
    column : Column
        The level of one channel.
    target_db : Array | None
        Its target in dB, shape (n,), if it has one.
    to_hz : float or (float, float)
        What it is relative to, Hz.

    Raises
    ------
    InputError
        If the file evidently is of the other sort; the message says what to write.
    """
    frequency_hz, level_db = sheet.need("frequency").values, relative_db(column.values, column.unit)
    plain = sweeps.relative(frequency_hz, level_db, to_hz)
    written = f'{sheet.source}, column "{column.header}", '
    if target_db is not None and seconds_of(c.measurement.target):
        followed = sweeps.relative(frequency_hz, level_db - target_db, to_hz)
        if off_db := sweeps.misread_by(frequency_hz, followed, plain):
            why = f'is {fixed(off_db, 0)} dB off target = "{c.measurement.target}" but near level, as a response to a'
            raise c.fault(f"{written}{why} signal with that curve is; leave target out")
    elif not c.measurement.target:
        for seconds in FM_S:
            followed = sweeps.relative(frequency_hz, level_db - equalisation_db(frequency_hz, (seconds,)), to_hz)
            if sweeps.misread_by(frequency_hz, plain, followed):
                why = "falls as a de-emphasis does, so that the signal had no pre-emphasis"
                remedy = 'write target = "50 µs" or "75 µs", or target = "flat" if it had one'
                raise c.fault(f"{written}{why}; {remedy}")
