"""The hunt and the fix: which readings led to the failed part, and what they are after the repair."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.episode.outcome import faulty_points
from reviewkit.model.card import Card, Fix, Hunt, HuntReading
from reviewkit.model.finding import Point
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.repair_points import (
    OK,
    is_after_repair,
    point_name,
    point_verdict,
    point_word,
    reading_after,
    was_worked_on,
)

_MOST, _MOST_OK = 4, 2  # readings before the part; those of them that are OK
_MOST_BACK = 2  # readings after the repair, if all are OK: the part, and what gave it away


def make_hunt_card(repair: Sequence[RepairRow]) -> Card | None:
    """Make the card of the readings that narrow down to the failed part; None if none was out of tolerance."""
    chain = _chain(repair)
    if not chain:
        return None
    part = chain[-1]
    out = chain[:-1]
    if len(out) > _MOST:
        out = [out[0], *out[-(_MOST - 1) :]]
    fine = _fine_before(repair, chain[0])
    kept = fine[: min(_MOST_OK, _MOST - len(out))]
    shown = [*(_reading(row) for row in kept), *(_reading(row) for row in out)]
    named = _reading(part)
    body = Hunt(tuple(shown), named)
    facts = {"part": part.point.split(",")[0], "word": named.word}
    return Card("hunt", "", (), body, stage="The hunt", finding=Point("cards", "hunt", facts))


def _chain(repair: Sequence[RepairRow]) -> list[RepairRow]:
    """Return the points out of tolerance as found, up to the failed part: the last one that was worked on."""
    faults = faulty_points(repair)
    parts = [row for row in faults if was_worked_on(row) or point_verdict(row) in ("open", "short")]
    return faults[: faults.index(parts[-1]) + 1] if parts else faults


def _fine_before(repair: Sequence[RepairRow], first: RepairRow) -> list[RepairRow]:
    """Return the first and the last point that was OK before the first one out of tolerance."""
    fine = [row for row in repair[: repair.index(first)] if point_verdict(row) == OK and not is_after_repair(row)]
    return [fine[0], fine[-1]] if len(fine) > 1 else fine


def _reading(row: RepairRow) -> HuntReading:
    word = point_word(row)
    return HuntReading(point_name(row), row.expected_text, _shown(row), word, word != OK)


def _shown(row: RepairRow) -> str:
    return "shorted" if row.found_text == "short" else row.found_text


def make_fix_card(repair: Sequence[RepairRow]) -> Card | None:
    """Make the card of what was done to the part, and the readings before and after; None without a reading after."""
    chain = _chain(repair)
    if not chain or not was_worked_on(chain[-1]):
        return None
    part = chain[-1]
    again = [row for row in (part, *chain[:-1]) if reading_after(row, repair)[0]]
    if not again:
        return None
    readings = []
    for row in again:
        text, verdict = reading_after(row, repair)
        readings.append(HuntReading(point_name(row), _shown(row), text, verdict, verdict not in ("", OK)))
    off = [reading for reading in readings if reading.word != OK]
    back = not off
    body = Fix(point_name(part).split(",")[0], part.action, tuple(off[:_MOST] or readings[:_MOST_BACK]))
    finding = Point("cards", "fix", {"back": back, "readings": len(readings)})
    return Card("fix", "", (), body, stage="The repair", finding=finding)
