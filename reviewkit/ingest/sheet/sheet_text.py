"""Bytes to text, a line of text to cells, a cell to a number: encodings, comments, quoted cells, decimal marks."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator

from reviewkit.model.errors import refusal
from reviewkit.model.units import SAME_CHARACTER

SPACES, WIDE_SPACES = " ", "  "  # one or more; two or more, if a cell may contain a single one
SEPARATORS = ("\t", ";", ",", WIDE_SPACES, SPACES)
_COMMENT = re.compile(r"\s*(?:[#*;]++|//)++")
_COMMENT_MARKS = ("#", "*", "/", ";")
_RULE = re.compile(r"[\s,;|+]*+[-=_]{4}[-=_\s,;|+]*+")
_RULE_MARKS = ("-", "=", "_", "+", "|")
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_CONTROL_LOOKED_AT = 200_000  # characters; farther on, a control character shows up as a cell that isn't a number
_LOOK_ALIKE = SAME_CHARACTER | str.maketrans("\u2007\u2019\u2010\u2011\u2012\u2014\uff0d", " '-----", "\ufeff\u200b")
MOST_COLUMNS = 1000
_MOST_LINES_IN_A_CELL = 4
_BYTE_ORDER_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_KNOWN_BINARY = (
    (b"PK\x03\x04", 'is a spreadsheet workbook; open it in a spreadsheet program and save it as "CSV"'),
    (b"\xd0\xcf\x11\xe0", 'is a spreadsheet workbook; open it in a spreadsheet program and save it as "CSV"'),
    (b"RIFF", "is a WAV capture; name it with the ending .wav"),
    (b"%PDF", "is a PDF; export the readings as text instead"),
)
_EXPONENT = r"(?:[eEdD][+-]?\d+)?"


def _pattern(groups: str, decimals: str, bare: str) -> re.Pattern[str]:
    grouped = rf"[1-9]\d{{0,2}}(?:([{groups}])\d{{3}})(?:\1\d{{3}})*"
    return re.compile(rf"[+-]?(?:(?:{grouped}|\d+)(?:{decimals})?|{bare}){_EXPONENT}", re.ASCII)


# A digit group never begins with 0: 0,012 isn't 12.
WRITTEN = {
    ".": _pattern(r" ',", r"\.\d*", r"\.\d+"),
    ",": _pattern(r" '.", r",\d+", r",\d+"),
}
_GROUP_MARKS = {".": " ',", ",": " '."}
_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LONGEST = 1000  # characters: anything longer isn't a number
ONE_GROUP = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)  # 1,500: either 1500 or 1.5
WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
_NO_READING = frozenset(
    ("", "nan", "ol", "o.l", "o.l.", "0l", "0.l", "inf", "infinity", "∞", "1.#inf", "1.#ind", "1.#qnan", "nan(ind)")
)


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
            raise refusal(source, f"the file {remedy}", 1)
    codec = next((name for mark, name in _BYTE_ORDER_MARKS if data.startswith(mark)), "")
    if not codec:
        codec = _utf_16_without_mark(data[:2000]) if b"\0" in data[:2000] else "utf-8"
    try:
        text = data.decode(codec)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        if codec != "utf-8" or b"\0" in data:
            raise refusal(source, "the text breaks off inside a character; copy or export it again", line) from None
        codec = "cp1252"
        try:
            text = data.decode(codec)
        except UnicodeDecodeError as other:
            line = data.count(b"\n", 0, other.start) + 1
            unknown = "binary content, or an encoding that is not known; save it as UTF-8 text"
            raise refusal(source, unknown, line) from None
    text = text.rstrip("\x1a")  # the end-of-file sign of old exports
    if not text or text.isspace():  # a byte-order mark isn't part of it
        raise refusal(source, "the file is empty; export the measurement again")
    found = _CONTROL.search(text, 0, _CONTROL_LOOKED_AT)
    place = found.start() if found else text.find("\0")
    if place >= 0:
        line = text.count("\n", 0, place) + 1
        raise refusal(source, f"binary content (character {ord(text[place])}); export the readings as text", line)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text, "utf-16" if codec.startswith("utf-16") else codec.removesuffix("-sig")


def _utf_16_without_mark(beginning: bytes) -> str:
    """Return the codec of a text with zero bytes: UTF-16 if every second byte is one, as of ASCII."""
    first, second, pairs = beginning[0::2].count(0), beginning[1::2].count(0), len(beginning) // 2
    if second > 0.7 * pairs and first == 0:
        return "utf-16-le"
    return "utf-16-be" if first > 0.7 * pairs and second == 0 else "utf-8"


def numbered_lines(text: str, first: int = 1, start: int = 0, *, filled: bool = False) -> Iterator[tuple[int, str]]:
    """Yield the lines of a text from the character `start` on, with their numbers from `first` on; `filled`: only those
    that aren't blank. A quoted cell that spans line ends makes one line of several.

    They are cut one at a time: a file in memory or a split text would need several times the text's memory.
    """
    quoted = text.find('"', start) >= 0
    number = first
    while start < len(text):
        after = text.find("\n", start) + 1 or len(text) + 1
        count = 1
        if quoted and text.count('"', start, after) % 2:
            end = after
            for more in range(2, _MOST_LINES_IN_A_CELL + 1):
                begin, end = end, text.find("\n", end) + 1 or len(text) + 1
                if text.count('"', begin, end) % 2:
                    after, count = end, more
                    break
        line = text[start : after - 1]
        if not filled or line.strip():
            yield number, line
        number, start = number + count, after


def cleaned(cell: str) -> str:
    """Return a cell without its surrounding blanks, look-alike signs (minus, spaces, apostrophe) folded."""
    return cell.translate(_LOOK_ALIKE).strip()


def cells_of(line: str, separator: str) -> list[str]:
    """Return the cells of a line, cleaned.

    Non-breaking spaces never separate: they group digits. Of a line with more cells than are read, the last has the
    rest.
    """
    blank = separator in (SPACES, WIDE_SPACES)
    if '"' in line:
        text, delimiter = (line.strip(), " ") if blank else (line, separator)
        try:
            cells = next(csv.reader([text], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:
            cells = line.split(separator, MOST_COLUMNS + 1)
        if blank:
            cells = [cell for cell in cells if cell]
    elif blank:
        between = r"[ \t]+" if separator == SPACES else r"[ \t]{2,}"
        cells = re.split(between, line.strip(" \t"), maxsplit=MOST_COLUMNS + 1)
    else:
        cells = line.split(separator, MOST_COLUMNS + 1)
    return [cell.strip() for cell in cells] if line.isascii() else [cleaned(cell) for cell in cells]


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


class NotANumber(ValueError):
    """Error for a cell that is neither a number nor one of the signs for a missing reading."""


def is_missing(cell: str) -> bool:
    """Return whether a cleaned cell marks a missing reading: blank, --, NaN, OL, inf."""
    return cell.lstrip("+-").casefold() in _NO_READING


def is_number(cell: str) -> bool:
    """Return whether a cleaned cell is a number, with either decimal mark."""
    return len(cell) <= _LONGEST and (
        WRITTEN["."].fullmatch(cell) is not None or WRITTEN[","].fullmatch(cell) is not None
    )


def number(cell: str, decimal: str) -> float | None:
    """Return the value of a cleaned cell; None for a missing reading.

    Raises
    ------
    NotANumber
        If it is any other text.
    """
    if len(cell) > _LONGEST:
        raise NotANumber(cell)
    if decimal == "." and _PLAIN.fullmatch(cell):
        value = float(cell)
    elif WRITTEN[decimal].fullmatch(cell):
        for group in _GROUP_MARKS[decimal]:
            cell = cell.replace(group, "")
        value = float(cell.replace(decimal, ".").replace("d", "e").replace("D", "e"))
    elif is_missing(cell):
        return None
    else:
        raise NotANumber(cell)
    if value in (float("inf"), float("-inf")):
        raise NotANumber(cell)
    return value
