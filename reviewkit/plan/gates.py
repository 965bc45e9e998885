"""Checklists: what to record while the unit is as it came in, and the readings that decide whether it gets power."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model import quantities
from reviewkit.model.finding import Finding, Run
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.repair_points import AS_FOUND, point_verdict

# the sheet's lines and the gate's, in the order in which they are done; their wording is in templates/words/plan.j2
AS_IT_CAME = (
    *("outside", "serial", "story", "controls", "fuses", "discharged", "inside", "marks", "trimmers", "ohms"),
    *("readings-before", "measurements-before"),
)
GATE = (
    *("limited", "no-loudspeaker", "dark"),
    *("rails", "offset-cold", "bias-cold", "full-mains", "offset-warm", "bias-warm", "after-repair"),
)
_WORDS = {
    "rails": re.compile(r"\brails?\b|\bsupply\b|\bsupplies\b", re.IGNORECASE),
    "offset": re.compile(r"\boffset\b", re.IGNORECASE),
    "bias": re.compile(
        r"\bbias(?! (?:trimmer|resistor|spreader|transistor|diode|pot))\b|\bidle current\b", re.IGNORECASE
    ),
}
_SIDE = re.compile(r"\b(L|R|left|right)\b")
_STATES = frozenset({"cold", "warm"})
GOOD = ("", "in order")


@dataclass(frozen=True)
class PointReading:
    """A reading of a point: where it was read, what it was, how it is judged."""

    point: str
    shown: str
    verdict: str = ""  # "in order", "out of tolerance", "open", "short", or "" without a verdict


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
        True if the last reading of some point isn't in order.
    """

    name: str
    readings: tuple[PointReading, ...] = ()
    done: bool = False
    files: tuple[str, ...] = ()
    bad: bool = False


@dataclass(frozen=True)
class _TaggedReading:
    reading: PointReading
    before: bool
    words: frozenset[str]  # "cold" or "warm", if the row says so


def incoming_checks(repair: Sequence[RepairRow], runs: Sequence[Run], *, repaired: bool) -> tuple[Check, ...]:
    """Return the checklist to complete before anything is changed.

    `repaired`: False if nothing was repaired, so that every reading is as it came in.
    """
    said = [said for key in _WORDS for said in _tagged_readings(key, repair, runs)]
    rows = tuple(one.reading for one in said if one.before or not repaired)
    files = [run.conditions.measurement.id for run in runs if run.conditions.measurement.stage == "before"]
    held = {
        "readings-before": Check("readings-before", rows, bool(rows)),
        "measurements-before": Check("measurements-before", done=bool(files), files=tuple(files)),
    }
    return tuple(held.get(name, Check(name)) for name in AS_IT_CAME)


def gate_checks(repair: Sequence[RepairRow], runs: Sequence[Run]) -> tuple[Check, ...]:
    """Return the go/no-go lines.

    A line is done if both channels were read and the last reading of neither is bad.
    """
    return tuple(_gate_check(name, repair, runs) for name in GATE)


def _gate_check(name: str, repair: Sequence[RepairRow], runs: Sequence[Run]) -> Check:
    key, _, state = name.partition("-")
    if key not in _WORDS:
        return Check(name)
    held = [said for said in _tagged_readings(key, repair, runs) if not said.before]
    if state:
        # a reading that says neither cold nor warm ticks neither line; a bad one stops at both
        held = [s for s in held if state in s.words or (not _STATES & s.words and s.reading.verdict not in GOOD)]
    readings = tuple(said.reading for said in held)
    last: dict[str, str] = {}
    for reading in readings:
        side = _side(reading.point)
        # a reading without a verdict can't override a bad one
        last[side] = reading.verdict or last.get(side, "")
    bad = any(verdict not in GOOD for verdict in last.values())
    one_side = len({"L", "R"} & set(last)) == 1
    return Check(name, readings, bool(last) and not bad and not one_side, bad=bad)


def _side(point: str) -> str:
    """Return the channel of a point; a point without one is its own side, so that each rail counts."""
    found = _SIDE.search(point)
    return found[1][0].upper() if found else point


def _tagged_readings(key: str, repair: Sequence[RepairRow], runs: Sequence[Run]) -> list[_TaggedReading]:
    """Return the rows of repair.csv and the meter readings about one thing, in order."""
    said = []
    for row in repair:
        if _WORDS[key].search(row.point) and row.found_text:
            reading = PointReading(row.point, row.found_text, point_verdict(row))
            said.append(
                _TaggedReading(
                    reading, bool(AS_FOUND.search(row.point)), _temperature_states(f"{row.point} {row.note}")
                )
            )
    for run in runs:
        stage = run.conditions.measurement.stage
        for f in run.findings:
            if f.kind == "reading" and _concerns(f, key) and stage != "bench":
                name = f"{quantities.quantity_of(f).name} {f.channel}".strip()
                setting = str(f.at.get("setting", ""))
                point = f"{name}, {setting}" if setting else name
                said.append(
                    _TaggedReading(
                        PointReading(point, quantities.show(f)), stage == "before", _temperature_states(setting)
                    )
                )
    return said


def _temperature_states(text: str) -> frozenset[str]:
    return frozenset(state for state in _STATES if re.search(rf"\b{state}\b", text, re.IGNORECASE))


def _concerns(f: Finding, key: str) -> bool:
    return bool(_WORDS[key].search(f.quantity.replace("_", " ")))
