"""Checklists: what to record while the unit is as it came in, and the readings that decide whether it gets power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.finding import Run
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.safety_readings import (
    BIAS,
    GOOD,
    OFFSET,
    RAILS,
    STATES,
    PointReading,
    is_passed,
    last_verdicts,
    readings_of,
)

# the sheet's lines and the gate's, in the order in which they are done; their wording is in templates/words/plan.j2
AS_IT_CAME = (
    *("outside", "serial", "story", "controls", "fuses", "discharged", "inside", "marks", "trimmers", "ohms"),
    *("readings-before", "measurements-before"),
)
GATE = (
    *("limited", "no-loudspeaker", "dark"),
    *("rails", "offset-cold", "bias-cold", "full-mains", "offset-warm", "bias-warm", "after-repair"),
)
_READ = (RAILS, OFFSET, BIAS)


@dataclass(frozen=True)
class Check:
    """A line with a box to tick.

    Attributes
    ----------
    readings
        What the session has for it.
    done
        True if it has everything that the line asks for.
    bad
        True if the last reading of some point isn't OK.
    """

    name: str
    readings: tuple[PointReading, ...] = ()
    done: bool = False
    files: tuple[str, ...] = ()
    bad: bool = False


def incoming_checks(repair: Sequence[RepairRow], runs: Sequence[Run], *, repaired: bool) -> tuple[Check, ...]:
    """Return the checklist to complete before anything is changed.

    `repaired`: False if nothing was repaired, so that every reading is as it came in.
    """
    readings = [reading for key in _READ for reading in readings_of(key, repair, runs)]
    rows = tuple(reading for reading in readings if reading.before or not repaired)
    files = [run.conditions.measurement.id for run in runs if run.conditions.measurement.stage == "before"]
    known = {
        "readings-before": Check("readings-before", rows, bool(rows)),
        "measurements-before": Check("measurements-before", done=bool(files), files=tuple(files)),
    }
    return tuple(known.get(name, Check(name)) for name in AS_IT_CAME)


def gate_checks(repair: Sequence[RepairRow], runs: Sequence[Run]) -> tuple[Check, ...]:
    """Return the go/no-go lines.

    A line is done if both channels were read and the last reading of neither is bad.
    """
    return tuple(_gate_check(name, repair, runs) for name in GATE)


def _gate_check(name: str, repair: Sequence[RepairRow], runs: Sequence[Run]) -> Check:
    key, _, state = name.partition("-")
    if key not in _READ:
        return Check(name)
    readings = [reading for reading in readings_of(key, repair, runs) if not reading.before]
    if state:
        # a reading that says neither cold nor warm ticks neither line; a bad one stops at both
        readings = [r for r in readings if state in r.words or (not STATES & r.words and r.verdict not in GOOD)]
    bad = any(verdict not in GOOD for verdict in last_verdicts(readings).values())
    return Check(name, tuple(readings), is_passed(readings), bad=bad)
