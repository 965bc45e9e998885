"""New [[measurement]] tables in a session.toml: inserted as text, so that comments and line ends stay."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import reduce
from operator import getitem
from typing import Any

from reviewkit.ingest.session.toml_lines import TomlDocument, parse_toml
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
    lines = text.split("\n")
    place = _end_of_measurements(document, [line.removesuffix("\r") for line in lines])
    ending = "\r" if "\r\n" in text else ""
    if place == len(lines) and lines[-1]:
        lines.append("")  # the last line had no end
        lines[-2] += ending if not lines[-2].endswith("\r") else ""
    new: list[str] = []
    for table in tables:
        new += ["", "[[measurement]]", *toml_lines(table)]
    new = [f"{line}{ending}" for line in new]
    place = min(place, len(lines) - (not lines[-1]))
    joined = "\n".join([*lines[:place], *new, *lines[place:]])
    intended = {**document.data, "measurement": [*_measurements(document), *map(dict, tables)]}
    if not reads_as(joined, intended):
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
    lines = text.split("\n")
    ending = "\r" if "\r\n" in text else ""
    if place == len(lines):  # the last line had no end
        lines = [*lines[:-1], lines[-1] + ending, ""]
    joined = "\n".join([*lines[:place], *(f"{line}{ending}" for line in toml_lines(keys)), *lines[place:]])
    tables = _measurements(document)
    tables[number] = {**tables[number], **keys}
    if not reads_as(joined, {**document.data, "measurement": tables}):
        remedy = f"write there: {', '.join(toml_lines(keys))}"
        raise refusal(source, f"this [[measurement]] is laid out so that no key can be added; {remedy}", place)
    return joined


def _measurements(document: TomlDocument) -> list[Any]:
    tables = document.data.get("measurement", [])
    return tables if isinstance(tables, list) else [tables]


def reads_as(text: str, intended: Mapping[str, Any]) -> bool:
    """Return whether a changed session.toml holds exactly what was intended."""
    try:
        return tomllib.loads(text.removeprefix("\ufeff").replace("\r\n", "\n")) == intended
    except ValueError:
        return False


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
    while filled > last and _is_aside(rows[filled - 1]):
        filled -= 1
    own = filled
    while own < end and rows[own].lstrip().startswith("#"):
        own += 1
    return filled if own == end and end < len(rows) else own


def _is_aside(row: str) -> bool:
    return not row.strip() or row.lstrip().startswith("#")


def _is_table(data: Mapping[str, Any], path: Sequence[str | int]) -> bool:
    """Return whether a path leads to a table, or to an array of them."""
    value: Any = reduce(getitem, path, data)  # type: ignore[arg-type]
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))
