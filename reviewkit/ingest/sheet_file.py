"""Delimited text → Sheet: columns with role, channel and unit, whatever program exported them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.errors import Fault, Faults, InputError
from reviewkit.ingest.sheet_columns import Chosen, choose_columns
from reviewkit.ingest.sheet_layout import Layout, find_layout
from reviewkit.ingest.sheet_order import in_order
from reviewkit.ingest.sheet_rows import Table, read_bulk, read_rows
from reviewkit.ingest.sheet_text import WIDE_SPACES, decode, numbered_lines
from reviewkit.model import Column, Sheet

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NOTHING_SAID: Mapping[str, str] = MappingProxyType({})
_BULK = 400_000  # characters from which the quick path pays for its import
_HEAD = 100_000  # characters in which a long file must show how it is laid out


def parse_sheet(
    data: bytes,
    source: str,
    *,
    columns: Mapping[str, str | int] = _NOTHING_SAID,
    units: Mapping[str, str] = _NOTHING_SAID,
    full_scale_v: float | None = None,
) -> Sheet:
    """A measurement file's bytes as columns converted to Hz, s, V, W, Ω, % (dB kinds stay in their own).

    `columns`: time, frequency, power, impedance, distortion, level, left, right, "left into right" or "right into left"
    -> header text, or number from 1. `units`: the same names -> a unit. `full_scale_v`: peak voltage of a full-scale sine.
    Time and frequency rise in the result. Raises InputError with every fault found, each with its line.
    """
    text, encoding = decode(data, source)
    layout, table, chosen, notes = _read(text, source, columns, units)
    faults = Faults(source)
    place = _abscissa(chosen)
    abscissa = _converted(table.values[:, place], chosen[place].unit.factor)
    table, _ = in_order(table, abscissa, chosen[place].role, faults)
    faults.stop_if_any()
    warnings = [*notes, *table.warnings]
    read = tuple(_column(table.values[:, each], chosen[each]) for each in range(len(chosen)))
    if full_scale_v is None and any(column.unit == "dBFS" for column in read):
        warnings.append('levels in dBFS need the voltage of full scale; add for example full_scale = "10 V"')
    separator = " " if layout.separator == WIDE_SPACES else layout.separator
    return Sheet(source, read, len(table.values), encoding, separator, table.decimal, table.skipped, tuple(warnings))


def read_sheet(
    path: Path,
    source: str,
    *,
    columns: Mapping[str, str | int] = _NOTHING_SAID,
    units: Mapping[str, str] = _NOTHING_SAID,
    full_scale_v: float | None = None,
) -> Sheet:
    """The same for a file; `source` is what messages call it. Raises InputError, also where it cannot be opened."""
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise InputError(Fault(source, 0, f"{reason}; write the file's name as it stands in the session folder")) from error
    return parse_sheet(data, source, columns=columns, units=units, full_scale_v=full_scale_v)


def as_json(sheet: Sheet) -> dict[str, object]:
    """What `read --json` prints: plain lists and texts."""
    return {
        "columns": [
            {"role": column.role, "channel": column.channel, "unit": column.unit, "values": column.values.tolist()}
            for column in sheet.columns
        ],
        "rows": sheet.rows,
        "encoding": sheet.encoding,
        "separator": sheet.separator,
        "decimal": sheet.decimal,
        "skipped": [{"line": row.line, "why": row.why} for row in sheet.skipped],
        "warnings": list(sheet.warnings),
    }
