"""Delimited text → Sheet: columns with role, channel and unit, whatever program exported them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.errors import Fault, Faults, InputError
from reviewkit.ingest.sheet_columns import Chosen, choose_columns
from reviewkit.ingest.sheet_layout import Layout, find_layout
from reviewkit.ingest.sheet_order import in_order, over_one_scale
from reviewkit.ingest.sheet_rows import Table, converted, read_bulk, read_rows
from reviewkit.ingest.sheet_text import WIDE_SPACES, decode, numbered_lines
from reviewkit.model import Column, Sheet

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NOTHING_SAID: Mapping[str, str] = MappingProxyType({})
_BULK = 400_000  # characters from which the quick path pays for its import
_HEAD = 10_000  # characters in which a long file must show how it is laid out


def parse_sheet(
    data: bytes,
    source: str,
    *,
    columns: Mapping[str, str | int] = _NOTHING_SAID,
    units: Mapping[str, str] = _NOTHING_SAID,
    full_scale_v: float | None = None,
) -> Sheet:
    """A measurement file's bytes as columns converted to Hz, s, V, W, Ω, % (dB kinds stay in their own).

    `columns`: time, frequency, power, impedance, distortion, level, left, right, "left into right" or "right into
    left" -> header text, or number from 1. `units`: the same names -> a unit. `full_scale_v`: the peak voltage of a
    full-scale sine.
    Time and frequency rise in the result. Raises InputError with every fault found, each with its line.
    """
    text, encoding = decode(data, source)
    faults = Faults(source)
    layout, chosen, table, notes = _read(data, text, encoding, source, columns, units, faults)
    table, chosen = over_one_scale(table, chosen, faults)
    place = _abscissa(chosen)
    abscissa = converted(table.values[:, place], chosen[place].unit.factor)
    table = in_order(table, abscissa, chosen[place].role, faults)
    if faults.found:
        raise InputError(sorted(faults.found, key=lambda fault: fault.line))
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
        raise InputError(
            Fault(source, 0, f"{reason}; write the file's name as it stands in the session folder")
        ) from error
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


def _read(
    data: bytes,
    text: str,
    encoding: str,
    source: str,
    columns: Mapping[str, str | int],
    units: Mapping[str, str],
    faults: Faults,
) -> tuple[Layout, tuple[Chosen, ...], Table, tuple[str, ...]]:
    """Layout, columns and rows: from a long file's beginning and the quick path where that will do."""
    if len(text) >= _BULK:
        head = numbered_lines(text[: text.find("\n", _HEAD) + 1])
        layout = find_layout(head)
        if layout is not None:
            chosen, notes = choose_columns(layout, columns, units, source)
            body = _body(data, text, encoding, layout.first)
            table = read_bulk(body, layout, chosen, head)
            if table is not None:
                return layout, chosen, table, notes
    lines = numbered_lines(text)
    layout = find_layout(lines)
    if layout is None:
        raise InputError(
            Fault(
                source,
                0,
                "no row holds two numbers or more set apart by comma, semicolon, tab or spaces; "
                "export the readings as a table of text",
            )
        )
    chosen, notes = choose_columns(layout, columns, units, source)
    return layout, chosen, read_rows(lines, layout, chosen, faults), notes


def _body(data: bytes, text: str, encoding: str, line: int) -> bytes:
    """The file from a line (from 1) on, in UTF-8; the file's own bytes where they will do, to save a copy."""
    whole: bytes | str = data if encoding == "utf-8" and b"\r" not in data else text
    place = 0
    for _ in range(line - 1):
        place = (whole.index(b"\n", place) if isinstance(whole, bytes) else whole.index("\n", place)) + 1
    rest = whole[place:]
    return rest if isinstance(rest, bytes) else rest.encode()


def _abscissa(chosen: tuple[Chosen, ...]) -> int:
    """The place of the column that everything is drawn over: time, else frequency, else power, else the first."""
    roles = [column.role for column in chosen]
    return next((roles.index(role) for role in ("time", "frequency", "power") if role in roles), 0)


def _column(values: NDArray[np.float64], chosen: Chosen) -> Column:
    in_base = np.ascontiguousarray(converted(values, chosen.unit.factor))
    in_base.flags.writeable = False
    return Column(chosen.role, chosen.channel, chosen.unit.base, in_base, chosen.header)
