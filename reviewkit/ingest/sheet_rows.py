"""Rows of text to an array: a plain path that knows every odd cell, and a quick one for long, clean files."""

from __future__ import annotations

import io
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
    rows: list[tuple[int, list[str]]] = []
    again: list[int] = []
    headers = {text.strip() for text in (layout.header_text, layout.units_text) if text.strip()}
    for place, line in lines:
        if place < layout.first or not line or line.isspace() or comment_text(line, layout.separator) is not None:
            continue
        if line.strip() in headers:
            again.append(place)
            continue
        cells = cells_of(line, layout.separator)
        if len(cells) > layout.width and not any(cells[layout.width:]):
            cells = cells[: layout.width]
        if len(cells) == layout.width:
            rows.append((place, cells))
        elif any(is_number(cell) for cell in cells):
            faults.add(place, f"this row has {len(cells)} cells where {layout.width} are needed; give every row a cell for "
                              'every column ("--" for a reading that is missing)')
        else:
            faults.add(place, f'"{line.strip()[:60]}" is no row of readings; begin the line with # or delete it')
    decimal, in_doubt = decimal_mark((place, cells[column.index]) for place, cells in rows for column in chosen)
    if in_doubt is not None:
        place, cell = in_doubt
        faults.add(place, f'"{cell}" may mean {cell.replace(",", ".")} or {cell.replace(",", "")}, and no other cell tells '
                          "which; export without marks between thousands, or with a decimal point")
    values, kept, skipped = _values(rows, chosen, decimal, faults)
    warnings = (f"line {again[0]}: the header again, passed over",) if again else ()
    _check_skipped(len(kept), skipped, faults)
    table = np.array(values, dtype=np.float64).reshape(len(kept), len(chosen))
    return Table(table, np.array(kept, dtype=np.int64), decimal, tuple(skipped), warnings)


def _values(
    rows: list[tuple[int, list[str]]], chosen: Sequence[Chosen], decimal: str, faults: Faults
) -> tuple[list[list[float]], list[int], list[Skipped]]:
    values: list[list[float]] = []
    kept: list[int] = []
    skipped: list[Skipped] = []
    for place, cells in rows:
        row: list[float] = []
        why = ""
        for column in chosen:
            cell = cells[column.index]
            try:
                value = number(cell, decimal)
            except NotANumber:
                faults.add(place, f'"{cell[:40]}" in {_called(column)} is no number; write the number alone, or "--" where a '
                                  "reading is missing")
                continue
            if value is not None:
                row.append(value)
            elif not why:
                why = f'{_called(column)} has "{cell}"' if cell else f"{_called(column)} is blank"
        if why:
            skipped.append(Skipped(place, why))
        elif len(row) == len(chosen):
            values.append(row)
            kept.append(place)
    return values, kept, skipped


def _called(column: Chosen) -> str:
    return f"column {column.index + 1}" + (f" ({column.header})" if column.header else "")


def _check_skipped(kept: int, skipped: list[Skipped], faults: Faults) -> None:
    total = kept + len(skipped)
    if len(skipped) > MOST_SKIPPED * total:
        first = skipped[0]
        faults.add(first.line, f"{len(skipped)} of {total} rows hold no reading, more than a tenth (here: {first.why}); measure "
                               "or export again, or delete a column that is not needed")


def read_bulk(body: str, layout: Layout, chosen: Sequence[Chosen], sample: Sequence[NumberedLine]) -> Table | None:
    """The same table for a body in which every line is a row of plain numbers; None where one is not, or may not be.

    Everything that the quick parser would read in another way than `read_rows` makes it give up: a missing value, a
    decimal mark that the sample did not show, a mark between thousands, a cell too many, a comment, a blank line.
    """
    import pandas as pd

    cells = [(place, cell) for place, line in sample if place >= layout.first for cell in cells_of(line, layout.separator)]
    decimal, in_doubt = decimal_mark(cells)
    if in_doubt is not None or '"' in body:
        return None
    separator = r"\s+" if layout.separator in (SPACES, WIDE_SPACES) else layout.separator
    older = tuple(int(part) for part in pd.__version__.split(".")[:2]) < (3, 1)
    exact = {"float_precision": "round_trip"} if older else {}  # from 3.1 on the default rounds correctly
    try:
        frame = pd.read_csv(
            io.BytesIO(body.rstrip().encode()), sep=separator, decimal=decimal, header=None, dtype=np.float64,
            na_filter=False, quoting=3, skip_blank_lines=False, engine="c", **exact,
        )
    except ValueError:
        return None
    if frame.shape[1] != layout.width:
        return None
    values = frame.iloc[:, [column.index for column in chosen]].to_numpy(dtype=np.float64)
    if not np.isfinite(values).all():
        return None
    return Table(values, np.arange(layout.first, layout.first + len(values), dtype=np.int64), decimal)

