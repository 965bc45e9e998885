"""repair.csv → the reading at each test point or part, and what was done about it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from reviewkit.ingest.delimited import Delimited, NamedRow, named_rows, parse_delimited
from reviewkit.ingest.plain_text import read_text
from reviewkit.model.digits import MINUS
from reviewkit.model.errors import Faults
from reviewkit.model.repair import RepairRow
from reviewkit.model.units import UnitSpelling, canonical, normalised, single_unit

FILE_NAME = "repair.csv"
COLUMNS = ("point", "expected", "found", "unit", "tolerance", "action", "after", "say", "note")
WORDS = ("open", "short")
_NUMBER = re.compile(r"([+-]?)((?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})(?:[eE][+-]?\d{1,2})?)\s*(.*)")


@dataclass(frozen=True)
class _Reading:
    """A cell: the number as written (true minus), its value in the cell's own unit, and that unit ("" if none)."""

    digits: str
    value: float
    unit: str

    def show(self, unit: str) -> str:
        return f"{self.digits} {self.unit or unit}".strip()


def read_repair(path: Path) -> tuple[RepairRow, ...]:
    """Return the rows of a repair.csv, as `parse_repair` does.

    Raises
    ------
    InputError
        The file cannot be read, or a row of it is wrong.
    """
    return parse_repair(read_text(path, FILE_NAME, western=True))


def parse_repair(text: str) -> tuple[RepairRow, ...]:
    """Return the rows of a text, in its order; numbers are in the row's unit, texts are ready to be shown.

    Raises
    ------
    InputError
        With every column that is not known and every cell that cannot be read.
    """
    faults = Faults(FILE_NAME)
    table = parse_delimited(text, faults, example=",".join(COLUMNS))
    rows = [_RepairRowParser(row, table).read() for row in named_rows(table, COLUMNS, ("point",), faults)]
    faults.stop_if_any(by_line=True)
    return tuple(rows)


class _RepairRowParser:
    """One row while it is read."""

    def __init__(self, row: NamedRow, table: Delimited) -> None:
        self.cells = row.cells
        self.line = row.line
        self.fault = row.fault
        self.table = table

    def read(self) -> RepairRow:
        if not self.cells["point"]:
            self.fault("the row names no point; write which test point or part it is about")
        expected, found, after = (self._read_cell(column) for column in ("expected", "found", "after"))
        unit = self._read_unit(expected, found, after)
        expected_value = self._convert("expected", expected, unit)
        tolerance, tolerance_text = self._read_tolerance(expected_value, unit)
        return RepairRow(
            point=self.cells["point"],
            expected=expected_value,
            expected_text=self._show(expected, unit),
            found=self._convert("found", found, unit),
            found_text=self._show(found, unit),
            unit=unit,
            tolerance=tolerance,
            tolerance_text=tolerance_text,
            action=self.cells["action"],
            note=self.cells["note"],
            line=self.line,
            after=self._convert("after", after, unit),
            after_text=self._show(after, unit),
            say=self.cells["say"],
        )

    def _read_unit(self, *readings: _Reading | str | None) -> str:
        """Return the row's unit: its own cell's, else the one that the first reading brings."""
        written = self.cells["unit"]
        if written:
            if single_unit(written) is None:
                self.fault(f'the unit "{written[:20]}" is not known; write for example V, mV, ohm, mA or uF')
            return canonical(written)
        return next((one.unit for one in readings if isinstance(one, _Reading) and one.unit), "")

    def _read_cell(self, column: str) -> _Reading | str | None:
        """Return a cell as a number, as one of the words, or None if it is blank or wrong."""
        cell = self.cells[column]
        if not cell:
            return None
        if cell.casefold() in WORDS:
            return cell.casefold()
        return self._read_number(column, cell, 'write a number such as 0.38, or "open" or "short"')

    def _read_number(self, column: str, cell: str, remedy: str) -> _Reading | None:
        try:
            text = self.table.with_points(normalised(cell))
        except ValueError as error:
            self.fault(f"{column} {error}")
            return None
        match = _NUMBER.fullmatch(text)
        if not match:
            self.fault(f'{column} "{cell[:40]}" is not a reading; {remedy}')
            return None
        sign, digits, unit = match.groups()
        if unit and single_unit(unit) is None:
            self.fault(f'{column} "{cell[:40]}": the unit "{unit[:20]}" is not known; write for example V, ohm or uF')
            return None
        return _Reading((MINUS if sign == "-" else "") + digits, float(sign + digits), canonical(unit) if unit else "")

    def _convert(self, column: str, reading: _Reading | str | None, unit: str) -> float | None:
        if not isinstance(reading, _Reading):
            return None
        own, row = single_unit(reading.unit), single_unit(unit)
        if not reading.unit or reading.unit == unit or own is None or row is None:
            return reading.value
        if own.base != row.base:
            message = f'{column} "{self.cells[column]}" is in {reading.unit} where the row is in {unit}'
            self.fault(f"{message}; write it in {unit}, or correct the unit")
            return None
        return convert(reading.value, own, row)

    def _show(self, reading: _Reading | str | None, unit: str) -> str:
        return reading.show(unit) if isinstance(reading, _Reading) else reading or ""

    def _read_tolerance(self, expected: float | None, unit: str) -> tuple[float | None, str]:
        """Return the tolerance in the row's unit; a percentage is relative to the expected value."""
        cell = self.cells["tolerance"]
        if not cell:
            return None, ""
        bare = re.sub(r"^\s*(?:±|\+/-|\+-)\s*", "", cell)
        reading = self._read_number("tolerance", bare, 'write for example "5 %" or "0.3 V"')
        if reading is None:
            return None, ""
        shown = reading.show(unit)
        if reading.value < 0:
            self.fault(f'tolerance "{cell}" is negative; write how far off is still good, for example "5 %"')
        elif reading.unit == "%":
            if expected == 0:
                self.fault(f'tolerance "{cell}" of an expected 0 is nothing; write it in the row\'s unit')
            return (None if expected is None else abs(expected) * reading.value / 100), shown
        elif reading.unit and not unit:
            self.fault(f'tolerance "{cell}" has a unit, but the row has none; write the unit in its column')
        else:
            return self._convert("tolerance", reading, unit), shown
        return None, shown


def convert(value: float, own: UnitSpelling, wanted: UnitSpelling) -> float:
    """Return a value in one unit of a family as a value in another one: 380 mV is 0.38 V."""
    # rounded, because a ratio such as 1e-6 / 1e-9 is not quite 1000 in binary
    if own.factor >= wanted.factor:
        return value * round(own.factor / wanted.factor, 9)
    return value / round(wanted.factor / own.factor, 9)
