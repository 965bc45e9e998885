"""The test points of a repair: which are OK, which were worked on, which were read before that."""

from __future__ import annotations

import re

from reviewkit.model.repair import RepairRow

_NOTHING_DONE = ("", "none", "go", "no-go")
AS_FOUND = re.compile(r"\bbefore\b|\bas found\b", re.IGNORECASE)  # in a point's name


def point_verdict(row: RepairRow) -> str:
    """Return "in order", "out of tolerance", "open" or "short"; "" if the row doesn't say enough."""
    if row.found_text in ("open", "short"):
        return "in order" if row.expected_text == row.found_text else row.found_text
    if row.found is None or row.expected is None or row.tolerance is None:
        return ""
    # a reading exactly on the tolerance is good; 1e-9 allows for the binary rounding of decimal cells
    off = abs(row.found - row.expected)
    return "in order" if off <= row.tolerance * (1 + 1e-9) + 1e-12 else "out of tolerance"


def was_worked_on(row: RepairRow) -> bool:
    """Return whether something was done at this point: a part replaced, a trimmer set."""
    return row.action.lower() not in _NOTHING_DONE


def is_before_repair(row: RepairRow) -> bool:
    """Return whether a row was read before the repair: its point's name says so, or something was done about it."""
    return was_worked_on(row) or bool(AS_FOUND.search(row.point))
