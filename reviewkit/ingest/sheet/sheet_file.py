"""Delimited text → Sheet: columns with role, channel and unit, whatever program exported them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from stat import S_ISREG

import numpy as np

from reviewkit.ingest.sheet.sheet_columns import choose_columns
from reviewkit.ingest.sheet.sheet_layout import Layout, find_layout
from reviewkit.ingest.sheet.sheet_order import check_sense, has_sane_values, in_order, over_one_scale
from reviewkit.ingest.sheet.sheet_rows import read_rows
from reviewkit.ingest.sheet.sheet_text import SPACES, WIDE_SPACES, comment_text, decode, numbered_lines
from reviewkit.model.errors import Faults, refusal, shortened
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.units import scaled

MOST_BYTES = 1_000_000_000
_MOST_REMARKS = 200  # lines
_SHOWN_WITHIN = 50_000  # characters at the beginning that must show the file's layout


def parse_sheet(
    data: bytes,
    source: str,
    *,
    columns: Mapping[str, str | int] = {},
    units: Mapping[str, str] = {},
    full_scale_v: float | None = None,
) -> Sheet:
    """Return a measurement file's columns, converted to Hz, s, V, W, Ω, % (dB kinds stay in their own).

    Parameters
    ----------
    data
        The file's bytes, in any usual encoding.
    source
        What messages call the file.
    columns
        time, frequency, power, impedance, distortion, level, left, right, "left into right" or "right into left" ->
        header text, or number from 1.
    units
        The same names -> a unit.
    full_scale_v
        The peak voltage of a full-scale sine.

    Returns
    -------
    Sheet
        Columns of shape (rows,); time and frequency rise.

    Raises
    ------
    InputError
        With every fault found, each with its line.
    """
    text, encoding = decode(data, source)
    del data  # a long file isn't in memory twice
    beginning = text[: text.find("\n", _SHOWN_WITHIN) + 1 or len(text)]
    layout = find_layout(beginning) or find_layout(text)
    if layout is None:
        line, shown = _first_odd_line(text if beginning.isspace() else beginning)
        none = f'no row holds two numbers or more separated by comma, semicolon, tab or spaces (here: "{shown}")'
        raise refusal(source, f"{none}; export the readings as a table of text", line)
    chosen, notes = choose_columns(layout, columns, units, source)
    faults = Faults(source)
    table = read_rows(text, layout, chosen, faults)
    remarks = text[:_SHOWN_WITHIN].splitlines()[: min(_MOST_REMARKS, (layout.header_line or layout.first) - 1)]
    del text
    if has_sane_values(table, chosen, faults):
        table, chosen = over_one_scale(table, chosen, faults)
        table = in_order(table, chosen, faults)
        if not faults.collected:
            check_sense(table, chosen, faults)
    faults.stop_if_any(by_line=True)
    read = []
    for place, column in enumerate(chosen):
        values = np.ascontiguousarray(scaled(table.values[:, place], column.unit.factor))
        values.flags.writeable = False
        read.append(Column(column.role, column.channel, column.unit.base, values, column.header))
    warnings = [*notes, *table.warnings]
    if full_scale_v is None and any(column.unit == "dBFS" for column in read):
        warnings.append('levels in dBFS need the voltage of full scale; add for example full_scale = "10 V"')
    separator = SPACES if layout.separator == WIDE_SPACES else layout.separator
    turned = len(table.lines) > 1 and bool(table.lines[0] > table.lines[-1])
    return Sheet(
        source,
        tuple(read),
        len(table.values),
        encoding,
        separator,
        table.decimal,
        table.skipped,
        tuple(warnings),
        laid_out=_laid_out(layout, turned=turned),
        remarks=tuple(remarks),
    )


def _first_odd_line(text: str) -> tuple[int, str]:
    """Return the first line with a digit that is neither blank nor a comment, else the first line that isn't blank."""
    filled = [(number, line.strip()) for number, line in numbered_lines(text, filled=True)]
    with_digits = (each for each in filled if comment_text(each[1], ",") is None and any(map(str.isdigit, each[1])))
    number, line = next(with_digits, filled[0])
    return number, shortened(line, 60)


def _laid_out(layout: Layout, *, turned: bool) -> tuple[str, ...]:
    """Return how the text was understood, for `read`: its header, units row, first line of readings, falling order."""
    said = []
    if layout.header_text.strip():
        said.append(f"the header is line {layout.header_line}: {layout.header_text.strip()[:80]}")
        if layout.header_line > 1:
            before = "line 1" if layout.header_line == 2 else f"lines 1 to {layout.header_line - 1}"
            said.append(f"{before} skipped: remarks before the header")
    else:
        said.append("there is no header")
    if layout.units_text.strip():
        said.append(f"the units are in a row of their own: {layout.units_text.strip()[:80]}")
    said.append(f"the readings begin in line {layout.first}" + (", in falling order: reversed" if turned else ""))
    return tuple(said)


def read_export(path: Path, source: str) -> bytes:
    """Return the bytes of a file, for `parse_sheet`; `source` is its name in messages.

    Raises
    ------
    InputError
        If it can't be opened, or is too long.
    """
    try:
        status = path.stat()
        if not S_ISREG(status.st_mode):
            raise refusal(source, "this isn't a file; write the name of an export")
        if status.st_size > MOST_BYTES:
            size = f"the file holds {status.st_size / 1e9:.3g} GB, and {MOST_BYTES / 1e9:g} are the most that are read"
            raise refusal(source, f"{size}; export a shorter stretch, or fewer readings a second")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise refusal(source, f"{reason}; write the file's name as it is in the session folder") from error


def as_json(sheet: Sheet) -> dict[str, object]:
    """Return what `read --json` prints: plain lists and texts; single readings only if the file has such."""
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
