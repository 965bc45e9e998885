"""Changes of ratings.txt as text: lines are pasted, corrected or taken out, and every other line stays as it is."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from reviewkit.ingest.session.printed_line import NOT_MEASURED
from reviewkit.ingest.session.rating_entries import NotUnderstood
from reviewkit.ingest.session.rating_line import read_line
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.model.errors import refusal

READ, PRINTED, ASKED, OTHER = "read", "printed", "asked", "other"
# a line that isn't understood is kept as a comment, since as a line it would stop the build
_NOT_READ = "# not read yet: "


@dataclass(frozen=True)
class BrochureLine:
    """A line of ratings.txt.

    Attributes
    ----------
    state
        READ; PRINTED: nothing here measures it; ASKED: not understood; OTHER: the source.
    meant
        What it is understood as; of one that isn't, what to write.
    can_be_printed
        Of one that isn't: whether it is enough to say that nothing here measures it. Of a heading it isn't.
    """

    line: int
    raw: str
    text: str
    state: str
    meant: str
    can_be_printed: bool = False


def read_brochure_lines(text: str) -> Iterator[BrochureLine]:
    """Yield each line with what it is understood as; comments are passed over."""
    for number, raw in enumerate(re.split(r"\r?\n", text.removeprefix("\ufeff")), 1):
        written = " ".join(raw.removeprefix(_NOT_READ).split())
        if not written or (written.startswith("#") and not raw.startswith(_NOT_READ)):
            continue
        if written.casefold().startswith("source:"):
            yield BrochureLine(number, raw, written, OTHER, "the source of the lines below it")
            continue
        try:
            read = read_line(written)
        except NotUnderstood as error:
            yield BrochureLine(number, raw, written, ASKED, str(error), _kept(not_measured(written))[:1] != "#")
            continue
        if raw.startswith(_NOT_READ):
            yield BrochureLine(number, raw, written, ASKED, "it can be read now; write it down again")
            continue
        meant = "; ".join(map(_in_words, read.tables)) or "not measured here"
        yield BrochureLine(number, raw, written, READ if read.tables else PRINTED, meant)


def add_brochure_lines(text: str, pasted: str) -> str:
    """Return the text with pasted lines at its end, without those that it has already."""
    known = {each.text for each in read_brochure_lines(text)}
    lines = [" ".join(line.split()) for line in pasted.splitlines()]
    new = [line for line in dict.fromkeys(lines) if line and line not in known]
    end = "\r\n" if "\r\n" in text else "\n"
    gap = end if text and not text.endswith("\n") else ""
    return text + gap + "".join(_kept(line) + end for line in new)


def change_brochure_line(text: str, line: int, new: str) -> str:
    """Return the text with one line replaced, or removed if the new one is empty.

    Raises
    ------
    InputError
        If the text has no such line.
    """
    rows = re.findall(r"[^\n]*\n|[^\n]+$", text)
    if not 1 <= line <= len(rows):
        raise refusal(RATINGS, "there is no line here any more; look at it again", line)
    row = rows[line - 1]
    ending = row[len(row.rstrip("\r\n")) :]
    new = " ".join(new.split())
    rows[line - 1] = _kept(new) + ending if new else ""
    return "".join(rows)


def not_measured(text: str) -> str:
    """Return a line as one that nothing here measures."""
    return f"{NOT_MEASURED}: {text}"


def _kept(line: str) -> str:
    """Return a line as it is written down."""
    if line.startswith("#") or line.casefold().startswith("source:"):
        return line
    try:
        read_line(line)
    except NotUnderstood:
        return f"{_NOT_READ}{line}"
    return line


def _in_words(table: Mapping[str, Any]) -> str:
    """Return what a line gives: "power: at least 40 W, load 8 ohm"."""
    words = [f"{key.replace('_', ' ')} {_plain(value)}" for key, value in table.items() if key != "quantity"]
    return f"{table.get('quantity', '')}: {', '.join(words)}"


def _plain(value: Any) -> str:
    if isinstance(value, list | tuple):
        return " to ".join(map(str, value))
    return "yes" if value is True else f"{value:g}" if isinstance(value, float) else str(value)
