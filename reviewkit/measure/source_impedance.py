"""Output source impedance and damping factor, over frequency or from two loads."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps, two_loads
from reviewkit.model import digits, quantities, unstated_conditions
from reviewkit.model.card import Card, Curves, Mark, Panel, Readout
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import Kind
from reviewkit.model.sheet import Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.spectrum import AUDIO_BAND_HZ

_SPOT_HZ = unstated_conditions.FREQUENCY_HZ  # what a rating means that names none


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


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """Return source_impedance (Ω) and damping_factor at 1 kHz, and damping_factor_lowest over 20 Hz – 20 kHz, per
    channel.

    From two loads: the first two, at the frequency stated.
    """
    load_ohm = c.measurement.load_ohm
    if sheet is None:
        return _from_loads(c)
    frequency_hz = sheet.need("frequency").values
    found: list[Finding] = []
    drawn: list[Curve] = []
    withheld: list[str] = []
    for column in sheet.all("impedance"):
        drawn.append(Curve("", column.channel, frequency_hz, column.values))
        at_1k = curves.value_at(frequency_hz, column.values, _SPOT_HZ)
        if at_1k is not None and at_1k > 0:
            found.append(figures.finding(c, "source_impedance", column.channel, at_1k, frequency=_SPOT_HZ))
            if load_ohm:
                found.append(figures.finding(c, "damping_factor", column.channel, load_ohm / at_1k, frequency=_SPOT_HZ))
        if not load_ohm:
            withheld.append(f'{c.measurement.id}: no damping factor, the load is not stated; write load = "8 ohm"')
            continue
        for band_hz in dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, "damping_factor")]):
            reached = curves.covered(frequency_hz, band_hz)
            if reached is not None:
                where, inside = curves.part(frequency_hz, column.values, reached)
                highest = int(np.argmax(inside))
                if not inside[highest] > 0:
                    continue  # as at 1 kHz: zero impedance has no ratio
                found.append(
                    figures.finding(
                        c,
                        "damping_factor_lowest",
                        column.channel,
                        load_ohm / inside[highest],
                        frequency=float(where[highest]),
                        band=list(reached),
                    )
                )
    return Measured(tuple(found), tuple(dict.fromkeys(withheld)), tuple(drawn))


def _from_loads(c: Conditions) -> Measured:
    m = c.measurement
    if len(m.loads_ohm) != 2 or not m.volts:
        raise InputError(
            Fault(
                "session.toml",
                m.line,
                f"[[measurement]] {m.id}: give a file, or two readings: "
                'loads = ["open", "8 ohm"] and volts = { L = ["12.71 V", "12.46 V"] }',
            )
        )
    loads = (m.loads_ohm[0], m.loads_ohm[1])
    closed = [ohms for ohms in loads if math.isfinite(ohms)]
    # the factor is relative to the load stated, else to the only load connected
    reference_ohm = m.load_ohm or closed[0]
    # tolerances are rectangular limits, u = a/√3; a last digit d hides ± half of it, u = d/√12 (GUM)
    tolerance = (c.bench.load_tolerance_percent or 0.0) / 100 / math.sqrt(3)
    u_loads = (loads[0] * tolerance, loads[1] * tolerance) if tolerance else (0.0, 0.0)
    found: list[Finding] = []
    withheld: list[str] = []
    shared = {"frequency": m.frequency_hz, "method": "two loads", "load": reference_ohm}
    for channel, readings in m.volts.items():
        volts = (readings[0], readings[1])
        u_volts = m.volts_step[channel] / math.sqrt(12)
        impedance = two_load(volts[0], loads[0], volts[1], loads[1])
        known = math.isfinite(impedance)
        expanded = 2 * two_load_uncertainty(volts, loads, (u_volts, u_volts), u_loads) if known else 0.0
        if not known or impedance + expanded <= 0:
            withheld.append(
                f"{m.id}: no source impedance for {channel or 'the channel'}: no source gives these two voltages; "
                "check which of them was read at which load"
            )
        elif impedance < 2 * expanded:
            found += _bounds(c, channel, impedance + expanded, reference_ohm, shared)
        else:
            found += _figures(c, channel, impedance, expanded, reference_ohm, shared)
    return Measured(tuple(found), tuple(withheld))


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


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return impedance over frequency with 1 kHz marked; if only two loads were read, the readings as a table."""
    main = figures.main_run(runs)
    factors = figures.by_channel(main, "damping_factor")
    impedance = figures.by_channel(main, "source_impedance")
    at = quantities.hertz(float(impedance[0].at["frequency"])) if impedance and "frequency" in impedance[0].at else ""
    title = "Damping factor" if factors else "Source impedance"
    worst = max(impedance, key=lambda f: f.value, default=None)
    if not any(run.conditions.measurement.file for run in runs):
        return Card(
            id="",
            title=title,
            chart=True,
            conditions=figures.stated(runs, at, "from two loads"),
            body=Curves((two_loads.sag(runs, worst),)) if worst else Curves(()),
            readings=(*_readings(runs, main), two_loads.readings_of(main)),
            verdicts=tuple(verdicts),
        )
    traces = sweeps.traces_of(runs)
    marks = () if worst is None else (Mark(_SPOT_HZ, worst.value, quantities.show(worst), worst.channel),)
    return Card(
        id="",
        title=title,
        chart=True,
        conditions=figures.stated(runs),
        body=Curves(
            (
                Panel(
                    scales.dial_for(traces),
                    scales.upward(max(float(np.max(t.y)) for t in traces), "Ω"),
                    tuple(traces),
                    marks=marks,
                    label="source impedance",
                ),
            )
        ),
        readings=_readings(runs, main),
        verdicts=tuple(verdicts),
    )


def _readings(runs: Sequence[Run], main: Run) -> tuple[Readout, ...]:
    """Return the factor large, with each channel's bounds; then the impedances, and the factors of other runs."""
    factors, impedance = figures.by_channel(main, "damping_factor"), figures.by_channel(main, "source_impedance")
    key, readings = quantities.worse(factors), []
    where = {quantities.hertz(float(f.at["frequency"])) for f in impedance if "frequency" in f.at}
    at = f", {next(iter(where))}" if where else ""
    if key is not None:
        whose = figures.whose(key, factors)
        readings.append(Readout(f"damping factor{at}", quantities.show(key), _factor_rows(factors), whose))
    if impedance:
        large = "" if key else quantities.show(impedance[0])
        rows = figures.rows_of(impedance) or ((("", quantities.show(impedance[0])),) if key else ())
        readings.append(Readout("source impedance" if key else f"source impedance{at}", large, rows))
    for run in runs:
        was = figures.by_channel(run, "damping_factor")
        if run is not main and was and run.conditions.measurement.stage != "bench":
            rows = _factor_rows(was) or (("", quantities.show(was[0])),)
            readings.append(Readout(f"damping factor {figures.run_label(run, runs)}", "", rows))
    return tuple(readings)


def _factor_rows(factors: Sequence[Finding]) -> tuple[tuple[str, ...], ...]:
    """Return a line for each channel, each with its bounds; of a lone channel the bounds."""
    ranges = [f"({within})" if (within := between(f)) else "" for f in factors]
    if len(factors) == 1 and not factors[0].channel:
        return (("", ranges[0]),) if ranges[0] else ()
    return tuple(
        (f.channel, f"{quantities.show(f)} {within}".strip()) for f, within in zip(factors, ranges, strict=True)
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the source impedance at 1 kHz and its damping factor, and what it was before."""
    m = run.conditions.measurement
    impedance = figures.by_channel(run, "source_impedance")
    factors = figures.by_channel(run, "damping_factor")
    lowest = figures.by_channel(run, "damping_factor_lowest")
    if not impedance:
        return ()
    was = figures.by_channel(before, "damping_factor") if before else []
    worst = quantities.worse(factors)
    return (
        Point(
            "source-impedance",
            "damping",
            {
                "impedance": max(impedance, key=lambda f: f.value),
                "findings": factors,
                "worse": worst,
                "between": between(worst) if worst else "",
                "lowest": quantities.worse(lowest),
                "load": m.load_ohm,
                "frequency": impedance[0].at.get("frequency"),
                "two_loads": not m.file,
                "before": quantities.worse(was),
                "rated": bool(figures.rated(run.conditions, "damping_factor")),
            },
            m.id,
        ),
    )


KIND = Kind(
    name="source-impedance",
    title="Source impedance",
    about="frequency and ohms at the output terminals; or two readings in session.toml (`loads`, `volts`)",
    needs=(("frequency", "impedance"), ()),
    quantities=("source_impedance", "damping_factor", "damping_factor_lowest"),
    headlines=("damping_factor",),
    findings=findings,
    card=card,
    points=points,
)
