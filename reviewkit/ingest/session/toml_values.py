"""Values of a session.toml, replaced in place or added to their table as text, so that comments and line ends stay."""

from __future__ import annotations

import copy
from typing import Any

from reviewkit.ingest.session.toml_insertion import reads_as
from reviewkit.ingest.session.toml_lines import Path, TomlDocument, parse_toml
from reviewkit.model.errors import refusal
from reviewkit.model.recognised import toml_lines


def set_value(text: str, source: str, path: Path, value: Any) -> str:
    """Return the text of a session.toml with one value written.

    Parameters
    ----------
    text : str
        The text, with its own line ends.
    source : str
        What messages call the file.
    path : tuple
        The table and the key: ("cards", "hide"), ("measurement", 3, "title"). An array's table must be there.
    value : object
        What to write; None takes the key away.

    Raises
    ------
    InputError
        If the text can't be read, or doesn't read as intended afterwards.
    """
    document = parse_toml(text, source)
    if value is None and path not in document.spans:
        return text
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    plain = text.removeprefix(mark).replace("\r\n", "\n")
    start, end, new = _change(plain, document, path, value)
    changed = _with_line_ends(text.removeprefix(mark), plain, start, end, new)
    loses_comment = "\n" in plain[start:end].rstrip() and "#" in plain[start:end]
    if loses_comment or not reads_as(changed, _intended(document.data, path, value)):
        line = toml_lines({str(path[-1]): value})[0] if value is not None else f"no {path[-1]}"
        remedy = f"write it by hand, in [{path[0]}]: {line}"
        raise refusal(source, f"can't be changed as it is laid out; {remedy}", document.line(*path))
    return mark + changed


def _change(text: str, document: TomlDocument, path: Path, value: Any) -> tuple[int, int, str]:
    """Return what to replace: where it begins and ends, and the new text."""
    *table, key = path
    where = tuple(table)
    if path in document.spans:
        start, end = document.spans[path]
        if value is not None:
            return start, end, toml_lines({str(key): value})[0].partition(" = ")[2]
        line = text.rfind("\n", 0, start) + 1
        after = text.find("\n", end)
        return line, len(text) if after < 0 else after + 1, ""
    new = toml_lines({str(key): value})[0] + "\n"
    own = [end for known, (_, end) in document.spans.items() if known[:-1] == where]
    if own or where in document.lines:
        header = _start_of_line(text, document.lines.get(where, 1))
        place = text.find("\n", max([header, *own]))
        return (len(text), len(text), f"\n{new}") if place < 0 else (place + 1, place + 1, new)
    gap = "" if not text or text.endswith("\n\n") else "\n" if text.endswith("\n") else "\n\n"
    return len(text), len(text), f"{gap}[{'.'.join(map(str, where))}]\n{new}"


def _start_of_line(text: str, line: int) -> int:
    place = 0
    for _ in range(line - 1):
        place = text.find("\n", place) + 1
    return place


def _with_line_ends(text: str, plain: str, start: int, end: int, new: str) -> str:
    """Return the text with a place of its plain form replaced, every other line end as it was."""

    def place(of: int) -> int:
        lines = text.split("\n")
        number = plain.count("\n", 0, of)
        return sum(len(line) + 1 for line in lines[:number]) + of - (plain.rfind("\n", 0, of) + 1)

    ending = "\r\n" if "\r\n" in text else "\n"
    return text[: place(start)] + new.replace("\n", ending) + text[place(end) :]


def _intended(data: dict[str, Any], path: Path, value: Any) -> dict[str, Any]:
    intended = copy.deepcopy(data)
    table: Any = intended
    for part in path[:-1]:
        table = table.setdefault(part, {}) if isinstance(table, dict) else table[part]
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = value
    return intended
