"""[[measurement]] tables → measurements: ids, what the bench gives them, and what must agree between them."""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import PurePosixPath

from reviewkit.ingest.session.session_place import Place, show_value
from reviewkit.model.card_files import OLD_NAMES, SESSION_CARDS
from reviewkit.model.errors import nearest
from reviewkit.model.kind import Kind
from reviewkit.model.session import Bench, Measurement, range_of
from reviewkit.model.targets import condition_of
from reviewkit.model.unstated_conditions import RADIO

Entry = tuple[Measurement, Place]
RESERVED = (*SESSION_CARDS, *OLD_NAMES)  # cards that every session may have
_STEM = re.compile(r"(?=.*[A-Za-z0-9])[A-Za-z0-9_.-]{1,80}")


def complete_measurements(entries: Sequence[Entry], bench: Bench, kinds: Mapping[str, Kind]) -> tuple[Measurement, ...]:
    """Return all measurements with their ids and what the bench gives them; note every fault at its line."""
    ids = _ids(entries)
    for measurement, place in entries:
        _check_kind(measurement, place, kinds)
        _check_source(measurement, place, kinds)
        _check_two_loads(measurement, place)
    _check_against(entries, ids)
    _check_stages(entries)
    return tuple(_complete(each, place, name, bench, kinds) for (each, place), name in zip(entries, ids, strict=True))


# ------------------------------------------------------------------ ids and cards


def _ids(entries: Sequence[Entry]) -> list[str]:
    """Return an id for each: the one written, else one from its file's path, else its kind's name if unique."""
    ids = default_ids([(each.id, each.file, each.named) for each, _ in entries])
    kinds = Counter(each.kind for (each, _), name in zip(entries, ids, strict=True) if not name)
    given = set(ids)
    for number, (each, place) in enumerate(entries):
        kind = each.kind
        if not ids[number] and kind and kinds[kind] == 1 and kind not in given:
            ids[number] = kind
        elif not ids[number] and kind and all(place.raw.get(key) in (None, "") for key in ("id", "file")):
            place.fault(f'has no file to take a name from; write id = "{kind}-{number + 1}"')
    first: dict[str, Place] = {}
    for (each, place), name in zip(entries, ids, strict=True):
        if not name:
            continue
        key = "id" if each.id else "file" if each.file else "kind"
        _check_stem(each, place, "id", key, name)
        if name in first:
            twice = f"has the id {show_value(name)} of the measurement in line {first[name].line}"
            place.fault(f'{twice}; write id = "{safe_name(name)}-2"', key)
        first.setdefault(name, place)
        if each.card:
            _check_stem(each, place, "card", "card", each.card)
    return ids


def default_ids(written: Sequence[tuple[str, str, bool]]) -> list[str]:
    """Return the id of each measurement: the one that is written, else the stem of its file, led by its folders if
    another file has the same stem. "" without a file.

    Parameters
    ----------
    written : Sequence[tuple[str, str, bool]]
        Of each measurement: the id as written, its file, whether a table names the file. One that isn't named takes no
        id away from one that is.
    """
    ids = [name for name, _, _ in written]
    for named in (True, False):
        waiting = [
            place for place, (name, file, of_table) in enumerate(written) if not name and file and of_table == named
        ]
        for form in (_stem, _path_name, _full_name):
            names = {place: form(written[place][1]) for place in waiting}
            if not named:
                names = {place: safe_name(name) for place, name in names.items()}
            count = Counter(names.values())
            barred = set() if named else {*ids, *RESERVED}
            for place, name in names.items():
                if count[name] == 1 and name not in barred:
                    ids[place] = name
            waiting = [place for place in waiting if not ids[place]]
        for place in waiting:  # the same file in two tables, which is a fault, or a name like no other file's
            ids[place] = _stem(written[place][1]) if named else f"measurement-{place + 1}"
    return ids


def _stem(file: str) -> str:
    return PurePosixPath(file).stem


def _path_name(file: str) -> str:
    """Return a file's folders below the first, and its stem: "before-tone"."""
    return "-".join((*PurePosixPath(file).parts[1:-1], _stem(file)))


def _full_name(file: str) -> str:
    return f"{_path_name(file)}{PurePosixPath(file).suffix.replace('.', '-')}"


def _check_stem(each: Measurement, place: Place, what: str, key: str, name: str) -> None:
    """Note an id or a card's name that cannot be a file name on any system."""
    given = f"{key} = {show_value(getattr(each, key))}: {show_value(name)}"
    # a long table card goes on as table-2, table-3
    if re.sub(r"-\d+$", "", name.casefold()) in RESERVED:
        place.fault(f'{given} is the name of another card; write {what} = "my-{name}"', key)
    elif not _STEM.fullmatch(name):
        why = "is not a file name that is safe everywhere: only letters a to z, digits, - _ and ., at most 80"
        place.fault(f'{given} {why}; write {what} = "{safe_name(name)}"', key)


def safe_name(name: str) -> str:
    """Return a name made of the signs that every file system takes."""
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9_.-]+", "-", ascii_name).strip("-.")[:60] or "measurement"


# ------------------------------------------------------------------ one measurement


def _check_kind(each: Measurement, place: Place, kinds: Collection[str]) -> None:
    if each.kind and each.kind not in kinds:
        remedy = nearest(each.kind.lower().replace("_", "-").replace(" ", "-"), kinds)
        place.fault(f"kind = {show_value(each.kind)} is not known; {remedy}", "kind")


def _check_source(each: Measurement, place: Place, kinds: Mapping[str, Kind]) -> None:
    """Note a measurement that has neither a file nor the voltages of a two-load reading, or both; lines left out of
    a kind that takes none.
    """
    in_place = "loads" in place.raw or "volts" in place.raw
    if each.files:
        other = next((key for key in ("file", "id", "loads", "volts") if key in place.raw), "")
        why = f"and {other} exclude each other; leave one of them out" if other else "fits no file that no table names"
        place.fault(f"files = {show_value(each.files)} {why}" + ("" if other else "; correct the pattern"), "files")
        return
    if each.file and in_place:
        place.fault("has a file and the voltages of a two-load reading; leave one of them out", "file")
    if each.without_hz is not None and each.kind in kinds and "without" not in kinds[each.kind].keys:
        those = " or ".join(show_value(name) for name, kind in kinds.items() if "without" in kind.keys)
        place.fault(f"without goes with kind = {those} only; leave it out", "without")
    if not in_place and place.raw.get("file") in (None, ""):
        place.fault('has no file; write for example file = "measurements/response.csv"')


def _check_two_loads(each: Measurement, place: Place) -> None:
    if "loads" in place.raw and "volts" not in place.raw:
        place.fault('has loads but no voltages; write volts = { L = ["12.71 V", "12.46 V"] }', "loads")
    if "volts" in place.raw and "loads" not in place.raw:
        place.fault('has volts but no loads; write loads = ["open", "8 ohm"]', "volts")
    for channel, readings in each.volts.items():
        if each.loads_ohm and len(readings) != len(each.loads_ohm):
            voltages = "1 voltage" if len(readings) == 1 else f"{len(readings)} voltages"
            counts = f"{voltages} for {len(each.loads_ohm)} loads; write one for each, in the same order"
            place.fault(f"volts.{channel}: {counts}", "volts", channel)


def _complete(each: Measurement, place: Place, name: str, bench: Bench, kinds: Mapping[str, Kind]) -> Measurement:
    if each.range and each.range.casefold() not in bench.ranges:
        remedy = nearest(each.range, bench.ranges) if bench.ranges else "write a table of that name: [bench.NAME]"
        place.fault(f"range = {show_value(each.range)} names no table of [bench]; {remedy}", "range")
    of_kind = kinds[each.kind].input if each.kind in kinds else ""
    name_of_range = range_of(each.range, each.input, of_kind, bench.input)
    range_ = name_of_range if name_of_range in bench.ranges else ""
    bench = bench.of(range_)
    # the radio of a receiver is measured at its line output, and no generator drives a channel of it
    usual = bench if range_ or each.input.upper() not in RADIO else replace(bench, load_ohm=None, channels="")
    load_ohm = usual.load_ohm if each.load_ohm is None else each.load_ohm
    if load_ohm is not None and math.isinf(load_ohm) and each.drive_w is not None:
        remedy = 'write a voltage, for example "6.3 V"'
        place.fault(f"drive = {show_value(place.raw['drive'])} is a power, but the load is open; {remedy}", "drive")
    return replace(
        each,
        id=name,
        input=each.input or bench.input,
        conditions=tuple(sorted({**dict(each.conditions), **dict(condition_of(each.target))}.items())),
        range=range_,
        load_ohm=load_ohm,
        # one driven channel is one channel, whatever the bench drives otherwise
        channels=each.channels or ("one" if each.driven else usual.channels),
    )


# ------------------------------------------------------------------ between measurements


def _check_against(entries: Sequence[Entry], ids: Sequence[str]) -> None:
    for (each, place), name in zip(entries, ids, strict=True):
        given = f"against = {show_value(each.against)}"
        if each.against and each.against == name:
            place.fault(f"{given} is this measurement itself; name the one to compare it with", "against")
        elif each.against and each.against not in ids:
            others = {other for other in ids if other and other != name}
            remedy = nearest(each.against, others) if others else "there is no other measurement; leave it out"
            place.fault(f"{given} is the id of no measurement; {remedy}", "against")


_SAY_STAGE = 'write stage = "before", "after" or "bench", or leave stage out everywhere where nothing was repaired'


def _check_stages(entries: Sequence[Entry]) -> None:
    """Note measurements without a stage in a session with a repair: they couldn't be judged."""
    for staged, place in entries:
        if staged.stage in ("before", "after"):
            because = f'the measurement in line {place.line} is "{staged.stage}" a repair'
            for _, other in entries:
                if "stage" not in other.raw:
                    other.fault(f"has no stage, but {because}; {_SAY_STAGE}")
            return
