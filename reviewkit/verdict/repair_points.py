"""The test points of a repair: which are OK, which were worked on, what they read before and after it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reviewkit.model.repair import RepairRow

OK, OUT, OPEN, SHORT = "OK", "out of tolerance", "open", "short"
NOTHING_DONE = ("", "none", "go", "no-go")
READINGS, SETTINGS = "readings", "settings"  # kinds of work with the power on
AS_FOUND = re.compile(r"\bbefore\b|\bas found\b", re.IGNORECASE)  # in a point's name
_AFTER = re.compile(r"\bafter\b", re.IGNORECASE)
TRACED = re.compile(r"traced to (.+)", re.IGNORECASE)  # an action
_ADJUSTED = re.compile(r"\b(?:re)?-?(?:adjust|align|calibrat|set\b|trimmed)", re.IGNORECASE)  # in an action
_STAGE = re.compile(r"[\s,(]*\b(?:before|as found|after|cold|warm|again)\b[\s,)]*", re.IGNORECASE)


def point_verdict(row: RepairRow) -> str:
    """Return "OK", "out of tolerance", "open" or "short" of what was found; "" if the row doesn't say enough."""
    return _verdict(row, row.found, row.found_text)


def _verdict(row: RepairRow, value: float | None, text: str) -> str:
    if text in (OPEN, SHORT):
        return OK if row.expected_text == text else text
    if value is None or row.expected is None or row.tolerance is None:
        return ""
    # a reading exactly on the tolerance is good; 1e-9 allows for the binary rounding of decimal cells
    off = abs(value - row.expected)
    return OK if off <= row.tolerance * (1 + 1e-9) + 1e-12 else OUT


def point_word(row: RepairRow) -> str:
    """Return a point's verdict in a word or two: "OK", "too low", "too high", "open", "shorted", or ""."""
    verdict = point_verdict(row)
    if verdict == SHORT:
        return "shorted"
    if verdict != OUT or row.found is None or row.expected is None:
        return verdict
    # of a negative rail, less is nearer to zero
    sign = -1 if row.expected < 0 else 1
    return "too low" if sign * row.found < sign * row.expected else "too high"


def was_worked_on(row: RepairRow) -> bool:
    """Return whether something was done at this point: a part replaced, a trimmer set."""
    return row.action.lower() not in NOTHING_DONE


def kinds_of_work(rows: Sequence[RepairRow]) -> tuple[str, ...]:
    """Return what a repair had to be done live: READINGS if any was taken, SETTINGS if any part was adjusted."""
    read, adjusted = any(row.found_text for row in rows), any(_ADJUSTED.search(row.action) for row in rows)
    return (*((READINGS,) if read else ()), *((SETTINGS,) if adjusted else ()))


def is_no_go(row: RepairRow) -> bool:
    """Return whether a reading meant that the unit got no power."""
    return row.action.lower() == "no-go"


def is_after_repair(row: RepairRow) -> bool:
    """Return whether a row was read after the repair: its point's name says so, or it decided on go or no-go."""
    gate = row.action.lower() in ("go", "no-go")
    return (gate or bool(_AFTER.search(row.point))) and not AS_FOUND.search(row.point)


def is_before_repair(row: RepairRow) -> bool:
    """Return whether a row was read before the repair: its name says so, something was done, or it was read again."""
    return was_worked_on(row) or bool(AS_FOUND.search(row.point)) or bool(row.after_text)


def point_name(row: RepairRow) -> str:
    """Return what a point is called without the stage it was read at: "Bias R" of "Bias R, after, warm"."""
    return " ".join(_STAGE.sub(" ", row.point).split()) or row.point


def reading_after(row: RepairRow, rows: Sequence[RepairRow]) -> tuple[str, str]:
    """Return what a point reads after the repair, and its verdict.

    It is in the row's own `after`, else in the last row of that point read after the repair; ("", "") without either.
    """
    if row.after_text:
        return row.after_text, _verdict(row, row.after, row.after_text)
    name = point_name(row).casefold()
    later = [r for r in rows if is_after_repair(r) and point_name(r).casefold() == name and r.found_text]
    return (later[-1].found_text, point_verdict(later[-1])) if later else ("", "")
