"""Output source impedance and damping factor, over frequency or from two loads."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.model import digits, quantities
from reviewkit.model.capture_request import (
    LINE,
    METER,
    SWEEP,
    TERMINALS,
    USUAL_SHARE,
    Basis,
    CaptureRequest,
    band_or_spot,
)
from reviewkit.model.card import Axis, Card, Chart, Limit, Number, Panel, Rows, Trace
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import POWER, Kind
from reviewkit.model.level import Level
from reviewkit.model.named_conditions import TAP
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Sheet
from reviewkit.model.units import UnitError, read_quantity
from reviewkit.model.unstated_conditions import FREQUENCY_HZ
from reviewkit.model.verdict import Verdict
from reviewkit.signal.impedance import is_load
from reviewkit.signal.tone import AUDIO_BAND_HZ

_LOADS = "load speaker loudspeaker woofer tweeter driver headphone headphones cartridge".split()
_NOT_OF_A_LOAD = "".join(f"(?<!{word} )" for word in _LOADS)
_HIGHEST_SOURCE_OHM = 4.0  # above it, it may be the impedance of something else: a loudspeaker, an input


def two_load(volts_a: float, load_a: float, volts_b: float, load_b: float) -> float:
    """Return the source impedance from two readings, Ω; infinite if both loads draw the same current.

    `load_a`, `load_b`: Ω, math.inf for no load.

    Notes
    -----
    (Va − Vb) / (Vb/Rb − Va/Ra) (circuit theory).
    """
    current = volts_b / load_b - volts_a / load_a
    return (volts_a - volts_b) / current if current else math.inf


def two_load_uncertainty(
    volts: tuple[float, float], loads: tuple[float, float], u_volts: tuple[float, float], u_loads: tuple[float, float]
) -> float:
    """Return the standard uncertainty of `two_load`, Ω, from those of its readings (V) and loads (Ω), all independent.

    Notes
    -----
    GUM first order, JCGM 100:2008, from memory. A gain error of the meter is common to both readings, cancels in the
    quotient, and is left out.
    """
    impedance = two_load(volts[0], loads[0], volts[1], loads[1])
    current = volts[1] / loads[1] - volts[0] / loads[0]
    shares = [(1 + impedance / loads[i]) / current * u_volts[i] for i in (0, 1)]
    shares += [impedance / current * volts[i] / loads[i] ** 2 * u_loads[i] for i in (0, 1) if math.isfinite(loads[i])]
    return math.hypot(*shares)


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return source_impedance (Ω) and damping_factor at 1 kHz and each rated frequency, and damping_factor_lowest over
    20 Hz – 20 kHz and each rated band, per channel. A line output damps no loudspeaker, so it has no such factor.

    From two loads: the first two, at the frequency stated.

    Raises
    ------
    InputError
        If it is the impedance of a load.
    """
    found = _over_frequency(sheet, c) if sheet.columns else _from_loads(c)
    if c.gear is None or c.gear.loads:
        return found
    without = [f for f in found.findings if not f.quantity.startswith("damping_factor")]
    return replace(found, findings=tuple(without), withheld=() if without else found.withheld)


def _over_frequency(sheet: Sheet, c: Conditions) -> Measured:
    load_ohm = c.measurement.load_ohm
    frequency_hz = sheet.need("frequency").values
    if all(is_load(frequency_hz, column.values) for column in sheet.all("impedance")):
        what = "it has a resonance, as a loudspeaker's impedance has and an output's hasn't"
        raise sheet.fault(f'{what}; write kind = "load-impedance"')
    got = figures.Collected(c)
    for column in sheet.all("impedance"):
        got.curves.append(Curve("", column.channel, frequency_hz, column.values))
        for spot in figures.spots_hz(c, "source_impedance", "damping_factor"):
            ohms = curves.value_at(frequency_hz, column.values, spot)
            if ohms is not None and ohms > 0:
                got.add("source_impedance", column.channel, ohms, frequency=spot)
                if load_ohm:
                    got.add("damping_factor", column.channel, load_ohm / ohms, frequency=spot)
        if not load_ohm:
            got.withhold('no damping factor, the load is not stated; write load = "8 ohm"')
            continue
        bands = dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, "damping_factor")])
        highest = sweeps.worst_in_bands(c, "damping_factor_lowest", column.channel, frequency_hz, column.values, bands)
        # as at one frequency: zero impedance has no ratio
        got.findings += [replace(f, value=load_ohm / f.value) for f in highest if f.value > 0]
    return got.measured


def _from_loads(c: Conditions) -> Measured:
    m = c.measurement
    if len(m.loads_ohm) != 2 or not m.volts:
        raise c.fault(
            'give a file, or two readings: loads = ["open", "8 ohm"] and volts = { L = ["12.71 V", "12.46 V"] }'
        )
    loads = (m.loads_ohm[0], m.loads_ohm[1])
    closed = [ohms for ohms in loads if math.isfinite(ohms)]
    # the factor is relative to the load stated, else to the only load connected
    reference_ohm = m.load_ohm or closed[0]
    # tolerances are rectangular limits, u = a/√3; a last digit d hides ± half of it, u = d/√12 (GUM)
    tolerance = (c.bench.load_tolerance_percent or 0.0) / 100 / math.sqrt(3)
    u_loads = (loads[0] * tolerance, loads[1] * tolerance) if tolerance else (0.0, 0.0)
    got = figures.Collected(c)
    shared = {"frequency": m.frequency_hz, "method": "two loads", "load": reference_ohm}
    for channel, readings in m.volts.items():
        volts = (readings[0], readings[1])
        u_volts = m.volts_step[channel] / math.sqrt(12)
        impedance = two_load(volts[0], loads[0], volts[1], loads[1])
        known = math.isfinite(impedance)
        expanded = 2 * two_load_uncertainty(volts, loads, (u_volts, u_volts), u_loads) if known else 0.0
        if not known or impedance + expanded <= 0:
            why = "no source gives these two voltages; check which of them was read at which load"
            got.withhold(f"no source impedance for {channel or 'the channel'}: {why}")
        elif impedance < 2 * expanded:
            got.findings += _bounds(c, channel, impedance + expanded, reference_ohm, shared)
        else:
            got.findings += _figures(c, channel, impedance, expanded, reference_ohm, shared)
    return got.measured


def _figures(
    c: Conditions, channel: str, impedance: float, expanded: float, reference_ohm: float, shared: Mapping[str, Any]
) -> list[Finding]:
    """Return both figures, the factor with its bounds.

    The bounds are R / (Z + U) and R / (Z − U), which its uncertainty, being of first order, only approximates.
    """
    factor = reference_ohm / impedance
    between = [reference_ohm / (impedance + expanded), reference_ohm / (impedance - expanded)]
    of_factor = factor * expanded / impedance
    return [
        figures.finding(c, "source_impedance", channel, impedance, uncertainty=expanded, **shared),
        figures.finding(c, "damping_factor", channel, factor, uncertainty=of_factor, interval=between, **shared),
    ]


def _bounds(
    c: Conditions, channel: str, highest_ohm: float, reference_ohm: float, shared: Mapping[str, Any]
) -> list[Finding]:
    """Return upper bounds of the impedance, if half the difference or more may be the meter's last digit."""
    return [
        replace(figures.finding(c, "source_impedance", channel, highest_ohm, **shared), bound="at most"),
        replace(figures.finding(c, "damping_factor", channel, reference_ohm / highest_ohm, **shared), bound="at least"),
    ]


def between(factor: Finding) -> str:
    """Return the bounds of a damping factor, to the digits its uncertainty carries: "82 to 108".

    "" if it has no uncertainty, or one too small to be seen in those digits.
    """
    carried = digits.decimals_of(factor.uncertainty)
    if carried is None or factor.uncertainty is None:
        return ""
    decimals = min(0 if factor.value >= 10 else 1, carried)
    step = 10.0**-decimals
    if factor.uncertainty < step / 2:
        return ""
    # rounded outwards, so that the true factor lies between the two printed numbers
    ends = [
        digits.fixed(outwards(end / step) * step, decimals)
        for end, outwards in zip(factor.at.get("interval", ()), (math.floor, math.ceil), strict=False)
    ]
    return " to ".join(ends)


def _at_spot(run: Run, quantity: str) -> list[Finding]:
    """Return a sweep's figures at the rated frequency, else 1 kHz, or those of two loads, wherever they were read."""
    found = figures.by_channel(run, quantity)
    if not run.conditions.measurement.file:
        return found
    rated = figures.rated(run.conditions, "damping_factor", "source_impedance")
    return sweeps.at_rated_frequency(found, rated, FREQUENCY_HZ)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return impedance over frequency; if only two loads were read, the worse channel's figure."""
    main = figures.main_run(runs)
    factors = _at_spot(main, "damping_factor")
    impedance = _at_spot(main, "source_impedance")
    title = "Damping factor" if factors else "Source impedance"
    found = factors or impedance
    if not any(run.conditions.measurement.file for run in runs):
        hz = impedance[0].at.get("frequency") if impedance else None
        at = quantities.hertz(hz) if hz is not None else ""
        body = Number(*_in_large(found, runs, verdicts)) if found else Rows(("",), ())
        return figures.card(runs, title, body, None, [*factors, *impedance], (at, "from two loads"))
    if factors:
        traces, y_axis = _as_factors(runs)
    else:
        traces = [figures.trace(curve, run, runs) for run in runs for curve in run.curves]
        y_axis = scales.upward(max(figures.extents(traces)), "Ω")
    limits = tuple(
        Limit(r.at_least, None, *sweeps.span_of(r), f"rated {r.at_least:g}", r)
        for r in figures.rated(main.conditions, "damping_factor")
        if r.at_least is not None
    )
    return figures.card(
        runs,
        title,
        Chart((Panel(scales.dial_for(traces), y_axis, tuple(traces), limits if factors else ()),)),
        figures.hero(quantities.worse(found), found),
        [*factors, *impedance],
    )


def _in_large(found: Sequence[Finding], runs: Sequence[Run], verdicts: Sequence[Verdict]) -> tuple[str, str]:
    """Return the worse channel's figure and, below it, whose it is, then its verdict or what it was before."""
    worst = quantities.worse(found) or found[0]
    name = quantities.quantity_of(worst).name
    whose = figures.channel_name(worst.channel)
    rating = next((f"rated {v.limit}: {v.verdict}" for v in verdicts if v.verdict and v.findings[:1] == (worst,)), "")
    earlier = [run for run in runs if run.conditions.measurement.stage == "before"]
    old = next((each for run in earlier if (each := run.get(worst.quantity, worst.channel))), None)
    was = f"before: {quantities.show(old)}" if old is not None and old is not worst else ""
    sentence = ", ".join(filter(None, (f"{name[0].upper()}{name[1:]}", whose, rating or was)))
    return quantities.with_uncertainty(worst), sentence


def _as_factors(runs: Sequence[Run]) -> tuple[list[Trace], Axis]:
    """Return the damping factors over frequency and their scale; zero impedance has none."""
    traces = []
    for run in runs:
        load_ohm = run.conditions.measurement.load_ohm
        for curve in run.curves:
            good = curve.y > 0
            if load_ohm and good.any():
                factors = replace(curve, x=curve.x[good], y=load_ohm / curve.y[good])
                traces.append(figures.trace(factors, run, runs))
    return traces, scales.decades(figures.extents(traces), "", fewest=1)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the source impedance at the card's frequency and its damping factor, and what it was before."""
    m = run.conditions.measurement
    impedance = _at_spot(run, "source_impedance")
    factors = _at_spot(run, "damping_factor")
    lowest = figures.by_channel(run, "damping_factor_lowest")
    if not impedance:
        return ()
    was = _at_spot(before, "damping_factor") if before else []
    worst = quantities.worse(factors)
    return (
        run.point(
            "damping",
            impedance=max(impedance, key=lambda f: f.value),
            worse=worst,
            between=between(worst) if worst else "",
            lowest=quantities.worse(lowest),
            frequency=impedance[0].at.get("frequency"),
            two_loads=not m.file,
            before=quantities.worse(was),
        ),
    )


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = band_or_spot(rating) | (basis.named(rating, "load") if rating.quantity == "damping_factor" else {})
    tap = dict(rating.conditions).get(TAP, "")
    with suppress(UnitError):  # a tap is loaded with what it is made for
        at["load"] = rating.load_ohm or read_quantity(tap, "Ω")
    name, drive, lowest = ("impedance-sweep", SWEEP, "_lowest") if "band" in at else ("two-load", METER, "")
    quantity = rating.quantity + (lowest if rating.quantity == "damping_factor" else "")
    wording: dict[str, tuple[Any, ...]] = {}
    wording |= {"bands": (at["band"],)} if "band" in at else {"frequencies": (at["frequency"],)}
    if basis.gear is not None and basis.gear.transformer:
        wording["loaded"] = (True,)
    at_line = basis.at_line(rating)
    place = LINE if at_line else TERMINALS
    watts, apart = basis.share(rating, USUAL_SHARE), (at.get("frequency"),)
    level = Level(watts, "W") if watts is not None else basis.sized(rating, USUAL_SHARE) if at_line else None
    return (CaptureRequest("", name, (quantity,), at, drive, level, place, apart=apart, wording=wording),)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return whether a file is an impedance, and whether it is the output's."""
    columns, frequency = sheet.all("impedance"), sheet.find("frequency")
    if not columns or name.kinds == {"load-impedance"}:
        return None
    if frequency is not None and all(is_load(frequency.values, column.values) for column in columns):
        return None
    ohms = float(np.median(np.concatenate([column.values for column in sheet.all("impedance")])))
    what = f"impedance over frequency, {quantities.shown(ohms, 'ohms')} in the middle"
    said = "source-impedance" in name.kinds or any(
        re.search("output|source", column.header, re.IGNORECASE) for column in sheet.all("impedance")
    )
    if said or ohms < _HIGHEST_SOURCE_OHM:
        return Content(("source-impedance",), what)
    return Content(("source-impedance", ""), f"{what}: is it that of the output?")


KIND = Kind(
    name="source-impedance",
    title="Source impedance",
    about="frequency and ohms at the output terminals; or two readings in session.toml (`loads`, `volts`)",
    needs=(("frequency", "impedance"), ()),
    compared=("damping_factor", "source_impedance"),
    asks=POWER,
    headlines=("damping_factor",),
    findings=findings,
    card=card,
    points=points,
    file_words=f"{_NOT_OF_A_LOAD}(?:output |source )?impedance|damping(?: factor)?|z ?out",
    recognise=recognise,
    recipes={"damping_factor": _request, "source_impedance": _request},
)
