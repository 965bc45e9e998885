"""Bytes to text, and a line of text to cells: encodings, comment lines, quoted cells."""

from __future__ import annotations

import csv
import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from reviewkit.ingest.sheet.sheet_numbers import is_number
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.units import normalised

SPACES, WIDE_SPACES = " ", "  "  # one or more; two or more, if a cell may contain a single one
SEPARATORS = ("\t", ";", ",", WIDE_SPACES, SPACES)
_COMMENT = re.compile(r"\s*(?:[#*;]++|//)++")
_COMMENT_MARKS = ("#", "*", "/", ";")
_RULE = re.compile(r"[\s,;|+]*+[-=_]{4}[-=_\s,;|+]*+")
_RULE_MARKS = ("-", "=", "_", "+", "|")
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_CONTROL_LOOKED_AT = 200_000  # characters; farther on, a control character shows up as a cell that isn't a number
_LOOK_ALIKE = str.maketrans(
    {
        "\u2007": " ",
        "\ufeff": "",
        "\u200b": "",
        "\u2019": "'",
        "\u2010": "-",
        "\u2011": "-",
        "\u2012": "-",
        "\u2014": "-",
        "\uff0d": "-",
    }
)
MOST_COLUMNS = 1000
_MOST_LINES_IN_A_CELL = 4
_KNOWN_BINARY = (
    (b"PK\x03\x04", 'is a spreadsheet workbook; open it in a spreadsheet program and save it as "CSV"'),
    (b"\xd0\xcf\x11\xe0", 'is a spreadsheet workbook; open it in a spreadsheet program and save it as "CSV"'),
    (b"RIFF", "is a WAV capture; name it with the ending .wav"),
    (b"%PDF", "is a PDF; export the readings as text instead"),
)

NumberedLine = tuple[int, str]


def decode(data: bytes, source: str) -> tuple[str, str]:
    """Return the text with only line feeds at its line ends, and its encoding: utf-8, utf-16 or cp1252.

    In this order: byte-order mark, zero bytes in every second place, strict UTF-8, cp1252. Statistics aren't
    used: they misjudge short files.

    Raises
    ------
    InputError
        If the file is empty or isn't text.
    """
    for beginning, remedy in _KNOWN_BINARY:
        if data.startswith(beginning):
            raise InputError(Fault(source, 1, f"the file {remedy}"))
    codec = _codec(data)
    try:
        text = data.decode(codec)
    except UnicodeDecodeError as error:
        if codec == "utf-8" and b"\0" not in data:
            return _decode_western(data, source)
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            Fault(source, line, "the text breaks off inside a character; copy or export it again")
        ) from error
    return _checked(text, source), "utf-16" if codec.startswith("utf-16") else "utf-8"


def _decode_western(data: bytes, source: str) -> tuple[str, str]:
    try:
        return _checked(data.decode("cp1252"), source), "cp1252"
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            Fault(source, line, "binary content, or an encoding that is not known; save it as UTF-8 text")
        ) from error


def _codec(data: bytes) -> str:
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    beginning = data[:2000]
    first, second, pairs = beginning[0::2].count(0), beginning[1::2].count(0), len(beginning) // 2
    if second > 0.7 * pairs and first == 0:
        return "utf-16-le"
    if first > 0.7 * pairs and second == 0:
        return "utf-16-be"
    return "utf-8"


def _checked(text: str, source: str) -> str:
    text = text.rstrip("\x1a")  # the end-of-file sign of old exports
    if not text or text.isspace():  # a byte-order mark isn't part of it
        raise InputError(Fault(source, 0, "the file is empty; export the measurement again"))
    found = _CONTROL.search(text, 0, _CONTROL_LOOKED_AT)
    place = found.start() if found else text.find("\0")
    if place >= 0:
        line = text.count("\n", 0, place) + 1
        raise InputError(
            Fault(source, line, f"binary content (character {ord(text[place])}); export the readings as text")
        )
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text


@dataclass(frozen=True)
class NumberedLines:
    """The lines of a text from the character `start` on, with their numbers from `first` on. A quoted cell that spans
    line ends makes one line of several. Each pass splits the text again: all lines at the same time would need many
    times its memory.
    """

    text: str
    first: int = 1
    start: int = 0

    def __iter__(self) -> Iterator[NumberedLine]:
        return _joined(self._lines()) if self.text.find('"', self.start) >= 0 else self._lines()

    def _lines(self) -> Iterator[NumberedLine]:
        number, start = self.first, self.start
        while start < len(self.text):  # a file in memory or a split text would need several times the text's memory
            end = self.text.find("\n", start)
            end = end if end >= 0 else len(self.text)
            yield number, self.text[start:end]
            number, start = number + 1, end + 1


def _joined(lines: Iterator[NumberedLine]) -> Iterator[NumberedLine]:
    ahead: deque[NumberedLine] = deque(islice(lines, _MOST_LINES_IN_A_CELL))
    while ahead:
        number, line = ahead.popleft()
        if line.count('"') % 2:
            whole = line
            for more, (_, text) in enumerate(ahead, 1):
                whole = f"{whole}\n{text}"
                if text.count('"') % 2:
                    line = whole
                    for _ in range(more):
                        ahead.popleft()
                    break
        ahead.extend(islice(lines, _MOST_LINES_IN_A_CELL - len(ahead)))
        yield number, line


def cleaned(cell: str) -> str:
    """Return a cell without its surrounding blanks, look-alike signs (minus, spaces, apostrophe) folded."""
    return cell.strip() if cell.isascii() else normalised(cell).translate(_LOOK_ALIKE).strip()


def cells_of(line: str, separator: str) -> list[str]:
    """Return the cells of a line, cleaned.

    Non-breaking spaces never separate: they group digits. Of a line with more cells than are read, the last has the
    rest.
    """
    if '"' in line:
        blank = separator in (SPACES, WIDE_SPACES)
        try:
            cells = next(
                csv.reader(
                    [line.strip() if blank else line], delimiter=" " if blank else separator, skipinitialspace=True
                ),
                [],
            )
        except csv.Error:
            cells = line.split(separator, MOST_COLUMNS + 1)
        if blank:
            cells = [cell for cell in cells if cell]
    elif separator == SPACES:
        cells = re.split(r"[ \t]+", line.strip(" \t"), maxsplit=MOST_COLUMNS + 1)
    elif separator == WIDE_SPACES:
        cells = re.split(r"[ \t]{2,}", line.strip(" \t"), maxsplit=MOST_COLUMNS + 1)
    else:
        cells = line.split(separator, MOST_COLUMNS + 1)
    return [cleaned(cell) for cell in cells]


def trimmed(cells: list[str]) -> list[str]:
    """Return the cells without the empty ones at the row's end."""
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return cells[:end]


def comment_text(line: str, separator: str) -> str | None:
    """Return a comment line's text, without its mark; None for a line that isn't a comment. A ruled line has no text.

    If the semicolon separates, one at the line's start is an empty first cell if numbers follow it.
    """
    first = line.lstrip()[:1]
    if first in _RULE_MARKS and _RULE.fullmatch(line):
        return ""
    mark = _COMMENT.match(line) if first in _COMMENT_MARKS else None
    if mark is None:
        return None
    if separator == ";" and line.lstrip().startswith(";") and any(is_number(cell) for cell in cells_of(line, ";")):
        return None
    return line[mark.end() :].strip()
