"""The end of a repair: repaired, improved, not repaired, or only measured; and what is lacking for "repaired"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.measure.kinds import KINDS
from reviewkit.model import quantities
from reviewkit.model.change import Change
from reviewkit.model.finding import Run
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Session
from reviewkit.verdict.changes import is_repaired
from reviewkit.verdict.repair_points import (
    OK,
    is_after_repair,
    is_no_go,
    point_name,
    point_verdict,
    reading_after,
    was_worked_on,
)
from reviewkit.verdict.safety_readings import BIAS, LEAKAGE, OFFSET, is_leakage_passed, is_passed, readings_of

REPAIRED, IMPROVED, NOT_REPAIRED, MEASURED = "Repaired", "Improved", "Not repaired", "Measured"
# a figure that got worse by less than this isn't called worse; common practice, no source
_NOTICED = 1 / 3  # of a factor of two, or of 3 dB
_LOUDSPEAKER_OHM = 32.0  # a load up to this is a loudspeaker's
_VALVES = re.compile(r"\b(?:valve|tube)s?\b", re.IGNORECASE)
_NAMES = {OFFSET: "DC offset", BIAS: "bias", LEAKAGE: "electrical safety, mains leakage with the plug both ways"}
_NAMED, _LONGEST = 2, 28  # points named in a reason, and letters of a name


@dataclass(frozen=True)
class Outcome:
    """The end of a repair.

    Attributes
    ----------
    word
        "Repaired", "Improved", "Not repaired" or "Measured".
    pending
        Why it isn't "Repaired", each reason ready to print.
    unchecked
        Safety readings that are lacking for "Repaired", by name.
    """

    word: str
    pending: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()


def find_outcome(
    session: Session, repair: Sequence[RepairRow], runs: Sequence[Run], changes: Sequence[Change]
) -> Outcome:
    """Return how a repair ended.

    "Repaired" needs every point that was out of tolerance to be OK after, no figure worse than before, and the safety
    readings passed; "Improved" some of that; "Measured" is what had nothing wrong.

    Parameters
    ----------
    session : Session
        The session.
    repair : sequence of RepairRow
        The rows of repair.csv.
    runs : sequence of Run
        The measurements.
    changes : sequence of Change
        Figures measured alike before and after.

    Returns
    -------
    Outcome
        The word, and what is lacking.
    """
    compared = [change for change in changes if change.after.quantity in KINDS[change.after.kind].compared]
    faults = faulty_points(repair)
    better = [change for change in compared if change.improved and change.size >= 1]
    worse = [change for change in compared if is_worse(change)]
    if not is_repaired(repair, runs) or not (faults or better or worse):
        done = is_repaired([row for row in repair if was_worked_on(row)], runs)
        return Outcome(MEASURED, () if done else ("nothing was repaired",))
    after = {id(row): reading_after(row, repair) for row in faults}
    fixed = [row for row in faults if after[id(row)][1] == OK]
    unread = [row for row in faults if not after[id(row)][0]]
    still = [row for row in faults if after[id(row)][0] and after[id(row)][1] != OK]
    still += [row for row in repair if is_after_repair(row) and (is_no_go(row) or point_verdict(row) not in ("", OK))]
    pending = (
        _reason("still out", [point_name(row) for row in still]),
        _reason("not read again", [point_name(row) for row in unread]),
        _reason("not measured again", _unmeasured(runs)),
        _reason("worse than before", [quantities.quantity_of(change.after).name for change in worse]),
    )
    reasons = tuple(reason for reason in pending if reason)
    unchecked = _missing_readings(session, repair, runs)
    if not fixed and not better:
        return Outcome(NOT_REPAIRED, reasons, unchecked)
    return Outcome(IMPROVED if reasons or unchecked else REPAIRED, reasons, unchecked)


def faulty_points(repair: Sequence[RepairRow]) -> list[RepairRow]:
    """Return the points that were out of tolerance, open or shorted as found."""
    return [row for row in repair if not is_after_repair(row) and point_verdict(row) not in ("", OK)]


def _unmeasured(runs: Sequence[Run]) -> list[str]:
    """Return the channels that were measured before the repair and not after it, of kinds that were: "Response R"."""
    channels: dict[tuple[str, str], set[str]] = {}
    for run in runs:
        m = run.conditions.measurement
        compared = {f.channel for f in run.findings if f.quantity in KINDS[m.kind].compared}
        channels.setdefault((m.kind, m.stage), set()).update(compared)
    return [
        f"{KINDS[kind].title} {channel}"
        for (kind, stage), before in channels.items()
        if stage == "before" and (after := channels.get((kind, "after")))
        for channel in sorted(before - after)
        if not {channel, "both", ""} & after
    ]


def is_worse(change: Change) -> bool:
    """Return whether a figure is noticeably worse after the repair than before."""
    return not change.improved and change.size >= _NOTICED


def _reason(what: str, names: Sequence[str]) -> str:
    heads = (name.split(",")[0] for name in names)
    own = list(dict.fromkeys(head if len(head) <= _LONGEST else f"{head[: _LONGEST - 1].rstrip()}…" for head in heads))
    more = f" and {len(own) - _NAMED} more" if len(own) > _NAMED else ""
    return f"{what}: {', '.join(own[:_NAMED])}{more}" if own else ""


def _missing_readings(session: Session, repair: Sequence[RepairRow], runs: Sequence[Run]) -> tuple[str, ...]:
    """Return the safety readings that a unit needs and has not, by name; those that are not OK are still out."""
    gear = session.unit.gear
    if gear is not None:
        wanted = ((OFFSET, gear.offset), (BIAS, gear.bias), (LEAKAGE, gear.mains))
        needed = [key for key, asked in wanted if asked]
    elif drives_loudspeakers(session, runs):
        # an output transformer passes no DC
        needed = [*([] if _VALVES.search(session.unit.what) else [OFFSET]), BIAS, LEAKAGE]
    else:
        needed = [LEAKAGE]
    unread = []
    for key in needed:
        readings = [reading for reading in readings_of(key, repair, runs) if not reading.before]
        passed = is_leakage_passed(readings) if key == LEAKAGE else is_passed(readings)
        if not passed and all(reading.verdict in ("", OK) for reading in readings):
            unread.append(_NAMES[key])
    return tuple(unread)


def drives_loudspeakers(session: Session, runs: Sequence[Run]) -> bool:
    """Return whether a unit has loudspeaker outputs: a power is rated, or it was loaded as by a loudspeaker."""
    loads = (run.conditions.measurement.load_ohm for run in runs)
    return any(rating.quantity == "power" for rating in session.ratings) or any(
        load is not None and load <= _LOUDSPEAKER_OHM for load in loads
    )
