"""Checklists: what to record while the unit is as it came in, and the readings that decide whether it gets power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.finding import Run
from reviewkit.model.gear import Gear
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.safety_readings import (
    BIAS,
    GOOD,
    LEAKAGE,
    OFFSET,
    RAILS,
    STATES,
    PointReading,
    bad_readings,
    is_leakage_passed,
    is_passed,
    readings_of,
)

# the sheet's lines and the gate's, in the order in which they are done; their wording is in templates/words/plan.j2
AS_IT_CAME = (
    *("outside", "serial", "story", "controls", "discharged", "fuses", "inside", "marks", "trimmers", "ohms"),
    *("readings-before", "measurements-before"),
)
GATE = (
    *("switch-on", "no-loudspeaker", "limited", "dark"),
    *("rails", "offset-cold", "bias-cold", "full-mains", "offset-warm", "bias-warm", "after-repair"),
)
DRIVEN_GATE = ("amplifier-offset", "low-level")  # of a loudspeaker: what drives it is what can harm it
_OF_MAINS = ("controls", "discharged", "fuses", "trimmers", "readings-before")
RETURN = ("leakage",)  # before it goes back
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
    stops
        The readings that are a no-go.
    """

    name: str
    readings: tuple[PointReading, ...] = ()
    done: bool = False
    files: tuple[str, ...] = ()
    stops: tuple[PointReading, ...] = ()


def incoming_checks(
    repair: Sequence[RepairRow], runs: Sequence[Run], gear: Gear | None = None, *, repaired: bool
) -> tuple[Check, ...]:
    """Return the checklist to complete before anything is changed.

    `repaired`: False if nothing was repaired, so that every reading is as it came in. `gear`: of no type, all lines.
    """
    readings = [reading for key in _READ for reading in readings_of(key, repair, runs)]
    rows = tuple(reading for reading in readings if reading.before or not repaired)
    files = [run.conditions.measurement.id for run in runs if run.conditions.measurement.stage == "before"]
    known = {
        "readings-before": Check("readings-before", rows, bool(rows)),
        "measurements-before": Check("measurements-before", done=bool(files), files=tuple(files)),
    }
    left_out = () if gear is None or gear.mains else _OF_MAINS
    return tuple(known.get(name, Check(name)) for name in AS_IT_CAME if name not in left_out)


def gate_checks(repair: Sequence[RepairRow], runs: Sequence[Run], gear: Gear | None = None) -> tuple[Check, ...]:
    """Return the go/no-go lines that this type of gear needs; of no type, all.

    A line is done if both channels were read and the last reading of neither is bad.
    """
    return tuple(_gate_check(name, repair, runs) for name in gate_of(gear))


def gate_of(gear: Gear | None) -> tuple[str, ...]:
    """Return the names of the go/no-go lines of a type of gear."""
    if gear is None:
        return GATE
    if not gear.mains:
        return DRIVEN_GATE
    left_out = {
        *(() if gear.loads else ("no-loudspeaker",)),
        *(() if gear.offset else ("offset-cold", "offset-warm")),
        *(() if gear.bias else ("bias-cold", "bias-warm")),
    }
    return tuple(name for name in GATE if name not in left_out)


def _gate_check(name: str, repair: Sequence[RepairRow], runs: Sequence[Run]) -> Check:
    key, _, state = name.partition("-")
    if key not in _READ:
        return Check(name)
    readings = [reading for reading in readings_of(key, repair, runs) if not reading.before]
    if state:
        # a reading that says neither cold nor warm ticks neither line; a bad one stops at both
        readings = [r for r in readings if state in r.words or (not STATES & r.words and r.verdict not in GOOD)]
    return Check(name, tuple(readings), is_passed(readings), stops=bad_readings(readings))


def return_checks(repair: Sequence[RepairRow], runs: Sequence[Run], gear: Gear | None = None) -> tuple[Check, ...]:
    """Return the lines to complete before the unit goes back: none without a mains plug."""
    if gear is not None and not gear.mains:
        return ()
    readings = tuple(reading for reading in readings_of(LEAKAGE, repair, runs) if not reading.before)
    return tuple(Check(name, readings, is_leakage_passed(readings), stops=bad_readings(readings)) for name in RETURN)
