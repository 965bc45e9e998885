"""The readings that decide whether a unit gets power or goes back: rails, DC offset, bias, leakage; go or no-go."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.measure.kinds import KINDS
from reviewkit.model import quantities
from reviewkit.model.finding import Finding, Run
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.repair_points import AS_FOUND, OK, OUT, is_no_go, point_verdict, reading_after

RAILS, OFFSET, BIAS, LEAKAGE = "rails", "offset", "bias", "leakage"
GOOD = ("", OK)
STATES = frozenset({"cold", "warm"})
_WORDS = {
    RAILS: re.compile(r"\brails?\b|\bsupply\b|\bsupplies\b", re.IGNORECASE),
    OFFSET: re.compile(r"\boffset\b", re.IGNORECASE),
    BIAS: re.compile(
        r"\bbias(?! (?:frequency|oscillator|trap|trimmer|resistor|spreader|transistor|diode|pot))\b|\bidle current\b",
        re.IGNORECASE,
    ),
    # from exposed metal, not of a capacitor or a transistor
    LEAKAGE: re.compile(r"^(?=.*\bleakage\b)(?=.*\b(?:plug|metal|chassis|mains|earth|enclosure)\b)", re.IGNORECASE),
}
_SIDE = re.compile(r"\b(L|R|left|right)\b")
_BOTH_WAYS = re.compile(r"\bboth\b", re.IGNORECASE)


@dataclass(frozen=True)
class PointReading:
    """A reading of a point.

    Attributes
    ----------
    verdict
        "OK", "out of tolerance", "open", "short", or "" without one.
    before
        True if it is as found.
    words
        "cold" or "warm", if its row says so.
    note
        As written next to it.
    """

    point: str
    shown: str
    verdict: str = ""
    before: bool = False
    words: frozenset[str] = frozenset()
    note: str = ""

    @property
    def side(self) -> str:
        """Return the channel; a point without one is its own side, so that each rail counts."""
        return side_of(self.point)


def readings_of(key: str, repair: Sequence[RepairRow], runs: Sequence[Run]) -> list[PointReading]:
    """Return the readings of one thing, in repair.csv and by meter, in order."""
    readings = []
    for row in repair:
        if not _WORDS[key].search(row.point):
            continue
        words = _temperature_states(f"{row.point} {row.note}")
        if row.found_text:
            before = bool(AS_FOUND.search(row.point)) or bool(row.after_text)
            verdict = point_verdict(row) or (OUT if is_no_go(row) else "")
            readings.append(PointReading(row.point, row.found_text, verdict, before, words, row.note))
        if row.after_text:
            shown, verdict = reading_after(row, repair)
            readings.append(PointReading(row.point, shown, verdict, False, words, row.note))
    for run in runs:
        stage = run.conditions.measurement.stage
        for f in run.findings:
            if KINDS[f.kind].by_meter and _concerns(f, key) and stage != "bench":
                name = f"{quantities.quantity_of(f).name} {f.channel}".strip()
                setting = str(f.at.get("setting", ""))
                point, words = f"{name}, {setting}" if setting else name, _temperature_states(setting)
                readings.append(PointReading(point, quantities.show(f), "", stage == "before", words, f.note))
    return readings


def is_about(key: str, row: RepairRow, state: str = "") -> bool:
    """Return whether a row of repair.csv is one of the readings that decide on go or no-go, cold or warm.

    A row that says neither is about both.
    """
    words = _temperature_states(f"{row.point} {row.note}")
    return bool(_WORDS[key].search(row.point)) and not AS_FOUND.search(row.point) and (not state or words <= {state})


def side_of(point: str) -> str:
    """Return the channel of a point; a point without one is its own side, so that each rail counts."""
    match = _SIDE.search(point)
    return match[1][0].upper() if match else point


def last_verdicts(readings: Sequence[PointReading]) -> dict[str, str]:
    """Return the last verdict of each channel or point; a reading without one can't override a bad one."""
    last: dict[str, str] = {}
    for reading in readings:
        last[reading.side] = reading.verdict or last.get(reading.side, "")
    return last


def bad_readings(readings: Sequence[PointReading]) -> tuple[PointReading, ...]:
    """Return the last reading with a verdict of each channel or point that isn't OK."""
    last = {reading.side: reading for reading in readings if reading.verdict}
    return tuple(reading for reading in last.values() if reading.verdict not in GOOD)


def is_passed(readings: Sequence[PointReading]) -> bool:
    """Return whether readings of one thing let a unit go on: both channels were read, and the last of none is bad."""
    last = last_verdicts(readings)
    one_side = len({"L", "R"} & set(last)) == 1
    return bool(last) and not one_side and all(verdict in GOOD for verdict in last.values())


def is_leakage_passed(readings: Sequence[PointReading]) -> bool:
    """Return whether leakage was read with the plug both ways round and is OK."""
    ways = sum(2 if _BOTH_WAYS.search(f"{reading.point} {reading.note}") else 1 for reading in readings)
    return ways >= 2 and all(reading.verdict == OK for reading in readings)


def _temperature_states(text: str) -> frozenset[str]:
    return frozenset(state for state in STATES if re.search(rf"\b{state}\b", text, re.IGNORECASE))


def _concerns(f: Finding, key: str) -> bool:
    return bool(_WORDS[key].search(f.quantity.replace("_", " ")))
