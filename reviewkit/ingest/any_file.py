"""A measurement file of which nothing is known: which format it has, and so which reader takes it."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from reviewkit.ingest.capture_file import read_capture
from reviewkit.ingest.reading_file import read_readings
from reviewkit.ingest.sheet.sheet_file import read_sheet
from reviewkit.model.sheet import Sheet

CAPTURES = (".wav", ".wave")
_NOTHING_SAID: Mapping[str, str] = MappingProxyType({})
_LOOKED_AT = 2000  # bytes, in which the header of a file of single readings stands


def read_measured(
    path: Path,
    source: str,
    *,
    columns: Mapping[str, str | int] = _NOTHING_SAID,
    units: Mapping[str, str] = _NOTHING_SAID,
    full_scale_v: float | None = None,
) -> Sheet:
    """A curve or a capture, by what the file is called: WAV, else delimited text. Raises InputError."""
    if path.suffix.lower() in CAPTURES:
        return read_capture(path, source, columns=columns, full_scale_v=full_scale_v)
    return read_sheet(path, source, columns=columns, units=units, full_scale_v=full_scale_v)


def read_any(path: Path, source: str) -> Sheet:
    """The same, and a file of single readings by its header, which names `name` and `value`. Raises InputError."""
    return read_readings(path, source) if _holds_readings(path) else read_measured(path, source)


def _holds_readings(path: Path) -> bool:
    with contextlib.suppress(OSError, UnicodeDecodeError), path.open("rb") as stream:
        beginning = stream.read(_LOOKED_AT).decode("utf-8-sig")
        lines = [line for line in beginning.splitlines() if line.strip() and not line.startswith("#")]
        cells = re.split(r"[,;\t]", lines[0]) if lines else []
        return {"name", "value"} <= {cell.strip().strip('"').lower() for cell in cells}
    return False
