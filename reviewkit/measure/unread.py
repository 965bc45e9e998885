"""Parts of a sweep without a reading: rows without a number, and neighbouring points too far apart.

The curve there may be worse than anything that was read, so a figure of a band that includes them can deny a rating,
never confirm it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reviewkit.model import quantities
from reviewkit.model.finding import Conditions, Finding, Measured
from reviewkit.model.sheet import Sheet
from reviewkit.signal.decibels import volts_of

MOST_APART = 2.5  # ratio of neighbouring points: third, half and whole octaves are closer, and so are 1-2-5 steps
_EDGE = 1.005  # a point this close to a band's edge is on it: exports round
_SPOT = 1.01  # a point this close to a frequency was measured at it


@dataclass(frozen=True)
class Stretch:
    """A part without a reading: between two points (`low`, `high`), or a row `at` a place between them."""

    low: float
    high: float
    words: str
    at: float | None = None

    def touches(self, band: Sequence[float]) -> bool:
        """Return whether a band includes some of it."""
        if self.at is not None:
            return band[0] / _EDGE <= self.at <= band[1] * _EDGE
        return self.low < band[1] / _EDGE and self.high > band[0] * _EDGE

    def surrounds(self, place: float) -> bool:
        """Return whether a place was read from the line across it."""
        return self.low * _SPOT < place < self.high / _SPOT


def mark_unread(measured: Measured, stretches: Sequence[Stretch]) -> Measured:
    """Return the results with `unread` set on every figure that depends on a part without readings."""
    return replace(measured, findings=tuple(_marked(finding, stretches) for finding in measured.findings))


def _marked(finding: Finding, stretches: Sequence[Stretch]) -> Finding:
    touched = [stretch.words for stretch in stretches if _concerns(stretch, finding)]
    more = f", and {len(touched) - 1} more" if len(touched) > 1 else ""
    return replace(finding, unread=touched[0] + more) if touched else finding


def _concerns(stretch: Stretch, finding: Finding) -> bool:
    quantity = quantities.quantity_of(finding)
    if quantity.over_power:
        swept = finding.at.get("powers", (0.0, finding.value) if quantity.unit == "W" else None)
        return swept is not None and stretch.touches(swept)
    if "swept" in finding.at:
        return True
    if finding.quantity in ("corner_low", "corner_high"):
        return stretch.surrounds(finding.value)
    if "band" in finding.at:
        return stretch.touches(finding.at["band"])
    return "frequency" in finding.at and stretch.surrounds(finding.at["frequency"])


def find_unread(sheet: Sheet, c: Conditions) -> list[Stretch]:
    """Return the parts of a sweep without readings; none of a capture, which is refused if it has a gap."""
    scale = sheet.find("frequency")
    if sheet.find("time") is not None:
        return []
    if sheet.find("set") is not None:
        missing = [row.line for row in sheet.skipped if row.unread]
        return [Stretch(0.0, math.inf, f"a reading is missing (line {line})") for line in missing]
    places = scale.values if scale is not None else np.empty(0)
    stretches = []
    for row in (row for row in sheet.skipped if row.unread):
        at = row.at if scale is not None or row.at is None else _watts(sheet, row.at, c)
        if at is None:
            stretches.append(Stretch(0.0, math.inf, f"a reading is missing (line {row.line})"))
            continue
        below, above = places[places < at], places[places > at]
        low = float(below[-1]) if len(below) else at
        high = float(above[0]) if len(above) else at
        shown = quantities.watts(at) if scale is None else quantities.hertz(at)
        stretches.append(Stretch(low, high, f"no reading at {shown} (line {row.line})", at))
    for place in np.flatnonzero(places[1:] > MOST_APART * _EDGE * places[:-1]):
        low, high = float(places[place]), float(places[place + 1])
        words = f"no reading between {quantities.hertz(low)} and {quantities.hertz(high)}"
        stretches.append(Stretch(low, high, words))
    return stretches


def _watts(sheet: Sheet, at: float, c: Conditions) -> float | None:
    """Return a place on a sweep of power or volts in watts; None if it can't be known."""
    if sheet.find("power") is not None:
        return at
    level = sheet.find("level")
    volts = volts_of(np.array([at]), level.unit, c.measurement.load_ohm, c.measurement.full_scale_v) if level else None
    if volts is None or not c.measurement.load_ohm:
        return None
    return float(volts[0] ** 2 / c.measurement.load_ohm)
