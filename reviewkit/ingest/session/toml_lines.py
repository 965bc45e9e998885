"""TOML text → data, and the line of every key (tomllib itself gives none)."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from reviewkit.model.errors import Fault, InputError, refusal, shortened

Path = tuple[str | int, ...]
MOST_CHARACTERS = 200_000  # a session of a hundred measurements has a tenth of it, and half the lines
MOST_LINES = 4000
LONGEST_LINE = 2000
DEFAULTS = "[measurement]"  # in a path: the studio's defaults for measurements
_MOST_PARTS = 20  # of a dotted key
_DEEPEST = 6  # parts of a path whose line is known; no key of a session has more
_MOST_ELEMENTS = 100  # of an array, each with a line of its own


@dataclass(frozen=True)
class TomlDocument:
    """Parsed data with the line (from 1) of each table, key and array element, by path: ("rated", 0, "band", 1).

    `spans`: where the value of each key begins and ends in the text with plain line ends. Of a session in a studio:
    `shared`: the paths whose values, and lines, are those of studio.toml; `defaults`: what that file says of every
    measurement; `studio`: its folder, from the session's.
    """

    data: dict[str, Any]
    lines: dict[Path, int]
    spans: dict[Path, tuple[int, int]] = field(default_factory=dict)
    studio: str = ""
    shared: frozenset[Path] = frozenset()
    defaults: Mapping[str, Any] = field(default_factory=dict)

    def line(self, *path: str | int) -> int:
        """Return the line of a path, or of its nearest known parent; 0 if nothing of it is in the file."""
        return self.lines.get(self._known(path), 0)

    def is_of_studio(self, *path: str | int) -> bool:
        """Return whether the line of a path is one of studio.toml."""
        return self._known(path) in self.shared

    def _known(self, path: Path) -> Path:
        return next((path[:end] for end in range(len(path), 0, -1) if path[:end] in self.lines), ())


def parse_toml(text: str, source: str) -> TomlDocument:
    """Return data and line numbers of a TOML text. A byte order mark is dropped.

    Raises
    ------
    InputError
        The text is not TOML, or is longer than any session: the parser underneath takes hours for a megabyte written
        to that end. With the line and a remedy.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    _check_length(text, source)
    try:
        data = tomllib.loads(text)
    except RecursionError:
        message = "brackets are nested too deeply; close them, for no key needs more than two levels"
        raise refusal(source, message) from None
    except ValueError as error:
        raise InputError(_explain_syntax(text, source, str(error))) from None
    locator = _Locator(text)
    return TomlDocument(data, locator.locate(), locator.spans)


def _check_length(text: str, source: str) -> None:
    rows = text.split("\n")
    for what, count, most in (("characters", len(text), MOST_CHARACTERS), ("lines", len(rows), MOST_LINES)):
        if count > most:
            message = f"has {count} {what}, and no session needs over {most}; keep its tables alone here"
            raise refusal(source, message)
    for number, row in enumerate(rows, 1):
        if len(row) > LONGEST_LINE:
            message = (
                f"this line has {len(row)} characters; write at most {LONGEST_LINE}, and a list over several lines"
            )
            raise refusal(source, message, number)
        # a key is the text before an equals sign, or in the brackets of a header
        keys = row.split("=")[:-1] or ([row] if row.lstrip().startswith("[") else [])
        parts = 1 + max((key.count(".") for key in keys), default=0)
        if parts > _MOST_PARTS:
            message = f"a key of {parts} parts; write the name of a table in brackets, and its keys below it"
            raise refusal(source, message, number)


# ------------------------------------------------------------------ key -> line

_SPACE = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\n]++|#[^\n]*+)*+")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_QUOTED_KEY = re.compile(r"\"(?:\\.|[^\"\\]++)*+\"|'[^']*+'")
# A multi-line string may end in up to two quotation marks that belong to it, hence the tail.
_STRING = re.compile(
    r'"""(?:\\.|[^\\"]++|"(?!""))*+"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:\'{0,2})|"(?:\\.|[^"\\\n]++)*+"|\'[^\'\n]*+\'',
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}\n#]+")


class _Locator:
    """A walk through a text that tomllib has accepted, noting where each path begins. It checks nothing."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}  # path -> line
        self.spans: dict[Path, tuple[int, int]] = {}
        self.line = 1
        self.counted = 0  # the place up to which lines are counted
        self.tables: dict[Path, int] = {}  # path of an array of tables -> how many so far

    def locate(self) -> dict[Path, int]:
        table: Path = ()
        while self._skip(_GAP) < len(self.text):
            if self.text[self.at] == "[":
                table = self._read_header()
            else:
                self._read_pair(table)
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()
        return self.at

    def _note(self, path: Path, start: int) -> None:
        self.line += self.text.count("\n", self.counted, start)
        self.counted = max(self.counted, start)
        for end in range(1, min(len(path), _DEEPEST) + 1):
            self.lines.setdefault(path[:end], self.line)

    def _read_key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self._skip(_SPACE)
            begin = self.at
            if self.text[begin] in "\"'":
                quoted = self.text[begin : self._skip(_QUOTED_KEY)]
                parts.append(str(tomllib.loads(f"key = {quoted}")["key"]))
            else:
                parts.append(self.text[begin : self._skip(_BARE_KEY)])
            self._skip(_SPACE)
            if self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def _read_header(self) -> Path:
        start = self.at
        repeated = self.text.startswith("[[", start)
        self.at += 2 if repeated else 1
        parts = self._read_key()
        self.at += 2 if repeated else 1
        path: Path = ()
        for number, part in enumerate(parts[:_DEEPEST]):
            path = (*path, part)
            last = number == len(parts) - 1
            if last and repeated:
                self.tables[path] = self.tables.get(path, 0) + 1
            self._note(path, start)
            if path in self.tables:
                path = (*path, self.tables[path] - 1)
        self._note(path, start)
        return path

    def _read_pair(self, table: Path) -> None:
        self._skip(_SPACE)
        start = self.at
        path = (*table, *self._read_key())[: _DEEPEST + 1]
        self._note(path, start)
        self.at += 1  # the equals sign
        self._skip(_SPACE)
        start = self.at
        self._pass_value(path)
        self.spans.setdefault(path, (start, start + len(self.text[start : self.at].rstrip())))

    def _pass_value(self, path: Path) -> None:
        opening = self.text[self.at]
        if opening in "\"'":
            self._skip(_STRING)
        elif opening == "[":
            self.at += 1
            index = 0
            while self.text[self._skip(_GAP)] != "]":
                if self.text[self.at] == ",":
                    self.at += 1
                    continue
                here = (*path, index)[:_DEEPEST]  # only the beginning of a nested array is known
                if index < _MOST_ELEMENTS:
                    self._note(here, self.at)
                self._pass_value(here)
                index += 1
            self.at += 1
        elif opening == "{":
            self.at += 1
            while self.text[self._skip(_GAP)] != "}":
                if self.text[self.at] == ",":
                    self.at += 1
                    continue
                self._read_pair(path)
            self.at += 1
        else:
            self._skip(_PLAIN)


# ------------------------------------------------------------------ what is wrong, and how to repair it

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_UNQUOTED = re.compile(r"^\s*([A-Za-z0-9_-]+)\s*=\s*([^\"'\[{#=][^#=\"']*?)\s*(?:#.*)?$")
_SPACED_KEY = re.compile(r"^\s*([A-Za-z]+(?:[ \t]+[A-Za-z]+)+)\s*=")
_LOOKED_AT = 300  # characters of a line that is wrong
_NO_VALUE = re.compile(r"^\s*([A-Za-z0-9_-]+)\s*=\s*(?:#.*)?$")
_ONE_TABLE = re.compile(r"^\s*\[\[?\s*(rated|measurement)\s*\]")
_OPEN_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.-]+)")


def _explain_syntax(text: str, source: str, error: str) -> Fault:
    rows = text.split("\n")
    place = _PLACE.search(error)
    if place and place[1]:
        line = int(place[1])
    elif place:
        line = max((number for number, row in enumerate(rows, 1) if row.strip()), default=1)
    else:
        line = 0
    row = rows[line - 1] if line else ""
    return Fault(source, line, _find_remedy(row, error[: place.start()] if place else error))


def _find_remedy(row: str, error: str) -> str:
    if "\r" in row:
        return "lines end with a lone carriage return; save the file with the line ends of today's systems"
    row = "".join(sign if sign.isprintable() else " " for sign in row[:_LOOKED_AT])
    shown = shortened(row.strip(), 60)
    if "“" in row or "”" in row:
        return f'{shown}: write straight quotation marks (")'
    if error.startswith(("Cannot declare", "Cannot overwrite")) and (single := _ONE_TABLE.match(row)):
        where = f"the [{single[1]}] above it" if shown.startswith("[[") else shown
        lines = ", or one [rated] with a line for each; ratings.txt may have lines, too" if single[1] == "rated" else ""
        return f"{where} is one of many; write [[{single[1]}]], with two brackets, each time{lines}"
    if error.startswith("Cannot declare"):
        return f"{shown} appears twice; keep one of them and put all its keys there"
    if error.startswith(("Cannot overwrite", "Duplicate inline")):
        return f"{shown}: this key appears twice in its table; keep one"
    if error.startswith("Cannot mutate"):
        return f"{shown}: the same name is used as a value and as a table; keep one"
    if "\\" in row and ("Unescaped" in error or "hex" in error.lower()):
        return f"{shown}: a backslash cannot be in quotation marks; write / between the parts of a path"
    if error.startswith("Unclosed array"):
        return f'the list opened above is not closed before "{shown}"; write ] at its end'
    if error.startswith(("Unterminated string", "Illegal character '\\n'")):
        return f'{shown}: the quotation mark is not closed; write " at the end of the text'
    if "declaration" in error and (header := _OPEN_HEADER.match(row)):
        closing = "]" * len(header[1])
        return f"{shown}: the bracket is not closed; write {header[1]}{shortened(header[2], 60)}{closing}"
    if empty := _NO_VALUE.match(row):
        return f"{shortened(empty[1], 60)} has no value; write one after the equals sign, or leave the key out"
    if spaced := _SPACED_KEY.match(row):
        key = shortened(spaced[1], 60)
        return f'"{key}" has a space in it; write {"_".join(key.split())}'
    if bare := _UNQUOTED.match(row):
        key, value = shortened(bare[1], 60), shortened(bare[2], 60)
        if re.fullmatch(r"[+-]?[\d.,_' ]+", bare[2]):
            return f"{key} = {value} is not a number; write the decimal mark as a point and no thousands mark"
        return f'{key} = {value} needs quotation marks; write {key} = "{value}"'
    if "=" not in row and not row.lstrip().startswith("["):
        return f'"{shown}" is not a line of a session; write KEY = VALUE, [TABLE], or begin a comment with #'
    return f"{shown}: not valid TOML ({error[:1].lower()}{error[1:]}); write one key a line, text in quotation marks"
