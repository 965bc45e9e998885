"""Rows of text to an array. Every odd line is known here, and reported with its number."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reviewkit.ingest.sheet.sheet_columns import Chosen
from reviewkit.ingest.sheet.sheet_layout import Layout
from reviewkit.ingest.sheet.sheet_text import (
    ONE_GROUP,
    SPACES,
    WHOLE,
    WIDE_SPACES,
    WRITTEN,
    NotANumber,
    cells_of,
    comment_text,
    is_number,
    number,
    numbered_lines,
)
from reviewkit.model.errors import Faults, shortened
from reviewkit.model.sheet import Skipped

MOST_SKIPPED = 0.1  # of all rows
MOST_LISTED = 1000  # of rows left out; the rest is only counted
LONG = 100_000  # characters; below that, importing the fast parser takes longer than it saves
_STRETCH = 600_000  # characters that the fast parser gets at a time
_MINUS_NOTHING = re.compile(r"-0(?![.\deE])")  # a whole number in JSON, which has no sign then
_SURE = 500  # cells that show one decimal mark; one farther on that doesn't agree is reported as not a number


@dataclass(frozen=True, eq=False)
class NumericTable:
    """A table of numbers. `values`: shape (rows, columns read), as written, units not yet applied; `lines`: shape
    (rows,), line numbers.
    """

    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    decimal: str
    skipped: tuple[Skipped, ...] = ()
    warnings: tuple[str, ...] = ()


def read_rows(text: str, layout: Layout, chosen: Sequence[Chosen], faults: Faults) -> NumericTable:
    """Return every row from the first data line on; faults of rows go to `faults`, each with its line.

    Comments, blank lines and a repeated header are passed over. If more than a tenth of the rows hold no reading, that
    is a fault too, and so is a decimal mark that can't be known.

    A cell such as 1,5 or 0,012 or 1.234,5 shows the comma to be the decimal mark, 1,000.5 or 0.5 the point. If all
    cells are like 1,500, which is 1.5 in one country and 1500 in another, nobody can tell. The same goes for cells like
    1.500 among whole numbers; without those it is read as a decimal point.
    """
    start = 0
    for _ in range(layout.first - 1):
        start = text.index("\n", start) + 1
    indices = [column.index for column in chosen]
    # read no farther than it takes to know the decimal mark
    shown = {".": 0, ",": 0}  # how many cells show it to be this one
    doubt: tuple[int, str] | None = None
    for place, line in _body(text, layout.first, start, layout, []):
        # if the comma separates, only a quoted cell can hold one
        if "." not in line and ("," not in line or (layout.separator == "," and '"' not in line)):
            continue
        cells = cells_of(line, layout.separator)
        for cell in (cells[index] for index in indices if index < len(cells)):
            if ONE_GROUP.fullmatch(cell):
                doubt = (place, cell) if doubt is None or ("," in cell and "." in doubt[1]) else doubt
            elif len(marks := [mark for mark in shown if WRITTEN[mark].fullmatch(cell)]) == 1:
                shown[marks[0]] += 1
                if shown[marks[0]] == _SURE:
                    break
        if _SURE in shown.values():
            break
    decimal = "," if shown[","] > shown["."] else "."
    if doubt and not any(shown.values()) and ("," in doubt[1] or _mixes_whole_numbers(text, start, layout, indices)):
        _note_ambiguous(*doubt, faults)
    most = text.count("\n", start) + 1
    values = np.empty((most, len(chosen)), order="F")  # unfilled rows are never touched, and use no memory
    lines = np.empty(most, dtype=np.int64)
    skipped: list[Skipped] = []
    headers: list[int] = []
    count = unlisted = last = 0
    scale = abscissa_of(chosen)
    for first, stretch, long in _stretches(text, start, layout.first):
        plain = parse_plain_rows(stretch, layout.separator, layout.width, decimal) if long else None
        if plain is not None:
            end = count + len(plain)
            values[count:end], lines[count:end] = plain[:, indices], np.arange(first, first + len(plain))
            count = end
            continue
        for place, line in _body(stretch, first, 0, layout, headers):
            row = _row(place, line, layout, chosen, scale, decimal, faults)
            if isinstance(row, list):
                values[count], lines[count] = row, place
                count += 1
            elif row and len(skipped) == MOST_LISTED:
                unlisted, last = unlisted + 1, place
            elif row:
                if row.at is None and count:  # the abscissa itself has no value, so use the row before
                    row = replace(row, at=float(values[count - 1, scale]) * chosen[scale].unit.factor)
                skipped.append(row)
            if faults.full:
                break
    without = len(skipped) + unlisted
    if without > MOST_SKIPPED * (count + without):
        faults.add(
            skipped[0].line,
            f"{without} of {count + without} rows hold no reading, more than a tenth (here: {skipped[0].why}); measure "
            "or export again, or delete a column that is not needed",
        )
    if unlisted:
        skipped.append(Skipped(last, f"and {unlisted} rows before it, of which none holds a reading", unread=True))
    warnings = (f"line {headers[0]}: the header again, skipped",) if headers else ()
    return NumericTable(values[:count], lines[:count], decimal, tuple(skipped), warnings)


def parse_plain_rows(text: str, separator: str, width: int, decimal: str) -> NDArray[np.float64] | None:
    """Return the numbers of rows that hold nothing else, or None if a line is, or may be, anything other than that.

    Parameters
    ----------
    text
        Whole lines.
    separator, width, decimal
        What sets the cells apart, how many a row has, and their decimal mark.

    Returns
    -------
    numpy.ndarray or None
        Shape (lines, width), correctly rounded.

    Notes
    -----
    The parser gives up wherever it could read otherwise than cell by cell: at a missing value, another decimal mark, a
    mark between thousands, a cell too many or too few, a quoted cell, a comment, a blank line.
    """
    blank = separator in (SPACES, WIDE_SPACES)
    if '"' in text or (separator == WIDE_SPACES and _has_single_blanks(text)):
        return None
    if decimal == ",":
        if "." in text:  # which may set thousands apart
            return None
        text = text.replace(",", ".")
    end = f"{separator}\n"
    if not blank and text[: text.find("\n") + 1].endswith(end):
        text = text.replace(end, "\n")  # one separator too many at the end of every row
    if not blank and (values := _parse_json_numbers(text, separator, width)) is not None:
        return values
    lines = text.count("\n") + (text[-1] != "\n")
    try:
        values = np.loadtxt(io.StringIO(text), delimiter=None if blank else separator, comments=None, ndmin=2)
    except ValueError:
        return None
    whole = values.shape == (lines, width)  # blank lines are left out
    return values if whole and np.isfinite(values).all() else None


def _parse_json_numbers(text: str, separator: str, width: int) -> NDArray[np.float64] | None:
    """Return the numbers of rows if each is written as JSON has them; None if one isn't, as +1 or .5.

    That takes less than half the time of numpy.loadtxt. Every row's end becomes a NaN, so if these are in the column
    after the last and nowhere else, every row has `width` cells.
    """
    from pydantic_core import from_json

    if (separator != "," and "," in text) or "a" in text or "u" in text:  # true, false, null, NaN
        return None
    if _MINUS_NOTHING.search(text):
        return None
    ended = text.removesuffix("\n").replace(separator, ",").replace("\n", ",NaN,")
    try:
        numbers = np.array(from_json(f"[{ended},NaN]"), dtype=np.float64)
    except (ValueError, TypeError, OverflowError):
        return None
    if numbers.ndim != 1 or numbers.size % (width + 1):
        return None
    rows = numbers.reshape(-1, width + 1)
    whole = np.isnan(rows[:, width]).all() and np.isfinite(rows[:, :width]).all()
    return rows[:, :width] if whole else None


def _has_single_blanks(text: str) -> bool:
    """Return whether there is a single blank or a tab, which may be part of a cell."""
    signs = np.frombuffer(text.encode("utf-8"), dtype=np.uint8)
    is_blank = signs == ord(" ")
    inside = is_blank[1:-1] & ~is_blank[:-2] & ~is_blank[2:]
    inside &= (signs[:-2] != ord("\n")) & (signs[2:] != ord("\n"))
    return "\t" in text or bool(inside.any())


def _stretches(text: str, start: int, first: int) -> Iterator[tuple[int, str, bool]]:
    """Yield a text from the character `start` on in stretches of whole lines: the number of the first line, the lines,
    and whether they are worth a fast parser. A quoted cell may go over a line's end, so a text with one isn't cut.
    """
    long = len(text) >= LONG and text.find('"', start) < 0
    while start < len(text):
        end = (text.find("\n", start + _STRETCH) + 1 if long else 0) or len(text)
        stretch = text[start:end]
        yield first, stretch, long
        first += stretch.count("\n")
        start = end


def _body(text: str, first: int, start: int, layout: Layout, headers: list[int]) -> Iterator[tuple[int, str]]:
    """Yield the lines that should be rows, with their numbers; repeats of the header or the units row go to `headers`.

    The text is read from the character `start` on, which is in line `first`.
    """
    repeated = {text.strip() for text in (layout.header_text, layout.units_text)}
    for place, line in numbered_lines(text, first, start):
        stripped = line.strip()
        if not stripped or comment_text(line, layout.separator) is not None:
            continue
        if stripped in repeated:
            headers.append(place)
        else:
            yield place, line


def _note_ambiguous(place: int, cell: str, faults: Faults) -> None:
    """Note a cell with a mark that may be decimal or between thousands, in a file in which no cell tells which."""
    either = f"{cell.replace(',', '.')} or {cell.replace(',', '').replace('.', '')}"
    remedy = "with a decimal point" if "," in cell else "with decimals in every row"
    faults.add(
        place,
        f'"{cell}" may mean {either}, and no other cell tells which; export without marks between thousands, or '
        f"{remedy}",
    )


def _mixes_whole_numbers(text: str, start: int, layout: Layout, indices: Sequence[int]) -> bool:
    """Return whether some column has cells like 1.500 and also whole numbers: one of the two isn't a fraction."""
    grouped, whole = set(), set()
    for _, line in _body(text, layout.first, start, layout, []):
        cells = cells_of(line, layout.separator)
        present = [index for index in indices if index < len(cells)]
        grouped |= {index for index in present if ONE_GROUP.fullmatch(cells[index])}
        whole |= {index for index in present if WHOLE.fullmatch(cells[index])}
        if grouped & whole:
            return True
    return False


def _row(
    place: int, line: str, layout: Layout, chosen: Sequence[Chosen], scale: int, decimal: str, faults: Faults
) -> list[float] | Skipped | None:
    """Return the numbers of a row, or why it is skipped; None for an empty row and for one noted in `faults`."""
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
            faults.add(place, f'"{line.strip()[:60]}" is not a row of readings; begin the line with # or delete it')
        return None
    row: list[float] = []
    skipped: Skipped | None = None
    at: float | None = None
    for number_of, column in enumerate(chosen):
        cell = cells[column.index]
        try:
            value = number(cell, decimal)
        except NotANumber:
            message = f'"{cell[:40]}" in {called(column)} is not a number; write the number alone, or "--" for none'
            faults.add(place, message)
            continue
        if value is not None:
            row.append(value)
            at = value * column.unit.factor if number_of == scale else at
        elif skipped is None:
            skipped = Skipped(
                place, f'{called(column)} has "{shortened(cell, 20)}"' if cell else f"{called(column)} is blank"
            )
    if skipped is not None:
        return replace(skipped, unread=True, at=at)
    return row if len(row) == len(chosen) else None


def abscissa_of(chosen: Sequence[Chosen]) -> int:
    """Return the place of what everything is drawn over: the first role of these, else the first column."""
    roles = [column.role for column in chosen]
    return next((roles.index(role) for role in ("time", "frequency", "power", "set", "level") if role in roles), 0)


def called(column: Chosen) -> str:
    """Return how a message names a column."""
    return f"column {column.index + 1}" + (f" ({shortened(column.header, 40)})" if column.header else "")
