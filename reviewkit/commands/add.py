"""The command `add`: copies exports into a session, and asks what they don't show. Only it writes session.toml."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from reviewkit.build.atomic_files import incoming_place, write_flushed, write_whole
from reviewkit.build.cache import Cache
from reviewkit.build.last_build import MEASUREMENTS, listed_files
from reviewkit.build.recognising import Recognition
from reviewkit.commands.answers import keys_to_write, recognise_answered
from reviewkit.ingest.session.session_entries import entries_of
from reviewkit.ingest.session.session_file import FILE_NAME, read_document
from reviewkit.ingest.session.studio import Studio, read_studio
from reviewkit.ingest.session.toml_edit import insert_keys, insert_measurements
from reviewkit.model import path_checks
from reviewkit.model.digests import file_digest, files_in
from reviewkit.model.errors import CannotFinish, Fault, InputError, refusal
from reviewkit.model.recognised import Recognised, in_words, lines_to_paste

MOST_FILES = 400
_STAGES = ("before", "after", "bench")
Ask = Callable[[str], str]  # given a question, returns the answer as typed


@dataclass(frozen=True)
class Added:
    """Files that were added. `copied`: by their paths in the session folder; `recognised`: what each file is, and why,
    or what is left to ask; `tables`: the tables that were written; `keys`: how many tables got more keys.
    """

    copied: tuple[str, ...]
    recognised: tuple[Recognised, ...]
    tables: tuple[Mapping[str, Any], ...]
    keys: int = 0
    others: tuple[str, ...] = ()  # files that the session says enough about already


def add_files(
    session: Path, sources: Sequence[Path], cache: Cache, ask: Ask | None, *, in_studio: bool = True
) -> Added:
    """Copy files into a session, and write the tables that they need.

    Parameters
    ----------
    session : Path
        The session folder.
    sources : Sequence[Path]
        Files, and folders whose files are meant; a folder called before, after or bench stays one.
    cache : Cache
        The cache.
    ask : Ask | None
        Asks about what isn't clear; None if nothing is to be asked, and unclear files are left out.
    in_studio : bool
        Whether the studio.toml above the session counts.

    Raises
    ------
    InputError
        A file can't be added, or would replace another; nothing is written then.
    CannotFinish
        A file can't be written, or session.toml was changed meanwhile.
    """
    read_document(session)
    before = file_digest(session / FILE_NAME)
    wanted = _wanted(session, sources)
    copied = _copy(session, {name: source for name, source in wanted.items() if source is not None})
    answers: dict[str, dict[str, Any]] = {}
    left: set[str] = set()
    while True:
        recognition = recognise_answered(session, cache, answers, read_studio(session) if in_studio else Studio())
        open_ = [each for each in recognition.files if each.file in wanted and each.question and each.file not in left]
        if ask is None or not open_:
            break
        open_.sort(key=lambda each: any("stage" in choice for choice in each.choices))  # one question for many, then
        same = [each for each in open_ if (each.question, each.choices) == (open_[0].question, open_[0].choices)]
        chosen = _answer(same, ask) if open_[0].choices else None
        if chosen is None:
            left.update(each.file for each in same)
        else:
            for each in same:
                answers[each.file] = {**answers.get(each.file, {}), **chosen}
    tables, keys = _changes(session, recognition, answers, left)
    if tables or keys:
        if file_digest(session / FILE_NAME) != before:
            raise CannotFinish(f"{session / FILE_NAME} was changed meanwhile; the files were copied, so add them again")
        text = (session / FILE_NAME).read_bytes().decode("utf-8")
        for number, more in keys.items():
            text = insert_keys(text, FILE_NAME, number, more)
        text = insert_measurements(text, FILE_NAME, tables) if tables else text
        write_whole(session / FILE_NAME, text.encode("utf-8"))
    found = tuple(
        replace(each, table={**each.table, **answers.get(each.file, {})})
        for each in recognition.files
        if each.file in wanted
    )
    others = tuple(name for name in wanted if name not in {each.file for each in found})
    return Added(copied, found, tuple(tables), len(keys), others)


def show_added(added: Added) -> Iterator[str]:
    """Yield lines that say what was done."""
    yield from (f"copied: {name}" for name in added.copied)
    yield from (f"{name}: the session already says what it is, or ignores it" for name in added.others)
    for each in added.recognised:
        if each.question:
            yield f"{each.file} is left out: {each.question}"
            yield from (f"    {line}" for line in lines_to_paste(each.file, each.choices))
        else:
            yield f"{each.file}: {in_words(each.table)} ({each.why})"
    if added.tables:
        count = len(added.tables)
        yield f"{FILE_NAME}: {count} [[measurement]] table{'' if count == 1 else 's'} added"
    if added.keys:
        yield f"{FILE_NAME}: keys added to {added.keys} [[measurement]] table{'' if added.keys == 1 else 's'}"


# ------------------------------------------------------------------ copying


def _wanted(session: Path, sources: Sequence[Path]) -> dict[str, Path | None]:
    """Return the files to add by their future paths in the session folder; None for one that is there already."""
    faults: list[Fault] = []
    wanted: dict[str, Path | None] = {}
    for source, name in _named(session, sources, faults):
        place = f"{MEASUREMENTS}/{name}"
        there = session / place
        if "\\" in name or not name.isprintable():
            faults.append(
                Fault(str(source), 0, "its name has characters that a path in a session can't have; rename it")
            )
        elif place in wanted:
            faults.append(Fault(str(source), 0, f"two of these files would be {place}; rename one, or use folders"))
        elif path_checks.is_there(there) and file_digest(there) != file_digest(source):
            faults.append(Fault(place, 0, f"is there already, with other content than {source}; rename one of them"))
        elif path_checks.is_outside(session, place):
            faults.append(Fault(place, 0, "leads outside the session's folder; remove the link"))
        wanted[place] = None if path_checks.is_there(there) else source
    if len(wanted) > MOST_FILES:
        faults.append(Fault(str(sources[0]), 0, f"these are {len(wanted)} files; add at most {MOST_FILES} at a time"))
    if faults:
        raise InputError(faults)
    if not wanted:
        raise refusal(str(sources[0]), "there is no file in this folder; name one that holds exports")
    return wanted


def _named(session: Path, sources: Sequence[Path], faults: list[Fault]) -> Iterator[tuple[Path, str]]:
    """Yield each file with its path in measurements/: a folder's files keep their places in it."""
    own = (session / MEASUREMENTS).resolve()
    for source in sources:
        if source.is_dir():
            for name in files_in(source.resolve()):
                if not any(part.startswith((".", "~")) for part in Path(name).parts):
                    yield source / name, _inside(source.resolve() / name, own) or _kept(source, name)
        elif source.is_file():
            yield source, _inside(source.resolve(), own) or _kept(source.parent, source.name)
        else:
            faults.append(Fault(str(source), 0, "there is no such file; name an export, or a folder of them"))


def _inside(path: Path, own: Path) -> str:
    return path.relative_to(own).as_posix() if path.is_relative_to(own) else ""


def _kept(folder: Path, name: str) -> str:
    """Return a file's path, with its folder if that says its stage."""
    stage = folder.resolve().name.casefold()
    return f"{stage}/{name}" if stage in _STAGES else name


def _copy(session: Path, wanted: Mapping[str, Path]) -> tuple[str, ...]:
    """Copy files into their places, all or none; none replaces another."""
    done: list[Path] = []
    for name, source in wanted.items():
        place = session / name
        new = incoming_place(place.parent, place.name)
        try:
            write_flushed(new, source.read_bytes())
            _move_in(new, place)
            done.append(place)
        except OSError as error:
            for each in (new, *done):
                with suppress(OSError):
                    each.unlink(missing_ok=True)
            raise CannotFinish(f"{place}: {error.strerror or error}; no file was added") from error
    return tuple(wanted)


def _move_in(new: Path, place: Path) -> None:
    """Move a file to a name that nothing has; a link, unlike a move, never replaces what came there meanwhile."""
    try:
        os.link(new, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if path_checks.is_there(place):
            raise
        os.replace(new, place)  # noqa: PTH105
        return
    new.unlink()


# ------------------------------------------------------------------ asking


def _answer(files: Sequence[Recognised], ask: Ask) -> Mapping[str, Any] | None:
    """Return the choice that the user makes for these files; None to leave them out."""
    first = files[0]
    lines = [", ".join(each.file for each in files), f"  {first.question}"]
    lines += [f"  {number}  {in_words(choice)}" for number, choice in enumerate(first.choices, 1)]
    lines.append("  -  leave out for now")
    question = "\n".join(lines)
    while True:
        typed = ask(f"{question}\n[1] ").strip()
        if typed == "-":
            return None
        if typed in ("", *map(str, range(1, len(first.choices) + 1))):
            return first.choices[int(typed or 1) - 1]


def _changes(
    session: Path, recognition: Recognition, answers: Mapping[str, Mapping[str, Any]], left: set[str]
) -> tuple[list[dict[str, Any]], dict[int, dict[str, Any]]]:
    """Return the tables that files need which were asked about, and the keys that tables need which name one, by their
    place: with the kind among the answers, all keys; else what differs.
    """
    written = {entry.file: entry for entry in entries_of(read_document(session), listed_files(session))}
    asked = {file: answer for file, answer in answers.items() if file not in left}
    tables: list[dict[str, Any]] = []
    keys: dict[int, dict[str, Any]] = {}
    for file, answer in keys_to_write(recognition, asked, written.values()).items():
        own = written[file]
        if own.named and own.number is not None:
            keys[own.number] = {key: value for key, value in answer.items() if key not in own.raw}
        else:
            tables.append({**own.raw, **answer})
    return tables, keys
