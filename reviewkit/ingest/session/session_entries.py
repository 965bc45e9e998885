"""Which measurements a session has: one for each [[measurement]], one for each file that a table with `files` applies
to, and one for each file in measurements/ that nothing names.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import PurePosixPath
from typing import Any

from reviewkit.ingest.session.toml_lines import TomlDocument

_DEEPEST = 6  # levels of lists and tables in session.toml


@dataclass(frozen=True)
class MeasurementEntry:
    """A [[measurement]] table, or a file that no table names, before it is read as a measurement.

    Attributes
    ----------
    raw
        Its keys as written in session.toml; if its kind was recognised, what was recognised too.
    number
        The place of its [[measurement]] in the session, from 0; None if it has none.
    shared
        Whether that table applies to other files too.
    question
        What keeps its kind from being recognised.
    defaults
        The keys whose values are defaults: what was recognised comes before them.
    """

    raw: Mapping[str, Any]
    number: int | None = None
    shared: bool = False
    question: str = ""
    defaults: frozenset[str] = frozenset()

    @property
    def file(self) -> str:
        """Return its file; "" if none is named."""
        file = self.raw.get("file")
        return file.strip() if isinstance(file, str) else ""

    @property
    def named(self) -> bool:
        """Return whether a table names this very file, so that whatever is wrong with it is a fault."""
        return self.number is not None and not self.shared


def entries_of(document: TomlDocument, listed: Sequence[str]) -> list[MeasurementEntry]:
    """Return the measurements of a session.

    Parameters
    ----------
    document : TomlDocument
        Its session.toml.
    listed : Sequence[str]
        The files in measurements/.
    """
    raws = _tables(document)
    ignored = _ignored(document, listed)
    named = set(_texts(document.data, _DEEPEST))
    free = [file for file in listed if file not in named and file not in ignored and not _is_hidden(file)]
    entries = []
    matched: set[str] = set()
    for number, raw in raws.items():
        pattern = raw.get("files")
        if _is_awaited(raw, listed):
            continue
        mine = [file for file in free if isinstance(pattern, str) and fits(file, pattern)]
        if not mine or raw.keys() & {"file", "id", "loads", "volts"}:
            entries.append(MeasurementEntry(raw, number))
            continue
        bare = {key: value for key, value in raw.items() if key != "files"}
        entries += [
            MeasurementEntry({**bare, "file": file}, number, shared=True) for file in mine if file not in matched
        ]
        matched.update(mine)
    entries += [MeasurementEntry({"file": file}) for file in free if file not in matched]
    return [_with_defaults(each, document.defaults) for each in entries] if document.defaults else entries


def _with_defaults(entry: MeasurementEntry, defaults: Mapping[str, Any]) -> MeasurementEntry:
    left_out = defaults.keys() - entry.raw.keys()
    return replace(entry, raw={**defaults, **entry.raw}, defaults=frozenset(left_out))


def awaited(document: TomlDocument, listed: Sequence[str]) -> Iterator[Mapping[str, Any]]:
    """Return the tables of measurements that are planned and not made yet."""
    return (raw for raw in _tables(document).values() if _is_awaited(raw, listed))


def _tables(document: TomlDocument) -> dict[int, Mapping[str, Any]]:
    """Return the [[measurement]] tables by their places, from 0."""
    tables = document.data.get("measurement")
    numbered = enumerate(tables if isinstance(tables, list) else ())
    return {number: raw for number, raw in numbered if isinstance(raw, dict)}


def _is_awaited(raw: Mapping[str, Any], listed: Sequence[str]) -> bool:
    """Return whether a table is planned, and neither its file nor its readings are there."""
    if raw.get("planned") is not True:
        return False
    file, pattern = raw.get("file"), raw.get("files")
    if isinstance(file, str):
        return file.startswith("measurements/") and file not in listed
    if isinstance(pattern, str):
        return not any(fits(each, pattern) for each in listed)
    return "loads" in raw and "volts" not in raw


def fits(file: str, pattern: str) -> bool:
    """Return whether a path fits a pattern: part by part, from the end if the pattern names no folder."""
    parts, wanted = PurePosixPath(file).parts, PurePosixPath(pattern).parts
    if len(wanted) == 1:
        parts = parts[-1:]
    return len(parts) == len(wanted) and all(fnmatchcase(*pair) for pair in zip(parts, wanted, strict=True))


def _ignored(document: TomlDocument, listed: Iterable[str]) -> set[str]:
    table = document.data.get("files")
    patterns = table.get("ignore") if isinstance(table, dict) else None
    wanted = [each for each in patterns if isinstance(each, str)] if isinstance(patterns, list) else []
    return {file for file in listed if any(fits(file, pattern) for pattern in wanted[:100])}


def _is_hidden(file: str) -> bool:
    """Return whether a file is one that editors and systems keep for themselves."""
    return any(part.startswith((".", "~")) or part.endswith("~") for part in PurePosixPath(file).parts)


def _texts(value: Any, depth: int) -> Iterator[str]:
    """Yield every text in the data of session.toml but patterns (`files`): a file that any key names isn't free."""
    if isinstance(value, str):
        yield value.strip()
    elif depth:
        of_keys = [each for key, each in value.items() if key != "files"] if isinstance(value, dict) else value
        for each in of_keys if isinstance(of_keys, list) else ():
            yield from _texts(each, depth - 1)
