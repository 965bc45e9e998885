"""Everything of a session folder read, all faults of all files together; then each measurement's figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from reviewkit.errors import Fault, InputError
from reviewkit.ingest.any_file import read_measured
from reviewkit.ingest.cut_file import read_cut
from reviewkit.ingest.notes_file import read_notes
from reviewkit.ingest.price_file import read_prices
from reviewkit.ingest.reading_file import read_readings
from reviewkit.ingest.repair_file import read_repair
from reviewkit.ingest.session_file import read_session
from reviewkit.mains import mains_of
from reviewkit.measure import KINDS
from reviewkit.model import Conditions, IndexTable, Kind, Measurement, Notes, RepairRow, Run, Session, Sheet

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Gathered:
    """A session folder as read. `sheets`: by measurement id; `absent`: what is not there and what that leaves out."""

    session: Session
    notes: Notes
    prices: IndexTable | None
    repair: tuple[RepairRow, ...]
    final: tuple[tuple[float, str], ...]
    sheets: dict[str, Sheet | None]
    absent: tuple[str, ...]


def gather(folder: Path) -> Gathered:
    """Read everything. Raises InputError with the faults of all files, not only the first."""
    session = read_session(folder, kinds=KINDS)
    faults: list[Fault] = []

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
    final: tuple[tuple[float, str, int], ...] = ()
    if there("final.txt", "chapters are the planned ones"):
        final = attempt(lambda: read_cut(folder / "final.txt"), final)
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
    sheets = {m.id: attempt(lambda m=m: _sheet(folder, m), None) for m in session.measurements}  # type: ignore[misc]
    if faults:
        raise InputError(faults)
    return Gathered(session, notes, prices, repair, tuple((at, name) for at, name, _ in final), sheets, tuple(absent))


def _sheet(folder: Path, m: Measurement) -> Sheet | None:
    """A measurement's file, checked against what its kind needs."""
    kind = KINDS[m.kind]
    if not m.file:
        if () not in kind.needs:
            raise InputError(
                Fault("session.toml", m.line, f'[[measurement]] {m.id}: file = "measurements/…" is missing')
            )
        return None
    sheet = _read(folder, m, single=("reading",) in kind.needs)
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


def _read(folder: Path, m: Measurement, *, single: bool) -> Sheet:
    """A file by the reader of its format: single readings, a WAV capture, or delimited text."""
    path = folder / m.file
    if single:
        return read_readings(path, m.file)
    return read_measured(path, m.file, columns=m.columns, units=m.units, full_scale_v=m.full_scale_v)


def _found(sheet: Sheet) -> str:
    return ", ".join(f'{column.role} ("{column.header}")' for column in sheet.columns) or "none"


def measure(gathered: Gathered) -> list[Run]:
    """The figures of every measurement, in the session's order. Raises InputError with all faults."""
    session = gathered.session
    mains_hz = mains_of(session.bench.mains)[1] or mains_of(session.unit.mains)[1]
    faults: list[Fault] = []
    runs: dict[str, Run] = {}
    # the bench looped back comes first: it is the floor of what follows
    for m in sorted(session.measurements, key=lambda m: m.stage != "bench"):
        floor = tuple(f for run in runs.values() for f in run.findings if f.stage == "bench" and f.kind == m.kind)
        other = next((o for o in session.measurements if o.id == m.against), None)
        conditions = Conditions(
            m,
            session.bench,
            session.ratings,
            mains_hz,
            reference=gathered.sheets[other.id] if other else None,
            reference_name=other.setting or other.id if other else "",
            floor=floor,
        )
        kind: Kind = KINDS[m.kind]
        try:
            measured = kind.findings(gathered.sheets[m.id], conditions)
        except InputError as error:
            faults += error.faults
            continue
        runs[m.id] = Run(conditions, gathered.sheets[m.id], measured.findings, measured.withheld)
    if faults:
        raise InputError(faults)
    return [runs[m.id] for m in session.measurements]
