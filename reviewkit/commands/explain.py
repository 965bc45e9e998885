"""`check --explain KEY`: where the value of a key came from, by file and line."""

from __future__ import annotations

from argparse import ArgumentTypeError
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from reviewkit.build.cache import open_cache
from reviewkit.build.session_files import read
from reviewkit.ingest.session.session_file import FILE_NAME, TABLES, read_document
from reviewkit.ingest.session.session_place import show_value
from reviewkit.ingest.session.studio import Studio, read_studio
from reviewkit.ingest.session.studio_place import STUDIO
from reviewkit.ingest.session.toml_lines import DEFAULTS, TomlDocument
from reviewkit.model.errors import nearest


def check_key(text: str) -> str:
    """Return a key, with its table or without.

    Raises
    ------
    ArgumentTypeError
        If no table has it. The message suggests the nearest name.
    """
    table, _, key = text.rpartition(".")
    if table and table.partition(".")[0] not in TABLES:
        raise ArgumentTypeError(f'"{text}" is not a key of a session: [{table}] is unknown; {nearest(table, TABLES)}')
    known = {each for name in ([table.partition(".")[0]] if table else TABLES) for each in _keys(name)}
    if key not in known:
        raise ArgumentTypeError(f'"{text}" is not a key of a session; {nearest(key, known)}')
    return text


def explain(folder: Path, wanted: str, *, in_studio: bool = True) -> list[str]:
    """Return a line for each value that a key has in a session: the value, its file and its line.

    Raises
    ------
    InputError
        session.toml or studio.toml can't be read.
    """
    studio = read_studio(folder) if in_studio else Studio()
    document = studio.under(read_document(folder))
    table, _, key = wanted.rpartition(".")
    tables = [table] if table else [name for name in TABLES if key in _keys(name)]
    lines = [studio.note] if studio.note else []
    for name in tables:
        of_table = list(_of_measurements(folder, document, key, in_studio=in_studio)) if name == "measurement" else []
        of_table = of_table or list(_of_table(document, tuple(name.split(".")), key))
        lines += of_table or [f"{name}.{key}: not said in {FILE_NAME}{f' or {STUDIO}' if studio.folder else ''}"]
    return lines


def _keys(table: str) -> set[str]:
    from reviewkit.ingest.session.session_schema import schema_of

    model: Any = TABLES[table]
    return set(schema_of(model).examples())


def _of_table(document: TomlDocument, path: tuple[str, ...], key: str) -> Iterator[str]:
    tables: Any = document.data
    for part in path:
        tables = tables.get(part) if isinstance(tables, dict) else None
    for number, raw in enumerate(tables if isinstance(tables, list) else [tables]):
        if isinstance(raw, dict) and key in raw:
            place: tuple[str | int, ...] = (*path, number, key) if isinstance(tables, list) else (*path, key)
            yield f"{'.'.join(path)}.{key} = {_shown(document, raw[key], *place)}"


def _of_measurements(folder: Path, document: TomlDocument, key: str, *, in_studio: bool) -> Iterator[str]:
    """Yield the value in each measurement: of its table, of its file, of the studio's defaults or of the bench."""
    files = read(folder, cache=open_cache(), for_plan=True, in_studio=in_studio)
    tables = document.data.get("measurement")
    numbered = {document.line("measurement", number): number for number in range(len(tables or ()))}
    recognised = {each.file: each for each in files.recognised}
    bench = document.data.get("bench", {})
    for each in files.session.measurements:
        number = numbered.get(each.line)
        raw = tables[number] if tables and number is not None else {}
        of_file = recognised.get(each.file)
        if key in raw:
            yield f"{each.id}: {key} = {_shown(document, raw[key], 'measurement', number or 0, key)}"
        elif of_file and key in of_file.table:
            yield f"{each.id}: {key} = {show_value(of_file.table[key])}  {each.file} ({of_file.why})"
        elif key in document.defaults:
            yield f"{each.id}: {key} = {_shown(document, document.defaults[key], DEFAULTS, key)}"
        elif key in ("input", "load", "channels") and key in bench:
            yield f"{each.id}: {key} = {_shown(document, bench[key], 'bench', key)}"


def _shown(document: TomlDocument, value: Any, *path: str | int) -> str:
    file = f"{document.studio}/{STUDIO}" if document.is_of_studio(*path) else FILE_NAME
    return f"{show_value(value)}  {file}:{document.line(*path)}"
