"""Changes of a session.toml as text: tables and keys are added, values replaced; comments and line ends stay."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from functools import reduce
from operator import getitem
from typing import Any

from reviewkit.ingest.session.toml_lines import Path, TomlDocument, parse_toml
from reviewkit.model.errors import refusal
from reviewkit.model.recognised import toml_lines


def insert_measurements(text: str, source: str, tables: Sequence[Mapping[str, Any]]) -> str:
    """Return the text of a session.toml with more [[measurement]] tables, after those that it has, else at its end.

    Parameters
    ----------
    text : str
        The text, with its own line ends.
    source : str
        What messages call the file.
    tables : Sequence[Mapping[str, Any]]
        The keys of each, in their order.

    Raises
    ------
    InputError
        If the text can't be read, or doesn't read as intended afterwards.
    """
    document = parse_toml(text, source)
    new = [line for table in tables for line in ("", "[[measurement]]", *toml_lines(table))]
    joined = _insert(text, _end_of_measurements(document, text.replace("\r\n", "\n").split("\n")), new)
    intended = {**document.data, "measurement": [*_measurements(document), *map(dict, tables)]}
    if not _reads_as(joined, intended):
        remedy = "write each of them as a table of its own, [[measurement]], and add again"
        raise refusal(source, f"its measurements are laid out so that none can be put after them; {remedy}")
    return joined


def insert_keys(text: str, source: str, number: int, keys: Mapping[str, Any]) -> str:
    """Return the text of a session.toml with more keys in a [[measurement]] table, under the line of its file.

    Parameters
    ----------
    text : str
        The text, with its own line ends.
    source : str
        What messages call the file.
    number : int
        The table's place, from 0.
    keys : Mapping[str, Any]
        Keys that it doesn't have yet.

    Raises
    ------
    InputError
        If the text can't be read, or doesn't read as intended afterwards.
    """
    document = parse_toml(text, source)
    place = document.line("measurement", number, "file")
    joined = _insert(text, place, toml_lines(keys))
    tables = _measurements(document)
    tables[number] = {**tables[number], **keys}
    if not _reads_as(joined, {**document.data, "measurement": tables}):
        remedy = f"write there: {', '.join(toml_lines(keys))}"
        raise refusal(source, f"this [[measurement]] is laid out so that no key can be added; {remedy}", place)
    return joined


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
    if loses_comment or not _reads_as(changed, _intended(document.data, path, value)):
        line = toml_lines({str(path[-1]): value})[0] if value is not None else f"no {path[-1]}"
        remedy = f"write it by hand, in [{path[0]}]: {line}"
        raise refusal(source, f"can't be changed as it is laid out; {remedy}", document.line(*path))
    return mark + changed


def _reads_as(text: str, intended: Mapping[str, Any]) -> bool:
    """Return whether a changed session.toml holds exactly what was intended."""
    try:
        return tomllib.loads(text.removeprefix("\ufeff").replace("\r\n", "\n")) == intended
    except ValueError:
        return False


def _insert(text: str, place: int, new: Sequence[str]) -> str:
    """Return the text with lines put after so many of its own, with its line ends."""
    ending = "\r" if "\r\n" in text else ""
    lines = text.split("\n")
    if place == len(lines) and lines[-1]:  # the last line has no end
        lines = [*lines[:-1], lines[-1].removesuffix("\r") + ending, ""]
    place = min(place, len(lines) - (not lines[-1]))
    return "\n".join([*lines[:place], *(f"{line}{ending}" for line in new), *lines[place:]])


def _measurements(document: TomlDocument) -> list[Any]:
    tables = document.data.get("measurement", [])
    return tables if isinstance(tables, list) else [tables]


def _end_of_measurements(document: TomlDocument, rows: Sequence[str]) -> int:
    """Return how many lines come before the end of the last measurement, or of the file if there is none.

    Comments between it and the next table are the next table's, but those right under its last key are its own.
    """
    headers = {
        line: path
        for path, line in document.lines.items()
        if rows[line - 1].lstrip().startswith("[") and _is_table(document.data, path)
    }
    last = max((line for line, path in headers.items() if path[0] == "measurement"), default=0)
    if not last:
        return len(rows)
    end = min((line - 1 for line in headers if line > last), default=len(rows))
    filled = end
    while filled > last and rows[filled - 1].lstrip()[:1] in ("", "#"):
        filled -= 1
    own = filled
    while own < end and rows[own].lstrip().startswith("#"):
        own += 1
    return filled if own == end and end < len(rows) else own


def _is_table(data: Mapping[str, Any], path: Sequence[str | int]) -> bool:
    """Return whether a path leads to a table, or to an array of them."""
    value: Any = reduce(getitem, path, data)  # type: ignore[arg-type]
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


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
        header = sum(len(line) + 1 for line in text.split("\n")[: document.lines.get(where, 1) - 1])
        place = text.find("\n", max([header, *own]))
        return (len(text), len(text), f"\n{new}") if place < 0 else (place + 1, place + 1, new)
    gap = "" if not text or text.endswith("\n\n") else "\n" if text.endswith("\n") else "\n\n"
    return len(text), len(text), f"{gap}[{'.'.join(map(str, where))}]\n{new}"


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
