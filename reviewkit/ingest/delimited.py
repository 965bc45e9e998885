"""Small tables typed by hand or saved from a spreadsheet → a header and rows of cells, each with its line."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from reviewkit.ingest.plain_text import numbered_rows
from reviewkit.model.errors import Faults, nearest, refusal

_SEPARATORS = (",", ";", "\t")
_COMMA = re.compile(r"(?<=\d),(?=\d)")
_GROUP_MARK = re.compile(r"(?<=\d)[.,](?=\d{3})")
_BOTH_MARKS = re.compile(r"(?<![\w.,])[1-9]\d{0,2}(?:(?:,\d{3})+(\.)\d+|(?:\.\d{3})+(,)\d+)")
_COMMA_GROUPS = re.compile(r"(?<![\w.,])[1-9]\d{0,2}(?:,\d{3})+(?![\d,])")
_POINT_GROUPS = re.compile(r"(?<![\w.,])[1-9]\d{0,2}(?:\.\d{3})+(?![\d.])")
_SHOWS_COMMA = re.compile(r"[±+\-\u2212\s]*(?:0,\d+|\d+,(?:\d{1,2}|\d{4,}))(?![\d,.])")
MOST_ROWS = 5000
MOST_COLUMNS = 1000
_LONGEST_LINE = 20_000  # characters
_LONGEST_CELL = 2000


@dataclass(frozen=True)
class DelimitedRow:
    """The cells of one row, stripped, and the line where it begins."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Delimited:
    """A table as text. `decimal_comma`: a comma in a cell may be a decimal mark, since it doesn't separate cells."""

    header: DelimitedRow
    rows: tuple[DelimitedRow, ...]
    decimal_comma: bool

    @cached_property
    def shows_decimal_comma(self) -> bool:
        """Return whether some cell shows without doubt that the comma is the decimal mark: 0,38 or 12,5."""
        return self.decimal_comma and any(_SHOWS_COMMA.match(cell) for row in self.rows for cell in row.cells)

    def with_points(self, text: str) -> str:
        """Return a cell, or a part of one, with decimal points.

        Raises
        ------
        ValueError
            With the remedy, if a comma can't be a decimal mark, or if a number may be a thousand times another, such as
            1,313.
        """
        if not self.decimal_comma and not _COMMA.search(text):
            return text
        both = _BOTH_MARKS.search(text)
        if both:
            thousands = "," if both[1] else "."
            raise ValueError(f'"{text[:40]}" has a mark between thousands; write {text.replace(thousands, "")}')
        grouped = (_POINT_GROUPS if self.shows_decimal_comma else _COMMA_GROUPS).search(text)
        if grouped:
            whole = _GROUP_MARK.sub("", text)
            one = _COMMA.sub(".", text)
            if len(_GROUP_MARK.findall(grouped[0])) > 1:
                raise ValueError(f'"{text[:40]}" has marks between thousands; write {whole}')
            either = f"{one} or {whole}, whichever is meant"
            raise ValueError(f'"{text[:40]}" may have a mark between thousands; write {either}')
        with_point = _COMMA.sub(".", text)
        if not self.decimal_comma:
            raise ValueError(f'"{text[:40]}" has a comma between digits; write {with_point}')
        return with_point


@dataclass(frozen=True)
class NamedRow:
    """A row under columns that are known by name. `cells`: by column, "" in one that isn't there."""

    line: int
    cells: Mapping[str, str]
    faults: Faults

    def fault(self, message: str) -> None:
        """Note a fault, led by what the row is about, which is in the first column."""
        about = next(iter(self.cells.values()))
        self.faults.add(self.line, f"{about[:40]}: {message}" if about else message)


def named_rows(table: Delimited, columns: Sequence[str], needed: Sequence[str], faults: Faults) -> list[NamedRow]:
    """Return the rows of a table with their cells by column; none if the header is at fault, which is noted.

    `columns`: their names, that of what a row is about first; `needed`: those that must be there.
    """
    problems = []
    places: dict[str, int] = {}
    for number, cell in enumerate(table.header.cells):
        name = cell.casefold()
        if not cell:
            problems.append(f"column {number + 1} has no name; known: {', '.join(columns)}")
        elif name not in columns:
            problems.append(f'unknown column "{cell[:40]}"; {nearest(name, columns)}')
        elif name in places:
            problems.append(f'the column "{cell}" appears twice; keep one')
        places.setdefault(name, number)
    lacking = [name for name in needed if name not in places]
    problems += [f"there is no column called {name}; write a header: {','.join(columns)}" for name in lacking]
    for problem in problems:
        faults.add(table.header.line, problem)
    return [
        NamedRow(row.line, {name: row.cells[places[name]] if name in places else "" for name in columns}, faults)
        for row in (() if problems else table.rows)
    ]


def parse_delimited(text: str, faults: Faults, *, example: str) -> Delimited:
    """Return the header and rows of a table. The separator is the header's most frequent of comma, semicolon and tab.

    Blank rows are dropped, and so are lines that begin with "#" and empty cells at a row's end. A row with more cells
    than the header is noted as a fault and left out. `example`: a header as it should be.

    Raises
    ------
    InputError
        If there is nothing left to read.
    """
    first = next(filter(str.strip, _lines(text, faults.source)), "")
    separator = max(_SEPARATORS, key=first.count)
    rows = _rows(_lines(text, faults.source), separator, faults.source)
    if not rows:
        raise refusal(faults.source, f"the file is empty; begin with a header: {example}")
    header, body = rows[0], []
    for row in rows[1:]:
        if len(row.cells) > len(header.cells):
            surplus = f"{len(row.cells)} cells under a header of {len(header.cells)}"
            if separator == ",":
                remedy = "write the decimal mark as a point, and put text that holds a comma in quotation marks"
            else:
                remedy = "put text that holds a separator in quotation marks"
            faults.add(row.line, f"{surplus}; {remedy}")
        else:
            body.append(DelimitedRow(row.line, row.cells + ("",) * (len(header.cells) - len(row.cells))))
    return Delimited(header, tuple(body), decimal_comma=separator != ",")


def _lines(text: str, source: str) -> Iterator[str]:
    """Yield every line; one that is a comment is blank."""
    for number, line in numbered_rows(text):
        if len(line) > _LONGEST_LINE:
            said = f"this line has {len(line)} characters, and no row of such a table has over {_LONGEST_LINE}"
            raise refusal(source, f"{said}; export the table again, or give each row a line", number)
        yield "" if line.startswith("#") else line


def _rows(lines: Iterable[str], separator: str, source: str) -> list[DelimitedRow]:
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=separator, skipinitialspace=True, strict=True)
    found: list[DelimitedRow] = []
    begins = 1
    try:
        for cells in reader:
            stripped = [" ".join(cell.split()) for cell in cells]
            while stripped and not stripped[-1]:
                stripped.pop()
            if stripped:
                _check_size(begins, stripped, len(found), source)
                found.append(DelimitedRow(begins, tuple(stripped)))
            begins = reader.line_num + 1
    except csv.Error:
        # a quotation mark that opens and doesn't close, or that is in the middle of a cell
        message = 'quotation marks are not paired in this row; close them, and write "" for one inside a quoted cell'
        raise refusal(source, message, begins) from None
    return found


def _check_size(line: int, cells: list[str], before: int, source: str) -> None:
    """Raise InputError for a row too large for a table typed by hand. `before`: the number of rows above it."""
    if len(cells) > MOST_COLUMNS:
        message = f"this row has {len(cells)} cells, more than {MOST_COLUMNS}; keep the columns that are read"
    elif before > MOST_ROWS:
        message = f"the table has more than {MOST_ROWS} rows; keep those that belong to this session"
    elif max(map(len, cells)) > _LONGEST_CELL:
        message = f"a cell of this row has more than {_LONGEST_CELL} characters; shorten it"
    else:
        return
    raise refusal(source, message, line)
