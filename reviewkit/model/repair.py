"""The test points of the repair."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RepairRow:
    """One row of repair.csv. Numbers are None if the cell is blank or a word (`open`, `short`)."""

    point: str
    expected: float | None
    expected_text: str  # as written, with its unit: "0.38 V", "" where blank
    found: float | None
    found_text: str  # "open", "short", or the number with its unit
    unit: str
    tolerance: float | None  # absolute, in `unit`; a percentage is of `expected`
    tolerance_text: str
    action: str
    note: str
    line: int = 0
    after: float | None = None  # read once the repair was done
    after_text: str = ""
    say: str = ""  # what the point is called on camera
