"""notes.txt → Notes: timestamped lines, each with its clip, segment, cards and whether it is a bad take."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from reviewkit.ingest.plain_text import numbered_rows, read_text
from reviewkit.ingest.session.footage_time import DAY_S, LOOKS_LIKE_TIME, read_time, show_time
from reviewkit.model.errors import Faults, refusal, shortened
from reviewkit.model.notes import Clip, Note, Notes

FILE_NAME = "notes.txt"
_NOTE_EXAMPLE = "a note looks like 0:41 front: Five knobs. [card rated]"
_CLIP_EXAMPLE = "write for example clip bench-1.mp4 for 14:05, or clip bench-2.mp4 at 21:10:32"
# A colon directly before // belongs to a link, not to a segment.
SEGMENT = re.compile(r'([^\W\d_][\w-]*)(?:\s+"([^"]*)")?:(?!//)\s*')
_TAG = re.compile(r"\[([^\[\]]*)\]")
_OPEN_TAG = re.compile(r"\[\s*(?:(?:card|sound|cut)\b.*|(?:not\s+)?page\s*$)", re.IGNORECASE)
_PAGE_TAG = re.compile(r"\[page\]")  # what follows it in the note is for readers
_LIKE_PAGE = ("page", "pages", "not page", "not pages", "no page", "not on page", "notpage")
MOST_NOTES = 10_000  # one every five seconds of a working day
LONGEST_TITLE = 60  # characters of a chapter's title; platforms cut longer ones (common practice, no source)
_LONGEST_SHOWN = 60  # characters of the text that a message quotes


def read_notes(path: Path) -> Notes:
    """Return the notes in a file, as `parse_notes` does.

    Raises
    ------
    InputError
        The file cannot be read, or a line of it is wrong.
    """
    return parse_notes(read_text(path, FILE_NAME))


def parse_notes(text: str) -> Notes:
    """Return the notes of a text, in its order.

    `Note.at_s` counts from the start of the note's clip, also under a clock.

    Raises
    ------
    InputError
        With every line that cannot be read, runs back in time, or lies beyond its clip's length; also for more notes or
        clips than any film has.
    """
    reader = _Reader(Faults(FILE_NAME))
    for line, row in numbered_rows(text):
        reader.read_line(line, row)
    return reader.finish()


@dataclass(slots=True)
class _NoteDraft:
    line: int
    clip: str
    at_s: float
    segment: str
    names_segment: bool
    texts: list[str]
    cards: list[str] = field(default_factory=list)
    sounds: list[str] = field(default_factory=list)
    cut: bool = False
    page: list[str] = field(default_factory=list)  # for readers, from [page] on
    on_page: bool = True


class _Reader:
    """A reader of lines in order, which remembers the clip, the time and the segment that the next one builds on."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.clips: dict[str, Clip] = {}
        self.drafts: list[_NoteDraft] = []
        self.titles: dict[str, tuple[str, int]] = {}  # by segment, with the line
        self.clip: Clip | None = None
        self.starts: Fraction | None = None  # of the clip, if times are the clock's
        self.length: Fraction | None = None
        self.last: Fraction | None = None
        self.segment = ""
        self.open: _NoteDraft | None = None  # the note that an indented line continues
        self.unread = False  # the line above was a faulty note, so what depends on it needs no fault of its own

    def read_line(self, line: int, row: str) -> None:
        """Take one line of the file."""
        if not row.strip() or row.startswith("#"):
            return
        if row[0].isspace():
            self._continue_note(line, row.strip())
            return
        self.open = None
        self.unread = False
        if re.match(r"clip(\s|$)", row):
            self._read_clip(line, row)
        else:
            self._read_note(line, row.strip())

    def finish(self) -> Notes:
        """Return all that was read. Raises InputError if anything was wrong."""
        for draft in self.drafts:
            written = any(draft.texts) or any(draft.page) or draft.cards or draft.sounds or draft.cut
            if draft.page and not any(draft.page):
                remedy = "write the words for readers after it, or [not page] to leave the note out of the page"
                self.faults.add(draft.line, f"there is nothing after [page]; {remedy}")
            elif draft.page and not draft.on_page:
                self.faults.add(draft.line, "[page] and [not page] contradict each other; keep one of them")
            elif not (written or draft.names_segment):
                self.faults.add(draft.line, f"there is nothing after the time; {_NOTE_EXAMPLE}")
        self.faults.stop_if_any(by_line=True)
        notes = (
            Note(
                clip=draft.clip,
                at_s=draft.at_s,
                segment=draft.segment,
                text=" ".join(" ".join(draft.texts).split()),
                cards=tuple(dict.fromkeys(draft.cards)),
                sounds=tuple(dict.fromkeys(draft.sounds)),
                cut=draft.cut,
                line=draft.line,
                page=" ".join(" ".join(draft.page).split()),
                on_page=draft.on_page,
            )
            for draft in self.drafts
        )
        titles = tuple((segment, title) for segment, (title, _) in self.titles.items())
        return Notes(clips=tuple(self.clips.values()), notes=tuple(notes), titles=titles)

    # -------------------------------------------------------------- the three sorts of line

    def _read_clip(self, line: int, row: str) -> None:
        self.last = None
        words = row.split()[1:]
        times: dict[str, Fraction | None] = {}
        while len(words) >= 2 and words[-2] in ("for", "at") and words[-2] not in times:
            try:
                times[words[-2]] = read_time(words[-1], clock=words[-2] == "at")
            except ValueError as error:
                self.faults.add(line, f"clip … {words[-2]} {error}")
                times[words[-2]] = None
            words = words[:-2]
        name = " ".join(words)
        if not name or words[-1] in ("for", "at"):
            self.faults.add(line, f'"{row.strip()[:60]}" names no clip, or says no time; {_CLIP_EXAMPLE}')
            name = name or f"line {line}"
        same = self.clips.get(name)
        shown = shortened(name, _LONGEST_SHOWN)
        if same is not None:
            remedy = "keep the notes of one clip together"
            self.faults.add(line, f"clip {shown} has begun in line {same.line} already; {remedy}")
        self.length, self.starts = times.get("for"), times.get("at")
        if self.length == 0:
            self.faults.add(line, f"clip {shown} has no length; write how long it runs, or leave the length out")
            self.length = None
        self.clip = Clip(
            name=name,
            length_s=None if self.length is None else float(self.length),
            starts_s=None if self.starts is None else float(self.starts),
            line=line,
        )
        self.clips.setdefault(name, self.clip)
        self._check_count(line, len(self.clips), "clip")

    def _read_note(self, line: int, row: str) -> None:
        first, rest = [*row.split(maxsplit=1), ""][:2]
        if not LOOKS_LIKE_TIME.match(first):
            self.faults.add(line, f'"{row[:60]}" cannot be read; {_NOTE_EXAMPLE}')
            self.unread = True
            return
        at_s = self._read_time(line, first)
        segment = SEGMENT.match(rest.strip())
        named = segment is not None and segment[1] == segment[1].lower()
        if segment is not None and named:
            self.segment = segment[1]
            if segment[2] is not None:
                self._read_title(line, segment[1], " ".join(segment[2].split()))
            rest = rest.strip()[segment.end() :]
        draft = _NoteDraft(line, self.clip.name if self.clip else "", float(at_s or 0), self.segment, named, [])
        self._add_words(draft, line, rest)
        self.drafts.append(draft)
        self.open = draft
        self._check_count(line, len(self.drafts), "note")

    def _read_title(self, line: int, segment: str, title: str) -> None:
        """Take the title of a segment's chapter."""
        other, first = self.titles.setdefault(segment, (title, line))
        if not title or len(title) > LONGEST_TITLE:
            length = f"of 1 to {LONGEST_TITLE} characters"
            self.faults.add(line, f'{segment} needs a title {length} between the quotes, such as "Is it fixed?"')
        elif other != title:
            self.faults.add(line, f'{segment} has the title "{other}" in line {first} already; keep one')

    def _check_count(self, line: int, count: int, what: str) -> None:
        if count > MOST_NOTES:
            message = f"this is {what} {count}, and {MOST_NOTES} are the most that are read"
            raise refusal(self.faults.source, f"{message}; keep those that are of this film", line)

    def _continue_note(self, line: int, row: str) -> None:
        if LOOKS_LIKE_TIME.match(row):
            remedy = "move it to the start of the line if it is a note, else put a word before the time"
            self.faults.add(line, f'"{row[:60]}" is indented, but begins with a time; {remedy}')
        elif self.open is not None:
            self._add_words(self.open, line, row)
        elif not self.unread:
            self.faults.add(line, f'"{row[:60]}" is indented, but there is no note above it; {_NOTE_EXAMPLE}')

    # -------------------------------------------------------------- the parts of a note

    def _read_time(self, line: int, written: str) -> Fraction | None:
        try:
            time = read_time(written, clock=self.starts is not None)
        except ValueError as error:
            self.faults.add(line, str(error))
            return None
        at_s = time
        if self.starts is not None:
            at_s = (time - self.starts) % DAY_S  # the clock wraps at midnight
            if at_s > DAY_S / 2:
                began = show_time(self.starts)
                self.faults.add(line, f"{written} is before the clip began, at {began}; correct one of them")
                return None
        if self.last is not None and at_s < self.last:
            back = f"{written} is earlier than the note above it"
            self.faults.add(line, f"{back}; times go back only after a clip line, for example clip bench-2.mp4")
            return None
        self.last = at_s
        if self.length is not None and at_s > self.length and self.clip is not None:
            runs = f"clip {shortened(self.clip.name, _LONGEST_SHOWN)} runs {show_time(self.length)}"
            self.faults.add(line, f"{written} is past the end of its clip: {runs}; correct the time or the length")
        return at_s

    def _add_words(self, draft: _NoteDraft, line: int, text: str) -> None:
        """Add a line's text to a note without its tags: to what is said, from [page] on to what is read."""

        def tag(match: re.Match[str]) -> str:
            words = match[1].split()
            name = words[0].casefold() if words else ""
            shown = shortened(match[0], _LONGEST_SHOWN)
            if words == ["cut"]:
                draft.cut = True
            elif words == ["not", "page"]:
                draft.on_page = False
            elif " ".join(words).casefold() in _LIKE_PAGE:
                remedy = "write [page] before the words for readers, or [not page] to leave the note out of the page"
                self.faults.add(line, f"{shown} is not understood; {remedy}")
            elif len(words) == 2 and words[0] in ("card", "sound") and not words[1].endswith(","):
                (draft.cards if words[0] == "card" else draft.sounds).append(words[1])
            elif re.match(r"cards?\b", name):
                self.faults.add(line, f"{shown}: a card is called for by its id, one each; write [card tone-before]")
            elif re.match(r"sounds?\b", name):
                self.faults.add(line, f"{shown}: a sound is called for by its id, one each; write [sound music]")
            elif re.match(r"cut\b", name):
                self.faults.add(line, f"{shown} is not understood; write [cut] for a bad take, else put it in ( )")
            else:
                return match[0]
            return " "

        if unclosed := _OPEN_TAG.search(text, text.rfind("]") + 1):
            self.faults.add(line, f'"{unclosed[0][:40]}" has no closing bracket; write [card tone-before] or [cut]')
        said, *read = _PAGE_TAG.split(text)
        (draft.page if draft.page else draft.texts).append(_TAG.sub(tag, said).strip())
        draft.page += [_TAG.sub(tag, words).strip() for words in read]
