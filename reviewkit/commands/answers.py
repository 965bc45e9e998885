"""Answers to what files don't show: what these are recognised as then, and the keys to write into session.toml."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath
from typing import Any

from reviewkit.build.cache import Cache
from reviewkit.build.last_build import listed_files
from reviewkit.build.pool import ALONE
from reviewkit.build.recognising import Recognition, recognise
from reviewkit.ingest.session.repair_file import read_repair
from reviewkit.ingest.session.session_entries import MeasurementEntry, entries_of
from reviewkit.ingest.session.session_file import read_document
from reviewkit.ingest.session.studio import Studio
from reviewkit.model.errors import InputError

Answers = Mapping[str, Mapping[str, Any]]  # the keys that are given, by file


def recognise_answered(session: Path, cache: Cache, answers: Answers, studio: Studio) -> Recognition:
    """Return what the session's files are recognised as with these answers, as if they were written."""
    document = studio.under(read_document(session))
    entries = [
        answered(each, answers[each.file]) if answers.get(each.file) else each
        for each in entries_of(document, listed_files(session))
    ]
    repaired = False
    with suppress(InputError):
        repaired = (session / "repair.csv").is_file() and bool(read_repair(session / "repair.csv"))
    return recognise(session, entries, ALONE, cache, bench=document.data.get("bench"), repaired=repaired)


def answered(entry: MeasurementEntry, answer: Mapping[str, Any]) -> MeasurementEntry:
    """Return a measurement with what an answer says of it; what it leaves out is recognised."""
    return MeasurementEntry({**entry.raw, **answer}, defaults=entry.defaults - answer.keys())


def keys_to_write(
    recognition: Recognition, answers: Answers, written: Iterable[MeasurementEntry]
) -> dict[str, dict[str, Any]]:
    """Return the keys that each file's table needs which is clear with its answers: with the kind among them all keys,
    because such a table says everything; else the answers. `written`: the session's measurements as they are.
    """
    clear = {each.file: dict(each.table) for each in recognition.files if not each.question}
    ids = {entry.file: entry.raw.get("id") for entry in recognition.entries}
    own = {entry.file: entry.raw for entry in written}
    keys: dict[str, dict[str, Any]] = {}
    for file in [file for file in answers if file in clear]:
        keys[file] = dict(answers[file])
        if "kind" in keys[file]:
            keys[file] = {**clear[file], **own.get(file, {}), **keys[file]}
            if ids[file] != PurePosixPath(file).stem:  # its name makes no id that is safe
                keys[file] = {"id": ids[file], **keys[file]}
    return keys
