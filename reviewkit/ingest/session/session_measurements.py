"""[[measurement]] tables → measurements: ids, what the bench gives them, and what must agree between them."""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from reviewkit.ingest.session import session_values as values
from reviewkit.ingest.session.session_paths import path_fault
from reviewkit.ingest.session.session_tables import Place, shown_key
from reviewkit.ingest.sheet.sheet_remedies import KEYS
from reviewkit.model.errors import nearest
from reviewkit.model.session import Bench, Measurement

if TYPE_CHECKING:
    from reviewkit.ingest.session.session_schema import MeasurementTable

RESERVED = ("title", "rated", "repair", "table", "closing")  # cards that every session may have
_STEM = re.compile(r"(?=.*[A-Za-z0-9])[A-Za-z0-9_.-]{1,80}")


@dataclass(frozen=True)
class _Entry:
    table: MeasurementTable
    place: Place
    present: frozenset[str]


def read_measurements(
    tables: Sequence[tuple[MeasurementTable, Place]], bench: Bench, folder: Path, kinds: Collection[str]
) -> tuple[Measurement, ...]:
    """All measurements of a session, in the file's order. Every fault is noted at its line."""
    entries = [_Entry(table, place, place.present()) for table, place in tables]
    ids = _ids(entries)
    for entry in entries:
        _check_kind(entry, kinds)
        _check_source(entry, folder)
        _check_two_loads(entry)
        _check_columns(entry)
    _check_against(entries, ids)
    _check_stages(entries)
    return tuple(_measurement(entry, name, bench) for entry, name in zip(entries, ids, strict=True))


# ------------------------------------------------------------------ ids and cards


def _ids(entries: Sequence[_Entry]) -> list[str]:
    """One id each: as written, else the file's stem, else the kind's name where only one measurement could take it."""
    ids = [entry.table.id or PurePosixPath(entry.table.file).stem for entry in entries]
    kinds = Counter(entry.table.kind for entry, name in zip(entries, ids, strict=True) if not name)
    taken = set(ids)
    for number, entry in enumerate(entries):
        kind = entry.table.kind
        if not ids[number] and kind and kinds[kind] == 1 and kind not in taken:
            ids[number] = kind
        elif not ids[number] and kind and all(entry.place.value(key) in (None, "") for key in ("id", "file")):
            entry.place.fault(f'has no file to be named after; write id = "{kind}-{number + 1}"')
    first: dict[str, _Entry] = {}
    for entry, name in zip(entries, ids, strict=True):
        key = "id" if entry.table.id else "file" if entry.table.file else "kind"
        if not name:
            continue
        _check_stem(entry, "id", key, name)
        if name in first:
            line = first[name].place.line
            twice = f"has the id {values.written(name)} of the measurement in line {line}"
            entry.place.fault(f'{twice}; write id = "{_safe(name)}-2"', key)
        first.setdefault(name, entry)
        if entry.table.card:
            _check_stem(entry, "card", "card", entry.table.card)
    return ids


def _check_stem(entry: _Entry, what: str, key: str, name: str) -> None:
    """Ids and card names become file names, on any system."""
    given = f"{key} = {values.written(getattr(entry.table, key))}"
    # a long table card goes on as table-2, table-3
    if re.sub(r"-\d+$", "", name.casefold()) in RESERVED:
        entry.place.fault(
            f'{given}: {values.written(name)} is the name of another card; write {what} = "my-{name}"', key
        )
    elif not _STEM.fullmatch(name):
        why = "is no file name that is safe everywhere: only letters a to z, digits, - _ and ., at most 80"
        entry.place.fault(f'{given}: {values.written(name)} {why}; write {what} = "{_safe(name)}"', key)


def _safe(name: str) -> str:
    """A name made of the signs that every file system takes."""
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9_.-]+", "-", ascii_name).strip("-.")[:60] or "measurement"


# ------------------------------------------------------------------ one measurement


def _check_kind(entry: _Entry, kinds: Collection[str]) -> None:
    kind = entry.table.kind
    if "kind" not in entry.present:
        entry.place.fault(f'has no kind; write for example kind = "response" ({nearest("", kinds)})')
    elif kind and kind not in kinds:
        remedy = nearest(kind.lower().replace("_", "-").replace(" ", "-"), kinds)
        entry.place.fault(f"kind = {values.written(kind)} is not known; {remedy}", "kind")


def _check_source(entry: _Entry, folder: Path) -> None:
    """A measurement has a file, or the voltages of a two-load reading, never both."""
    in_place = bool(entry.present & {"loads", "volts"})
    if entry.table.file and in_place:
        entry.place.fault("has a file and the voltages of a two-load reading; leave one of them out", "file")
    if not in_place and entry.place.value("file") in (None, ""):
        entry.place.fault('has no file; write for example file = "measurements/response.csv"')
    if entry.table.file:
        fault = path_fault(folder, entry.table.file, "file")
        if fault:
            entry.place.fault(fault, "file")


def _check_two_loads(entry: _Entry) -> None:
    table, present = entry.table, entry.present
    given = entry.place.value("volts")
    if "loads" in present and "volts" not in present:
        entry.place.fault('has loads but no voltages; write volts = { L = ["12.71 V", "12.46 V"] }', "loads")
    if "volts" not in present:
        return
    if "loads" not in present:
        entry.place.fault('has volts but no loads; write loads = ["open", "8 ohm"]', "volts")
    if given == {}:
        entry.place.fault('volts = {} is empty; write volts = { L = ["12.71 V", "12.46 V"] }', "volts")
    for channel in given if isinstance(given, dict) else ():
        readings = table.volts.get(channel, ())
        if channel not in ("L", "R"):
            known = 'a channel is "L" or "R"; write volts = { L = […], R = […] }'
            entry.place.fault(f"volts.{shown_key(channel)}: {known}", "volts", channel)
        elif table.loads and readings and len(readings) != len(table.loads):
            voltages = "1 voltage" if len(readings) == 1 else f"{len(readings)} voltages"
            counts = f"{voltages} for {len(table.loads)} loads; write one for each, in the same order"
            entry.place.fault(f"volts.{channel}: {counts}", "volts", channel)


def _check_columns(entry: _Entry) -> None:
    for key in ("columns", "units"):
        named = entry.place.value(key)
        for word in named if isinstance(named, dict) else ():
            if word not in KEYS:
                entry.place.fault(f"{key}: {values.written(word)} is no column; {nearest(word, KEYS)}", key, word)


def _measurement(entry: _Entry, name: str, bench: Bench) -> Measurement:
    table = entry.table
    load_ohm = table.load if table.load is not None else bench.load_ohm
    drive_w, drive_v = _both_levels(entry, load_ohm)
    return Measurement(
        id=name,
        kind=table.kind,
        file=table.file,
        title=table.title,
        setting=table.setting,
        stage=table.stage,
        card=table.card or name,
        input=table.input or bench.input,
        load_ohm=load_ohm,
        # one driven channel is one channel, whatever the bench drives elsewhere
        channels=table.channels or ("one" if table.driven else bench.channels),
        drive_w=drive_w,
        drive_v=drive_v,
        level=table.drive if table.drive is not None and table.drive.unit in ("dBFS", "dB") else None,
        termination=table.termination,
        volume=table.volume,
        frequency_hz=table.frequency,
        input_level_v=table.input_level,
        window=table.window,
        weighting=values.weighting(table.weighting),
        driven=table.driven,
        against=table.against,
        equalised=table.equalised,
        amendment=table.amendment,
        full_scale_v=table.full_scale,
        hold_s=table.hold,
        loads_ohm=table.loads,
        volts={channel: tuple(one.volts for one in readings) for channel, readings in table.volts.items()},
        volts_step={channel: max(one.step for one in readings) for channel, readings in table.volts.items()},
        columns=dict(table.columns),
        units=dict(table.units),
        line=entry.place.line,
    )


def _both_levels(entry: _Entry, load_ohm: float | None) -> tuple[float | None, float | None]:
    """The drive as watts and volts, P = U²/R, as far as the load allows."""
    drive = entry.table.drive
    if drive is None:
        return None, None
    if load_ohm is not None and math.isinf(load_ohm) and drive.unit == "W":
        given = f"drive = {values.written(entry.place.value('drive'))}"
        remedy = 'write a voltage, for example "6.3 V"'
        entry.place.fault(f"{given} is a power, but the load is open; {remedy}", "drive")
    into = replace(drive, load_ohm=load_ohm)
    return into.watts, into.volts


# ------------------------------------------------------------------ between measurements


def _check_against(entries: Sequence[_Entry], ids: Sequence[str]) -> None:
    for entry, name in zip(entries, ids, strict=True):
        wanted = entry.table.against
        if not wanted:
            continue
        given = f"against = {values.written(wanted)}"
        if wanted == name:
            entry.place.fault(f"{given} is this measurement itself; name the one it is held against", "against")
        elif wanted not in ids:
            others = {other for other in ids if other and other != name}
            remedy = nearest(wanted, others) if others else "there is no other measurement; leave it out"
            entry.place.fault(f"{given} is the id of no measurement; {remedy}", "against")


_SAY_STAGE = 'write stage = "before", "after" or "bench", or leave stage out everywhere where nothing was mended'


def _check_stages(entries: Sequence[_Entry]) -> None:
    """Where something was mended, a measurement that does not say when it was made could not be judged."""
    staged = next((entry for entry in entries if entry.table.stage in ("before", "after")), None)
    if staged is None:
        return
    for entry in entries:
        if "stage" not in entry.present:
            because = f'the measurement in line {staged.place.line} is "{staged.table.stage}" a repair'
            entry.place.fault(f"has no stage, but {because}; {_SAY_STAGE}")
