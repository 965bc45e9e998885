"""Questions and answers between files: copies of one another, stages, outputs, drives, what each is compared with."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from reviewkit.ingest.session.session_entries import MeasurementEntry
from reviewkit.ingest.session.session_measurements import default_ids
from reviewkit.measure.kinds import KINDS
from reviewkit.model.recognised import Recognised
from reviewkit.model.session import range_of
from reviewkit.model.units import UnitError, read_quantity

_OF_A_STAGE = frozenset(("before", "after", "bench", "left", "right", "l", "r"))
_SAME_LEVEL = 1.122  # 1 dB, as far as a capture may be from its `drive`

Found = list[tuple[MeasurementEntry, Recognised]]


def find_copies(
    entries: Sequence[MeasurementEntry], known: Iterable[str], digests: Mapping[str, str]
) -> dict[str, str]:
    """Return the files that hold the same as another one, with the remark that they do."""
    first = {digests[file]: file for file in sorted(known)}
    copies = {}
    for entry in entries:
        other = first.setdefault(digests[entry.file], entry.file)
        if other != entry.file and not entry.named:
            copies[entry.file] = f"it has the same content as {other}"
    return copies


def ask_stages(found: Found, others: Sequence[MeasurementEntry], *, repaired: bool) -> Found:
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


def ask_outputs(found: Found, bench: Any) -> Found:
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


def state_drives(found: Found, bench: Any) -> Found:
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


def find_references(found: Found, others: Sequence[MeasurementEntry]) -> Found:
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
