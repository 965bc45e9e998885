"""Delimited text → Sheet: columns with role, channel and unit, whatever program exported them."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import IO, TYPE_CHECKING

import numpy as np

from reviewkit.ingest.sheet.sheet_blocks import NotPlain, read_blocks
from reviewkit.ingest.sheet.sheet_columns import Chosen
from reviewkit.ingest.sheet.sheet_layout import Layout, find_layout
from reviewkit.ingest.sheet.sheet_order import has_sane_values, in_order, over_one_scale
from reviewkit.ingest.sheet.sheet_rows import ParsedRows, converted, read_lines
from reviewkit.ingest.sheet.sheet_text import SPACES, WIDE_SPACES, NumberedLines, decode
from reviewkit.model.errors import Fault, Faults, InputError
from reviewkit.model.sheet import Column, Sheet

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NOTHING_SAID: Mapping[str, str] = MappingProxyType({})
MOST_BYTES = 1_000_000_000
LONG = 400_000  # bytes from which the fast parser pays for its import


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
    return _parse(io.BytesIO(data), source, columns, units, full_scale_v)


def _parse(
    stream: IO[bytes],
    source: str,
    columns: Mapping[str, str | int],
    units: Mapping[str, str],
    full_scale_v: float | None,
) -> Sheet:
    encoding, reading = _read(stream, source, columns, units)
    faults = Faults(source)
    faults.collected += reading.faults
    if not has_sane_values(reading.table, reading.chosen, faults):
        raise InputError(sorted(faults.collected, key=lambda fault: fault.line))
    table, chosen = over_one_scale(reading.table, reading.chosen, faults)
    place = _abscissa(chosen)
    abscissa = converted(table.values[:, place], chosen[place].unit.factor)
    table = in_order(table, abscissa, chosen[place].role, faults)
    if faults.collected:
        raise InputError(sorted(faults.collected, key=lambda fault: fault.line))
    warnings = [*reading.notes, *table.warnings]
    read = tuple(_column(table.values[:, each], chosen[each]) for each in range(len(chosen)))
    if full_scale_v is None and any(column.unit == "dBFS" for column in read):
        warnings.append('levels in dBFS need the voltage of full scale; add for example full_scale = "10 V"')
    separator = reading.layout.separator
    separator = SPACES if separator == WIDE_SPACES else separator
    turned = len(table.lines) > 1 and bool(table.lines[0] > table.lines[-1])
    return Sheet(
        source,
        read,
        len(table.values),
        encoding,
        separator,
        table.decimal,
        table.skipped,
        tuple(warnings),
        laid_out=_laid_out(reading.layout, turned=turned),
    )


def _laid_out(layout: Layout, *, turned: bool) -> tuple[str, ...]:
    """How the text was understood, for `read`: its header, its units row, where the readings begin, a falling order."""
    said = []
    if layout.header_text.strip():
        said.append(f"the header is line {layout.header_line}: {layout.header_text.strip()[:80]}")
        if layout.header_line > 1:
            before = "line 1" if layout.header_line == 2 else f"lines 1 to {layout.header_line - 1}"
            said.append(f"{before} passed over: remarks before the header")
    else:
        said.append("there is no header")
    if layout.units_text.strip():
        said.append(f"the units stand in a row of their own: {layout.units_text.strip()[:80]}")
    said.append(f"the readings begin in line {layout.first}" + (", in falling order: turned round" if turned else ""))
    return tuple(said)


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
        with path.open("rb") as opened:
            stream = opened if opened.seekable() else io.BytesIO(opened.read())
            return _parse(stream, source, columns, units, full_scale_v)
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise InputError(
            Fault(source, 0, f"{reason}; write the file's name as it stands in the session folder")
        ) from error


def as_json(sheet: Sheet) -> dict[str, object]:
    """What `read --json` prints: plain lists and texts; single readings only where the file is of such."""
    single = [
        {"name": r.name, "channel": r.channel, "value": r.value, "unit": r.unit, "at": dict(r.at), "note": r.note}
        for r in sheet.readings
    ]
    return ({"readings": single} if single else {}) | {
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
    stream: IO[bytes], source: str, columns: Mapping[str, str | int], units: Mapping[str, str]
) -> tuple[str, ParsedRows]:
    """The encoding, and what was read: in blocks where the file is long, else as a whole.

    A fault found in blocks is believed only where the whole file is laid out as its beginning is.
    """
    size = stream.seek(0, io.SEEK_END)
    if size > MOST_BYTES:
        said = f"the file holds {size / 1e9:.3g} GB, and {MOST_BYTES / 1e9:g} are the most that are read"
        raise InputError(Fault(source, 0, f"{said}; export a shorter stretch, or fewer readings a second"))
    is_long = size >= LONG
    in_blocks = _in_blocks(stream, source, columns, units) if is_long else None
    if in_blocks is not None and not in_blocks.faults:
        return "utf-8", in_blocks
    stream.seek(0)
    text, encoding = decode(stream.read(), source)
    if is_long and in_blocks is None:
        in_blocks = _in_blocks(io.BytesIO(text.encode()), source, columns, units)
        if in_blocks is not None and not in_blocks.faults:
            return encoding, in_blocks
    lines = NumberedLines(text)
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
    if in_blocks is not None and in_blocks.layout == layout:
        return encoding, in_blocks
    return encoding, read_lines(lines, layout, columns, units, source)


def _in_blocks(
    stream: IO[bytes], source: str, columns: Mapping[str, str | int], units: Mapping[str, str]
) -> ParsedRows | None:
    try:
        return read_blocks(stream, source, columns, units)
    except (NotPlain, InputError):
        return None  # read as a whole, a file may be laid out otherwise than its beginning alone shows


def _abscissa(chosen: tuple[Chosen, ...]) -> int:
    """The place of the column that everything is drawn over: time, else frequency, else power, else the first."""
    roles = [column.role for column in chosen]
    return next((roles.index(role) for role in ("time", "frequency", "power") if role in roles), 0)


def _column(values: NDArray[np.float64], chosen: Chosen) -> Column:
    in_base = np.ascontiguousarray(converted(values, chosen.unit.factor))
    in_base.flags.writeable = False
    return Column(chosen.role, chosen.channel, chosen.unit.base, in_base, chosen.header)
