"""Changes of notes.txt as text: a clip begins, a note is stamped or corrected, and every other line stays as it is."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from fractions import Fraction

from reviewkit.ingest.session.footage_time import DAY_S, LOOKS_LIKE_TIME, read_time, show_time
from reviewkit.ingest.session.notes_file import FILE_NAME, SEGMENT, parse_notes
from reviewkit.model.errors import InputError, refusal

_CLIP = re.compile(r"clip\s+(?P<name>.+?)(?P<times>(?:\s+(?:for|at)\s+\S+)*)\s*$")
_PART = re.compile(r"\s+(for|at)\s+(\S+)")
# a comment below a clip's line says that it is running: a clock time alone doesn't say on which day
_RUNNING = re.compile(r"#\s*running since (\d{4}-\d\d-\d\d \d\d:\d\d:\d\d)\s*$")
_CUT = re.compile(r"\s*\[\s*cut\s*\]\s*")
_NAME = re.compile(r"[^\W\d_][\w-]*")


@dataclass(frozen=True)
class NoteLine:
    """A note as it is written.

    Attributes
    ----------
    line, end
        Its first line, and the one after its last, from 1.
    at_s
        From the start of its clip.
    segment
        The one that it is in, whether it names it or not.
    named
        The segment that it names, else "".
    words
        Its text with its calls for cards and sounds.
    raw
        Its lines as they are.
    title
        The chapter's title that it gives its segment, as in `fault "Down to one part": …`.
    """

    line: int
    end: int
    clip: str
    at_s: Fraction
    segment: str
    named: str
    words: str
    cut: bool
    raw: str
    title: str = ""


@dataclass(frozen=True)
class ClipLine:
    """A clip as it is written. `starts_s`: by the clock, if its times are. `running`: when it began, if it still is."""

    name: str
    line: int
    starts_s: Fraction | None
    length_s: Fraction | None
    running: datetime | None


@dataclass(frozen=True)
class NotesText:
    """The clips and notes of a text, as far as they can be read."""

    clips: tuple[ClipLine, ...]
    notes: tuple[NoteLine, ...]

    @property
    def running(self) -> ClipLine | None:
        """Return the clip that is being filmed."""
        return self.clips[-1] if self.clips and self.clips[-1].running else None


def read_lines(text: str) -> NotesText:
    """Return clips and notes with their lines, but no line that isn't understood: `parse_notes` reports it."""
    clips: list[ClipLine] = []
    notes: list[NoteLine] = []
    segment, open_note = "", False
    for line, row in enumerate(_rows(text), 1):
        row = row.rstrip("\r\n")
        if not row.strip():
            continue
        if row[0].isspace():
            if open_note:
                notes[-1] = _continued(notes[-1], line, row)
            continue
        open_note = False
        if match := _RUNNING.match(row):
            if clips and clips[-1].length_s is None:
                clips[-1] = replace(clips[-1], running=datetime.fromisoformat(match[1]))
        elif match := _CLIP.match(row):
            times = {word: _time(written, clock=word == "at") for word, written in _PART.findall(match["times"])}
            clips.append(ClipLine(match["name"], line, times.get("at"), times.get("for"), None))
        elif LOOKS_LIKE_TIME.match(row):
            clip = clips[-1] if clips else None
            if (note := _note(line, row, clip, segment)) is not None:
                segment, open_note = note.segment, True
                notes.append(note)
    return NotesText(tuple(clips), tuple(notes))


def start_clip(text: str, name: str, now: datetime) -> str:
    """Return the text with a clip that begins now.

    Raises
    ------
    InputError
        If the clip has no name.
    """
    name = " ".join(name.split())
    lines = _rows(text)
    if read_lines(text).running:
        lines = _rows(end_clip(text, now))
    if not name:
        raise refusal(FILE_NAME, "a clip needs a name; write its file's, such as bench-1.mp4")
    end = _end(lines)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += end
    lines += [f"clip {name} at {now:%H:%M:%S}{end}", f"# running since {now:%Y-%m-%d %H:%M:%S}{end}"]
    return _checked(text, "".join(lines))


def end_clip(text: str, now: datetime) -> str:
    """Return the text with the running clip's length in its line."""
    clip = read_lines(text).running
    if clip is None or clip.running is None:
        return text
    lines = _rows(text)
    last = max((note.at_s for note in read_lines(text).notes if note.clip == clip.name), default=Fraction(0))
    length = max(Fraction(int((now - clip.running).total_seconds())), Fraction(int(last) + 1))
    row = lines[clip.line - 1]
    times = _CLIP.match(row.rstrip("\r\n"))
    assert times is not None
    lines[clip.line - 1] = f"clip {clip.name} for {show_time(length)}{times['times']}{_end(lines)}"
    kept = [each for each in lines if not _RUNNING.match(each)]
    return _checked(text, "".join(kept))


def add_note(text: str, at: datetime, segment: str, words: str, *, cut: bool = False) -> str:
    """Return the text with a note of the running clip in its place by time.

    Parameters
    ----------
    text : str
        The text.
    at : datetime
        When it was noted.
    segment : str
        The segment that it is in.
    words : str
        What was noted; may be empty.
    cut : bool
        Whether it is a bad take.

    Raises
    ------
    InputError
        If no clip is running.
    """
    clip = read_lines(text).running
    if clip is None or clip.running is None:
        raise refusal(FILE_NAME, "no clip is running; start one, then stamp")
    at_s = max(Fraction(0), Fraction(int((at - clip.running).total_seconds())))
    return _checked(text, _insert(text, clip, at_s, segment, words, cut=cut))


def change_note(text: str, line: int, time: str, segment: str, words: str, *, cut: bool) -> str:
    """Return the text with one note rewritten: its time, from its clip's start, its segment and its words.

    Raises
    ------
    InputError
        If no note begins in that line, or if the time can't be read.
    """
    read = read_lines(text)
    note = next((each for each in read.notes if each.line == line), None)
    if note is None:
        raise refusal(FILE_NAME, "there is no note here any more; open it again", line)
    try:
        at_s = read_time(time)
    except ValueError as error:
        raise refusal(FILE_NAME, str(error), line) from None
    if at_s == int(note.at_s) and note.at_s != at_s and time == show_time(Fraction(int(note.at_s))):
        at_s = note.at_s  # shown without its fraction
    if at_s == note.at_s and segment == note.segment:
        return _checked(text, _in_place(text, note, words, cut=cut))
    clip = next((each for each in read.clips if each.name == note.clip), None)
    without = _without(text, read.notes, note)
    title = note.title if segment == note.segment else ""
    return _checked(text, _insert(without, clip, at_s, segment, words, cut=cut, title=title))


def without_cards(text: str, cards: Collection[str]) -> str:
    """Return the text with no note calling for any of these cards. A note with nothing else keeps its segment."""
    call = re.compile(rf"[ \t]*\[\s*card\s+(?:{'|'.join(map(re.escape, cards))})\s*\]")
    for note in read_lines(text).notes:
        lines = _rows(text)
        own = [call.sub("", line) for line in lines[note.line - 1 : note.end - 1]]
        if own != lines[note.line - 1 : note.end - 1]:
            if not note.named and not call.sub("", note.words).strip() and not note.cut:
                own[0] = _named(own[0], note.segment or "opening")
            text = "".join([*lines[: note.line - 1], *own, *lines[note.end - 1 :]])
    return text


# ------------------------------------------------------------------ lines


def _rows(text: str) -> list[str]:
    return re.findall(r"[^\n]*\n|[^\n]+$", text)


def _end(lines: Sequence[str]) -> str:
    return "\r\n" if lines and lines[0].endswith("\r\n") else "\n"


def _time(written: str, *, clock: bool) -> Fraction | None:
    try:
        return read_time(written, clock=clock)
    except ValueError:
        return None


def _note(line: int, row: str, clip: ClipLine | None, segment: str) -> NoteLine | None:
    first, rest = [*row.split(maxsplit=1), ""][:2]
    starts = clip.starts_s if clip else None
    time = _time(first, clock=starts is not None)
    if time is None:
        return None
    match = SEGMENT.match(rest)
    named = match[1] if match and match[1] == match[1].lower() else ""
    words = rest[match.end() :] if match and named else rest
    at_s = time if starts is None else (time - starts) % DAY_S
    cut = bool(_CUT.search(words))
    words = " ".join(_CUT.sub(" ", words).split())
    title = match[2] or "" if match and named else ""
    return NoteLine(line, line + 1, clip.name if clip else "", at_s, named or segment, named, words, cut, row, title)


def _continued(note: NoteLine, line: int, row: str) -> NoteLine:
    words = " ".join(f"{note.words} {_CUT.sub(' ', row)}".split())
    return replace(note, end=line + 1, words=words, cut=note.cut or bool(_CUT.search(row)), raw=f"{note.raw}\n{row}")


def _in_place(text: str, note: NoteLine, words: str, *, cut: bool) -> str:
    """Return the text with other words in a note that keeps its time and its segment."""
    lines = _rows(text)
    words = " ".join(_CUT.sub(" ", words).split())
    first = lines[note.line - 1]
    if words != note.words or cut != note.cut:
        names = note.named or not words or (SEGMENT.match(words) and words[:1].islower())
        head = _head(note.segment, note.title) if names else ""
        ending = first[len(first.rstrip("\r\n")) :]
        lines[note.line - 1 : note.end - 1] = [_row(first.split(maxsplit=1)[0], head, words, cut=cut) + ending]
    return "".join(lines)


def _without(text: str, notes: Sequence[NoteLine], note: NoteLine) -> str:
    """Return the text without a note. The one after it names the segment, if it took it from this one."""
    lines = _rows(text)
    after = next((each for each in notes if each.line > note.line), None)
    if after is not None and note.named and not after.named:
        lines[after.line - 1] = _named(lines[after.line - 1], after.segment)
    return "".join(lines[: note.line - 1] + lines[note.end - 1 :])


def _insert(
    text: str, clip: ClipLine | None, at_s: Fraction, segment: str, words: str, *, cut: bool, title: str = ""
) -> str:
    """Return the text with a note of a clip, after the last that isn't later."""
    read, lines = read_lines(text), _rows(text)
    end = _end(lines)
    name = clip.name if clip else ""
    own = [note for note in read.notes if note.clip == name]
    before = [note for note in own if note.at_s <= at_s]
    after = next((note for note in own if note.at_s > at_s), None)
    place = before[-1].end - 1 if before else _first_place(lines, clip)
    earlier = [note for note in read.notes if note.line <= place]
    inherited = earlier[-1].segment if earlier else ""
    segment = segment.strip().lower()
    if segment and not _NAME.fullmatch(segment):
        raise refusal(FILE_NAME, f'"{segment[:40]}" is not a segment; write one word, such as fault')
    words = " ".join(_CUT.sub(" ", words).split())
    names = bool(segment and (segment != inherited or not words or title))
    if not names and SEGMENT.match(words) and words[:1].islower():
        names = bool(segment or inherited)  # or its first word would be read as a segment
        segment = segment or inherited
    row = _row(_written(clip, at_s), _head(segment, title) if names else "", words, cut=cut) + end
    if after is not None and not after.named and (segment or inherited) != after.segment and after.segment:
        lines[after.line - 1] = _named(lines[after.line - 1], after.segment)
    if place and not lines[place - 1].endswith("\n"):
        lines[place - 1] += end
    return "".join([*lines[:place], row, *lines[place:]])


def _row(time: str, head: str, words: str, *, cut: bool) -> str:
    return " ".join(filter(None, (time, head, words, "[cut]" if cut else "")))


def _head(segment: str, title: str) -> str:
    return f'{segment} "{title}":' if title else f"{segment}:"


def _first_place(lines: Sequence[str], clip: ClipLine | None) -> int:
    """Return the index of a clip's first note: below its line, and below the comment that says it is running."""
    place = clip.line if clip else 0
    while place < len(lines) and lines[place].startswith("#"):
        place += 1
    return place


def _named(row: str, segment: str) -> str:
    """Return a note's line with its segment named."""
    first, rest = [*row.split(maxsplit=1), ""][:2]
    ending = row[len(row.rstrip("\r\n")) :]
    return f"{first} {segment}: {rest.strip()}".rstrip() + ending


def _written(clip: ClipLine | None, at_s: Fraction) -> str:
    """Return a time as the clip's other notes have it."""
    if clip is None or clip.starts_s is None:
        return show_time(at_s)
    clock = (clip.starts_s + at_s) % DAY_S
    midnight = datetime(2000, 1, 1) + timedelta(seconds=int(clock))
    fraction = show_time(clock - int(clock)).removeprefix("0:00")
    return f"{midnight:%H:%M:%S}{fraction}"


def _checked(before: str, after: str) -> str:
    """Return the new text, unless it has a fault that the one before it didn't have."""
    try:
        parse_notes(after)
    except InputError:
        try:
            parse_notes(before)
        except InputError:
            return after  # it was wrong already: a note isn't lost for that
        raise
    return after
