"""A measurement's file: which reader reads it, and whether it has what its kind needs."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from reviewkit.ingest.capture_file import read_capture
from reviewkit.ingest.plain_text import refuse_devices
from reviewkit.ingest.reading_file import read_readings
from reviewkit.ingest.sheet.sheet_file import parse_sheet, read_export
from reviewkit.ingest.sheet.sheet_header import ROLE_UNITS
from reviewkit.model.errors import refusal
from reviewkit.model.kind import Kind
from reviewkit.model.session import CAPTURES, Measurement
from reviewkit.model.sheet import Sheet
from reviewkit.model.toml_text import inline_table
from reviewkit.model.units import read_quantity

_OTHER_LEVEL = re.compile(r"noise|crosstalk|separation|sinad|snr|residual", re.IGNORECASE)
_LOOKED_AT = 2000  # bytes that include the header of a file of single readings


def read_measurement(folder: Path, m: Measurement, kind: Kind) -> Sheet | None:
    """Return a measurement's file; None if it has none and needs none.

    Raises
    ------
    InputError
        If it lacks what is needed.
    """
    needs = kind.needs
    if not m.file:
        if () not in needs:
            raise refusal("session.toml", f'[[measurement]] {m.id}: file = "measurements/…" is missing', m.line)
        return None
    columns = dict(m.columns)
    sheet = _read(folder / m.file, m.file, columns, dict(m.units), m.full_scale_v, readings=kind.by_meter)
    roles = {column.role for column in sheet.columns} | ({"reading"} if sheet.readings else set())
    if not any(needed and set(needed) <= roles for needed in needs):
        wanted = " or ".join(" and ".join(needed) for needed in needs if needed)
        here = ", ".join(f'{column.role} ("{column.header}")' for column in sheet.columns) or "none"
        here = f"a {m.kind} needs columns of {wanted}; here are {here}"
        raise refusal(m.file, f"{here}; {_remedy(sheet, needs, columns)}")
    if kind.levels_of_output and not columns.keys() - {"frequency"}:
        for column in sheet.all("level"):
            other = _OTHER_LEVEL.search(column.header)
            if other is not None and ">" not in column.channel:
                here = f'"{column.header}" is {other[0].lower()}, and kind = "{m.kind}" needs the level at the output'
                line = f"columns = {inline_table({**columns, 'level': column.header})}"
                remedy = "is it another kind? If it is that level, write under its [[measurement]] in session.toml"
                raise refusal(m.file, f"{here}; {remedy} {line}")
    return sheet


def read_any(path: Path, source: str, *, given: Mapping[str, Any] = {}) -> Sheet:
    """Read a file on its own: as a capture if its name says so, as single readings if its header has `name` and
    `value`, else as delimited text.

    `given`: `columns`, `units` and `full_scale` as session.toml has them, as far as they can be read.

    Raises
    ------
    InputError
        If the file can't be read as what it is.
    """
    columns, units = (_texts(given.get(key)) for key in ("columns", "units"))
    full_scale_v = None
    with contextlib.suppress(ValueError):
        full_scale_v = read_quantity(str(given.get("full_scale", "")), "V")
    words = {key: str(value) for key, value in units.items()}
    return _read(path, source, columns, words, full_scale_v)


def _read(
    path: Path,
    source: str,
    columns: Mapping[str, str | int],
    units: Mapping[str, str],
    full_scale_v: float | None,
    *,
    readings: bool | None = None,
) -> Sheet:
    """Read a file as a capture if its name says so, else as delimited text; as single `readings` if that is known, or
    if its header shows it.
    """
    refuse_devices(path, source)
    if _holds_readings(path) if readings is None else readings:
        return read_readings(path, source)
    if path.suffix.lower() in CAPTURES:
        return read_capture(path, source, columns=columns, full_scale_v=full_scale_v)
    return parse_sheet(read_export(path, source), source, columns=columns, units=units, full_scale_v=full_scale_v)


def _texts(table: Any) -> dict[str, str | int]:
    """Return the pairs of a table that are texts and numbers; whatever else is in it is a fault of session.toml."""
    pairs = table.items() if isinstance(table, dict) else ()
    return {key: value for key, value in pairs if isinstance(value, (str, int)) and not isinstance(value, bool)}


def _remedy(sheet: Sheet, needs: tuple[tuple[str, ...], ...], columns: Mapping[str, str | int]) -> str:
    """Return the line that gives a kind what it needs, if a column of another role has the unit for it."""
    needed = next(roles for roles in needs if roles)
    free = [column for column in sheet.columns if column.role not in needed and column.header]
    pairs = {}
    for role in needed:
        fitting = [column for column in free if column.unit in ROLE_UNITS.get(role, ())]
        if sheet.find(role) is None and fitting:
            pairs[role] = fitting[0].header
            free.remove(fitting[0])
    if not all(role in pairs or sheet.find(role) is not None for role in needed):
        return "is it another kind, or another file?"
    line = inline_table({**columns, **pairs})
    return f"write under its [[measurement]] in session.toml columns = {line}, or is it another kind?"


def _holds_readings(path: Path) -> bool:
    with contextlib.suppress(OSError, UnicodeDecodeError), path.open("rb") as stream:
        beginning = stream.read(_LOOKED_AT).decode("utf-8-sig")
        lines = [line for line in beginning.splitlines() if line.strip() and not line.startswith("#")]
        cells = re.split(r"[,;\t]", lines[0]) if lines else []
        return {"name", "value"} <= {cell.strip().strip('"').lower() for cell in cells}
    return False
