"""studio.toml: what is the same for every session below it. Its keys are put under those that a session leaves out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from reviewkit.ingest.plain_text import read_text
from reviewkit.ingest.session.session_place import Place, show_key
from reviewkit.ingest.session.session_tables import read_table
from reviewkit.ingest.session.studio_place import STUDIO, find_studio, place_in, studio_flaw
from reviewkit.ingest.session.toml_lines import DEFAULTS, TomlDocument, parse_toml
from reviewkit.model import path_checks
from reviewkit.model.errors import Faults, nearest
from reviewkit.model.session import Bench, EpisodeSettings, FileSettings, LookSettings, MeasurementDefaults, PriceTag

TABLES: dict[str, type] = {
    "bench": Bench,
    "price": PriceTag,
    "measurement": MeasurementDefaults,
    "episode": EpisodeSettings,
    "look": LookSettings,
    "files": FileSettings,
}


@dataclass(frozen=True)
class Studio:
    """The studio.toml above a session, as read. `folder`: of that file, from the session's; "" without one;
    `note`: why it is skipped.
    """

    folder: str = ""
    document: TomlDocument | None = None
    note: str = ""

    def under(self, session: TomlDocument) -> TomlDocument:
        """Return a session.toml with what it leaves out. A [price] that it doesn't have isn't added."""
        if self.document is None:
            return session
        data, lines, shared = dict(session.data), dict(session.lines), set()
        for name, table in self.document.data.items():
            if name in ("measurement", "price") and not (name == "price" and isinstance(data.get(name), dict)):
                continue
            own = data.get(name, {})
            if isinstance(own, dict) and isinstance(table, dict):
                data[name], paths = _joined(own, table, (name,))
                if name not in session.data:
                    paths.append((name,))
                for path in paths:
                    below = {each: line for each, line in self.document.lines.items() if each[: len(path)] == path}
                    lines |= below
                    shared |= set(below)
        defaults = self.document.data.get("measurement", {})
        lines |= {(DEFAULTS, key): self.document.line("measurement", key) for key in defaults}
        shared |= {(DEFAULTS, key) for key in defaults}
        return replace(session, data=data, lines=lines, studio=self.folder, shared=frozenset(shared), defaults=defaults)


def read_studio(folder: Path) -> Studio:
    """Return the studio of a session, or none.

    Raises
    ------
    InputError
        Its studio.toml isn't TOML, or has a table or a default that no studio has. Faults of other keys are found when
        a session takes them over.
    """
    name = find_studio(folder)
    if not name:
        return Studio()
    place = place_in(folder, name)
    if flaw := studio_flaw(place):
        return Studio(note=f"{name} is skipped: it {flaw}")
    document = parse_toml(read_text(place, STUDIO), STUDIO)
    if outside := next(_outside(place.parent, document.data), ""):
        return Studio(note=f'{name} is skipped: "{outside}" leads outside its folder; copy the file there')
    _check(document, place.parent)
    return Studio(PurePosixPath(name).parent.as_posix(), document)


def _joined(
    own: Mapping[str, Any], under: Mapping[str, Any], path: tuple[str, ...]
) -> tuple[dict[str, Any], list[tuple[str, ...]]]:
    """Return a table with what it leaves out, and the paths of that."""
    joined, paths = dict(own), []
    for key, value in under.items():
        if key not in own:
            joined[key] = value
            paths.append((*path, key))
        elif isinstance(value, dict) and isinstance(own[key], dict):
            joined[key], more = _joined(own[key], value, (*path, key))
            paths += more
    return joined, paths


def _outside(folder: Path, data: Mapping[str, Any]) -> Iterator[str]:
    """Yield every file that leads out of the studio's folder."""
    from reviewkit.ingest.session.session_schema import FILES, marks_of, schema_of

    for name, model in TABLES.items():
        table = data.get(name)
        for key, mark in zip(schema_of(model).examples(), marks_of(model).values(), strict=True):
            value = table.get(key) if isinstance(table, dict) else None
            if mark in FILES and isinstance(value, str) and path_checks.flaw(folder, value) == path_checks.OUTSIDE:
                yield value


def _check(document: TomlDocument, folder: Path) -> None:
    faults = Faults(STUDIO)
    for key, value in list(document.data.items())[:100]:
        if key not in TABLES:
            why = f"[{show_key(key)}] is not a table of {STUDIO}; {nearest(key, TABLES)}"
            faults.add(document.line(key), why if isinstance(value, (dict, list)) else f"{show_key(key)}: {why}")
        elif not isinstance(value, dict):
            faults.add(document.line(key), f"{key} is a single table; write [{key}]")
        elif key == "measurement":
            read_table(MeasurementDefaults, Place(document, faults, (key,), f"[{key}]", value), folder)
    faults.stop_if_any()
