"""The results of one measured file. Other processes make them, so this module imports no more than that takes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit.build.plain_data import to_text
from reviewkit.ingest.measurement_file import read_measurement
from reviewkit.measure.kinds import KINDS
from reviewkit.measure.unread import find_unread, mark_unread
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Conditions
from reviewkit.model.session import Measurement
from reviewkit.model.sheet import NO_FILE
from reviewkit.model.targets import file_of


@dataclass(frozen=True)
class Unusable:
    """The reasons why a measurement has no figures. `unread`: its file can't be read at all."""

    faults: tuple[Fault, ...]
    unread: bool


def measure_file(folder: Path, conditions: Conditions, reference: Measurement | None) -> str | Unusable:
    """Return a measurement's results as text, in the form in which they are stored.

    New results are decoded from the same text, so a cached one can't differ. `reference`: the measurement that its
    `against` names, or its target's file as one.
    """
    m, kind = conditions.measurement, KINDS[conditions.measurement.kind]
    try:
        sheet = read_measurement(folder, m, kind)
    except InputError as error:
        return Unusable(tuple(error.faults), unread=True)
    try:
        other = read_measurement(folder, reference, KINDS[reference.kind]) if reference else None
    except InputError as error:
        # the file of a target has no measurement of its own to report it
        return Unusable(tuple(error.faults), unread=bool(file_of(m.target)))
    try:
        measured = kind.findings(sheet or NO_FILE, replace(conditions, reference=other))
        unread = [part for each in (sheet, other) if each is not None for part in find_unread(each, conditions)]
        return to_text(mark_unread(measured, unread) if unread else measured)
    except InputError as error:
        return Unusable(tuple(error.faults), unread=False)
