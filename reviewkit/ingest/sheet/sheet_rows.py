"""Rows of text to an array, cell by cell: every odd line is known here, and told with its number."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.ingest.sheet.sheet_columns import Chosen, choose_columns
from reviewkit.ingest.sheet.sheet_layout import Layout
from reviewkit.ingest.sheet.sheet_numbers import NotANumber, decimal_mark, is_grouped, is_number, is_whole, number
from reviewkit.ingest.sheet.sheet_text import SPACES, WIDE_SPACES, NumberedLine, NumberedLines, cells_of, comment_text
from reviewkit.model.errors import Fault, Faults, shortened
from reviewkit.model.sheet import Skipped

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_SKIPPED = 0.1  # of all rows
MOST_LISTED = 1000  # of rows left out; what follows is counted
_STRETCH = 5000  # lines


@dataclass(frozen=True, eq=False)
class NumericTable:
    """`values`: shape (rows, columns read), as written, units not yet applied; `lines`: shape (rows,), line numbers."""

    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    decimal: str
    skipped: tuple[Skipped, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class ParsedRows:
    """A file read. `notes`: what the user should know about its columns; `faults`: those of its rows."""

    layout: Layout
    chosen: tuple[Chosen, ...]
    table: NumericTable
    notes: tuple[str, ...]
    faults: tuple[Fault, ...]


class RowParser:
    """The rows of one file while they are read, a stretch of lines at a time. Faults go to `faults` with their line."""

    def __init__(
        self, layout: Layout, chosen: Sequence[Chosen], decimal: str, faults: Faults, expected: int = 0
    ) -> None:
        self.layout = layout
        self.chosen = chosen
        self.decimal = decimal
        self._faults = faults
        # by columns, so that a column is no copy; what is expected and does not come is never touched
        self._values = np.empty((expected, len(chosen)), order="F")
        self._count = 0
        self._lines: list[range | NDArray[np.int64]] = []
        self._skipped: list[Skipped] = []
        self._skipped_in_all = 0
        self._last_skipped = 0
        self._headers: list[int] = []

    def add(self, columns: Sequence[NDArray[np.float64]], first: int) -> int:
        """Lines that are all rows, from line `first` on: shape (rows,) for each column chosen. Gives the next line."""
        after = first + len(columns[0])
        self._add(columns, range(first, after))
        return after

    def _add(self, columns: Sequence[NDArray[np.float64]], lines: range | NDArray[np.int64]) -> None:
        after = self._count + len(lines)
        if after > len(self._values):
            longer = np.empty((max(after, 5 * len(self._values) // 4), len(self.chosen)), order="F")
            longer[: self._count] = self._values[: self._count]
            self._values = longer
        for place, values in enumerate(columns):
            self._values[self._count : after, place] = values
        self._count = after
        self._lines.append(lines)

    def read(self, lines: Iterable[NumberedLine]) -> None:
        """Every line of a stretch, cell by cell; comments, blank lines and the header again are passed over."""
        body = _body(lines, self.layout, self._headers)
        # a stretch at a time: as lists, rows take many times the memory of the array
        while not self._faults.full and (stretch := list(islice(body, _STRETCH))):
            self._read(stretch)

    def _read(self, lines: Sequence[NumberedLine]) -> None:
        rows: list[list[float]] = []
        kept: list[int] = []
        layout, chosen, decimal = self.layout, self.chosen, self.decimal
        for place, line in lines:
            row: list[float] | Skipped | None = _plain_row(line, layout, chosen, decimal)
            row = row or _odd_row(place, line, layout, chosen, decimal, self._faults)
            if isinstance(row, Skipped):
                self._skip(row)
            elif row:
                rows.append(row)
                kept.append(place)
        values = np.array(rows, dtype=np.float64).reshape(len(kept), len(chosen))
        self._add(list(values.T), np.array(kept, dtype=np.int64))

    def _skip(self, row: Skipped) -> None:
        self._skipped_in_all += 1
        self._last_skipped = row.line
        if len(self._skipped) < MOST_LISTED:
            self._skipped.append(row)

    def table(self) -> NumericTable:
        """All rows, once the last stretch is read; more than a tenth of them left out is a fault."""
        lines = np.empty(self._count, dtype=np.int64)
        at = 0
        for part in self._lines:
            lines[at : at + len(part)] = np.arange(part.start, part.stop) if isinstance(part, range) else part
            at += len(part)
        _check_skipped(self._count, self._skipped_in_all, self._skipped, self._faults)
        more = self._skipped_in_all - len(self._skipped)
        if more:
            self._skipped.append(
                Skipped(self._last_skipped, f"and {more} rows before it, of which none holds a reading")
            )
        warnings = (f"line {self._headers[0]}: the header again, passed over",) if self._headers else ()
        return NumericTable(self._values[: self._count], lines, self.decimal, tuple(self._skipped), warnings)


def read_lines(
    lines: NumberedLines,
    layout: Layout,
    columns: Mapping[str, str | int],
    units: Mapping[str, str],
    source: str,
) -> ParsedRows:
    """Every row from the first data line on, cell by cell. Raises InputError for a fault of the header."""
    chosen, notes = choose_columns(layout, columns, units, source)
    faults = Faults(source)
    rows = RowParser(layout, chosen, decimal_of(lines, layout, chosen, faults, lambda: lines), faults)
    rows.read(lines)
    return ParsedRows(layout, chosen, rows.table(), notes, tuple(faults.collected))


def _body(lines: Iterable[NumberedLine], layout: Layout, again: list[int]) -> Iterator[NumberedLine]:
    """The lines that should be rows; those that are the header or the units row again go to `again`."""
    headers = {text.strip() for text in (layout.header_text, layout.units_text) if text.strip()}
    for place, line in lines:
        stripped = line.strip()
        if place < layout.first or not stripped or comment_text(line, layout.separator) is not None:
            continue
        if stripped in headers:
            again.append(place)
        else:
            yield place, line


def decimal_of(
    lines: Iterable[NumberedLine],
    layout: Layout,
    chosen: Sequence[Chosen],
    faults: Faults,
    again: Callable[[], Iterable[NumberedLine]],
) -> str:
    """The decimal mark of the rows; one that nobody can tell is noted in `faults`. Reads no farther than it must.

    `lines`: those that may hold a mark, at least; `again`: all of them, for a second look where these do not tell.
    """
    indices = [column.index for column in chosen]
    by_row = (
        (place, cells_of(line, layout.separator))
        for place, line in _body(lines, layout, [])
        if _may_hold_mark(line, layout.separator)
    )
    decimal, in_doubt = decimal_mark(
        (place, cells[index]) for place, cells in by_row for index in indices if index < len(cells)
    )
    if in_doubt is not None and ("," in in_doubt[1] or _beside_whole_numbers(again(), layout, indices)):
        place, cell = in_doubt
        either = f"{cell.replace(',', '.')} or {cell.replace(',', '').replace('.', '')}"
        remedy = "with a decimal point" if "," in cell else "with decimals in every row"
        faults.add(
            place,
            f'"{cell}" may mean {either}, and no other cell tells which; export without marks between thousands, or '
            f"{remedy}",
        )
    return decimal


def _beside_whole_numbers(lines: Iterable[NumberedLine], layout: Layout, indices: Sequence[int]) -> bool:
    """Whether in some column cells like 1.500 stand beside whole numbers: one of the two is no decimal fraction."""
    grouped, whole = set(), set()
    for _, line in _body(lines, layout, []):
        cells = cells_of(line, layout.separator)
        present = [index for index in indices if index < len(cells)]
        grouped |= {index for index in present if is_grouped(cells[index])}
        whole |= {index for index in present if is_whole(cells[index])}
        if grouped & whole:
            return True
    return False


def _may_hold_mark(line: str, separator: str) -> bool:
    """Whether a cell of the line can hold a mark at all: where the comma separates, only a quoted cell holds one."""
    return "." in line or ("," in line and (separator != "," or '"' in line))


def _plain_row(line: str, layout: Layout, chosen: Sequence[Chosen], decimal: str) -> list[float] | None:
    """The numbers of a row without any oddity, else None: the short way that most rows can go."""
    if decimal == ",":
        line = "_" if "." in line or layout.separator == "," else line.replace(",", ".")
    if "_" in line or '"' in line or layout.separator == WIDE_SPACES or not line.isascii():
        return None
    cells = line.split(None if layout.separator == SPACES else layout.separator)
    if len(cells) != layout.width:
        return None
    try:
        row = [float(cells[column.index]) for column in chosen]
    except ValueError:
        return None
    return row if all(map(math.isfinite, row)) else None


def _odd_row(
    place: int, line: str, layout: Layout, chosen: Sequence[Chosen], decimal: str, faults: Faults
) -> list[float] | Skipped | None:
    """The numbers of a row, or why it is skipped; None for an empty row and for one that is noted in `faults`."""
    cells = cells_of(line, layout.separator)
    if not any(cells):
        return None
    if len(cells) > layout.width and not any(cells[layout.width :]):
        cells = cells[: layout.width]
    if len(cells) != layout.width:
        if any(is_number(cell) for cell in cells):
            needed = f"this row has {len(cells)} cells where {layout.width} are needed"
            faults.add(place, f'{needed}; give every row a cell for every column, "--" where a reading is missing')
        else:
            faults.add(place, f'"{line.strip()[:60]}" is no row of readings; begin the line with # or delete it')
        return None
    row: list[float] = []
    skipped: Skipped | None = None
    for column in chosen:
        cell = cells[column.index]
        try:
            value = number(cell, decimal)
        except NotANumber:
            message = f'"{cell[:40]}" in {called(column)} is no number; write the number alone, or "--" for none'
            faults.add(place, message)
            continue
        if value is not None:
            row.append(value)
        elif skipped is None:
            skipped = Skipped(
                place, f'{called(column)} has "{shortened(cell, 20)}"' if cell else f"{called(column)} is blank"
            )
    if skipped is not None:
        return skipped
    return row if len(row) == len(chosen) else None


def called(column: Chosen) -> str:
    """How a message names a column."""
    return f"column {column.index + 1}" + (f" ({shortened(column.header, 40)})" if column.header else "")


def _check_skipped(kept: int, count: int, skipped: Sequence[Skipped], faults: Faults) -> None:
    total = kept + count
    if count > MOST_SKIPPED * total:
        first = skipped[0]
        faults.add(
            first.line,
            f"{count} of {total} rows hold no reading, more than a tenth (here: {first.why}); measure "
            "or export again, or delete a column that is not needed",
        )


def converted(values: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    """values × factor, rounded once as `units.scaled` does it: 0.1 ms is 0.0001 s. The array itself where that is 1."""
    if factor == 1:
        return values
    if factor >= 1:
        return values * factor
    return values / (1 / factor) if (1 / factor).is_integer() else values * factor
