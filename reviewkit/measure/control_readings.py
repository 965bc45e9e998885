"""The effects of a control's settings, each one's largest difference."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model.finding import Finding, Run

SIDES = (("boost_low", "corner_low", -1), ("boost_high", "corner_high", +1))
FILTER_DB = -3.0  # an octave: a gentler slope is a tone control


def furthest(run: Run, channel: str) -> Finding | None:
    """Return a setting's largest effect: the larger of its two differences."""
    return max((f for boost, _, _ in SIDES if (f := run.get(boost, channel))), key=size_of, default=None)


def size_of(f: Finding) -> float:
    """Return a difference's distance from zero, dB."""
    return abs(f.value)


def channels_of(run: Run) -> list[str]:
    """Return the channels that have a figure, in the file's order."""
    return list(dict.fromkeys(f.channel for f in run.findings))


def largest_of(run: Run) -> Finding | None:
    """Return a setting's largest effect on either channel."""
    return max((f for channel in channels_of(run) if (f := furthest(run, channel))), key=size_of, default=None)


def name_of(run: Run, runs: Sequence[Run]) -> str:
    """Return a setting in words, with its stage if the same setting appears twice."""
    m = run.conditions.measurement
    same = [r for r in runs if r.conditions.measurement.setting == m.setting]
    if m.setting and len(same) == 1:
        return m.setting
    return " ".join(part for part in (m.setting, m.stage) if part) or m.id


def is_filter(run: Run) -> bool:
    """Return whether a setting falls as a filter does, not as a tone control."""
    slopes = [f.value for f in run.findings if f.quantity == "slope"]
    return bool(slopes) and max(slopes) < FILTER_DB


def slope_beyond(run: Run, corner: Finding) -> Finding | None:
    """Return the slope beyond a corner."""
    return run.get("slope", corner.channel, frequency=corner.value)
