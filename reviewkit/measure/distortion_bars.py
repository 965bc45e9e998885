"""One tone's distortion as bars: THD+N, THD, the second, third and higher harmonics, and the maker's limit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.distortion import LIMITED
from reviewkit.model import quantities
from reviewkit.model.card import Bar, BarGroup, BarLimit, Bars
from reviewkit.model.finding import Finding, Run
from reviewkit.model.ratings import distortion_limit
from reviewkit.model.session import Rating
from reviewkit.signal.decibels import amplitude_of_db

_ALWAYS_PERCENT = (0.001, 1.0)  # on the scale of every card, so that they look alike
_LEAST_PERCENT = 1e-6
_UNDER, _OVER = 1.5, 2.5  # space below the lowest bar, so that it has a height, and for the figure above the highest
_GROUPS = (
    ("THD+N", "thd_plus_noise"),
    ("THD", "thd"),
    ("2nd", "harmonic_2"),
    ("3rd", "harmonic_3"),
    ("higher", "harmonics_higher"),
)
_NEAR_DB = 1.0  # within this, a rating at one power applies to another
_SAME_HZ = 0.02


def distortion_bars(main: Run, before: Run | None) -> Bars:
    """Return distortion, the second, third and higher harmonics as bars by decades of percent.

    20 dB relative to the fundamental are a decade, so that harmonics share the scale under their own figures. Nothing
    measured gives no group.
    """
    groups, names = [], []
    for label, quantity in _GROUPS:
        bars = []
        for channel in dict.fromkeys(f.channel for f in main.findings if f.quantity == quantity):
            was = before.get(quantity, channel) if before else None
            now = main.get(quantity, channel)
            bars += [_bar(f, role) for f, role in ((was, "before"), (now, "now")) if f is not None]
        if bars:
            unit = quantities.QUANTITIES[quantity].unit
            groups.append(BarGroup(label, tuple(bars), unit))
            names.append(quantity)
    limits = _limits(main, names)
    heights = [bar.value for group in groups for bar in group.bars] + [limit.value for limit in limits]
    held = [max(height * room, _LEAST_PERCENT) for height in heights for room in (1 / _UNDER, _OVER)]
    return Bars(scales.decades([*held, *_ALWAYS_PERCENT], "%"), tuple(groups), limits)


def _bar(f: Finding, role: str) -> Bar:
    value = quantities.claimed(f)
    percent = value if f.unit == "%" else 100 * float(amplitude_of_db(value))
    return Bar(f.channel, percent, quantities.number(f), role)


def _limits(main: Run, names: Sequence[str]) -> tuple[BarLimit, ...]:
    """Return the maker's limits that apply at this tone's frequency, power and load, the first for each group."""
    found: list[BarLimit] = []
    for rating in figures.rated(main.conditions, *LIMITED):
        limit, quantity = _limit_of(rating)
        taken = {group for other in found for group in other.groups}
        groups = [at for at, name in enumerate(names) if name in quantity and at not in taken]
        label = _holds_here(rating, main)
        if limit and groups and label is not None:
            found.append(BarLimit(limit, tuple(groups), f"rated {quantities.percent(limit)}{label}"))
    return tuple(found)


def _limit_of(rating: Rating) -> tuple[float | None, tuple[str, ...]]:
    """Return the distortion that a rating allows, in percent, and the figures that it is about."""
    if rating.quantity == "power":
        named = distortion_limit(rating)
        return named, ("thd",) if rating.thd_percent else ("thd_plus_noise",)
    return rating.at_most, ("thd", "thd_plus_noise") if rating.quantity == "distortion" else (rating.quantity,)


def _holds_here(rating: Rating, main: Run) -> str | None:
    """Return the power at which a rating of this tone holds, as its label ends; None if it is of another tone."""
    m, tone = main.conditions.measurement, main.get("frequency")
    if tone is None or rating.load_ohm not in (None, m.load_ohm) or rating.input not in ("", m.input):
        return None
    if rating.frequency_hz and abs(tone.value / rating.frequency_hz - 1) > _SAME_HZ:
        return None
    if rating.band_hz and not rating.band_hz[0] <= tone.value <= rating.band_hz[1]:
        return None
    if rating.quantity == "power" and (rating.rule.lower() == "music" or rating.total):
        return None
    rated_w = rating.at_least if rating.quantity == "power" else rating.power_w
    if rated_w is None:
        return ""
    power_w = tone.at.get("power")
    if not power_w:
        return None
    apart_db = 10 * np.log10(power_w / rated_w)
    # a rated power covers all lower powers; a distortion rated at one power covers only that one
    fits = apart_db <= _NEAR_DB and (rating.quantity == "power" or apart_db >= -_NEAR_DB)
    return f" {'to' if rating.quantity == 'power' else 'at'} {quantities.watts(rated_w)}" if fits else None
