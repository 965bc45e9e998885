"""The hunt and the fix: which readings led to the failed part, and what they are after the repair."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reviewkit.episode.outcome import faulty_points
from reviewkit.episode.wording import lower_first
from reviewkit.model.card import Card, Fix, Hunt, HuntReading
from reviewkit.model.finding import Point
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.repair_points import (
    OK,
    TRACED,
    is_after_repair,
    point_name,
    point_verdict,
    point_word,
    reading_after,
    was_worked_on,
)

_MOST, _MOST_OK = 4, 2  # readings before the part; those of them that are OK
_PLURAL = re.compile(r"[^aisu]s\b")  # "emitter resistors", but not "bias"


def make_hunt_card(repair: Sequence[RepairRow]) -> Card | None:
    """Make the card of the readings that narrow down to the failed part; None if none was out of tolerance."""
    chain = _chain(repair)
    if not chain:
        return None
    part = chain[-1]
    out = [row for row in chain[:-1] if _leads_on(row)]
    if len(out) > _MOST:
        out = [out[0], *out[-(_MOST - 1) :]]
    fine = _fine_before(repair, chain[0]) if out else []  # with no step in between, nothing narrows
    kept = fine[: min(_MOST_OK, _MOST - len(out))]
    shown = [*(_reading(row) for row in kept), *(_reading(row) for row in out)]
    named = _reading(part)
    body = Hunt(tuple(shown), named)
    name = part.point.split(",")[0]
    facts = {"part": name, "the_part": _with_article(name), "word": named.word}
    when = () if all(_leads_on(row) for row in repair) else ("before the repair",)
    return Card("hunt", "", when, body, stage="The hunt", finding=Point("cards", "hunt", facts))


def _chain(repair: Sequence[RepairRow]) -> list[RepairRow]:
    """Return the points out of tolerance as found, up to the failed part: of those that were worked on, the last one
    that another was traced to, else the last one.
    """
    faults = faulty_points(repair)
    parts = [row for row in faults if was_worked_on(row) or point_verdict(row) in ("open", "short")]
    traced = {word for row in faults for word in _words(TRACED.sub(r"\1", row.action)) if TRACED.match(row.action)}
    parts = [row for row in parts if traced & _words(row.point)] or parts
    return faults[: faults.index(parts[-1]) + 1] if parts else faults


def _words(text: str) -> set[str]:
    return set(re.findall(r"\w{2,}", text.lower())) - {"the", "left", "right"}


def _leads_on(row: RepairRow) -> bool:
    """Return whether a point led to the next one; one that was mended itself is another fault, not a step to this."""
    return not was_worked_on(row) or row.action.lower().startswith("traced")


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
    readings = {row.line: _read_again(row, repair) for row in again}
    off = [row for row in again if readings[row.line].out]
    shown, *others = [*off, *(row for row in again if row not in off)]
    reading = readings[shown.line]
    back = all(each.word == OK for each in readings.values())
    # a fault of its own that is right again is no part of this story
    still = [point_name(row).split(",")[0] for row in others if row in off or (not off and _leads_on(row))]
    line = _others(still, off=bool(off)) if off or back else ""
    body = Fix(point_name(part).split(",")[0], part.action, reading, _shown(shown), line)
    facts = {"back": back, "off": len(off), "part": _subject(reading.point.split(",")[0])}
    return Card("fix", "", (), body, stage="The repair", finding=Point("cards", "fix", facts))


def _read_again(row: RepairRow, repair: Sequence[RepairRow]) -> HuntReading:
    text, verdict = reading_after(row, repair)
    return HuntReading(point_name(row), row.expected_text, text, verdict, verdict not in ("", OK))


def _subject(name: str) -> str:
    """Return a part as a sentence begins with it: "The decoder", "Q12"; "" of several."""
    part = _with_article(name)
    return "" if _PLURAL.search(name) else f"{part[0].upper()}{part[1:]}"


def _with_article(name: str) -> str:
    """Return a part as it is named within a sentence: "the decoder", "Q12"."""
    return name if re.fullmatch(r"\S*\d\S*", name) else f"the {lower_first(name)}"


def _others(names: Sequence[str], *, off: bool) -> str:
    """Return what is said of the others: that they read right again, or that they don't, either."""
    if not names:
        return ""
    who = names[0] if len(names) == 1 else f"{len(names)} others"
    one = len(names) == 1 and not _PLURAL.search(who)
    if off:
        return f"{who} {'does not' if one else 'do not'}, either"
    return f"{who} {'was off, too, and reads' if one else 'were off, too, and read'} right again"
