"""Distortion over power at one frequency."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import curves, figures, scales
from reviewkit.measure.capture_requests import power_requests
from reviewkit.measure.distortion import (
    LIMITED,
    ONE_PERCENT,
    distortion_percent,
    figure_of,
    rated_limits,
)
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.card import Axis, Card, Chart, Limit, Panel
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import DRIVEN
from reviewkit.model.kind import POWER, Kind
from reviewkit.model.ratings import LOWEST_POWER_W, distortion_limit
from reviewkit.model.recognised import DISTORTION_WORDS, Content, NameWords
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.toml_text import inline_table
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import volts_of

_NOTHING = 1e-6  # of a power: the rounding of going through logarithms
_SPOT_W = 1.0  # where before and after are compared (common practice, no source)


def _power_w(sheet: Sheet, channel: str, c: Conditions) -> Array:
    """Return the power of each row for one channel, W, from a power column or from volts over the load."""
    for role in ("power", "level"):
        column = sheet.find(role, channel) or sheet.find(role, "")
        if column is None:
            continue
        if role == "power":
            return column.values
        volts = volts_of(column.values, column.unit, c.measurement.load_ohm, c.measurement.full_scale_v)
        if volts is None or not c.measurement.load_ohm:
            remedy = "export the power, or volts"
            if not c.measurement.load_ohm:
                remedy = 'say the load in session.toml, for example load = "8 ohm"'
            elif column.unit == "dBFS":
                remedy = 'say in session.toml what full scale is, for example full_scale = "10 V"'
            message = f'column "{column.header}" in {column.unit} cannot be turned into watts; {remedy}'
            raise sheet.fault(message)
        return volts**2 / c.measurement.load_ohm
    there = sheet.find("power") or sheet.find("level")
    remedy = "export the power, or the volts, next to the distortion"
    if there is not None:
        line = inline_table({**c.measurement.columns, there.role: there.header})
        remedy = f'is "{there.header}" that of every channel? Then write under its [[measurement]] in session.toml '
        remedy += f"columns = {line}"
    raise sheet.fault(f"no column of power or volts for the {channel or 'only'} channel; {remedy}")


def _sweep(sheet: Sheet, column: Column, c: Conditions) -> tuple[Array, Array]:
    """Return power (W) and distortion (%) of a channel, power rising, without rows that have no place on a log axis."""
    power_w, percent = _power_w(sheet, column.channel, c), distortion_percent(column)
    good = (power_w > 0) & (percent > 0)
    order = np.argsort(power_w[good], kind="stable")
    return power_w[good][order], percent[good][order]


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return power_at_limit, power_reached, lowest_distortion and highest_distortion per channel.

    power_at_limit: W, where distortion rises through 1 % and through each rated limit. power_reached: W, the highest
    power of the sweep, only if a limit wasn't reached. lowest_distortion: %, with its power. highest_distortion: %,
    from 250 mW to each rated power.
    """
    found: list[Finding] = []
    drawn: list[Curve] = []
    withheld: list[str] = []
    for column in sheet.all("distortion"):
        power_w, percent = _sweep(sheet, column, c)
        drawn.append(Curve("", column.channel, read_only(power_w), read_only(percent)))
        if len(power_w) < 2:
            withheld.append(f"{c.measurement.id}: no figures, fewer than two rows with power and distortion above zero")
            continue
        under: dict[str, Any] = {"frequency": c.measurement.frequency_hz, "figure": figure_of(column)}
        for limit in rated_limits(c):
            rise = curves.rise_through(power_w, percent, limit)
            if rise is not None:
                quantity, value = "power_at_limit", rise.at
                # the steps at the knee count in any case, whether or not the bench states the rest
                apart = rise.expanded if rise.expanded > _NOTHING * rise.at else 0.0
                unsure = math.hypot(figures.watts_uncertainty(c, rise.at) or 0.0, apart) or None
            elif float(np.min(percent)) > limit:
                withheld.append(
                    f"{c.measurement.id}: no power at {quantities.percent(limit)}, "
                    f"channel {column.channel or 'measured'} never gets below it"
                )
                continue
            else:
                quantity, value = "power_reached", float(power_w[-1])
                unsure = figures.watts_uncertainty(c, value)
            at = {"limit": limit, **under, "power": value}
            found.append(figures.finding(c, quantity, column.channel, value, uncertainty=unsure, **at))
        lowest = int(np.argmin(percent))
        at = {**under, "power": float(power_w[lowest])}
        found.append(figures.finding(c, "lowest_distortion", column.channel, percent[lowest], **at))
        found += _below_rated(c, column, power_w, percent)
        at_1_w = curves.value_at(power_w, percent, _SPOT_W, curved=False)
        if at_1_w is not None:
            found.append(figures.finding(c, "distortion", column.channel, at_1_w, **under, power=_SPOT_W))
    return Measured(tuple(found), tuple(withheld), tuple(drawn))


def _below_rated(c: Conditions, column: Column, power_w: Array, percent: Array) -> list[Finding]:
    """Return the highest distortion between 250 mW and each rated power, where a power rating holds too.

    `at.powers` is the part of that range which was swept, and `at.rated` the rated power.
    """
    found = []
    promised = [
        rating.at_least
        for rating in figures.rated(c, "power")
        if rating.at_least is not None
        and distortion_limit(rating) is not None
        and not rating.total
        and (rating.load_ohm is None or rating.load_ohm == c.measurement.load_ohm)
    ]
    for rated_w in dict.fromkeys(promised):
        range_w = (max(LOWEST_POWER_W, float(power_w[0])), min(rated_w, float(power_w[-1])))
        if range_w[0] < range_w[1]:
            where, inside = curves.part(power_w, percent, range_w, curved=False)
            highest = int(np.argmax(inside))
            at: dict[str, Any] = {"power": float(where[highest]), "powers": list(range_w), "rated": rated_w}
            at |= {"frequency": c.measurement.frequency_hz, "figure": figure_of(column)}
            found.append(figures.finding(c, "highest_distortion", column.channel, inside[highest], **at))
    return found


def _rated_limit(run: Run) -> float:
    """Return the limit whose power a card shows large: that of a power rating for this load, else 1 %."""
    m = run.conditions.measurement
    for rating in figures.rated(run.conditions, "power"):
        limit = distortion_limit(rating)
        if limit and rating.load_ohm in (None, m.load_ohm):
            return limit
    return ONE_PERCENT


def powers(run: Run, limit: float) -> list[Finding]:
    """Return the power at a limit per channel, or the highest power reached below it."""
    return [f for f in run.findings if f.quantity in ("power_at_limit", "power_reached") and f.at.get("limit") == limit]


def _limits(run: Run, x_axis: Axis) -> tuple[Limit, ...]:
    """Return the distortion that each power rating for this load allows up to its power."""
    found = []
    for rating in figures.rated(run.conditions, *LIMITED):
        at = distortion_limit(rating)
        here = rating.load_ohm in (None, run.conditions.measurement.load_ohm)
        if rating.quantity == "power" and rating.at_least and at and here:
            label = f"rated {quantities.percent(at)}"
            found.append(Limit(None, at, max(x_axis.low, LOWEST_POWER_W), rating.at_least, label, rating))
    return tuple(found)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return distortion by decades over power, with the rated limits up to the rated power."""
    traces = [figures.trace(curve, run, runs) for run in runs for curve in run.curves if len(curve.x)]
    main = figures.main_run(runs)
    x_axis = scales.power_scale([v for t in traces for v in (float(t.x[0]), float(t.x[-1]))] or [0.1, 100.0])
    limits = _limits(main, x_axis)
    values = figures.extents(traces) + [x.high for x in limits if x.high]
    found = powers(main, _rated_limit(main)) or powers(main, ONE_PERCENT)
    key = quantities.worse(found)
    hz = main.conditions.measurement.frequency_hz
    hero = figures.hero(key, found)
    if hero is not None and key is not None:
        least = "≥ " if key.quantity == "power_reached" else ""
        at = f"at {quantities.percent(float(key.at['limit']))}"
        caption = ", ".join(filter(None, (figures.CHANNELS.get(key.channel, "") if len(found) > 1 else "", at)))
        hero = replace(hero, figure=f"{least}{hero.figure}", caption=caption)
    driven = figures.shared_driven([run.conditions.measurement for run in runs])
    return figures.card(
        runs,
        figures.distortion_name(main),
        Chart((Panel(x_axis, scales.decades(values or [0.01, 1.0], "%"), tuple(traces), limits),)),
        hero,
        [f for f in main.findings if f.quantity in ("power_at_limit", "power_reached", "distortion")],
        # a power says whether its supply fed the other channel too
        (driven, quantities.hertz(hz) if hz else ""),
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the distortion at 1 W as found and what it was, and the power at 1 %, and whether that changed."""
    m = run.conditions.measurement
    said = []
    spot = figures.by_channel(run, "distortion", power=_SPOT_W)
    was = figures.by_channel(before, "distortion", power=_SPOT_W)
    shared = {"load": m.load_ohm, "frequency": m.frequency_hz, "driven": DRIVEN.get(m.channels, "")}
    if spot and (was or m.stage == "before"):
        facts = {"findings": spot, "worse": quantities.worse(spot), "before": quantities.worse(was), "power": _SPOT_W}
        said.append(run.point("spot", **{**shared, **facts}))
    here = powers(run, ONE_PERCENT)
    # of a channel that passes the limit at a lower power as well, this one says nothing
    if here and not (m.stage == "before" and _rises_early(run)):
        # not called "before": the card of this power is the one that judges it
        earlier = powers(before, ONE_PERCENT) if before and not _rises_early(before) else []
        facts = {"findings": here, "worse": quantities.worse(here), "earlier": quantities.worse(earlier)}
        said.append(run.point("power", **{**shared, **facts, "limit": ONE_PERCENT}))
    return tuple(said)


def _rises_early(run: Run) -> bool:
    """Return whether any channel has more than 1 % below the power at which it has its lowest distortion."""
    return any(len(c.y) and np.max(c.y[: int(np.argmin(c.y)) + 1]) > ONE_PERCENT for c in run.curves)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return whether a file is distortion over power; if it is over time, that it is nothing."""
    roles = {column.role for column in sheet.columns}
    if "distortion" not in roles or roles & {"impedance", "set"}:
        return None
    if "time" in roles:
        return Content((), "it has distortion over time")
    return Content((KIND.name,), "distortion over power") if "frequency" not in roles else None


KIND = Kind(
    name="distortion-power",
    title="Distortion over power",
    about="power (or volts) and distortion of one or both channels, at one `frequency`",
    needs=(("power", "distortion"), ("level", "distortion")),
    compared=("distortion", "power_at_limit"),
    asks=POWER,
    headlines=("power_at_limit",),
    findings=findings,
    card=card,
    points=points,
    keys=("frequency",),
    file_words=DISTORTION_WORDS,
    recognise=recognise,
    recipes={"power": power_requests},
)
