"""final.txt → the chapters' real times: `TIME segment` lines taken from the finished cut."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

from reviewkit.errors import Faults
from reviewkit.ingest.footage_time import read_time, shown_time
from reviewkit.ingest.plain_text import read_text

FILE_NAME = "final.txt"
_EXAMPLE = "write a time and a segment, for example 6:12 before"


def read_cut(path: Path, source: str = FILE_NAME) -> tuple[tuple[float, str, int], ...]:
    """The segments of a final.txt. Raises InputError."""
    return parse_cut(read_text(path, source), source)


def parse_cut(text: str, source: str = FILE_NAME) -> tuple[tuple[float, str, int], ...]:
    """(start in seconds, segment, line) for each line, in order; `#` begins a comment line.

    Raises InputError with every line that is not `TIME segment`, and every time that is not later than the one before.
    """
    faults = Faults(source)
    found: list[tuple[float, str, int]] = []
    last: Fraction | None = None
    for line, row in enumerate(text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        words = row.split()
        if not words or row.startswith("#"):
            continue
        try:
            at = read_time(words[0])
        except ValueError as error:
            faults.add(line, str(error))
            continue
        name = words[1].removesuffix(":") if len(words) == 2 else ""
        if not re.fullmatch(r"[^\W\d_][\w-]*", name) or name != name.lower():
            faults.add(line, f'"{row.strip()[:60]}" names no segment by one lower-case word; {_EXAMPLE}')
        elif last is not None and at <= last:
            remedy = "list the segments in the order of the cut"
            faults.add(line, f"{shown_time(at)} is not later than {shown_time(last)} above it; {remedy}")
        else:
            found.append((float(at), name, line))
        last = at if last is None else max(last, at)
    faults.stop_if_any()
    return tuple(found)
