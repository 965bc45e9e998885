"""The measure stage: each measurement's file read and measured, or taken from the cache."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.file_results import Unusable, measure_file
from reviewkit.build.plain_data import fingerprint, from_text
from reviewkit.build.pool import Pool
from reviewkit.build.program_digest import program_digest
from reviewkit.build.session_files import SessionFiles, input_digests
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import CannotFinish, InputError
from reviewkit.model.finding import Conditions, Finding, Measured, Run
from reviewkit.model.mains import mains_hz
from reviewkit.model.session import Measurement, Session
from reviewkit.model.targets import file_of
from reviewkit.verdict.input_reference import add_output_ratios


def measure(
    files: SessionFiles, pool: Pool, cache: Cache, meanwhile: Callable[[], None] = lambda: None
) -> tuple[SessionFiles, tuple[Run, ...]]:
    """Return each measurement's results, in the session's order, and the session without those that are left out: of
    files that no table names and that can't be used.

    `meanwhile`: called as soon as the other processes are measuring.

    Raises
    ------
    InputError
        If files of the session can't be read, with the faults of them all; if all can be read, with the faults in their
        content.
    CannotFinish
        If a file changed while it was read.
    """
    session, digests = files.session, files.digests
    by_id = {m.id: m for m in session.measurements}
    results: dict[str, Run | Unusable] = {}
    made: dict[str, str] = {}  # by key
    for of_the_bench in (True, False):  # the bench looped back comes first: it is the floor of what follows
        floor = [finding for run in results.values() if isinstance(run, Run) for finding in run.findings]
        part = [m for m in session.measurements if (m.stage == "bench") == of_the_bench]
        references = {m.id: _reference(m, by_id) for m in part}
        conditions = {m.id: _conditions(session, m, references[m.id], floor) for m in part}
        keys = {m.id: _key(conditions[m.id], references[m.id], digests) for m in part}
        texts: dict[str, str | Unusable] = {m.id: entry.decode() for m in part if (entry := cache.read(keys[m.id]))}
        # the largest file takes longest, so it comes first
        new = sorted((m for m in part if m.id not in texts), key=lambda m: -_size(session.folder / m.file))
        calls = [(session.folder, conditions[m.id], references[m.id]) for m in new]
        begun = pool.begin(measure_file, calls)
        if not of_the_bench:
            meanwhile()
        for m, text in zip(new, begun.results(), strict=True):
            texts[m.id] = text
            if isinstance(text, str):
                made[keys[m.id]] = text
        results |= {name: _run(conditions[name], text) for name, text in texts.items()}
    _refuse_changed(files)  # before anything is stored under the digest of what a file held
    for key, text in made.items():
        cache.write(key, text.encode())
    unusable = [each for m in by_id if by_id[m].named and isinstance(each := results[m], Unusable)]
    unread = [fault for each in unusable if each.unread for fault in each.faults]
    faults = [*files.faults, *(unread or [fault for each in unusable for fault in each.faults])]
    if faults:
        raise InputError(faults)
    left_out = {m: each for m in by_id if isinstance(each := results[m], Unusable)}
    if left_out:
        reasons = (
            f"{by_id[m].file}{f':{fault.line}' if fault.line else ''} is left out: {fault.message}"
            for m, each in left_out.items()
            for fault in each.faults
        )
        kept = tuple(m for m in session.measurements if m.id not in left_out)
        files = replace(
            files, session=replace(session, measurements=kept), left_out=(*files.left_out, *dict.fromkeys(reasons))
        )
    return files, add_output_ratios([run for m in by_id if isinstance(run := results[m], Run)], session)


def _refuse_changed(files: SessionFiles) -> None:
    """Raise CannotFinish if a file has changed since it was read."""
    session, before = files.session, files.digests
    now = input_digests(session.folder, session)
    now |= {each.file: file_digest(session.folder / each.file) for each in files.recognised if each.file in before}
    for name in sorted(before.keys() | now.keys()):
        if before.get(name) != now.get(name):
            raise CannotFinish(
                f"{session.folder / name} was written to while it was read; nothing in out/ was changed. Try again "
                "when the program that writes it is done"
            )


def _run(conditions: Conditions, text: str | Unusable) -> Run | Unusable:
    if isinstance(text, Unusable):
        return text
    measured: Measured = from_text(text)
    return Run(conditions, measured.findings, measured.withheld, measured.curves)


def _size(path: Path) -> int:
    return path.stat().st_size if path.is_file() else 0


def _conditions(
    session: Session, m: Measurement, reference: Measurement | None, floor: Sequence[Finding]
) -> Conditions:
    return Conditions(
        m,
        session.bench.of(m.range),
        session.ratings,
        mains_hz(session),
        gear=session.unit.gear,
        reference_name=reference.setting or reference.id if reference else "",
        floor=tuple(f for f in floor if f.kind == m.kind),
    )


def _reference(m: Measurement, by_id: Mapping[str, Measurement]) -> Measurement | None:
    """Return what a measurement is compared with: the one that `against` names, or the file of its target's curve."""
    if file := file_of(m.target):
        return Measurement(m.id, m.kind, file, line=m.line)
    return by_id.get(m.against)


def _key(conditions: Conditions, reference: Measurement | None, digests: Mapping[str, str]) -> str:
    """Return the key of a measured file. Line numbers are left out: they show only in messages about faults, which are
    not stored.
    """
    bare = replace(
        conditions,
        measurement=replace(conditions.measurement, line=0),
        ratings=tuple(replace(rating, order=0) for rating in conditions.ratings),
    )
    other = reference and replace(reference, line=0)
    files = [digests[m.file] if m and m.file else "" for m in (conditions.measurement, reference)]
    return fingerprint("measured file", program_digest(), bare, other, files)
