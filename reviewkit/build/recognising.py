"""The files in measurements/ whose kind the session doesn't say: what each is recognised as, or what is left to ask."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from reviewkit.build.cache import Cache
from reviewkit.build.file_relations import ask_outputs, ask_stages, find_copies, find_references, state_drives
from reviewkit.build.plain_data import fingerprint, from_text, to_text
from reviewkit.build.pool import Pool
from reviewkit.build.program_digest import program_digest
from reviewkit.build.suggested_answers import suggested_answers
from reviewkit.ingest.file_name import read_name
from reviewkit.ingest.session.session_entries import MeasurementEntry
from reviewkit.ingest.session.session_measurements import default_ids
from reviewkit.ingest.session.session_paths import find_flaw
from reviewkit.measure.kinds import KINDS
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import InputError
from reviewkit.model.recognised import NameWords, Recognised
from reviewkit.model.sheet import Sheet
from reviewkit.model.units import UnitError, read_quantity

_ANY = "reading"  # the kind of a table that is at fault and has none
MOST_FILES = 400  # that no table names; a session has a tenth of that
# keys that say how a file is read and as what, and those that its path may contradict
_GIVEN = (
    *("columns", "units", "full_scale", "kind", "stage", "load", "input", "drive", "frequency"),
    *("aerial", "microvolts", "reference_level"),
)
_NOTHING: Mapping[str, Any] = MappingProxyType({})
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
    absent = [each for each in free if flawed[each.file] and each.named]
    settled = [each for each in entries if each not in free]
    digests = {each.file: file_digest(folder / each.file) for each in (*settled, *absent, *open_) if each.file}
    copies = find_copies(open_, [each.file for each in settled if each.file], digests)
    examined = _examined(folder, [each for each in open_ if each.file not in copies], digests, pool, cache)
    by_file = {each.file: each for each in examined}
    found = [(each, by_file.get(each.file) or Recognised(each.file, question=copies[each.file])) for each in open_]
    found = ask_stages(found, settled, repaired=repaired)
    found = state_drives(ask_outputs(found, bench), bench)
    found = find_references(found, settled)
    recognised = {entry.file: each for entry, each in found}
    whole = [
        _joined(each, recognised[each.file]) if each in open_ else _without_file(each) if each in absent else each
        for each in entries
        if each in settled or each in absent or (each in open_ and (each.named or not recognised[each.file].question))
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
    return replace(entry, raw={"kind": next(iter(kinds), _ANY), **entry.raw}, question=question)


def _without_file(entry: MeasurementEntry) -> MeasurementEntry:
    """Return an entry whose file isn't there, so that no more is said of it: any kind, and the stage of its path."""
    table = read_name(entry.file, {}).table
    return replace(entry, raw={"kind": _ANY, **{key: table[key] for key in ("stage",) if key in table}, **entry.raw})


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
        file = entries[place].file
        if file_digest(folder / file) == digests[file]:  # else it was written to meanwhile
            cache.write(keys[place], text.encode())
    return [from_text(text) for text in texts]


def _of_file(folder: Path, file: str, given: Mapping[str, Any]) -> Recognised:
    from reviewkit.ingest.measurement_file import read_any

    try:
        return recognise_sheet(read_any(folder / file, file, given=given), file, given)
    except InputError as error:
        fault = error.faults[0]
        question = f"line {fault.line}: {fault.message}" if fault.line else fault.message
        return Recognised(file, question=question, choices=suggested_answers(folder / file, fault.message, given))


def recognise_sheet(sheet: Sheet, file: str, given: Mapping[str, Any] = _NOTHING) -> Recognised:
    """Return what a file is recognised as by itself, by its content and its path.

    `given`: keys whose values are known.

    Raises
    ------
    InputError
        If its content can't be analysed.
    """
    from reviewkit.measure.kind_by_content import content_of, remarked

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
    for wanted in content.asks:
        if wanted.key not in given and keys_of_kind(kind, {wanted.key: ""}):
            choices = tuple({wanted.key: value} for value in wanted.values)
            return Recognised(file, question=wanted.question, choices=choices)
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


def _with_ids(entries: Sequence[MeasurementEntry], recognised: Collection[str]) -> tuple[MeasurementEntry, ...]:
    """Give each measurement an id of its own, from the path of its file, if no table says of which kind it is."""
    named = [entry.named and entry.file not in recognised for entry in entries]
    written = [(str(entry.raw.get("id") or ""), entry.file) for entry in entries]
    ids = default_ids([(*each, of_table) for each, of_table in zip(written, named, strict=True)])
    return tuple(
        entry if of_table or not entry.file else replace(entry, raw={**entry.raw, "id": name})
        for entry, name, of_table in zip(entries, ids, named, strict=True)
    )
