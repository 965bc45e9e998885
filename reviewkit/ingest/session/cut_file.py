"""The finished cut → the chapters' real times: `TIME segment` lines of final.txt, else the markers of final.otio."""

from __future__ import annotations

import re
from collections.abc import Collection
from fractions import Fraction
from pathlib import Path

from reviewkit.ingest.plain_text import numbered_rows, read_text
from reviewkit.ingest.session import timeline_file
from reviewkit.ingest.session.footage_time import read_time, show_time
from reviewkit.model.errors import Faults, refusal

FILE_NAME = "final.txt"
MOST_SEGMENTS = 10_000
Cut = tuple[tuple[float, str, int], ...]  # start in seconds, segment, line (0 where there are no lines)
_EXAMPLE = "write a time and a segment, for example 6:12 before"


def read_final(folder: Path, noted: Collection[str] = ()) -> tuple[Cut, tuple[str, ...]]:
    """Return the finished cut of a session folder, and a report on it, one line each.

    If both files exist, final.txt wins; if neither does, the cut is empty.

    Parameters
    ----------
    folder : Path
        The session folder.
    noted : Collection[str]
        The segments that the notes name.

    Raises
    ------
    InputError
        If the file that counts can't be read, or a line or marker of it is wrong.
    """
    edited = folder / timeline_file.FILE_NAME
    if (folder / FILE_NAME).is_file():
        cut = parse_cut(read_text(folder / FILE_NAME, FILE_NAME))
        return cut, (f"{edited.name}: not read: {FILE_NAME} wins",) if edited.is_file() else ()
    if not edited.is_file():
        return (), (f"no {FILE_NAME}: the description has no chapters",)
    segments = timeline_file.read_edited(edited)
    if segments is None:
        return (), (timeline_file.NOT_READ,)
    lost = [name for name in dict.fromkeys(noted) if name not in {segment for _, segment, _ in segments}]
    remedy = f"no chapter; set a marker segment: {lost[0]}, if it is in the cut" if lost else ""
    return segments, (f"{edited.name}: no marker of {', '.join(lost)}: {remedy}",) if lost else ()


def parse_cut(text: str) -> Cut:
    """Return (start in seconds, segment, line) for each line, in order; `#` begins a comment line.

    Raises
    ------
    InputError
        With every line that is not `TIME segment`, and every time that is not later than the one before.
    """
    faults = Faults(FILE_NAME)
    segments: list[tuple[float, str, int]] = []
    last: Fraction | None = None
    for line, row in numbered_rows(text):
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
            faults.add(line, f"{show_time(at)} is not later than {show_time(last)} above it; {remedy}")
        elif len(segments) == MOST_SEGMENTS:
            remedy = "no cut has that many; keep one line for each chapter"
            raise refusal(FILE_NAME, f"this is segment {MOST_SEGMENTS + 1}; {remedy}", line)
        else:
            segments.append((float(at), name, line))
        last = at if last is None else max(last, at)
    faults.stop_if_any()
    return tuple(segments)
