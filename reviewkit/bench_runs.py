"""Each measurement's file, read and measured."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from functools import cache, partial
from pathlib import Path

from reviewkit.errors import Fault, InputError
from reviewkit.ingest.any_file import read_measured
from reviewkit.ingest.reading_file import read_readings
from reviewkit.mains import mains_hz
from reviewkit.measure import KINDS
from reviewkit.model import Conditions, Kind, Measured, Measurement, Run, Session, Sheet
from reviewkit.remembered import Holding, Once
from reviewkit.stamps import stamp

Read = Callable[[], Sheet]
Taken = tuple[Sheet | None, "Run | InputError | None"]  # no figures yet where they hang on another measurement
Take = Callable[[], Taken]


def alone_of(session: Session, m: Measurement) -> Conditions | None:
    """What a kind needs to know of a measurement that hangs on no other; None for one that does."""
    floored = any(other.stage == "bench" and other.kind == m.kind for other in session.measurements)
    if m.against or (floored and m.stage != "bench"):
        return None
    return Conditions(m, session.bench, session.ratings, mains_hz(session))


def take(m: Measurement, read: Read, alone: Conditions | None, once: Once) -> Taken:
    """A measurement's sheet and, where it hangs on no other, its figures or why there are none."""
    found = _sheet(read, m)
    if alone is None:
        return found, None
    try:
        return found, once(("run", m.id), (found, alone), partial(_run, found, alone))
    except InputError as error:
        return found, error


def measured(
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
            results = kept.once(("figures", m.id), (origins[m.id],), figures)
            runs[m.id] = Run(conditions, found, results.findings, results.withheld, origins[m.id], results.curves)
        except InputError as error:
            wrong += error.faults
    in_order = [fault for m in session.measurements for fault in unread.get(m.id, ())]
    return in_order, wrong, tuple(runs[m.id] for m in session.measurements if m.id in runs)


def _figures(run: Run | None) -> Measured:
    """What is held of a run."""
    assert run is not None  # figures that are held are not asked for again
    return Measured(run.findings, run.withheld, run.curves)


def _run(found: Sheet | None, conditions: Conditions) -> Run:
    kind: Kind = KINDS[conditions.measurement.kind]
    measured = kind.findings(found, conditions)
    return Run(conditions, found, measured.findings, measured.withheld, curves=measured.curves)


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
                f"a {m.kind} needs columns of {wanted}; here are {_found(sheet)}. Say under its [[measurement]] in "
                f"session.toml which is which, for example columns = {{ {_named(sheet, m)} }}, or is it another kind?",
            )
        )
    return sheet


def reading(folder: Path, m: Measurement, once: Once) -> Read:
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


def _named(sheet: Sheet, m: Measurement) -> str:
    """What a kind needs, each called by a header of the file, in their order."""
    needed = next(roles for roles in KINDS[m.kind].needs if roles)
    headers = [column.header for column in sheet.columns] or [""]
    return ", ".join(f'{role} = "{headers[min(at, len(headers) - 1)]}"' for at, role in enumerate(needed))
