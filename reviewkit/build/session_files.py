"""The read stage: everything in a session folder but the measurements' own files."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from reviewkit.build.cache import NO_CACHE, Cache
from reviewkit.build.last_build import listed_files, own_templates
from reviewkit.build.pool import ALONE, Pool
from reviewkit.build.recognising import recognise
from reviewkit.build.sounds import read_sounds
from reviewkit.ingest.session.cut_file import Cut, read_final
from reviewkit.ingest.session.notes_file import read_notes
from reviewkit.ingest.session.photo_file import read_photo
from reviewkit.ingest.session.price_file import read_prices
from reviewkit.ingest.session.published_file import read_published
from reviewkit.ingest.session.repair_file import read_repair
from reviewkit.ingest.session.session_entries import awaited, entries_of
from reviewkit.ingest.session.session_file import read_brochure, read_document, session_of
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.ingest.session.studio import Studio, read_studio
from reviewkit.ingest.session.studio_place import studio_digests
from reviewkit.measure.kinds import KINDS
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.notes import Notes
from reviewkit.model.prices import IndexTable
from reviewkit.model.published import FILE_NAME as PUBLISHED
from reviewkit.model.published import Published
from reviewkit.model.recognised import Recognised, in_words
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Session
from reviewkit.model.sound import PlayedSound
from reviewkit.model.targets import file_of

T = TypeVar("T")
_NOTHING: Mapping[str, str] = MappingProxyType({})
_BY_NAME = (RATINGS, "notes.txt", "repair.csv", "final.txt", "final.otio", PUBLISHED)


@dataclass(frozen=True, eq=False)
class SessionFiles:
    """A session folder as read. `left_out`: what isn't there and what the outputs lack because of it; `faults`: what is
    wrong with the files; `digests`: of every file that a build reads or looks for, by its path from the folder, ""
    for one that isn't there. `recognised`: the measurements' files whose kind session.toml doesn't say; `listed`: all
    files in measurements/; `planned`: measurements that are still to be made, in words.
    """

    session: Session
    notes: Notes = field(default_factory=Notes)
    prices: IndexTable | None = None
    repair: tuple[RepairRow, ...] = ()
    final: tuple[tuple[float, str], ...] = ()
    photo: bytes = b""
    mark: bytes = b""
    published: Published | None = None
    sounds: tuple[PlayedSound, ...] = ()
    left_out: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    digests: Mapping[str, str] = field(default_factory=dict)
    recognised: tuple[Recognised, ...] = ()
    listed: tuple[str, ...] = ()
    planned: tuple[tuple[str, str], ...] = ()

    @property
    def type_digests(self) -> tuple[str, ...]:
        """Return digests that distinguish the user's own fonts from others with the same names."""
        return tuple(self.digests[name] for name in (self.session.look.font, self.session.look.bold_font) if name)


def read(
    folder: Path, pool: Pool = ALONE, cache: Cache = NO_CACHE, *, for_plan: bool = False, in_studio: bool = True
) -> SessionFiles:
    """Read a session folder.

    `for_plan`: read only what was measured and repaired; `in_studio`: use the studio.toml above it.

    Raises
    ------
    InputError
        If session.toml itself can't be read. The faults of the other files are collected.
    """
    before = {name: file_digest(folder / name) for name in ("session.toml", RATINGS)}
    if in_studio:
        before |= studio_digests(folder)
    studio = read_studio(folder) if in_studio else Studio()
    document = studio.under(read_document(folder))
    faults: list[Fault] = []

    def attempt(reader: Callable[[], T], otherwise: T) -> T:
        try:
            return reader()
        except InputError as error:
            faults.extend(error.faults)
            return otherwise

    repair: tuple[RepairRow, ...] = ()
    if (folder / "repair.csv").is_file():
        repair = attempt(lambda: read_repair(folder / "repair.csv"), repair)
    listed = listed_files(folder)
    recognition = recognise(
        folder, entries_of(document, listed), pool, cache, bench=document.data.get("bench"), repaired=bool(repair)
    )
    session = session_of(document, recognition.entries, folder, kinds=KINDS, brochure=read_brochure(folder))
    session = replace(session, in_studio=in_studio)
    known = recognition.digests
    examined = {each.file: known[each.file] for each in recognition.files if each.file in known}
    digests = {**input_digests(folder, session, known), **examined, **before}
    planned = tuple(_awaited(awaited(document, listed)))
    if for_plan:
        faults += _lacks_stage(session, repair)
        return SessionFiles(
            session,
            repair=repair,
            faults=tuple(faults),
            digests=digests,
            recognised=recognition.files,
            listed=listed,
            planned=planned,
        )
    notes = Notes()
    if (folder / "notes.txt").is_file():
        notes = attempt(lambda: read_notes(folder / "notes.txt"), notes)
    # "after" may be split into segments by what is asked, so that none of that name is left
    segments = [note.segment for note in notes.notes if note.segment not in ("", "after") and not note.cut]
    uncut: tuple[Cut, tuple[str, ...]] = ((), ())
    final, remarks = attempt(lambda: read_final(folder, segments), uncut)
    photo_name, mark_name, price = session.episode.photo, session.look.mark, session.price
    photo = attempt(lambda: read_photo(folder, photo_name), b"") if photo_name else b""
    mark = attempt(lambda: read_photo(folder, mark_name), b"") if mark_name else b""
    published = attempt(lambda: read_published(folder), None)
    prices = attempt(lambda: read_prices(folder / price.index, price.index), None) if price else None
    silent: tuple[PlayedSound, ...] = ()
    sounds = attempt(lambda: read_sounds(folder, session), silent)
    faults += _lacks_stage(session, repair)
    return SessionFiles(
        session,
        notes,
        prices,
        repair,
        tuple((at, name) for at, name, _ in final),
        photo,
        mark,
        published,
        sounds,
        (
            *filter(None, (studio.note,)),
            *_absent(folder, session, remarks, planned),
            *(f"{name} is planned, and not there yet: {said}" for name, said in planned),
            *_unclear(recognition.files),
        ),
        tuple(faults),
        digests,
        recognition.files,
        listed,
        planned,
    )


def input_digests(folder: Path, session: Session, known: Mapping[str, str] = _NOTHING) -> dict[str, str]:
    """Return the digests of all files that a session's build reads or looks for, by their path from its folder.

    `known`: digests that needn't be made again.
    """
    names = ["session.toml", *own_templates(folder), *_BY_NAME]
    names += [file for m in session.measurements for file in (m.file, file_of(m.target)) if file]
    names += [recording.file for sound in session.sounds for recording in sound.recordings]
    names += filter(None, (session.episode.photo, session.look.mark, session.look.font, session.look.bold_font))
    if session.price:
        names.append(session.price.index)
    looked_for = studio_digests(folder) if session.in_studio else {}
    made = {name: known[name] if name in known else file_digest(folder / name) for name in dict.fromkeys(names)}
    return made | looked_for


def _absent(folder: Path, session: Session, remarks: tuple[str, ...], planned: Collection[Any]) -> Iterator[str]:
    """Yield what isn't there, and what the outputs lack for it."""
    if not (folder / "notes.txt").is_file():
        yield "no notes.txt: the outline holds only what the bench has to say"
    if not (folder / "repair.csv").is_file():
        yield "no repair.csv: no repair card and no repair sentences"
    yield from remarks
    if session.price is None:
        yield "no [price] in session.toml: no price then and now"
    if not session.ratings:
        card = "" if session.printed else " and no card of rated specs"
        yield f"no ratings in session.toml or ratings.txt: no verdicts{card}"
    if not (session.measurements or planned):
        yield "no [[measurement]] in session.toml: no measured figures"


def _awaited(planned: Iterable[Mapping[str, Any]]) -> Iterator[tuple[str, str]]:
    """Yield the name of each measurement that is planned and not made yet, and its keys in words."""
    for raw in planned:
        name = str(raw.get("file") or raw.get("files") or raw.get("id") or "two-load reading")
        said = {key: value for key, value in raw.items() if key not in ("file", "files", "id", "planned")}
        yield name, in_words(said)


def _unclear(files: Iterable[Recognised]) -> Iterator[str]:
    """Yield the question of each file that is left out."""
    for each in files:
        if each.question:
            yield f"{each.file} is left out: {each.question}"


def _lacks_stage(session: Session, repair: tuple[RepairRow, ...]) -> Iterator[Fault]:
    """Yield a fault for each measurement of a repaired unit that doesn't say whether it was made before or after."""
    if repair and not any(m.stage for m in session.measurements):
        for m in session.measurements:
            yield Fault(
                "session.toml",
                m.line,
                f'[[measurement]] {m.id}: repair.csv lists a repair; write stage = "before" or stage = "after"',
            )
