"""A measurement's file: which reader takes it, and whether it holds what its kind needs."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path

from reviewkit.ingest.capture_file import read_capture
from reviewkit.ingest.reading_file import read_readings
from reviewkit.ingest.sheet.sheet_file import read_sheet
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.session import Measurement
from reviewkit.model.sheet import Sheet

CAPTURES = (".wav", ".wave")
_LOOKED_AT = 2000  # bytes, in which the header of a file of single readings is


def read_measurement(folder: Path, m: Measurement, needs: tuple[tuple[str, ...], ...]) -> Sheet | None:
    """Return a measurement's file; None if it has none and needs none. Raises InputError if it lacks what is needed.

    `needs`: roles of columns, any one of several sets; the set () needs no file.
    """
    if not m.file:
        if () not in needs:
            raise InputError(
                Fault("session.toml", m.line, f'[[measurement]] {m.id}: file = "measurements/…" is missing')
            )
        return None
    path, columns = folder / m.file, dict(m.columns)
    if ("reading",) in needs:
        sheet = read_readings(path, m.file)
    elif path.suffix.lower() in CAPTURES:
        sheet = read_capture(path, m.file, columns=columns, full_scale_v=m.full_scale_v)
    else:
        sheet = read_sheet(path, m.file, columns=columns, units=dict(m.units), full_scale_v=m.full_scale_v)
    roles = {column.role for column in sheet.columns} | ({"reading"} if sheet.readings else set())
    if not any(needed and set(needed) <= roles for needed in needs):
        wanted = " or ".join(" and ".join(needed) for needed in needs if needed)
        raise InputError(
            Fault(
                m.file,
                0,
                f"a {m.kind} needs columns of {wanted}; here are {_columns_in_words(sheet)}. Say under its "
                "[[measurement]] in session.toml which is which, for example columns = "
                f"{{ {_columns_to_paste(sheet, needs)} }}, or is it another kind?",
            )
        )
    return sheet


def read_any(path: Path, source: str) -> Sheet:
    """Return a file of which nothing is known: a capture by its name, single readings by their header, which names
    `name` and `value`, else delimited text. Raises InputError.
    """
    if _holds_readings(path):
        return read_readings(path, source)
    return read_capture(path, source) if path.suffix.lower() in CAPTURES else read_sheet(path, source)


def _columns_in_words(sheet: Sheet) -> str:
    return ", ".join(f'{column.role} ("{column.header}")' for column in sheet.columns) or "none"


def _columns_to_paste(sheet: Sheet, needs: tuple[tuple[str, ...], ...]) -> str:
    """Return what a kind needs, each with a header of the file, in their order."""
    needed = next(roles for roles in needs if roles)
    headers = [column.header for column in sheet.columns] or [""]
    return ", ".join(f'{role} = "{headers[min(at, len(headers) - 1)]}"' for at, role in enumerate(needed))


def _holds_readings(path: Path) -> bool:
    with contextlib.suppress(OSError, UnicodeDecodeError), path.open("rb") as stream:
        beginning = stream.read(_LOOKED_AT).decode("utf-8-sig")
        lines = [line for line in beginning.splitlines() if line.strip() and not line.startswith("#")]
        cells = re.split(r"[,;\t]", lines[0]) if lines else []
        return {"name", "value"} <= {cell.strip().strip('"').lower() for cell in cells}
    return False
