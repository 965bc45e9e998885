"""Figures over a level or a position that was set: a tuner's sensitivity, a tape's highest level, a player's linearity,
the tracking of a volume control.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.measure.distortion import above_zero, distortion_percent, figure_of
from reviewkit.measure.tuner_signals import aerial_dbf, in_microvolts, noise_db
from reviewkit.model import quantities, rating_words
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.capture_request import ALONE, AS_USED, Basis, CaptureRequest
from reviewkit.model.card import Axis, Card, Chart, Limit, Mark, Panel, Trace
from reviewkit.model.digits import trimmed
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import NOT_THIRD_ALONE, SWEEP_ENDS, WITHOUT_NOISE
from reviewkit.model.kind import QUIET, Kind
from reviewkit.model.level import Level
from reviewkit.model.recognised import THIRD_HARMONIC, Ask, Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.unstated_conditions import RADIO
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import amplitude_of_db, db_of_amplitude, relative_db
from reviewkit.signal.level_steps import linearity_db

QUIETING, USABLE, MOL = "50_db_quieting_sensitivity", "usable_sensitivity", "maximum_output_level"
LINEARITY, TRACKING = "linearity_error", "volume_tracking"
# noise 50 dB below the tone; 3 % of noise and distortion (IHF-T-200, from memory); 3 % of third harmonic (DIN 45500)
_QUIET_DB, _LIMIT_PERCENT = -50.0, 3.0
_USABLE_DB = float(db_of_amplitude(_LIMIT_PERCENT / 100))
_REFERENCE_FLUX = Level(250.0, "nWb/m")  # in which a flux is given if no other reference is stated (IEC 60094)
# of calibration tapes (IEC 60094, noise reduction, American and European reels; from memory)
_USUAL_FLUXES = ("250 nWb/m", "200 nWb/m", "185 nWb/m", "320 nWb/m")
_AT_LIMIT = f"at {_LIMIT_PERCENT:g} % distortion"
_FLUX = re.compile(r"\bre\.?\s+([\d.]+)\s*nWb/m")
_ONE_RANGE_DB = 40.0
# what the bench drives otherwise doesn't apply
_AS_SET: dict[str, Any] = {"load_ohm": None, "drive": None, "channels": ""}


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return what the sweep's unit and columns allow, per channel.

    50_db_quieting_sensitivity and usable_sensitivity (dBf) over the signal at the aerial; maximum_output_level (dB
    relative to a flux) over the flux of a tape; linearity_error (dB) over a player's level, at its worst and at each
    rated level; volume_tracking (dB, left over right) at its worst over the positions of a control.

    Raises
    ------
    InputError
        If what was set, or what a level is relative to, isn't clear.
    """
    c, sheet = c.but(**_AS_SET), _above_nothing(sheet)
    step, unit = sheet.need("set").header, sheet.need("set").unit
    if not sheet.find(needed := {"dBFS": "level", "nWb/m": "distortion"}.get(unit, "set")):
        raise sheet.fault(f'over "{step}", in {unit}, a column of {needed} is read; export it, or is the unit another?')
    if unit in ("dBf", "dBµV", "V"):
        return _tuner(sheet, c)
    if unit == "dBFS":
        return _player(sheet, c)
    return _tape(sheet, c) if unit == "nWb/m" or sheet.find("distortion") else _control(sheet, c)


def _above_nothing(sheet: Sheet) -> Sheet:
    """Return a file without the rows in which nothing was set, for volts and flux have no decibels there.

    Raises
    ------
    InputError
        If there is no other.
    """
    step = sheet.need("set")
    some = step.values > 0
    if step.unit not in ("V", "nWb/m") or np.all(some):
        return sheet
    if not np.any(some):
        raise sheet.fault(f'"{step.header}" is never above zero; export the levels that were set')
    return replace(sheet, columns=tuple(replace(each, values=read_only(each.values[some])) for each in sheet.columns))


# ------------------------------------------------------------------ a tuner


def _tuner(sheet: Sheet, c: Conditions) -> Measured:
    dbf = aerial_dbf(sheet.need("set"), c)
    drawn = [Curve("noise", column.channel, dbf, noise_db(column, c)) for column in sweeps.levels_of(sheet)]
    for column in sheet.all("distortion"):
        x, percent = above_zero(dbf, distortion_percent(column))
        facts = {"alone": figure_of(column) == "THD"}
        drawn.append(Curve("distortion", column.channel, x, read_only(db_of_amplitude(percent / 100)), facts))
    found, withheld = [], []
    for curve in drawn:
        quantity, limit_db = (QUIETING, _QUIET_DB) if curve.name == "noise" else (USABLE, _USABLE_DB)
        if c.measurement.input.upper() in RADIO[1:]:
            withheld.append(f"{c.measurement.id}: no sensitivity, its definitions here are those of FM")
            continue
        at: dict[str, Any] = {"limit": _LIMIT_PERCENT, "where": _AT_LIMIT} if quantity == USABLE else {}
        place, ends = _last_fall(curve.x, curve.y, limit_db)
        if place is None:
            withheld.append(f"{c.measurement.id}: {curve.name} never falls to {trimmed(limit_db)} dB")
        else:
            made = figures.finding(c, quantity, curve.channel, place, uncertainty=c.bench.level_uncertainty_db, **at)
            made = figures.bounded(made, "at most", SWEEP_ENDS) if ends else made
            found.append(figures.bounded(made, "at least", WITHOUT_NOISE) if curve.facts.get("alone") else made)
    return Measured(tuple(found), tuple(dict.fromkeys(withheld)), tuple(drawn))


def _last_fall(x_db: Array, y: Array, limit: float) -> tuple[float | None, bool]:
    """Return from which level on a curve stays below a limit, dB, as far as its minimum, and whether that is only the
    first point.
    """
    lowest = int(np.argmin(y)) if len(y) else 0
    if not len(y) or y[lowest] > limit:
        return None, False
    at = curves.crossing(amplitude_of_db(x_db), -y, -limit, lowest, -1, curved=True)
    return (float(x_db[0]), True) if at is None else (float(db_of_amplitude(at)), False)


# ------------------------------------------------------------------ a tape


def _tape(sheet: Sheet, c: Conditions) -> Measured:
    level_db, reference = _flux_db(sheet.need("set"), c)
    under: dict[str, Any] = {"reference_level": [reference.value, reference.unit, ""], "limit": _LIMIT_PERCENT}
    under |= {"where": _AT_LIMIT, "frequency": c.measurement.frequency_hz}
    found, withheld, drawn = [], [], []
    for column in sheet.all("distortion"):
        x, percent = above_zero(level_db, distortion_percent(column))
        drawn.append(Curve("distortion", column.channel, x, percent, {"reference": quantities.level_text(reference)}))
        lowest = int(np.argmin(percent)) if len(percent) else 0
        if not len(percent) or percent[lowest] > _LIMIT_PERCENT:
            withheld.append(
                f"{c.measurement.id}: no maximum output level, distortion never falls to {_LIMIT_PERCENT:g} %"
            )
            continue
        at = curves.crossing(amplitude_of_db(x), np.log(percent), math.log(_LIMIT_PERCENT), lowest, +1)
        value = float(x[-1] if at is None else db_of_amplitude(at))
        made = figures.finding(c, MOL, column.channel, value, uncertainty=c.bench.level_uncertainty_db, **under)
        if at is None or not THIRD_HARMONIC.search(column.header):
            made = figures.bounded(made, "at least", SWEEP_ENDS if at is None else NOT_THIRD_ALONE)
        found.append(made)
    return Measured(tuple(found), tuple(withheld), tuple(drawn))


def _flux_db(column: Column, c: Conditions) -> tuple[Array, Level]:
    """Return the level in dB relative to a flux, and that flux: the session's, the header's, else 250 nWb/m of a file
    in nWb/m.
    """
    stated, written = c.measurement.reference_level, _FLUX.search(column.header)
    if written and stated is None:
        stated = Level(float(written[1]), "nWb/m")
    if stated is not None and stated.unit != "nWb/m":
        raise c.fault('reference_level is not a flux; write for example reference_level = "250 nWb/m"')
    if column.unit == "nWb/m":
        reference = stated or _REFERENCE_FLUX
        return read_only(db_of_amplitude(column.values / reference.value)), reference
    if stated is None:
        raise c.fault(f'what is 0 dB of "{column.header}"? Write for example reference_level = "250 nWb/m"')
    return column.values, stated


# ------------------------------------------------------------------ a player, a volume control


def _player(sheet: Sheet, c: Conditions) -> Measured:
    steps = sheet.need("set").values
    wanted = [r.level.value for r in figures.rated(c, LINEARITY) if r.level is not None and r.level.unit == "dBFS"]
    found, drawn = [], []
    for column in sweeps.levels_of(sheet):
        x, y = map(read_only, linearity_db(steps, relative_db(column.values, column.unit)))
        worst = int(np.argmax(np.abs(y)))
        drawn.append(Curve("deviation", column.channel, x, y, {"unit": "dBFS", "worst": float(x[worst])}))
        where, swept = f"at {trimmed(x[worst])} dBFS", f"{trimmed(x[0])} to {trimmed(x[-1])} dBFS"
        found.append(_linear(c, column, float(x[-1] - x[worst]), float(y[worst]), where=where, swept=swept))
        for dbfs in (level for level in dict.fromkeys(wanted) if x[0] <= level <= x[-1]):
            found.append(_linear(c, column, float(x[-1]) - dbfs, float(np.interp(dbfs, x, y)), dbfs=dbfs))
    return Measured(tuple(found), (), tuple(drawn))


def _linear(c: Conditions, column: Column, down_db: float, value: float, **at: Any) -> Finding:
    """Return a deviation. Within 40 dB of the highest step it is read on one range, where the bench's share cancels."""
    level_db = c.bench.level_uncertainty_db
    unsure = math.sqrt(2) * level_db if level_db and down_db > _ONE_RANGE_DB else None
    return figures.finding(c, LINEARITY, column.channel, value, uncertainty=unsure, **at)


def _control(sheet: Sheet, c: Conditions) -> Measured:
    steps = sheet.need("set")
    there = {column.channel: column for column in sweeps.levels_of(sheet)}
    if not {"L", "R"} <= set(there):
        raise sheet.fault(f'over "{steps.header}", both channels are compared: export the levels of left and right')
    left, right = there["L"], there["R"]
    if left.unit != right.unit:
        raise sheet.fault(f"left in {left.unit} and right in {right.unit}: export both in one unit")
    apart_db = read_only(relative_db(left.values, left.unit) - relative_db(right.values, right.unit))
    worst = int(np.argmax(np.abs(apart_db)))
    set_to = (float(steps.values[index]) for index in (worst, 0, -1))
    place, first, last = (f"{trimmed(v)} dB" if steps.unit == "dB" else f"position {v:g}" for v in set_to)
    at: dict[str, Any] = {"where": f"at {place}", "swept": f"{first} to {last}"}
    found = figures.finding(c, TRACKING, "both", apart_db[worst], **at)
    drawn = Curve("tracking", "", steps.values, apart_db, {"unit": steps.unit, "worst": float(steps.values[worst])})
    return Measured((found,), (), (drawn,))


# ------------------------------------------------------------------ its card

# of each figure, in the order in which a card takes one: the card's subject, its sentence
_SHOWN = {
    QUIETING: ("50 dB quieting sensitivity", "quieting"),
    USABLE: ("Usable sensitivity", "usable"),
    MOL: ("Maximum output level", "tape"),
    LINEARITY: ("Linearity", "linearity"),
    TRACKING: ("Volume tracking", "tracking"),
}


def _key(run: Run) -> tuple[Finding | None, list[Finding]]:
    """Return the figure that a card shows large, and that of every channel."""
    for quantity in _SHOWN:
        found = [f for f in figures.by_channel(run, quantity) if quantity != LINEARITY or "swept" in f.at]
        if found:
            return quantities.worse(found), found
    return None, []


def _at_rated_level(run: Run) -> Finding | None:
    """Return the worst linearity error at a level that the maker names; None if none is named."""
    return quantities.worse([f for f in figures.by_channel(run, LINEARITY) if "dbfs" in f.at])


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the curve over what was set, with its crossing or its worst place ringed."""
    runs = [run.but(**_AS_SET) for run in runs]
    if "before" in {figures.trace_role(run, runs) for run in runs}:
        runs = [_alone(run) for run in runs]  # two curves each would be too many
    main = figures.main_run(runs)
    key, found = _key(main)
    subject = _SHOWN[key.quantity][0] if key else KIND.title
    x, y = _axes(runs)
    limits = tuple(limit for r in main.conditions.ratings if (limit := _limit(r, x)) is not None)
    marks = tuple(mark for run in runs for mark in _marks(run, runs))
    label = {TRACKING: "left over right", MOL: "distortion"}.get(key.quantity, "") if key else ""
    panel = Panel(
        x, y, tuple(_traces(runs)), limits, marks, label=label, one_channel=bool(key and key.quantity == TRACKING)
    )
    hero = figures.hero(key, found)
    hero = replace(hero, note=in_microvolts(key), x=None, y=None) if hero and key else None
    of_tape, hz = main.curves[0].facts.get("reference"), main.conditions.measurement.frequency_hz
    more = (f"re {of_tape}" if of_tape else "", quantities.hertz(hz) if hz else "")
    return figures.card(runs, subject, Chart((panel,)), hero, main.findings, more)


def _alone(run: Run) -> Run:
    """Return a run with the figure that its card shows large, and what that was read from."""
    key, found = _key(run)
    name = "distortion" if key and key.quantity == USABLE else run.curves[0].name
    return replace(run, findings=tuple(found), curves=tuple(curve for curve in run.curves if curve.name == name))


def _axes(runs: Sequence[Run]) -> tuple[Axis, Axis]:
    drawn = [curve for run in runs for curve in run.curves if len(curve.x)]
    ends = [float(v) for curve in drawn for v in (curve.x[0], curve.x[-1])] or [0.0, 1.0]
    values = figures.extents(drawn) or [1.0]
    first = drawn[0] if drawn else None
    if first is None or first.name in ("deviation", "tracking"):
        name = {"deviation": "level on the disc", "tracking": "volume control"}[first.name] if first else ""
        x = scales.along(min(ends), max(ends), first.facts["unit"] if first else "dB")
        return replace(x, name=name), scales.around_zero(max(map(abs, values)))
    if "reference" in first.facts:
        x = scales.along(min(ends), max(ends), "dB")
        return replace(x, name="level on the tape"), scales.decades([*values, _LIMIT_PERCENT], "%")
    x = scales.along(min(ends), max(ends), "dBf")
    return replace(x, name="signal at the aerial"), scales.twenties([*values, _QUIET_DB])


def _traces(runs: Sequence[Run]) -> list[Trace]:
    """Return the curves, named by channel and run; those of a file of two, also by what they are."""
    traces = []
    for run in runs:
        several = len({curve.name for curve in run.curves}) > 1
        for curve in run.curves:
            alone = curve.name == "noise" and len(run.curves) == 1  # nothing else on the card names it
            what = curve.name if several or alone else ""
            label = " ".join(filter(None, (figures.end_label(curve.channel, run, runs), what)))
            traces.append(Trace(curve.x, curve.y, curve.channel, figures.trace_role(run, runs), label))
    return traces


def _marks(run: Run, runs: Sequence[Run]) -> list[Mark]:
    """Return the places of the card's figure and of a usable sensitivity, on the curves of its channel."""
    role, key = figures.trace_role(run, runs), _key(run)[0]
    height, marks = {QUIETING: _QUIET_DB, USABLE: _USABLE_DB, MOL: _LIMIT_PERCENT}, []
    for f in run.findings:
        if key and f.quantity in height and f.channel == key.channel and f.at.get("method") != SWEEP_ENDS:
            text = f"usable, {quantities.show(f)}" if f.quantity != key.quantity else ""
            marks.append(Mark(f.value, height[f.quantity], text, f.channel, role, optional=True))
    if key is not None and (rated := _at_rated_level(run)):
        marks.append(Mark(rated.at["dbfs"], rated.value, "", rated.channel, role))
    elif key is not None and key.quantity in (LINEARITY, TRACKING):
        curve = next(c for c in run.curves if c.channel in (key.channel, ""))
        marks.append(Mark(curve.facts["worst"], key.value, "", curve.channel, role))
    return marks


def _limit(rating: Rating, x: Axis) -> Limit | None:
    """Return a rating as the part of the chart that a curve may not enter; None if it has none here."""
    text = f"rated {rating_words.limit_text(rating)}"
    most, least = rating.at_most, rating.at_least
    if rating.quantity in (QUIETING, USABLE) and most is not None and rating.unit == x.unit == "dBf":
        return Limit(None, _QUIET_DB if rating.quantity == QUIETING else _USABLE_DB, most, x.high, text, rating)
    if rating.quantity == MOL and least is not None and rating.unit == "dB":
        return Limit(None, _LIMIT_PERCENT, x.low, least, f"{quantities.percent(_LIMIT_PERCENT)} distortion", rating)
    within = rating.within or ((-most, most) if most is not None else None)
    if rating.quantity in (LINEARITY, TRACKING) and within and rating.level is None:
        return Limit(*within, x.low, x.high, text, rating)
    return None


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the card's figure with where it holds, the usable sensitivity besides, and what it was before."""
    key, found = _key(run)
    if key is None:
        return ()
    was = _key(before)[0] if before else None
    rated = _at_rated_level(run) if key.quantity == LINEARITY else None
    facts = {
        "key": key,
        "several": len(found) > 1,
        "usable": run.get(USABLE, key.channel) if key.quantity == QUIETING else None,
        "microvolts": in_microvolts(key).split(",")[0],
        "where": key.at.get("where", ""),
        "reference": run.curves[0].facts.get("reference", ""),
        "before": was if was and was.quantity == key.quantity else None,
        "rated": rated,
        "rated_at": f"{trimmed(rated.at['dbfs'])} dBFS" if rated else "",
        "settings": figures.settings(run.conditions.measurement),
    }
    return (run.point(_SHOWN[key.quantity][1], **facts),)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return this kind for a file whose columns say what was set."""
    step = sheet.find("set")
    if step is None:
        return None
    asks: tuple[Ask, ...] = ()
    if step.unit in ("V", "dBµV"):
        across = f'"{step.header}" is in volts: across which impedance at the aerial?'
        whose = f'is "{step.header}" with the tuner connected, or the generator\'s own e.m.f., which is twice that?'
        asks = (Ask("aerial", across, ("75 ohm", "300 ohm")), Ask("microvolts", whose, ("terminated", "e.m.f.")))
    elif step.unit == "dB" and sheet.find("distortion") and not _FLUX.search(step.header):
        asks = (Ask("reference_level", f'what is 0 dB of "{step.header}"?', _USUAL_FLUXES),)
    return Content((KIND.name,), f'readings over what was set, "{step.header}"', asks=asks)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request a sweep; none of AM, whose sensitivity is another figure."""
    if rating.unit == "V/m" or rating.input.upper() in RADIO[1:]:
        return ()
    names = (rating.quantity,)
    apart = (QUIETING,) if rating.quantity == USABLE else names  # one sweep has both
    return (CaptureRequest("", "", names, {}, AS_USED, place=ALONE, apart=apart, wording={"names": names}),)


KIND = Kind(
    name="level-sweep",
    title="Over level",
    about="a level or a position that was set, and the noise, the distortion or the output there",
    needs=(("set", "level"), ("set", "distortion")),
    compared=tuple(_SHOWN),
    asks=QUIET,
    headlines=tuple(_SHOWN),
    findings=findings,
    card=card,
    points=points,
    keys=("aerial", "microvolts", "reference_level", "frequency"),
    file_words="quieting|mol|linearity|volume tracking",
    recognise=recognise,
    recipes=dict.fromkeys(_SHOWN, _request),
    optional_line='#reference_level = "250 nWb/m"  # of a tape: what 0 dB is',
)
