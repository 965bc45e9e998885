"""The bench's own readings, with no unit in the path, and what they do to a figure.

They widen its uncertainty, and a figure within 6 dB of them is only a bound.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from reviewkit.model import quantities
from reviewkit.model.finding import Conditions
from reviewkit.model.quantity_table import DISTORTION

AT_THE_FLOOR_DB = 6.0
_MUST_AGREE = ("line", "weighting", "reference", "limit", "figure", "method")
_SAME_FREQUENCY = 0.01


def of(c: Conditions, quantity: str, channel: str, at: Mapping[str, Any]) -> float | None:
    """Return the floor of a figure as a ratio or in volts, or None if it isn't known or the bench itself is measured.

    It is what the bench looped back on itself gave for the same quantity, else the distortion stated in [bench]. Of
    several loops the one at the figure's own level counts; if there is none, the one with the worst reading.
    """
    kind_of_floor = quantities.QUANTITIES[quantity].floor if quantity in quantities.QUANTITIES else ""
    if not kind_of_floor or c.measurement.stage == "bench":
        return None
    fitting = [
        finding
        for finding in c.floor
        if finding.quantity in (quantity, quantities.QUANTITIES[quantity].opposite)
        and (finding.channel == channel or not finding.channel or not channel)
        and _same_place(quantity, finding.at, at)
    ]
    level = (at.get("power"), at.get("voltage"))
    own = [finding for finding in fitting if (finding.at.get("power"), finding.at.get("voltage")) == level]
    if fitting:
        return max(_ratio(finding.quantity, finding.value) for finding in own or fitting) or None
    stated = c.bench.distortion_floor_percent
    return stated / 100 if stated and kind_of_floor == DISTORTION else None


def _same_place(quantity: str, floor: Mapping[str, Any], at: Mapping[str, Any]) -> bool:
    ours, theirs = at.get("tones") or (), floor.get("tones") or ()
    if len(ours) != len(theirs) or any(abs(a / b - 1) > _SAME_FREQUENCY for a, b in zip(ours, theirs, strict=True)):
        return False
    if any(floor.get(key) != at.get(key) for key in _MUST_AGREE):
        return False
    here, there = at.get("frequency"), floor.get("frequency")
    searched = bool(quantities.QUANTITIES[quantity].extent)
    return searched or here is None or there is None or abs(here / there - 1) <= _SAME_FREQUENCY


def _ratio(quantity: str, value: float) -> float:
    """Return a figure as a ratio of amplitudes (or volts), of which less is better."""
    unit = quantities.QUANTITIES[quantity].unit
    if unit == "dB":
        return float(10 ** (-quantities.QUANTITIES[quantity].better * value / 20))
    return value / 100 if unit == "%" else value


def in_unit(quantity: str, floor: float) -> float:
    """Convert a floor, which `of` gives as a ratio or in volts, to the unit of its quantity."""
    unit = quantities.QUANTITIES[quantity].unit
    if unit == "dB":
        return -quantities.QUANTITIES[quantity].better * 20 * math.log10(floor)
    return 100 * floor if unit == "%" else floor


def bound(quantity: str, value: float, floor: float) -> str:
    """Return "at most" or "at least" if a figure lies within 6 dB of the floor, else ""."""
    ratio = _ratio(quantity, value)
    # a billionth of a decibel allows for rounding on the way through powers
    if ratio > 0 and 20 * math.log10(ratio / floor) > AT_THE_FLOOR_DB + 1e-9:
        return ""
    return "at least" if quantities.QUANTITIES[quantity].better > 0 else "at most"


def added(quantity: str, value: float, uncertainty: float | None, floor: float) -> float:
    """Return the expanded uncertainty with the floor's share.

    Notes
    -----
    The bench's own share may lie in phase with the unit's or against it: ±floor at most, rectangular, so U = 2/√3 ·
    floor (GUM, JCGM 100:2008, from memory). In dB that is U · 20 / (ln 10 · figure) to first order. A bound is
    uncertain only on its worse side, where the two add up, so there it is 20 lg(1 + U / figure): the first order would
    be far too large for a line below the floor.
    """
    share = 2 / math.sqrt(3) * floor
    unit = quantities.QUANTITIES[quantity].unit
    if unit == "dB":
        relative = share / _ratio(quantity, value)
        at_the_floor = bool(bound(quantity, value, floor))
        share = 20 * (math.log10(1 + relative) if at_the_floor else relative / math.log(10))
    elif unit == "%":
        share *= 100
    return math.hypot(uncertainty or 0.0, share)
