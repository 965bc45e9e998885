"""Like for like: two figures are compared only if they were measured under the same conditions."""

from __future__ import annotations

from typing import Any

from reviewkit.model import quantities
from reviewkit.model.finding import Finding
from reviewkit.model.level import Level, levels_of

_MUST_AGREE = (
    "limit line weighting reference reference_input load input tones amendment method figure setting conditions "
    "reference_level relative_to channels termination volume without rated powers"
).split()
_SAME_FREQUENCY = 0.01
# how far two drives may be apart, dB; near clipping less of it makes more of a difference (common practice, no source)
_SAME_DRIVE_DB, _SAME_DRIVE_NEAR_CLIPPING_DB, _NEAR_CLIPPING_DB = 0.5, 0.1, 3.0
_ALLOWANCE = 1e-3


def is_like(before: Finding, after: Finding, clips_w: float | None = None) -> bool:
    """Return whether two figures can be compared: the same quantity, measured under the same conditions.

    Parameters
    ----------
    before, after
        The two figures.
    clips_w
        The power at which the unit clips into their load, W, as far as it is known: within 3 dB of it the drives may
        differ by 0.1 dB only.
    """
    if (before.quantity, before.channel, before.unit) != (after.quantity, after.channel, after.unit):
        return False
    if any(_plain(before.at.get(key)) != _plain(after.at.get(key)) for key in _MUST_AGREE):
        return False
    return _same_place(before, after) and _same_drive(before, after, clips_w)


def _plain(condition: Any) -> Any:
    """Return a condition as it is compared: words without regard to capitals and spaces."""
    return " ".join(condition.split()).casefold() if isinstance(condition, str) else condition


def _same_place(before: Finding, after: Finding) -> bool:
    """Return whether both hold over the same band, or at the same frequency if that isn't where it was found."""
    here, there = before.at.get("frequency"), after.at.get("frequency")
    bands = before.at.get("band"), after.at.get("band")
    found_in_band = bool(quantities.quantity_of(after).extent) and None not in bands
    if found_in_band or (here is None and there is None):
        return bands[0] == bands[1]
    return here is not None and there is not None and abs(here / there - 1) <= _SAME_FREQUENCY


def _same_drive(before: Finding, after: Finding, clips_w: float | None) -> bool:
    if quantities.quantity_of(after).over_power:
        return True  # found in a sweep of power, wherever it is
    here, there = levels_of(before.at), levels_of(after.at)
    if not here and not there:
        return True
    apart = [abs(x) for one in here for other in there if (x := one.decibels_above(other)) is not None]
    if not apart:
        return False
    near = any(_is_near_clipping(level, clips_w) for level in (*here, *there))
    return min(apart) <= (_SAME_DRIVE_NEAR_CLIPPING_DB if near else _SAME_DRIVE_DB) + _ALLOWANCE


def _is_near_clipping(level: Level, clips_w: float | None) -> bool:
    above = level.decibels_above(Level(clips_w, "W", level.load_ohm)) if clips_w else None
    return above is not None and above > -_NEAR_CLIPPING_DB
