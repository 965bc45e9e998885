"""The effects of a control's settings, as a card reads them: each one's largest difference, or its half-power point."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures
from reviewkit.model import quantities
from reviewkit.model.card import Readout
from reviewkit.model.finding import Finding, Run
from reviewkit.signal.decibels import HALF_POWER_DB
from reviewkit.signal.weighting import REFERENCE_HZ

SIDES = (("boost_low", "corner_low", -1), ("boost_high", "corner_high", +1))
MOST_BLOCKS = 3  # more settings than this on one card get a line each
FILTER_DB = -3.0  # an octave: a gentler slope is a tone control
_SEEN_DB = 0.5  # a curve no further from zero has no visible place for its name
_MANY = 6  # settings: more names than this get in each other's way
_LONGEST = 18  # letters of a setting's name on a line with its figures
_SAME_DB = 0.05  # settings with the same effect, to the digit shown


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


def readings_of(runs: Sequence[Run]) -> tuple[Readout, ...]:
    """Return the readings of a control's settings.

    One setting: all of it. A few: a block each, the one with the largest effect first and large. More: a line each,
    with its largest effect.
    """
    if len(runs) == 1:
        return _of_one(runs[0])
    first = max(runs, key=_weight)
    key = largest_of(first)
    if len(runs) <= MOST_BLOCKS:
        in_order = [first, *(run for run in runs if run is not first)]
        return tuple(_block(run, name_of(run, runs), large=run is first) for run in in_order)
    channels = list(dict.fromkeys(channel for run in runs for channel in channels_of(run)))
    rows: list[tuple[str, ...]] = [("dB", *channels)] if any(channels) else []
    for run, name in zip(runs, _short([name_of(run, runs) for run in runs]), strict=True):
        most = [furthest(run, channel) for channel in channels]
        rows.append((name, *(quantities.number(f) if f else "" for f in most)))
    large = quantities.show(key) if key else ""
    return (Readout(f"most, {name_of(first, runs)}" if key else "at its most", large, tuple(rows)),)


def _weight(run: Run) -> tuple[bool, float, bool]:
    """Return what makes a setting the most prominent: it isn't a filter, the size of its effect, it boosts."""
    most = largest_of(run)
    return not _filters(run), round(size_of(most) / _SAME_DB) if most else 0.0, most is not None and most.value > 0


def _short(names: Sequence[str]) -> Sequence[str]:
    """Return names short enough for a line with two figures, if they still differ: the picture shows them in full."""
    cut = [n if len(n) <= _LONGEST else n[:_LONGEST].rsplit(" ", 1)[0].rstrip(",") + " …" for n in names]
    return cut if len(set(cut)) == len(set(names)) else names


def _rows(findings: Sequence[Finding | None]) -> tuple[tuple[str, ...], ...]:
    return tuple((f.channel, quantities.show(f)) for f in findings if f is not None)


def _filters(run: Run) -> list[Finding]:
    """Return the corners of a setting that is a filter, the nearest to 1 kHz first; none if it isn't a filter."""
    slopes = [slope.value for slope in figures.by_channel(run, "slope")]
    corners = [f for _, corner, _ in SIDES for f in figures.by_channel(run, corner)]
    by_distance = sorted(corners, key=lambda f: abs(np.log(f.value / REFERENCE_HZ)))
    return by_distance if slopes and max(slopes) < FILTER_DB else []


def place_of(run: Run, channel: str, runs: Sequence[Run]) -> tuple[float, float] | None:
    """Return where a setting is named: at half power for a filter, else at its largest effect, if that is visible.

    None: at its end. With many settings that includes those with the largest effect in the treble, whose ends are as
    far apart.
    """
    corner = next((f for f in _filters(run) if f.channel == channel), None)
    if corner is not None:
        return corner.value, HALF_POWER_DB
    most = furthest(run, channel)
    if most is None or size_of(most) < _SEEN_DB or (len(runs) > _MANY and most.quantity == "boost_high"):
        return None
    return float(most.at["frequency"]), most.value


def _block(run: Run, name: str, *, large: bool) -> Readout:
    """Return a setting in short: its corner if it is a filter, else its largest effect."""
    corners = _filters(run)
    found: list[Finding] = corners or [f for channel in channels_of(run) if (f := furthest(run, channel))]
    in_order = sorted(found, key=lambda f: f.channel)
    label = f"{name}, half power" if corners else name
    if not large or not found:
        return Readout(label, "", _rows(in_order))
    key = found[0] if corners else max(found, key=size_of)
    return Readout(label, quantities.show(key), figures.rows_of(in_order), figures.whose(key, found))


def _of_one(run: Run) -> tuple[Readout, ...]:
    """Return one setting: its largest effect in large, the other side of 1 kHz, and its corners with their slopes."""
    largest = largest_of(run)
    if largest is None:
        return ()
    readings = []
    for boost, _, _ in sorted(SIDES, key=lambda side: side[0] != largest.quantity):
        own = figures.by_channel(run, boost)
        key = quantities.show(largest) if boost == largest.quantity else ""
        if own:
            # the picture may extend beyond the band of the figure
            label = f"most, {quantities.band((own[0].at['band'][0], own[0].at['band'][1]))}"
            whose = figures.whose(largest, own) if key else ""
            readings.append(Readout(label, key, figures.rows_of(own) if key else _rows(own), whose))
    for _, corner, _ in SIDES:
        rows = [row for at in figures.by_channel(run, corner) for row in _rows([at, slope_beyond(run, at)])]
        if rows:
            label = "half power below" if corner == "corner_low" else "half power above"
            readings.append(Readout(label, "", tuple(rows)))
    return tuple(readings)


def slope_beyond(run: Run, corner: Finding) -> Finding | None:
    """Return the slope beyond a corner."""
    return run.get("slope", corner.channel, frequency=corner.value)
