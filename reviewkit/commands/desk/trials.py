"""Answers tried out: the figure that a file's card would show if session.toml said something else of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any

from reviewkit.build.card_groups import share_cards
from reviewkit.build.measuring import measure
from reviewkit.build.pool import ALONE
from reviewkit.build.recognising import recognise
from reviewkit.build.session_files import SessionFiles, input_digests
from reviewkit.commands.answers import answered
from reviewkit.commands.desk.live_session import LiveSession
from reviewkit.ingest.measurement_file import read_any
from reviewkit.ingest.session.session_entries import entries_of
from reviewkit.ingest.session.session_file import read_document, session_of
from reviewkit.ingest.session.session_measurements import safe_name
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import CannotFinish, Fault, InputError

_LARGEST_FILE = 5_000_000  # bytes of a file that is measured only to show what an answer makes of it


def try_answer(session: LiveSession, file: str, keys: Mapping[str, Any]) -> str:
    """Return the figure that a file's card would show with these keys in its [[measurement]]: "right: 0.020 %".

    "" if its card has none, or if more has to be asked first.

    Raises
    ------
    InputError
        If the file can't be measured like that.
    CannotFinish
        If the file is written to meanwhile.
    """
    folder, cache = session.folder, session.cache
    document = session.studio().under(read_document(folder))
    own = next(each for each in entries_of(document, (file,)) if each.file == file)
    given = {key: value for key, value in keys.items() if value is not None}
    entry = answered(own, {"id": safe_name(PurePosixPath(file).stem), **given})
    found = recognise(folder, [entry], ALONE, cache, bench=document.data.get("bench"))
    tried = session_of(document, found.entries, folder, kinds=KINDS)
    tried = replace(tried, ratings=session.shown.episode.session.ratings if session.shown else ())
    files, runs = measure(SessionFiles(tried, digests=input_digests(folder, tried)), ALONE, cache)
    if files.left_out:
        raise InputError([Fault(file, 0, reason.partition(": ")[2]) for reason in files.left_out])
    hero = KINDS[runs[0].conditions.measurement.kind].card(share_cards(runs), ()).hero if runs else None
    return ": ".join(filter(None, (hero.caption, hero.figure))) if hero else ""


def figures_of(session: LiveSession, file: str, choices: Sequence[Mapping[str, Any]]) -> list[str | None]:
    """Return the figure of each choice: "" if it has none, or takes too long; None if it can't be measured."""
    figures: list[str | None] = []
    with suppress(OSError):
        if (session.folder / file).stat().st_size <= _LARGEST_FILE:
            for keys in choices:
                try:
                    figures.append(try_answer(session, file, keys))
                except (InputError, CannotFinish):
                    figures.append(None)
    return figures or [""] * len(choices)


def possible_kinds(session: LiveSession, file: str) -> list[tuple[str, str]]:
    """Return the kinds that a file can be measured as, by its columns, each with its figure."""
    try:
        sheet = read_any(session.folder / file, file)
    except InputError:
        return []
    roles = {column.role for column in sheet.columns} | ({"reading"} if sheet.readings else set())
    kinds = [name for name, kind in KINDS.items() if any(needed and set(needed) <= roles for needed in kind.needs)]
    figures = figures_of(session, file, [{"kind": name} for name in kinds])
    return [(name, figure) for name, figure in zip(kinds, figures, strict=True) if figure is not None]
