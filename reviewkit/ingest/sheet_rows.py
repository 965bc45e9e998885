"""Rows of text to an array: a plain path that knows every odd cell, and a quick one for long, clean files."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.errors import Faults
from reviewkit.ingest.sheet_columns import Chosen
from reviewkit.ingest.sheet_layout import Layout
from reviewkit.ingest.sheet_numbers import NotANumber, decimal_mark, is_number, number
from reviewkit.ingest.sheet_text import SPACES, WIDE_SPACES, NumberedLine, cells_of, comment_text
from reviewkit.model import Skipped

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_SKIPPED = 0.1  # of all rows


@dataclass(frozen=True, eq=False)
class Table:
    """`values`: shape (rows, columns read), as written, units not yet applied; `lines`: shape (rows,), line numbers."""

    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    decimal: str
    skipped: tuple[Skipped, ...] = ()
    warnings: tuple[str, ...] = ()


def read_rows(lines: Sequence[NumberedLine], layout: Layout, chosen: Sequence[Chosen], faults: Faults) -> Table:
    """Every row from the first data line on, cell by cell. What is no number is noted in `faults` with its line."""
    body: list[NumberedLine] = []
    again: list[int] = []
    headers = {text.strip() for text in (layout.header_text, layout.units_text) if text.strip()}
    for place, line in lines:
        stripped = line.strip()
        if place < layout.first or not stripped or comment_text(line, layout.separator) is not None:
            continue
        if stripped in headers:
            again.append(place)
        else:
            body.append((place, line))
    decimal = _decimal(body, layout, chosen, faults)
    rows: list[list[float]] = []
    kept: list[int] = []
    skipped: list[Skipped] = []
    for place, line in body:
        row = _plain_row(line, layout, chosen, decimal) or _odd_row(place, line, layout, chosen, decimal, faults)
        if isinstance(row, Skipped):
            skipped.append(row)
        elif row:
            rows.append(row)
            kept.append(place)
    _check_skipped(len(kept), skipped, faults)
    warnings = (f"line {again[0]}: the header again, passed over",) if again else ()
    values = np.array(rows, dtype=np.float64).reshape(len(kept), len(chosen))
    return Table(values, np.array(kept, dtype=np.int64), decimal, tuple(skipped), warnings)


def _decimal(body: Sequence[NumberedLine], layout: Layout, chosen: Sequence[Chosen], faults: Faults) -> str:
    """The decimal mark of the rows; one that nobody can tell is noted in `faults`."""
    indices = [column.index for column in chosen]
    by_row = (
        (place, cells_of(line, layout.separator)) for place, line in body if _may_hold_mark(line, layout.separator)
    )
    decimal, in_doubt = decimal_mark(
        (place, cells[index]) for place, cells in by_row for index in indices if index < len(cells)
    )
    if in_doubt is not None:
        place, cell = in_doubt
        faults.add(
            place,
            f'"{cell}" may mean {cell.replace(",", ".")} or {cell.replace(",", "")}, and no other cell tells '
            "which; export without marks between thousands, or with a decimal point",
        )
    return decimal


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
            message = f'"{cell[:40]}" in {_called(column)} is no number; write the number alone, or "--" for none'
            faults.add(place, message)
            continue
        if value is not None:
            row.append(value)
        elif skipped is None:
            skipped = Skipped(place, f'{_called(column)} has "{cell}"' if cell else f"{_called(column)} is blank")
    if skipped is not None:
        return skipped
    return row if len(row) == len(chosen) else None


def _called(column: Chosen) -> str:
    return f"column {column.index + 1}" + (f" ({column.header})" if column.header else "")


def _check_skipped(kept: int, skipped: list[Skipped], faults: Faults) -> None:
    total = kept + len(skipped)
    if len(skipped) > MOST_SKIPPED * total:
        first = skipped[0]
        faults.add(
            first.line,
            f"{len(skipped)} of {total} rows hold no reading, more than a tenth (here: {first.why}); measure "
            "or export again, or delete a column that is not needed",
        )


def read_bulk(body: bytes, layout: Layout, chosen: Sequence[Chosen], sample: Sequence[NumberedLine]) -> Table | None:
    """The same table for a body in which every line is a row of plain numbers; None where one is not, or may not be.

    `body`: the file from its first data line on, in UTF-8; `sample`: the file's first lines. Everything that the quick
    parser would read in another way than `read_rows` makes it give up: a missing value, a decimal mark that the sample
    did not show, a mark between thousands, a cell too many, a comment, a blank line.
    """
    import pandas as pd  # type: ignore[import-untyped]

    doubts = Faults("")
    decimal = _decimal([line for line in sample if line[0] >= layout.first], layout, chosen, doubts)
    if doubts.found or layout.separator == WIDE_SPACES:
        return None
    older = tuple(int(part) for part in pd.__version__.split(".")[:2]) < (3, 1)
    exact = {"float_precision": "round_trip"} if older else {}  # from 3.1 on the default rounds correctly
    try:
        frame = pd.read_csv(
            io.BytesIO(body),
            sep=r"\s+" if layout.separator == SPACES else layout.separator,
            decimal=decimal,
            header=None,
            dtype=np.float64,
            na_filter=False,
            quoting=csv.QUOTE_NONE,
            skip_blank_lines=False,
            engine="c",
            **exact,
        )
    except ValueError:
        return None
    if frame.shape[1] != layout.width:
        return None
    values = frame.to_numpy()
    if len(chosen) != layout.width:
        values = values[:, [column.index for column in chosen]]
    if not np.isfinite(values).all():
        return None
    return Table(values, np.arange(layout.first, layout.first + len(values), dtype=np.int64), decimal)


def converted(values: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    """values × factor, rounded once as `units.scaled` does it: 0.1 ms is 0.0001 s."""
    if factor >= 1:
        return values * factor
    return values / (1 / factor) if (1 / factor).is_integer() else values * factor
