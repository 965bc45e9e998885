"""Find what the repair changed: which measurement answers which, and the figures that both have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reviewkit.measure.likeness import is_like
from reviewkit.model import unstated_conditions
from reviewkit.model.change import Change, of_worse_channel
from reviewkit.model.finding import Finding, Run
from reviewkit.model.repair import RepairRow


def is_repaired(repair: Sequence[RepairRow], runs: Sequence[Run]) -> bool:
    """Return whether something was repaired: a repair table, or a measurement before or after one."""
    return bool(repair) or any(run.conditions.measurement.stage in ("before", "after") for run in runs)


def counterpart(run: Run, runs: Sequence[Run]) -> Run | None:
    """Return the `before` measurement that an `after` one answers, with the figures that can be compared and no others.

    It is the one that has most of them, on the same card if there is one; None if none has any.
    """
    m = run.conditions.measurement
    if m.stage != "after":
        return None
    clips_w = _clips_w(run, runs)
    earlier = [
        _comparable(other, run, clips_w)
        for other in runs
        if other.conditions.measurement.stage == "before" and other.conditions.measurement.kind == m.kind
    ]
    return max(
        (other for other in earlier if other.findings),
        key=lambda other: (other.conditions.measurement.card == m.card, len(other.findings)),
        default=None,
    )


def changes(runs: Sequence[Run]) -> tuple[Change, ...]:
    """Return every figure that was measured alike before and after the repair."""
    found = []
    for run in runs:
        other = counterpart(run, runs)
        clips_w = _clips_w(run, runs) if other else None
        for after in run.findings if other else ():
            before = next((f for f in other.findings if is_like(f, after, clips_w)), None) if other else None
            if before is not None:
                found.append(Change(before, after))
    return tuple(found)


def largest_change(changes: Sequence[Change], compared: Sequence[str], judged: Sequence[Finding] = ()) -> Change | None:
    """Return the largest change of the first quantity that was compared, of the channel that was worse as found.

    None if it isn't what a card is about. `judged`: the figures of the verdict, which are preferred: two kinds of
    flutter would look like two changes.
    """
    for quantity in compared:
        own = [change for change in changes if change.after.quantity == quantity]
        if own:
            most = max(own, key=lambda change: (change.after in judged, change.size))
            any_channel = replace(most.after, channel="")
            return of_worse_channel(c for c in own if is_like(replace(c.after, channel=""), any_channel))
    return None


def _comparable(before: Run, after: Run, clips_w: float | None) -> Run:
    """Return a run with those of its findings that another run has measured alike."""
    alike = tuple(f for f in before.findings if any(is_like(f, now, clips_w) for now in after.findings))
    return replace(before, findings=alike)


def _clips_w(run: Run, runs: Sequence[Run]) -> float | None:
    """Return the lowest power at which the unit clips into this run's load, W; the rated one if none was measured."""
    load_ohm = run.conditions.measurement.load_ohm
    powers = (f for each in runs for f in each.findings if f.quantity == "power_at_limit")
    # clipping: where distortion rises through 1 %
    clips_w = (f.value for f in powers if f.at.get("limit") == 1.0 and f.at.get("load") == load_ohm)
    return min(clips_w, default=unstated_conditions.rated_output_w(run.conditions.ratings, load_ohm))
