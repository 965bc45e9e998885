"""prices.csv → IndexTable: a consumer price index by year, saved in any of the usual shapes."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from reviewkit.ingest.delimited import Delimited, parse_delimited
from reviewkit.ingest.plain_text import read_text
from reviewkit.model.errors import Faults, refusal, shortened
from reviewkit.model.prices import IndexTable
from reviewkit.model.units import normalised

MONTHS = tuple("january february march april may june july august september october november december".split())
_ANNUAL = frozenset({"annual", "annual average", "annual avg", "annual mean", "average", "avg", "ave", "mean"})
_INDEX = ("index", "cpi", "value")
_EXAMPLE = "year,index"
_SHAPES = "year,index, or month,index with YYYY-MM, or date,index with YYYY-MM-DD, or year,jan,feb … dec"
_MISSING = frozenset({"", "-", "--", ".", "n/a", "na", "nan", "—"})
_ANNUAL_PERIOD = 13  # the number statistics offices give the annual average in a list of months


@dataclass
class _Years:
    """The values read, each with its line, by year and period: a month from 1, or 13 for the year's stated average."""

    faults: Faults
    read: dict[tuple[int, int], tuple[float, int]] = field(default_factory=dict)

    def add(self, year: int, period: int, value: float, line: int) -> None:
        """Note a value."""
        _, first = self.read.setdefault((year, period), (value, line))
        if first != line:
            name = str(year) if period == _ANNUAL_PERIOD else f"{year}-{period:02d}"
            self.faults.add(line, f"{name} is in line {first} already; keep one of the two")

    def build(self, source: str) -> IndexTable:
        """Return the stated average of each year, else the mean of its months; `short` if fewer than twelve."""
        by_year: dict[int, float] = {}
        short: dict[int, int] = {}
        for year in sorted({year for year, _ in self.read}):
            if (year, _ANNUAL_PERIOD) in self.read:
                by_year[year] = self.read[year, _ANNUAL_PERIOD][0]
                continue
            values = [self.read[year, month][0] for month in range(1, 13) if (year, month) in self.read]
            by_year[year] = math.fsum(values) / len(values)
            if len(values) < 12:
                short[year] = len(values)
        return IndexTable(source, by_year, short)


def read_prices(path: Path, source: str) -> IndexTable:
    """Return the price index in a file, as `parse_prices` does.

    Raises
    ------
    InputError
        The file cannot be read, or a line of it is wrong.
    """
    return parse_prices(read_text(path, source, western=True), source)


def parse_prices(text: str, source: str) -> IndexTable:
    """Return the price index of a text in any of the four shapes.

    Other columns and lines that begin with "#" are skipped.

    Parameters
    ----------
    text : str
        The content of the file.
    source : str
        Its path in the session folder.

    Raises
    ------
    InputError
        With every line that cannot be read or gives a year, month or date twice.
    """
    faults = Faults(source)
    table = parse_delimited(text, faults, example=_EXAMPLE)
    years = _Years(faults)
    of_rows = len(faults.collected)
    columns = _find_columns(table, faults)
    if len(faults.collected) > of_rows:
        faults.stop_if_any()  # without the columns no row can be read
    by_month = {month: columns[name] for month, name in enumerate(MONTHS, 1) if name in columns}
    for word, read in (("date", _read_date), ("month", _read_month)):
        if word in columns and "index" in columns:
            _read_list(table, columns[word], columns["index"], read, years)
            break
    else:
        annual = columns.get("annual", columns.get("index"))
        periods = by_month if annual is None else {**by_month, _ANNUAL_PERIOD: annual}
        _read_years(table, columns["year"], periods, years)
    faults.stop_if_any(by_line=True)
    result = years.build(source)
    if not result.by_year:
        message = f"there is no value under this header; the table needs rows: {_SHAPES}"
        raise refusal(source, message, table.header.line)
    return result


# ------------------------------------------------------------------ which column is which


def _find_columns(table: Delimited, faults: Faults) -> dict[str, int]:
    """Return role (year, month, date, index, annual, a month's name) -> column number; note an unknown shape."""
    header = table.header
    words = [_read_role(cell) for cell in header.cells]
    # "cpi" and "value" name the index if no column has the word itself
    index = next((word for word in _INDEX if word in words), "")
    columns: dict[str, int] = {}
    for number, word in enumerate(words):
        role = "index" if index and word == index else "" if word in _INDEX else word
        if role and role in columns:
            shown = header.cells[number]
            faults.add(header.line, f'the column "{shown}" appears twice; keep one, or rename the one to ignore')
        elif role:
            columns[role] = number
    months = [name for name in MONTHS if name in columns]
    if {"date", "index"} <= columns.keys() or {"month", "index"} <= columns.keys():
        return columns
    lacks = ""
    if "year" not in columns and not {"date", "month"} & columns.keys():
        lacks = "year, month or date"
    elif "index" not in columns and "annual" not in columns and not months:
        lacks = "index"
    elif months and len(months) < 12 and "index" not in columns and "annual" not in columns:
        missing = ", ".join(name.capitalize() for name in MONTHS if name not in columns)
        faults.add(header.line, f"months without a column: {missing}; write all twelve, blank where there is no value")
    elif "year" not in columns:
        lacks = "year"
    if lacks:
        shown = shortened(",".join(header.cells), 60)
        faults.add(header.line, f'no column is called {lacks} in "{shown}"; write {_SHAPES}')
    return columns


def _read_role(cell: str) -> str:
    word = " ".join(re.sub(r"[._]", " ", cell.casefold()).split())
    if word in _ANNUAL:
        return "annual"
    if word in ("year", "month", "date", *_INDEX):
        return word
    # "jan", "sept", "january": any beginning of a month's name of three letters or more
    starts = [name for name in MONTHS if len(word) >= 3 and name.startswith(word)]
    return starts[0] if starts else ""


# ------------------------------------------------------------------ rows


def _read_list(table: Delimited, when: int, index: int, read: Callable[[str], tuple[int, int]], years: _Years) -> None:
    for row in table.rows:
        try:
            year, period = read(row.cells[when])
        except ValueError as error:
            years.faults.add(row.line, str(error))
            continue
        value = _read_value(row.cells[index], table, row.line, years.faults)
        if value is not None:
            years.add(year, period, value, row.line)


def _read_years(table: Delimited, when: int, periods: Mapping[int, int], years: _Years) -> None:
    first: dict[int, int] = {}
    for row in table.rows:
        cell = row.cells[when]
        if not re.fullmatch(r"[1-2]\d{3}", cell):
            remedy = "write four digits, and begin lines that are no data with #"
            years.faults.add(row.line, f'"{cell[:40]}" is not a year; {remedy}')
            continue
        year = int(cell)
        if year in first:
            years.faults.add(row.line, f"{year} is in line {first[year]} already; keep one row for each year")
            continue
        first[year] = row.line
        for period, number in periods.items():
            value = _read_value(row.cells[number], table, row.line, years.faults)
            if value is not None:
                years.add(year, period, value, row.line)


def _read_month(cell: str) -> tuple[int, int]:
    match = re.fullmatch(r"([1-2]\d{3})-(\d{2})", normalised(cell))
    if not match or not 1 <= int(match[2]) <= _ANNUAL_PERIOD:
        raise ValueError(f'"{cell[:40]}" is not a month; write YYYY-MM, for example 1977-04')
    return int(match[1]), int(match[2])


def _read_date(cell: str) -> tuple[int, int]:
    text = normalised(cell)
    try:
        day = date.fromisoformat(text) if re.fullmatch(r"[1-2]\d{3}-\d{2}-\d{2}", text) else None
    except ValueError:
        day = None
    if day is None:
        raise ValueError(f'"{cell[:40]}" is not a date; write YYYY-MM-DD, for example 1977-04-01')
    return day.year, day.month


def _read_value(cell: str, table: Delimited, line: int, faults: Faults) -> float | None:
    """Return an index above zero, or None if the cell is blank or a dash."""
    if cell.casefold() in _MISSING:
        return None
    try:
        text = table.with_points(normalised(cell))
    except ValueError as error:
        faults.add(line, f"the index {error}")
        return None
    if not re.fullmatch(r"[+-]?(\d{1,9}(\.\d{0,12})?|\.\d{1,12})", text):
        remedy = "write digits with a decimal point, no thousands mark; leave the cell blank where there is no value"
        faults.add(line, f'"{cell[:40]}" is not an index; {remedy}')
        return None
    value = float(text)
    if value <= 0:
        faults.add(line, f"the index {cell} is not above zero; correct it, or leave the cell blank")
        return None
    return value
