"""A square wave: its rise time, its overshoot, and the tilt of its tops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.captures import sample_rate_hz, waveform_samples
from reviewkit.model import quantities
from reviewkit.model.arrays import read_only
from reviewkit.model.capture_request import SMALL_SHARE, SQUARE, Basis, CaptureRequest, spot_hz
from reviewkit.model.card import Axis, Card, Chart, Mark, Panel, Trace
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import FLAT, Kind
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.flat_parts import NotSquare
from reviewkit.signal.step_response import FEWEST_SAMPLES_IN_RISE, MOST_NOISE, Figure, Step, read_square

_UNSEEN_PERCENT = 0.1
_MOST_OF_RISE = 1 / 3  # of the rise time read: a capture's own filter overshoots, too
_BEFORE, _AFTER = 1.0, 3.0  # of the rise time, on each side of the magnified edge


def _steps(sheet: Sheet) -> list[tuple[Column, Step]]:
    """Return each channel's square wave as read. Raise InputError if one isn't a square wave."""
    rate_hz = sample_rate_hz(sheet)
    found = []
    for column in sheet.all("level"):
        samples, _ = waveform_samples(column, sheet.source)
        try:
            found.append((column, read_square(samples, rate_hz)))
        except NotSquare as why:
            channel = f"channel {column.channel}" if column.channel else "the capture"
            raise sheet.fault(f"{channel} has no square wave that can be read: {why}") from None
    return found


def _why_no_edge(step: Step, bench: Finding | None) -> str:
    """Return why rise time and overshoot are withheld; "" if they aren't."""
    if step.noise > 100 * MOST_NOISE:
        return f"the noise is {quantities.percent(step.noise)} of the step"
    if bench is not None and bench.value > _MOST_OF_RISE * step.rise_s.value:
        own, read = (quantities.shown(value, "seconds") for value in (bench.value, step.rise_s.value))
        return f"the bench looped back rises in {own} by itself, more than a third of the {read} read"
    if step.samples_in_rise < FEWEST_SAMPLES_IN_RISE:
        rate_hz = step.samples_in_rise / step.rise_s.value
        own = quantities.shown(0.35 / (rate_hz / 2), "seconds")
        return (
            f"the edge takes {step.samples_in_rise:.1f} samples at {quantities.hertz(rate_hz)}, and a capture at that "
            f"rate rises in {own} by itself; capture at a higher rate"
        )
    return ""


def _with_benchs_rise(rise_s: Figure, bench: Finding | None) -> Figure:
    """Return a rise time whose expanded uncertainty covers what the bench's own rise adds to it.

    Notes
    -----
    Rise times in a chain add in quadrature (handbooks, from memory).
    """
    if bench is None or bench.value > rise_s.value:
        return rise_s
    added_s = rise_s.value - math.sqrt(rise_s.value**2 - bench.value**2)
    return Figure(rise_s.value, math.hypot(rise_s.uncertainty, added_s))


def _looped_back(c: Conditions, channel: str) -> Finding | None:
    """Return the slowest rise time of the bench looped back on itself, in this channel if it was read there."""
    rises = [f for f in c.floor if f.quantity == "rise_time" and c.measurement.stage != "bench"]
    same = [f for f in rises if f.channel == channel]
    return max(same or rises, key=lambda f: f.value, default=None)


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return rise_time, overshoot and tilt per channel, of the rising edges, over all periods overlaid.

    rise_time: s, 10 % to 90 % of the step. overshoot: % of the step. tilt: %, the fall of a flat part over half a
    period relative to its height above the middle.
    """
    got = figures.Collected(c)
    for column, step in _steps(sheet):
        got.curves.append(_period(column, step))
        bench = _looped_back(c, column.channel)
        why = _why_no_edge(step, bench)
        if why:
            got.withhold(f"no rise time and no overshoot, {why}", column.channel)
        rise_s = _with_benchs_rise(step.rise_s, bench)
        for quantity, figure in (("rise_time", rise_s), ("overshoot", step.overshoot), ("tilt", step.tilt)):
            if not why or quantity == "tilt":
                at = {"uncertainty": figure.uncertainty, "frequency": step.frequency_hz}
                got.add(quantity, column.channel, figure.value, **at)
    return got.measured


def _period(column: Column, step: Step) -> Curve:
    """Return one period of a channel, its rising edge's middle at 0 (x: s, y: in the data's unit), with its facts."""
    facts = {
        "unit": "V" if column.unit == "V" else "of full scale",
        "frequency_hz": float(step.frequency_hz),
        "base": float(step.base),
        "top": float(step.top),
        "rise_s": float(step.rise_s.value),
        "low_s": float(step.low_s),
        "high_s": float(step.high_s),
    }
    return Curve("period", column.channel, read_only(step.time_s), read_only(step.wave), facts)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the rising edge magnified, in percent of its step, 10 % and 90 % ringed."""
    main = figures.main_run(runs)
    rises = figures.by_channel(main, "rise_time")
    slowest = quantities.worse(rises)
    periods = [period for run in runs for period in run.curves]
    rise_s = max(period.facts["rise_s"] for period in periods)
    edges: list[Trace] = []
    marks: list[Mark] = []
    for run in runs:
        role = figures.trace_role(run, runs)
        for period in run.curves:
            channel, facts, label = period.channel, period.facts, figures.end_label(period.channel, run, runs)
            near = (period.x >= -_BEFORE * rise_s) & (period.x <= _AFTER * rise_s)
            shape = 100 * (period.y[near] - facts["base"]) / (facts["top"] - facts["base"])
            edges.append(Trace(1e6 * (period.x[near] + _BEFORE * rise_s), shape, channel, role, label))
            if run is main and slowest is not None and slowest.channel == channel and not marks:
                marks = [
                    Mark(1e6 * (at_s + _BEFORE * rise_s), level, f"{level:.0f} %", channel)
                    for at_s, level in ((facts["low_s"], 10.0), (facts["high_s"], 90.0))
                ]
    x_axis = replace(scales.milliseconds(1000 * (_BEFORE + _AFTER) * rise_s), unit="µs")
    panel = Panel(x_axis, _percent(edges), tuple(edges), (), tuple(marks))
    looped_back = main.conditions.measurement.stage == "bench" or _looped_back(main.conditions, "") is not None
    return figures.card(
        runs,
        KIND.title,
        Chart((panel,)),
        figures.off_the_dial(figures.hero(slowest, rises)),
        [f for f in main.findings if f.quantity in ("rise_time", "overshoot", "tilt")],
        (quantities.hertz(periods[0].facts["frequency_hz"]), *(("bench not looped back",) if not looped_back else ())),
    )


def _percent(edges: Sequence[Trace]) -> Axis:
    """Return a scale in percent of the step, from just below its start to above all overshoot."""
    highest = max(float(np.max(trace.y)) for trace in edges)
    lowest = min(float(np.min(trace.y)) for trace in edges)
    low, high = 20 * np.floor(min(lowest, -5) / 20), 20 * np.ceil(max(highest + 2, 105) / 20)
    ticks = ((0.0, "0"), (50.0, "50"), (100.0, "100 %"))
    return Axis(float(low), float(high), "linear", ticks, "%")


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return rise time and overshoot of the worse channel, the tilt of the tops, and what they were before."""
    found = {name: quantities.worse(figures.by_channel(run, name)) for name in ("rise_time", "overshoot", "tilt")}
    frequency = next((f.at["frequency"] for f in found.values() if f is not None), None)
    if frequency is None:
        return ()
    # an overshoot or a tilt within its own uncertainty, or too small for a screen, counts as none
    seen = {name: f for name, f in found.items() if name == "rise_time" or (f is not None and _is_seen(f))}
    was = {f"{name}_before": quantities.worse(figures.by_channel(before, name)) for name in found}
    facts = {**dict.fromkeys(found), **seen, **was, "frequency": frequency}
    return (run.point("edge", **facts),)


def _is_seen(finding: Finding) -> bool:
    return abs(finding.value) > max(_UNSEEN_PERCENT, finding.uncertainty or 0.0)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    hz = spot_hz(rating)
    at = basis.named(rating, "load") | ({"frequency": hz} if rating.quantity == "tilt" else {})
    wording = {"frequencies": (hz,), "quantities": (rating.quantity,)}
    return (basis.request(rating, (rating.quantity,), at, SQUARE, SMALL_SHARE, apart=(hz,), wording=wording),)


KIND = Kind(
    name="square",
    title="Square wave",
    about="a square wave of some periods: time and volts of one or both channels, or a WAV capture",
    needs=(("time", "level"),),
    compared=("rise_time",),
    asks=FLAT,
    findings=findings,
    card=card,
    points=points,
    keys=("drive",),
    file_words="square ?(?:wave)?",
    signal="square",
    recipes={"rise_time": _request, "overshoot": _request, "tilt": _request},
)
