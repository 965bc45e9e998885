"""The measure stage: each measurement's file read and measured, or taken from the cache."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.plain_data import fingerprint, from_text, to_text
from reviewkit.build.pool import Pool
from reviewkit.build.program import program_digest
from reviewkit.ingest.any_file import read_measured
from reviewkit.ingest.reading_file import read_readings
from reviewkit.measure import KINDS
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import CannotFinish, Fault, InputError
from reviewkit.model.finding import Conditions, Finding, Measured, Run
from reviewkit.model.mains import mains_hz
from reviewkit.model.session import Measurement, Session
from reviewkit.model.sheet import Sheet


@dataclass(frozen=True)
class Unusable:
    """Why a measurement has no figures. `unread`: its file cannot be read at all."""

    faults: tuple[Fault, ...]
    unread: bool


def measure(session: Session, digests: Mapping[str, str], pool: Pool, cache: Cache) -> tuple[Run, ...]:
    """Return each measurement's results, in the session's order. `digests`: of the files, by their path.

    Raises InputError with the faults of every file that cannot be read; where all can, with those of what they hold.
    Raises CannotFinish if a file was written to meanwhile.
    """
    # the bench looped back comes first: it is the floor of what follows
    bench = [m for m in session.measurements if m.stage == "bench"]
    runs = _measure(session, bench, (), digests, pool, cache)
    findings = [finding for run in runs.values() if isinstance(run, Run) for finding in run.findings]
    others = [m for m in session.measurements if m.stage != "bench"]
    runs |= _measure(session, others, findings, digests, pool, cache)
    in_order = [runs[m.id] for m in session.measurements]
    unusable = [run for run in in_order if isinstance(run, Unusable)]
    faults = [fault for run in unusable if run.unread for fault in run.faults]
    faults = faults or [fault for run in unusable for fault in run.faults]
    if faults:
        raise InputError(faults)
    return tuple(run for run in in_order if isinstance(run, Run))


def _measure(
    session: Session,
    measurements: Sequence[Measurement],
    floor: Sequence[Finding],
    digests: Mapping[str, str],
    pool: Pool,
    cache: Cache,
) -> dict[str, Run | Unusable]:
    """Results by the measurements' ids."""
    by_id = {m.id: m for m in session.measurements}
    conditions = {m.id: _conditions(session, m, by_id.get(m.against), floor) for m in measurements}
    keys = {m.id: _key(conditions[m.id], by_id.get(m.against), digests) for m in measurements}
    stored = {m.id: cache.read(keys[m.id]) for m in measurements}
    texts = {name: entry.decode() for name, entry in stored.items() if entry}
    # the largest file takes longest, and comes first
    new = sorted((m for m in measurements if m.id not in texts), key=lambda m: -_size(session.folder / m.file))
    calls = [(session.folder, conditions[m.id], by_id.get(m.against), _digests(m, by_id, digests)) for m in new]
    results: dict[str, Run | Unusable] = {}
    for m, result in zip(new, pool.run(measure_file, calls), strict=True):
        if isinstance(result, Unusable):
            results[m.id] = result
        else:
            texts[m.id] = result
            cache.write(keys[m.id], result.encode())
    for name, text in texts.items():
        measured: Measured = from_text(text)
        results[name] = Run(conditions[name], measured.findings, measured.withheld, measured.curves)
    return results


def _size(path: Path) -> int:
    return path.stat().st_size if path.is_file() else 0


def _conditions(
    session: Session, m: Measurement, reference: Measurement | None, floor: Sequence[Finding]
) -> Conditions:
    return Conditions(
        m,
        session.bench,
        session.ratings,
        mains_hz(session),
        reference_name=reference.setting or reference.id if reference else "",
        floor=tuple(f for f in floor if f.kind == m.kind),
    )


def _digests(m: Measurement, by_id: Mapping[str, Measurement], digests: Mapping[str, str]) -> dict[str, str]:
    """The digests of the files that a measurement is read from."""
    files = [m.file, by_id[m.against].file if m.against in by_id else ""]
    return {file: digests[file] for file in files if file}


def _key(conditions: Conditions, reference: Measurement | None, digests: Mapping[str, str]) -> str:
    """The key of a measured file. Line numbers are left out: they show only in messages about faults, which are not
    stored.
    """
    bare = replace(
        conditions,
        measurement=replace(conditions.measurement, line=0),
        ratings=tuple(replace(rating, line=0) for rating in conditions.ratings),
    )
    other = reference and replace(reference, line=0)
    files = [digests[m.file] if m and m.file else "" for m in (conditions.measurement, reference)]
    return fingerprint("measured file", program_digest(), bare, other, files)


def measure_file(
    folder: Path, conditions: Conditions, reference: Measurement | None, digests: Mapping[str, str]
) -> str | Unusable:
    """Return a measurement's results as text, in the form in which they are stored: what comes from the cache and what
    doesn't are then the same. `reference`: the measurement that its `against` names.
    """
    m = conditions.measurement
    try:
        sheet = _read(folder, m)
    except InputError as error:
        return Unusable(tuple(error.faults), unread=True)
    try:
        other = _read(folder, reference) if reference else None
    except InputError as error:
        return Unusable(tuple(error.faults), unread=False)  # which its own measurement reports as well
    changed = [file for file, digest in digests.items() if file_digest(folder / file) != digest]
    if changed:
        raise written_to(folder / changed[0])
    try:
        return to_text(KINDS[m.kind].findings(sheet, replace(conditions, reference=other)))
    except InputError as error:
        return Unusable(tuple(error.faults), unread=False)


def written_to(path: Path) -> CannotFinish:
    """Return the error of a file that changed while it was read."""
    return CannotFinish(
        f"{path} was written to while it was read; nothing in out/ was changed. Try again when the program that writes "
        "it is done"
    )


def _read(folder: Path, m: Measurement) -> Sheet | None:
    """Read a measurement's file and check that it has what its kind needs. Raises InputError."""
    kind = KINDS[m.kind]
    if not m.file:
        if () not in kind.needs:
            raise InputError(
                Fault("session.toml", m.line, f'[[measurement]] {m.id}: file = "measurements/…" is missing')
            )
        return None
    if ("reading",) in kind.needs:
        sheet = read_readings(folder / m.file, m.file)
    else:
        columns, units = dict(m.columns), dict(m.units)
        sheet = read_measured(folder / m.file, m.file, columns=columns, units=units, full_scale_v=m.full_scale_v)
    roles = {column.role for column in sheet.columns} | ({"reading"} if sheet.readings else set())
    if not any(needed and set(needed) <= roles for needed in kind.needs):
        wanted = " or ".join(" and ".join(needed) for needed in kind.needs if needed)
        raise InputError(
            Fault(
                m.file,
                0,
                f"a {m.kind} needs columns of {wanted}; here are {_columns_in_words(sheet)}. Say under its "
                "[[measurement]] in session.toml which is which, for example columns = "
                f"{{ {_columns_to_paste(sheet, m)} }}, or is it another kind?",
            )
        )
    return sheet


def _columns_in_words(sheet: Sheet) -> str:
    return ", ".join(f'{column.role} ("{column.header}")' for column in sheet.columns) or "none"


def _columns_to_paste(sheet: Sheet, m: Measurement) -> str:
    """What a kind needs, each with a header of the file, in their order."""
    needed = next(roles for roles in KINDS[m.kind].needs if roles)
    headers = [column.header for column in sheet.columns] or [""]
    return ", ".join(f'{role} = "{headers[min(at, len(headers) - 1)]}"' for at, role in enumerate(needed))
