"""The layout of a delimited text: the separator, the header, a units row under it, the first line of readings."""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice, pairwise

from reviewkit.ingest.sheet.sheet_header import read_heading, unit_written
from reviewkit.ingest.sheet.sheet_text import (
    MOST_COLUMNS,
    SEPARATORS,
    SPACES,
    WIDE_SPACES,
    cells_of,
    comment_text,
    is_missing,
    is_number,
    numbered_lines,
    trimmed,
)

# begins at the start or at a bracket: tried at every letter, a line of words would take the square of its length
_NAME_WITH_UNIT = re.compile(r"(?:^|(?<=[()\[\]]))[^()\[\]]++(?:\([^()]*\)|\[[^\[\]]*\])")
_SAMPLE = 100  # rows used to determine the separator and what the first column is
_HEAD = 2000  # lines above the first row that are searched for its header
_LONGEST_HEADER = 20_000  # characters


@dataclass(frozen=True)
class Layout:
    """A text's layout. `width`: cells in a row; `header`: its cells, empty if the file has no header; `first`: the
    first data line; `labelled`: rows begin with a text, which isn't read; `firsts`: the first cells of the first rows.
    """

    separator: str
    width: int
    header: tuple[str, ...]
    header_line: int
    header_text: str
    units: tuple[str, ...]
    units_text: str
    first: int
    labelled: bool = False
    firsts: tuple[str, ...] = ()

    @property
    def counts_rows(self) -> bool:
        """Return whether a first column without a name numbers the rows from 0 or 1."""
        nameless = bool(self.header) and not any((self.header[0], *self.units[:1]))
        numbers = [int(cell) if cell.isascii() and cell.isdecimal() else -1 for cell in self.firsts]
        by_one = all(after == before + 1 for before, after in pairwise(numbers))
        return nameless and len(numbers) > 1 and numbers[0] in (0, 1) and by_one

    @property
    def sides(self) -> tuple[str, ...]:
        """Return the channels that the rows begin with, as written, if they differ from row to row."""
        named = {cell: read_heading(cell) for cell in self.firsts} if self.labelled else {}
        pure = {each.channel: cell for cell, each in named.items() if each.channel and not (each.role or each.strange)}
        return tuple(pure.values()) if len(pure) > 1 else ()


def find_layout(text: str) -> Layout | None:
    """Return the layout, or None if no row has two numbers.

    A header of another width than the rows is returned as it is; for rows with more cells than are read, none is looked
    for. Rows that begin with a text are looked for only if none begins with a number: a remark before the header may
    have numbers too.
    """
    step = max(1, sum(1 for _ in numbered_lines(text, filled=True)) // _SAMPLE)
    numbered = enumerate(numbered_lines(text, filled=True))
    sample = [line for place, (_, line) in numbered if place < _SAMPLE or (place - _SAMPLE) % step == 0]
    for labelled in (False, True):
        # ties go in the table's order
        rows_by = {separator: _rows_by(separator, sample, labelled=labelled) for separator in SEPARATORS}
        separator = max(rows_by, key=lambda each: rows_by[each][:2])
        width = rows_by[separator][2]
        if not width:
            continue
        above: deque[tuple[int, str]] = deque(maxlen=_HEAD)  # down to the first row
        for (number, line), (_, below) in pairwise(chain(numbered_lines(text, filled=True), [(0, "")])):
            above.append((number, line))
            # a single remark such as "Averages,8,2" isn't a table
            alone = labelled and below and _shape_of(below, separator, labelled=labelled)[0] != width
            if not alone and _shape_of(line, separator, labelled=labelled)[0] == width:
                break
        layout = _with_header(list(above), separator, width)
        rows = (
            line
            for number, line in numbered_lines(text, filled=True)
            if number >= layout.first and _shape_of(line, separator, labelled=labelled)[0] == layout.width
        )
        firsts = tuple(cells_of(line, separator)[0] for line in islice(rows, _SAMPLE))
        return replace(layout, labelled=labelled, firsts=firsts)
    return None


def _rows_by(separator: str, sample: Sequence[str], *, labelled: bool) -> tuple[int, int, int]:
    """Return how many rows of nothing but readings a separator gives, how many rows in all, and how wide they are.

    Only rows of the commonest width count; all three are 0 if it gives no row. Those of nothing but readings decide
    first: 20,0  -1,5 isn't a row of three.
    """
    signs = separator.strip(" ") or " \t"
    able = (line for line in sample if any(sign in line for sign in signs))
    shapes = [shape for line in able if any(shape := _shape_of(line, separator, labelled=labelled))]
    if not shapes:
        return 0, 0, 0
    width, count = Counter(cells for cells, _ in shapes).most_common(1)[0]
    return shapes.count((width, width - labelled)), count, width


def _shape_of(line: str, separator: str, *, labelled: bool) -> tuple[int, int]:
    """Return how many cells a row has, and how many of them are readings.

    Both are 0 of a line that isn't data: a row begins with a number (`labelled`: behind a text), and at least two of
    its cells and half of them are readings.
    """
    cells = [] if comment_text(line, separator) is not None else trimmed(cells_of(line, separator))
    values = cells[1:] if labelled else cells
    if len(values) < 2 or not is_number(values[0]):
        return 0, 0
    readings = sum(is_number(cell) or is_missing(cell) for cell in values)
    return (len(cells), readings) if readings >= 2 and 2 * readings >= len(values) else (0, 0)


def _is_damaged_data(line: str, separator: str, width: int) -> bool:
    """Return whether a line above the first good row is a row too: its fault is reported, and it isn't a header."""
    cells = cells_of(line, separator)
    if comment_text(line, separator) is not None or not len(trimmed(cells)) <= width <= len(cells):
        return False
    return is_number(cells[0]) or all(is_number(cell) or is_missing(cell) for cell in cells)


def _with_header(filled: list[tuple[int, str]], separator: str, width: int) -> Layout:
    """Walk up from the first good row, past damaged ones to the first data line, then past comments and free text to
    the header.

    The first line that has a cell for every column is the header; a comment only if each of its cells reads like one.
    """
    start = len(filled) - 1
    while start and _is_damaged_data(filled[start - 1][1], separator, width):
        start -= 1
    if width > MOST_COLUMNS:
        return Layout(separator, width, (), 0, "", (), "", filled[start][0])
    first_cells = cells_of(filled[start][1], separator)
    units: tuple[str, ...] = ()
    units_text = ""
    for place in range(start - 1, -1, -1):
        number, line = filled[place]
        if len(line) > _LONGEST_HEADER:
            continue
        comment = comment_text(line, separator)
        said = line if comment is None else comment
        cells = _header_cells(said, separator, width, len(first_cells))
        fits = width <= len(cells) <= max(width, len(first_cells))
        named = [cell for cell in cells if cell]
        in_units = fits and not units and 2 * sum(unit_written(cell) is not None for cell in named) >= len(named)
        if in_units and _header_above(filled[:place], separator, len(cells), len(first_cells)):
            units, units_text = tuple(cells), line
            continue
        headings = [read_heading(cell) for cell in named]
        reads = [bool(each.role or each.channel or each.unit) for each in headings]
        if fits and (comment is None or all(reads)):
            names = _under_channels(cells, filled[place - 1][1] if place else "", separator)
            return Layout(separator, len(cells), names, number, line.strip(), units, units_text, filled[start][0])
        if comment is None and len(cells) > 1 and sum(reads) * 2 >= len(reads):
            return Layout(separator, width, tuple(cells), number, line.strip(), units, units_text, filled[start][0])
    return Layout(separator, width, (), 0, "", (), "", filled[start][0])


def _header_cells(line: str, separator: str, width: int, widest: int) -> list[str]:
    """Return the header's cells, split like the rows, or else in a way that gives a cell to every column."""
    first = trimmed(cells_of(line, separator))
    if width <= len(first) <= widest:
        return first
    tries = [first, _units_joined(first)]
    if separator in (SPACES, WIDE_SPACES):
        tries += [trimmed(cells_of(line, other)) for other in (WIDE_SPACES, "\t", ";", ",")]
        tries.append(_units_joined(cells_of(line, SPACES)))
        tries.append([match[0].strip() for match in _NAME_WITH_UNIT.finditer(line)])
    return next((cells for cells in tries if len(cells) == width), first)


def _units_joined(cells: list[str]) -> list[str]:
    """Return cells that are only a unit joined to the one before: "THD+N L, %" split at its comma."""
    joined: list[str] = []
    for cell in cells:
        bracketed = cell[:1] in "([" and cell[-1:] in ")]"
        if joined and cell and (bracketed or unit_written(cell) is not None):
            joined[-1] += f" {cell}" if bracketed else f", {cell}"
        else:
            joined.append(cell)
    return joined


def _under_channels(cells: list[str], above: str, separator: str) -> tuple[str, ...]:
    """Return the header's cells, led by the channel in the line above if that has only channels.

    A channel there also covers the blank cells after it, as in a spreadsheet: ",Left,,Right,".
    """
    comment = comment_text(above, separator)
    group = cells_of(above if comment is None else comment, separator)
    named = [read_heading(cell) for cell in group if cell]
    pure = all(each.channel and not (each.role or each.unit or each.strange) for each in named)
    pure = pure and len({each.channel for each in named}) > 1
    own = any(read_heading(cell).channel for cell in cells)
    if separator in (SPACES, WIDE_SPACES) or not named or not pure or own or len(trimmed(group)) > len(cells):
        return tuple(cells)
    led: list[str] = []
    channel = ""
    for cell, over in zip(cells, [*group, *[""] * len(cells)], strict=False):
        channel = over or channel
        led.append(f"{channel} {cell}".strip())
    return tuple(led)


def _header_above(above: list[tuple[int, str]], separator: str, width: int, widest: int) -> bool:
    """Return whether a line of names is above a row of units; without one the row of units is the header itself."""
    for _, line in reversed(above):
        comment = comment_text(line, separator)
        cells = _header_cells(line if comment is None else comment, separator, width, widest)
        if width <= len(cells) <= widest:
            headings = [read_heading(cell) for cell in cells]
            return any(heading.role or heading.channel for heading in headings)
        if comment is None:
            return False
    return False
