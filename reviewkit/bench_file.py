"""Everything of a session folder read and measured, all faults of all files together."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from typing import TypeVar

from reviewkit.errors import Fault, InputError
from reviewkit.ingest.any_file import is_long, read_measured
from reviewkit.ingest.cut_file import Cut, read_final
from reviewkit.ingest.notes_file import read_notes
from reviewkit.ingest.photo_file import read_photo
from reviewkit.ingest.price_file import read_prices
from reviewkit.ingest.published_file import read_published
from reviewkit.ingest.reading_file import read_readings
from reviewkit.ingest.repair_file import read_repair
from reviewkit.ingest.session_file import read_session
from reviewkit.inputs import Inputs
from reviewkit.mains import mains_hz
from reviewkit.measure import KINDS
from reviewkit.model import Conditions, Finding, IndexTable, Kind, Measurement, Notes, RepairRow, Run, Session, Sheet
from reviewkit.origins import made_from, spared
from reviewkit.published import Published
from reviewkit.remembered import NOTHING, Holding, Once, anew
from reviewkit.stamps import Stamp, stamp

T = TypeVar("T")
Read = Callable[[], Sheet]
Taken = tuple[Sheet | None, "Run | InputError | None"]  # no figures yet where they hang on another measurement
Take = Callable[[], Taken]


@dataclass(frozen=True, eq=False)
class Gathered:
    """A session folder, read and measured. `runs`: in the session's order; `absent`: what is not there and what that
    leaves out; `inputs`: digests of the files of it all, by path in the folder; `stamps`: theirs, in that order.
    """

    session: Session
    notes: Notes
    prices: IndexTable | None
    repair: tuple[RepairRow, ...]
    final: tuple[tuple[float, str], ...]
    runs: tuple[Run, ...]
    absent: tuple[str, ...]
    photo: bytes = b""
    published: Published | None = None
    inputs: Mapping[str, str] = field(default_factory=dict)
    stamps: tuple[Stamp, ...] = ()

    @property
    def type_digests(self) -> tuple[str, ...]:
        """What tells the user's own type from any other under the same name."""
        return tuple(self.inputs[name] for name in (self.session.look.font, self.session.look.bold_font) if name)


def gather(
    folder: Path,
    elsewhere: Callable[[Take], Take] = lambda take: take,
    once: Once = anew,
    kept: Holding = NOTHING,
) -> Gathered:
    """Read everything, and take each measurement's figures. Raises InputError with the faults of all files, not only
    the first; where all can be read, with those of all measurements.

    `elsewhere`: has a long file read and measured, maybe by another process, and gives a function that waits for that.
    `once`: reads and measures only what is not as it was; `kept`: figures and cards of an earlier build, which spare
    reading what they were made from. Raises CannotFinish where a file was written to meanwhile.
    """
    inputs = Inputs(folder)
    session = read_session(folder, kinds=KINDS)
    inputs.look_at(session)
    origins = made_from(session, inputs)
    known = spared(session, origins, kept)
    faults: list[Fault] = []
    takes = {m.id: partial(_take, m, _reading(folder, m, once), _alone(session, m), once) for m in session.measurements}
    long = {m.id for m in session.measurements if m.id not in known and m.file and is_long(folder / m.file)}
    taken = {name: elsewhere(take) if name in long else take for name, take in takes.items()}

    def attempt(read: Callable[[], T], otherwise: T) -> T:
        try:
            return read()
        except InputError as error:
            faults.extend(error.faults)
            return otherwise

    absent = []

    def there(name: str, without: str) -> bool:
        if (folder / name).is_file():
            return True
        absent.append(f"no {name}: {without}")
        return False

    notes = Notes()
    if there("notes.txt", "the outline holds only what the bench has to say"):
        notes = attempt(lambda: read_notes(folder / "notes.txt"), notes)
    repair: tuple[RepairRow, ...] = ()
    if there("repair.csv", "no repair card and no repair sentences"):
        repair = attempt(lambda: read_repair(folder / "repair.csv"), repair)
    noted = [note.segment for note in notes.notes if note.segment and not note.cut]
    uncut: tuple[Cut, tuple[str, ...]] = ((), ())
    final, told = attempt(lambda: read_final(folder, noted), uncut)
    absent.extend(told)
    named = session.episode.photo
    photo = attempt(lambda: read_photo(folder, named), b"") if named else b""
    published = attempt(lambda: read_published(folder), None)
    prices = None
    if session.price is None:
        absent.append("no [price] in session.toml: no price then and now")
    else:
        index = session.price.index
        prices = attempt(lambda: read_prices(folder / index, index), None)
    if not session.ratings:
        absent.append("no [[rated]] in session.toml: no verdicts and no card of rated specs")
    if not session.measurements:
        absent.append("no [[measurement]] in session.toml: no measured figures")

    if repair and not any(m.stage for m in session.measurements):
        for m in session.measurements:
            faults.append(
                Fault(
                    "session.toml",
                    m.line,
                    f"[[measurement]] {m.id}: repair.csv says that something was mended; "
                    'say stage = "before" or stage = "after"',
                )
            )
    unread, wrong, runs = _measured(session, taken, once, kept, origins, known)
    digests = inputs.digests()
    if faults or unread or wrong:
        raise InputError([*faults, *unread] or wrong)
    cut = tuple((at, name) for at, name, _ in final)
    return Gathered(session, notes, prices, repair, cut, runs, tuple(absent), photo, published, digests, inputs.stamps)


def _alone(session: Session, m: Measurement) -> Conditions | None:
    """What a kind needs to know of a measurement that hangs on no other; None for one that does."""
    floored = any(other.stage == "bench" and other.kind == m.kind for other in session.measurements)
    if m.against or (floored and m.stage != "bench"):
        return None
    return Conditions(m, session.bench, session.ratings, mains_hz(session))


def _take(m: Measurement, read: Read, alone: Conditions | None, once: Once) -> Taken:
    """A measurement's sheet and, where it hangs on no other, its figures or why there are none."""
    found = _sheet(read, m)
    if alone is None:
        return found, None
    try:
        return found, once(("run", m.id), (found, alone), partial(_run, found, alone))
    except InputError as error:
        return found, error


def _measured(
    session: Session,
    takes: Mapping[str, Take],
    once: Once,
    kept: Holding,
    origins: Mapping[str, str],
    known: Collection[str],
) -> tuple[list[Fault], list[Fault], tuple[Run, ...]]:
    """The faults of files that cannot be read, those of what they hold, and each measurement's figures. `known`: those
    whose figures are held.
    """
    by_id = {m.id: m for m in session.measurements}
    unread: dict[str, Sequence[Fault]] = {}
    wrong: list[Fault] = []
    runs: dict[str, Run] = {}

    @cache
    def taken(name: str) -> Taken:
        try:
            return takes[name]()
        except InputError as error:
            unread[name] = error.faults
            return None, None

    # the bench looped back comes first: it is the floor of what follows
    for m in sorted(session.measurements, key=lambda m: m.stage != "bench"):
        other = by_id.get(m.against)
        floor = [f for one in runs.values() for f in one.findings if f.stage == "bench" and f.kind == m.kind]
        (found, run), reference = (None, None), None
        if m.id not in known:
            (found, run), reference = taken(m.id), taken(other.id)[0] if other else None
        if unread:
            continue
        conditions = Conditions(
            m,
            session.bench,
            session.ratings,
            mains_hz(session),
            reference=reference,
            reference_name=other.setting or other.id if other else "",
            floor=tuple(floor),
        )
        try:
            if m.id not in known and run is None:
                run = once(("run", m.id), (found, conditions), partial(_run, found, conditions))
            if isinstance(run, InputError):
                raise run
            figures = partial(_figures, run)
            findings, withheld = kept.once(("figures", m.id), (origins[m.id],), figures)
            runs[m.id] = Run(conditions, found, findings, withheld, origins[m.id])
        except InputError as error:
            wrong += error.faults
    in_order = [fault for m in session.measurements for fault in unread.get(m.id, ())]
    return in_order, wrong, tuple(runs[m.id] for m in session.measurements if m.id in runs)


def _figures(run: Run | None) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """What is held of a run."""
    assert run is not None  # figures that are held are not asked for again
    return run.findings, run.withheld


def _run(found: Sheet | None, conditions: Conditions) -> Run:
    kind: Kind = KINDS[conditions.measurement.kind]
    measured = kind.findings(found, conditions)
    return Run(conditions, found, measured.findings, measured.withheld)


def _sheet(read: Read, m: Measurement) -> Sheet | None:
    """A measurement's file, checked against what its kind needs."""
    kind = KINDS[m.kind]
    if not m.file:
        if () not in kind.needs:
            raise InputError(
                Fault("session.toml", m.line, f'[[measurement]] {m.id}: file = "measurements/…" is missing')
            )
        return None
    sheet = read()
    roles = {column.role for column in sheet.columns} | ({"reading"} if sheet.readings else set())
    if not any(needed and set(needed) <= roles for needed in kind.needs):
        wanted = " or ".join(" and ".join(needed) for needed in kind.needs if needed)
        raise InputError(
            Fault(
                m.file,
                0,
                f"a {m.kind} needs columns of {wanted}; here are {_found(sheet)}. Name them in "
                "session.toml with columns = {…}, or is it another kind?",
            )
        )
    return sheet


def _reading(folder: Path, m: Measurement, once: Once) -> Read:
    """A file's reading, if it is not as it was."""
    return partial(once, ("sheet", m.id), (stamp(folder / m.file), m), _reader(folder / m.file, m))


def _reader(path: Path, m: Measurement) -> Read:
    """A file's reading by the reader of its format: single readings, a WAV capture, or delimited text."""
    if ("reading",) in KINDS[m.kind].needs:
        return partial(read_readings, path, m.file)
    return partial(
        read_measured, path, m.file, columns=dict(m.columns), units=dict(m.units), full_scale_v=m.full_scale_v
    )


def _found(sheet: Sheet) -> str:
    return ", ".join(f'{column.role} ("{column.header}")' for column in sheet.columns) or "none"
