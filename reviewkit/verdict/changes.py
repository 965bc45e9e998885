"""Before and after the repair: which measurement answers which, and the same figure in both."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model.change import Change
from reviewkit.model.finding import Finding, Run
from reviewkit.model.repair import RepairRow

_MUST_AGREE = ("limit", "weighting", "reference", "load", "input", "tones", "amendment", "method")
_SAME_FREQUENCY = 0.01


def is_repaired(repair: Sequence[RepairRow], runs: Sequence[Run]) -> bool:
    """Whether something was repaired: a repair table, or a measurement before or after one."""
    return bool(repair) or any(run.conditions.measurement.stage in ("before", "after") for run in runs)


def counterpart(run: Run, runs: Sequence[Run]) -> Run | None:
    """The `before` measurement that an `after` one answers: the same kind on the same card, else the same kind,
    setting,
    load, input and level. None where there is none.
    """
    m = run.conditions.measurement
    if m.stage != "after":
        return None
    earlier = [
        r for r in runs if r.conditions.measurement.stage == "before" and r.conditions.measurement.kind == m.kind
    ]
    for other in earlier:
        if other.conditions.measurement.card == m.card:
            return other
    for other in earlier:
        o = other.conditions.measurement
        if (o.setting, o.load_ohm, o.input, o.drive_w, o.frequency_hz) == (
            m.setting,
            m.load_ohm,
            m.input,
            m.drive_w,
            m.frequency_hz,
        ):
            return other
    return None


def changes(runs: Sequence[Run]) -> tuple[Change, ...]:
    """Every figure that stands both before and after the repair, under the same conditions."""
    found = []
    for run in runs:
        other = counterpart(run, runs)
        for after in run.findings if other else ():
            before = next((f for f in other.findings if _same_figure(f, after)), None) if other else None
            if before is not None:
                found.append(Change(before, after))
    return tuple(found)


def _same_figure(before: Finding, after: Finding) -> bool:
    if (before.quantity, before.channel) != (after.quantity, after.channel):
        return False
    if any(before.at.get(key) != after.at.get(key) for key in _MUST_AGREE):
        return False
    # of readings by meter the setting tells cold from warm
    if after.kind == "reading" and (before.unit, before.at.get("setting")) != (after.unit, after.at.get("setting")):
        return False
    swept = (
        "band" in after.at
        and after.quantity not in ("thd", "thd_plus_noise", "sinad", "snr")
        and not after.quantity.startswith("harm")
    )
    if swept:
        return bool(before.at.get("band") == after.at.get("band"))
    here, there = after.at.get("frequency"), before.at.get("frequency")
    return here is None or there is None or abs(here / there - 1) <= _SAME_FREQUENCY
