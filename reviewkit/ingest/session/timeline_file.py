"""final.otio, the edited timeline → the chapters' real times, read from the segment markers of timeline.otio.

Only markers named `segment: NAME` count, wherever they are: on the timeline, a track, a gap, a clip, or any of these
inside a stack. Anything trimmed away or switched off isn't in the cut.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

from reviewkit.ingest.plain_text import decode
from reviewkit.model.errors import Fault, Faults, InputError, refusal
from reviewkit.model.timecode import exact_rate, nearest_frame, timecode_label

FILE_NAME = "final.otio"
NOT_READ = f"{FILE_NAME}: not read, so the description has no chapters; pip install 'bench-reviewkit[timeline]'"
LARGEST_BYTES = 200_000_000  # far above any cut; anything larger is some other file
LONGEST_S = 360_000  # a hundred hours: longer than any film
_SLOWEST = Fraction(20)  # frames a second; a lower rate doesn't count frames
_FASTEST = 1_000_000  # sound may be counted in samples
_SAME_S = 1e-3  # times of different rates that are the same; a frame is longer
_REMEDY = "export the timeline from the editing program as OpenTimelineIO again, or write the times into final.txt"
_NAMED = re.compile(r"\s*segment:\s*(.*?)\s*", re.IGNORECASE)
_NEAR = re.compile(r"near line (\d+)")
_OBJECT = re.compile(r"^While reading object named .*?\(of type \S+\): ")
_KIND_KEY = "OTIO_SCHEMA"
_FIRST_CLIP = re.compile(r"Clip\.0*[01]")
_KIND = re.compile(r"[A-Za-z_]\w*\.\d{1,4}", re.ASCII)
_WORD = re.compile(r"[^\W\d_][\w-]*")


@dataclass(frozen=True)
class _Seen:
    """A segment's marker as far as the cut shows it. `whole`: it begins there, and isn't the remainder of a trim."""

    start_s: Fraction
    segment: str
    whole: bool
    label: str


def read_edited(path: Path) -> tuple[tuple[float, str, int], ...] | None:
    """Return the segments of an edited timeline as final.txt gives them.

    Returns
    -------
    tuple of (start in seconds, segment, 0), or None
        In the cut's order; None where the library that reads the file is not installed.

    Raises
    ------
    InputError
        The file is not a timeline, or its markers give no order.
    """
    try:
        import opentimelineio as otio
    except ImportError:
        return None
    whole = _open(otio, path)
    try:
        seen = list(_find_markers(otio, whole))
    except _library_errors(otio) as error:
        raise InputError(_quote_error(error, "not a whole timeline")) from None
    return _sort(seen)


def _open(otio: Any, path: Path) -> Any:
    """Return the timeline in a file."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise refusal(FILE_NAME, f"is over {LARGEST_BYTES // 1_000_000} MB, which no cut is; {_REMEDY}")
        text = decode(path.read_bytes(), FILE_NAME)
    except OSError as error:
        raise refusal(FILE_NAME, f"cannot be read: {error.strerror}; make it a readable file") from None
    try:
        # the library gives no line for invalid JSON, and doesn't survive any depth
        json.loads(text, object_pairs_hook=_check_object)
    except json.JSONDecodeError as error:
        raise refusal(FILE_NAME, f"is not an OpenTimelineIO file ({error.msg}); {_REMEDY}", error.lineno) from None
    except (RecursionError, ValueError):
        raise refusal(FILE_NAME, f"is not an OpenTimelineIO file; {_REMEDY}") from None
    try:
        content = otio.core.deserialize_json_from_string(text)
    except _library_errors(otio) as error:
        raise InputError(_quote_error(error, "not an OpenTimelineIO file")) from None
    if isinstance(content, otio.schema.SerializableCollection):
        timelines = [one for one in content if isinstance(one, otio.schema.Timeline)]
        if len(timelines) != 1:
            raise refusal(FILE_NAME, f"holds {len(timelines)} timelines; export the one that was published, alone")
        content = timelines[0]
    if not isinstance(content, otio.schema.Timeline) or content.tracks is None:
        raise refusal(FILE_NAME, f"has no timeline; {_REMEDY}")
    return content


def _check_object(pairs: list[tuple[str, Any]]) -> None:
    """Raise ValueError for an object on which the library would end the whole process.

    Its kind isn't written as NAME.NUMBER, it has a key twice, or it is a clip of the first version with something that
    only the second has.
    """
    keys = {key for key, _ in pairs}
    if len(keys) < len(pairs):
        raise ValueError("a key appears twice")
    for key, value in pairs:
        if key == _KIND_KEY and not (isinstance(value, str) and _KIND.fullmatch(value)):
            raise ValueError("not a kind and its version")
        if key == _KIND_KEY and _FIRST_CLIP.fullmatch(value) and "media_references" in keys:
            raise ValueError("a clip of two versions")


def _library_errors(otio: Any) -> tuple[type[BaseException], ...]:
    """Return what the library raises for files that were written by hand or by another program's mistake."""
    own = otio.exceptions.OTIOError
    return (own, ValueError, KeyError, TypeError, RuntimeError)


def _quote_error(error: BaseException, what: str) -> Fault:
    """Return what the library found, in its words but without the names that its compiler gives to things."""
    text = " ".join(str(error).split()).strip('"')
    near = _NEAR.search(text)
    reason = re.split(r": | \(near", _OBJECT.sub("", text))[0]
    why = f"{reason} is missing" if isinstance(error, KeyError) else reason
    return Fault(FILE_NAME, int(near[1]) if near else 0, f"is {what} ({why[:80]}); {_REMEDY}")


# ------------------------------------------------------------------ from markers to times


def _find_markers(otio: Any, whole: Any) -> Iterator[_Seen]:
    """Return the segment markers that the cut shows, in the file's order."""
    faults = Faults(FILE_NAME)
    root = whole.tracks
    own_zero = _find_zero(whole)
    for item in (root, *(one for one in root.find_children() if isinstance(one, otio.core.Item))):
        for marker in item.markers:
            match = _NAMED.fullmatch(marker.name)
            if not match:
                continue
            marked = marker.marked_range
            start = marked.start_time - own_zero if own_zero is not None and item is root else marked.start_time
            placed = _locate(otio, item, start, start + marked.duration)
            if placed is None:
                continue
            at, is_whole, retimed = placed
            start_s, rate = _count(at)
            label_there = _show_place(whole, start_s, rate)
            where = f'marker "{marker.name.strip()[:60]}" at {label_there}'
            if not _WORD.fullmatch(match[1]) or match[1] != match[1].lower():
                faults.add(0, f"{where} names no segment by one lower-case word; write for example segment: before")
            elif retimed:
                faults.add(0, f'{where} is in "{retimed}", whose speed was changed; set it on the timeline instead')
            else:
                yield _Seen(_snap_to_second(start_s, rate), match[1], is_whole, label_there)
    faults.stop_if_any()


def _find_zero(whole: Any) -> Any | None:
    """Return the time from which the timeline's own markers count.

    That is its timecode, as some programs write it, but only if they would otherwise lie outside.
    """
    start, span = whole.global_start_time, whole.tracks.trimmed_range()
    times = [marker.marked_range.start_time for marker in whole.tracks.markers]
    if start is None or all(span.contains(at) for at in times):
        return None
    return start - span.start_time if all(start <= at < start + span.duration for at in times) else None


def _locate(otio: Any, item: Any, start: Any, end: Any) -> tuple[Any, bool, str] | None:
    """Return a marked range's start in the cut, whether it is its own, and the object with a changed speed.

    The last is "" if there is none; None if the cut doesn't show the range. From level to level the range is reduced to
    the part that each trim leaves.
    """
    is_whole, retimed = True, ""
    while True:
        visible = item.trimmed_range()
        trimmed_s = (visible.start_time - start).to_seconds()
        if not item.enabled or start >= visible.end_time_exclusive() or (trimmed_s > 0 and end <= visible.start_time):
            return None
        if trimmed_s > 0:
            start, is_whole = visible.start_time, is_whole and trimmed_s < _SAME_S
        elif trimmed_s < 0 and any(isinstance(effect, otio.schema.TimeEffect) for effect in item.effects):
            retimed = item.name or item.schema_name()
        parent = item.parent()
        if parent is None:
            return start - visible.start_time, is_whole, retimed
        end = min(end, visible.end_time_exclusive())
        start, end, item = item.transformed_time(start, parent), item.transformed_time(end, parent), parent


def _count(time: Any) -> tuple[Fraction, Fraction]:
    """Return seconds and frames a second of the library's time. Raises ValueError for what no film has."""
    rate = exact_rate(time.rate) if 0 < time.rate < _FASTEST else Fraction(0)
    if not rate or not 0 <= time.value < _FASTEST * LONGEST_S:
        raise ValueError(f"there is a time of {time.value:g} at {time.rate:g} frames a second")
    return Fraction(time.value) / rate, rate


def _snap_to_second(start_s: Fraction, rate: Fraction) -> Fraction:
    """Return a time as exactly as frames can give it: noted on a whole second, it is that second again."""
    second = math.floor(start_s + Fraction(1, 2))
    return Fraction(second) if abs(start_s - second) * max(rate, _SLOWEST) <= Fraction(1, 2) else start_s


def _show_place(whole: Any, start_s: Fraction, rate: Fraction) -> str:
    """Return a place in the cut as the editing program counts it."""
    first = whole.global_start_time
    before = Fraction(0) if first is None else _count(first)[0]
    return timecode_label(nearest_frame(start_s + before, rate), rate)


def _sort(seen: Sequence[_Seen]) -> tuple[tuple[float, str, int], ...]:
    """Return the segments' starts.

    If a start was trimmed away everywhere, it is the first of the remains; a segment that follows itself (a clip that
    was split, the sound next to the picture) starts only at its first.
    """
    begun = {one.segment for one in seen if one.whole}
    kept: list[_Seen] = []
    for one in sorted(seen, key=lambda one: one.start_s):
        if (one.whole or one.segment not in begun) and (not kept or kept[-1].segment != one.segment):
            kept.append(one)
            begun.add(one.segment)
    faults = Faults(FILE_NAME)
    for one, other in pairwise(kept):
        if one.start_s == other.start_s:
            both = f'"segment: {one.segment}" and "segment: {other.segment}" are both at {one.label}'
            faults.add(0, f"{both}; move or delete one")
    if not kept:
        remedy = "keep those of timeline.otio, set markers named for example segment: before, or write final.txt"
        faults.add(0, f"no marker in the cut names a segment; {remedy}")
    faults.stop_if_any()
    return tuple((float(one.start_s), one.segment, 0) for one in kept)
