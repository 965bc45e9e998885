"""The files in measurements/ whose kind the session doesn't say: what each is recognised as, or what is left to ask."""

from __future__ import annotations

import contextlib
import json
import math
import re
import tomllib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from reviewkit.build.cache import Cache
from reviewkit.build.plain_data import fingerprint, from_text, to_text
from reviewkit.build.pool import Pool
from reviewkit.build.program import program_digest
from reviewkit.ingest.file_name import read_name
from reviewkit.ingest.session.session_entries import MeasurementEntry
from reviewkit.ingest.session.session_measurements import default_ids
from reviewkit.ingest.session.session_paths import find_flaw
from reviewkit.measure import KINDS
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import InputError
from reviewkit.model.recognised import NameWords, Recognised
from reviewkit.model.session import range_of
from reviewkit.model.sheet import Sheet
from reviewkit.model.units import UnitError, read_quantity

MOST_FILES = 400  # that no table names; a session has a tenth of that
# keys that say how a file is read and as what, and those that its path may contradict
_GIVEN = ("columns", "units", "full_scale", "kind", "stage", "load", "input", "drive", "frequency")
_NOTHING: Mapping[str, Any] = MappingProxyType({})
_STAGES = ("before", "after", "bench")
_OF_A_STAGE = frozenset((*_STAGES, "left", "right", "l", "r"))
_SAME_LEVEL = 1.122  # 1 dB, as far as a capture may be from its `drive`
_KEY_OF = {"L": "left", "R": "right"}


@dataclass(frozen=True)
class Recognition:
    """A session's measurements after recognition. `entries`: all of them, complete with it; `files`: each file that was
    examined; `digests`: of all measurement files.
    """

    entries: tuple[MeasurementEntry, ...]
    files: tuple[Recognised, ...] = ()
    digests: Mapping[str, str] = field(default_factory=dict)


def recognise(
    folder: Path,
    entries: Sequence[MeasurementEntry],
    pool: Pool,
    cache: Cache,
    *,
    bench: Any = None,
    repaired: bool = False,
) -> Recognition:
    """Return a session's measurements with the kinds of their files recognised.

    A file that isn't clear is left out with its question; if a table names it, the question is a fault of that table.

    Parameters
    ----------
    folder : Path
        The session folder.
    entries : Sequence[MeasurementEntry]
        Its measurements, as written.
    pool : Pool
        Processes to examine files with.
    cache : Cache
        Where what was recognised is kept, by content.
    bench : Any
        The [bench] table, as written.
    repaired : bool
        Whether the unit was repaired, so that each measurement needs a stage.
    """
    free = [each for each in entries if each.file and ("kind" not in each.raw or each.number is None)]
    flawed = {each.file: find_flaw(folder, each.file).strip(" :;") for each in free}
    # a table's own file that isn't there is a fault of the table
    left = [each for each in free if flawed[each.file] and not each.named]
    surplus = [each for each in free if not (each.named or flawed[each.file])][MOST_FILES:]
    open_ = [each for each in free if not flawed[each.file] and each not in surplus]
    settled = [each for each in entries if each not in free or (flawed[each.file] and each.named)]
    digests = {each.file: file_digest(folder / each.file) for each in (*settled, *open_) if each.file}
    twins = _twins(open_, [each.file for each in settled if each.file], digests)
    examined = _examined(folder, [each for each in open_ if each.file not in twins], digests, pool, cache)
    by_file = {each.file: each for each in examined}
    found = [(each, by_file.get(each.file) or Recognised(each.file, question=twins[each.file])) for each in open_]
    found = _with_stages(found, settled, repaired=repaired)
    found = _with_drives(_with_outputs(found, bench), bench)
    found = _with_references(found, settled)
    recognised = {entry.file: each for entry, each in found}
    whole = [
        _joined(each, recognised[each.file]) if each in open_ else each
        for each in entries
        if each in settled or (each in open_ and (each.named or not recognised[each.file].question))
    ]
    files = [each for _, each in found]
    files += [Recognised(each.file, question=flawed[each.file]) for each in left]
    files += [Recognised(each.file, question=f"at most {MOST_FILES} such files are read") for each in surplus]
    return Recognition(_with_ids(whole, set(recognised)), tuple(files), digests)


def _joined(entry: MeasurementEntry, recognised: Recognised) -> MeasurementEntry:
    """Return an entry with what its file was recognised as; what its table says comes first."""
    if not recognised.question:
        own = {key: value for key, value in entry.raw.items() if key not in entry.defaults}
        return replace(entry, raw={**entry.raw, **recognised.table, **own})
    answers = [f"{key} = {json.dumps(value)}" for each in recognised.choices for key, value in list(each.items())[:1]]
    remedy = f"; write {' or '.join(answers)}" if answers else ""
    kinds = [each["kind"] for each in recognised.choices if "kind" in each]
    question = f"no kind is given, and {entry.file} doesn't show it: {recognised.question}{remedy}"
    return replace(entry, raw={"kind": next(iter(kinds), "reading"), **entry.raw}, question=question)


def recognise_file(folder: Path, file: str, given: Mapping[str, Any]) -> str:
    """Return what one file is recognised as, alone, as text for the cache. `given`: what the session says of it."""
    return to_text(_of_file(folder, file, given))


def _examined(
    folder: Path, entries: Sequence[MeasurementEntry], digests: Mapping[str, str], pool: Pool, cache: Cache
) -> list[Recognised]:
    given = [{key: each.raw[key] for key in _GIVEN if key in each.raw} for each in entries]
    keys = [
        fingerprint("recognised", program_digest(), each.file, repr(said), digests[each.file])
        for each, said in zip(entries, given, strict=True)
    ]
    texts = [entry.decode() if (entry := cache.read(key)) else "" for key in keys]
    new = [place for place, text in enumerate(texts) if not text]
    calls = [(folder, entries[place].file, given[place]) for place in new]
    for place, text in zip(new, pool.begin(recognise_file, calls).results(), strict=True):
        texts[place] = text
        cache.write(keys[place], text.encode())
    return [from_text(text) for text in texts]


def _of_file(folder: Path, file: str, given: Mapping[str, Any]) -> Recognised:
    from reviewkit.ingest.measurement_file import read_any

    try:
        return recognise_sheet(read_any(folder / file, file, given=given), file, given)
    except InputError as error:
        message = error.faults[0].message
        return Recognised(file, question=message, choices=_suggested(message))


def recognise_sheet(sheet: Sheet, file: str, given: Mapping[str, Any] = _NOTHING) -> Recognised:
    """Return what a file is recognised as by itself, by its content and its path.

    `given`: keys whose values are known.

    Raises
    ------
    InputError
        If its content can't be analysed.
    """
    from reviewkit.measure.recognition import content_of, remarked

    name = read_name(file, {name: kind.file_words for name, kind in KINDS.items()})
    content = content_of(sheet, name)
    kinds = (str(given["kind"]),) if "kind" in given else content.kinds
    if len(kinds) != 1:
        choices = tuple({"kind": kind, **keys_of_kind(kind, content.table)} for kind in kinds if kind)
        known = [kind for kind in kinds if kind]
        ask = f": {' or '.join(known)}?" if len(known) > 1 and not content.what.endswith("?") else ""
        return Recognised(file, question=f"{content.what}{ask}", choices=choices)
    kind = kinds[0]
    for key, values in keys_of_kind(kind, name.doubts).items():
        if key not in given:
            choices = tuple({key: value} for value in values)
            return Recognised(file, question=f"its path says {' and '.join(values)}", choices=choices)
    of_content, of_lines, of_name = (keys_of_kind(kind, each) for each in (content.table, remarked(sheet), name.table))
    stated = {**of_content, **of_lines}
    for key in stated.keys() & of_name.keys() - given.keys():
        if not _alike(stated[key], of_name[key]):
            question = f"its path says {of_name[key]}, its content {stated[key]}"
            return Recognised(file, question=question, choices=({key: stated[key]}, {key: of_name[key]}))
    table = {"kind": kind, **stated, **of_name, **_channel(sheet, kind, name)}
    of_kind = KINDS.get(kind)
    if of_kind and of_kind.against:  # what sets the two apart
        table["setting"] = content.table.get("setting", name.setting)
    if of_kind and of_kind.input:
        table["input"] = of_kind.input
    if "driven" in _own_keys(kind):
        table["channels"] = "one"
    levels_v = content.levels_v if "drive" in _own_keys(kind) else ()
    return Recognised(file, table, why=content.what, levels_v=levels_v)


def _suggested(message: str) -> tuple[Mapping[str, Any], ...]:
    """Return the lines that a reader's message suggests, as the keys to write."""
    suggested = []
    for line in re.findall(r"(?:columns|units) = \{[^{}]*\}", message):
        with contextlib.suppress(ValueError):
            suggested.append(tomllib.loads(line))
    return tuple(suggested)


def keys_of_kind(kind: str, table: Mapping[str, Any]) -> dict[str, Any]:
    """Return the keys that are keys of a kind: all but those of other kinds alone."""
    others = {key for each in KINDS.values() for key in each.keys} - {*_own_keys(kind)}
    return {key: value for key, value in table.items() if key not in others}


def _own_keys(kind: str) -> tuple[str, ...]:
    return KINDS[kind].keys if kind in KINDS else ()


def _alike(one: Any, other: Any) -> bool:
    """Return whether two values are the same, whatever their units' prefixes."""
    for base in ("Ω", "Hz", "W", "V"):
        with contextlib.suppress(UnitError):
            return read_quantity(str(one), base) == read_quantity(str(other), base)
    return bool(one == other)


def _channel(sheet: Sheet, kind: str, name: NameWords) -> dict[str, Any]:
    """Return the channel of a file with one column of readings that doesn't say whose it is, if its name does."""
    read = [column for column in sheet.columns if column.role in ("level", "distortion", "impedance")]
    if "driven" in _own_keys(kind) or len(read) != 1 or read[0].channel or not (name.channel and read[0].header):
        return {}
    key = f"{_KEY_OF[name.channel]} distortion" if read[0].role == "distortion" else _KEY_OF[name.channel]
    numbered = re.fullmatch(r"channel (\d+)", read[0].header)
    return {"columns": {key: int(numbered[1]) if numbered else read[0].header}}


# ------------------------------------------------------------------ between files


Found = list[tuple[MeasurementEntry, Recognised]]


def _twins(entries: Sequence[MeasurementEntry], known: Iterable[str], digests: Mapping[str, str]) -> dict[str, str]:
    """Return the files that hold the same as another one, with the remark that they do."""
    first = {digests[file]: file for file in sorted(known)}
    twins = {}
    for entry in entries:
        other = first.setdefault(digests[entry.file], entry.file)
        if other != entry.file and not entry.named:
            twins[entry.file] = f"it has the same content as {other}"
    return twins


def _with_stages(found: Found, others: Sequence[MeasurementEntry], *, repaired: bool) -> Found:
    """Ask for the stage of a file that doesn't say it, if others have one; and of one that says it, if tables don't."""
    staged = [e.file for e in others if e.raw.get("stage") in ("before", "after")]
    staged += [e.file for e, each in found if {**each.table, **e.raw}.get("stage") in ("before", "after")]
    without = [str(e.raw.get("id") or e.file) for e in others if "stage" not in e.raw]
    asked = []
    for entry, each in found:
        stage = {**each.table, **entry.raw}.get("stage")
        choices = tuple({"stage": word} for word in ("after", "before", "bench"))
        if each.question or (stage and not (without and "stage" not in entry.raw and stage != "bench")):
            asked.append((entry, each))
        elif stage:
            why = f'its path says "{stage}", but the [[measurement]] {without[0]} has no stage; write one there'
            asked.append((entry, replace(each, question=why, choices=())))
        elif staged or repaired:
            why = "was it made before the repair or after it? " + ("Others say it" if staged else "repair.csv has rows")
            asked.append((entry, replace(each, question=why, choices=choices)))
        else:
            asked.append((entry, each))
    return asked


def _load(bench: Any, table: Mapping[str, Any]) -> tuple[Any, bool]:
    """Return the load on the bench for a measurement, as written, and whether it is that of its range or input."""
    if not isinstance(bench, dict):
        return None, False
    range_, input_, kind = (str(table.get(key, "")) for key in ("range", "input", "kind"))
    wanted = range_of(range_, input_, _own_input(kind), str(bench.get("input", "")))
    for name, own in bench.items():
        if name.casefold() == wanted and isinstance(own, dict) and "load" in own:
            return own["load"], True
    return bench.get("load"), False


def _own_input(kind: str) -> str:
    return KINDS[kind].input if kind in KINDS else ""


def _with_outputs(found: Found, bench: Any) -> Found:
    """Ask where a kind with its own input, a phono stage, was measured if its path doesn't say: a load is on the
    loudspeakers' output alone.
    """
    asked = []
    for entry, each in found:
        table = {**each.table, **entry.raw}
        open_ = each.question or not _own_input(table["kind"]) or "load" in table
        load, own = (None, False) if open_ else _load(bench, table)
        if not own and load not in (None, "open"):
            choices = ({"load": "open"}, {"load": load})
            why = "was it measured at the tape output, which has no load, or at the loudspeakers' output?"
            each = replace(each, question=why, choices=choices)
        asked.append((entry, each))
    return asked


def _with_drives(found: Found, bench: Any) -> Found:
    """State the drive of each file whose levels are known, unless its path or its table does; ask if they differ.

    Files that differ only in stage or channel get one, if their levels are within 1 dB of it, as levels set by hand
    are; of a unit before its repair, one channel that holds it is enough. `bench`: its table, as written.
    """
    groups: dict[tuple[str, str], list[tuple[tuple[float, ...], bool]]] = {}
    for entry, each in found:
        table = {**each.table, **entry.raw}
        if not each.question and "drive" not in table:
            groups.setdefault(_group(each), []).append((each.levels_v, table.get("stage") == "before"))
    drives = {group: _shared_level(levels) for group, levels in groups.items()}
    done = []
    for entry, each in found:
        table = {**each.table, **entry.raw}
        stated = _volts(table.get("drive"), table.get("load", _load(bench, table)[0]))
        drive = drives.get(_group(each)) if "drive" not in table else None
        if each.question or not each.levels_v:
            done.append((entry, each))
        elif drive is not None:
            done.append((entry, replace(each, table={**each.table, "drive": f"{_three_digits(drive)} V"})))
        elif stated is None or _holds(each.levels_v, stated, before=table.get("stage") == "before"):
            done.append((entry, each))
        else:
            level = f"{_three_digits(max(each.levels_v))} V"
            why = f"its path says {table['drive']}, but it holds {level}"
            done.append((entry, replace(each, question=why, choices=({"drive": level}, {"drive": table["drive"]}))))
    return done


def _shared_level(levels: Sequence[tuple[tuple[float, ...], bool]]) -> float | None:
    """Return the one level of several files, V; None if there is none."""
    alike = [volts for volts, _ in levels if volts and max(volts) <= _SAME_LEVEL * min(volts)]
    if not alike:
        return None
    drive = max(max(volts) for volts in alike)
    return drive if all(_holds(volts, drive, before=before) for volts, before in levels) else None


def _holds(levels_v: Sequence[float], drive_v: float, *, before: bool) -> bool:
    """Return whether a file's levels are those of a drive."""
    near = [max(level, drive_v) <= _SAME_LEVEL * min(level, drive_v) for level in levels_v]
    return bool(near) and (any(near) if before else all(near))


def _three_digits(value: float) -> str:
    return f"{float(f'{value:.3g}'):.10g}"


def _volts(drive: Any, load: Any) -> float | None:
    """Return a drive in volts, if it is known."""
    with contextlib.suppress(UnitError):
        return read_quantity(str(drive), "V")
    with contextlib.suppress(UnitError):
        return math.sqrt(read_quantity(str(drive), "W") * read_quantity(str(load), "Ω"))
    return None


def _group(each: Recognised) -> tuple[str, str]:
    """Return what files have in common that differ only in stage or channel."""
    words = re.split(r"[^a-z0-9]+", each.file.rpartition(".")[0].casefold())
    return str(each.table.get("kind")), "-".join(word for word in words if word not in _OF_A_STAGE)


def _with_references(found: Found, others: Sequence[MeasurementEntry]) -> Found:
    """Give each measurement that needs another the one of its stage; ask if there is none, or more."""
    whole = [(e, {**each.table, **e.raw}) for e, each in found if not each.question]
    whole += [(e, dict(e.raw)) for e in others]
    names = default_ids([(str(raw.get("id") or ""), entry.file, entry.named) for entry, raw in whole])
    measured = [(raw.get("kind"), raw.get("stage"), name) for (_, raw), name in zip(whole, names, strict=True)]
    done = []
    for entry, each in found:
        raw = {**each.table, **entry.raw}
        kind = KINDS.get(str(raw.get("kind")))
        if each.question or not (kind and kind.against) or "against" in raw:
            done.append((entry, each))
            continue
        fitting = [name for *of_both, name in measured if of_both == [kind.against, raw.get("stage")]]
        if len(fitting) == 1:
            done.append((entry, replace(each, table={**each.table, "against": fitting[0]})))
        else:
            many = "there are several" if fitting else "there is none"
            why = f"which {kind.against} is it compared with? Of its stage {many}"
            choices = tuple({"against": name} for name in (fitting or [kind.against]))
            done.append((entry, replace(each, question=why, choices=choices)))
    return done


def _with_ids(entries: Sequence[MeasurementEntry], recognised: Collection[str]) -> tuple[MeasurementEntry, ...]:
    """Give each measurement an id of its own, from the path of its file, if no table says of which kind it is."""
    named = [entry.named and entry.file not in recognised for entry in entries]
    written = [(str(entry.raw.get("id") or ""), entry.file) for entry in entries]
    ids = default_ids([(*each, of_table) for each, of_table in zip(written, named, strict=True)])
    return tuple(
        entry if of_table or not entry.file else replace(entry, raw={**entry.raw, "id": name})
        for entry, name, of_table in zip(entries, ids, named, strict=True)
    )
