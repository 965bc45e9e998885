"""Output source impedance and damping factor: over frequency, or from two loads."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from reviewkit import curves, figures, quantities, scales
from reviewkit.errors import Fault, InputError
from reviewkit.model import (
    Card,
    Conditions,
    Curves,
    Finding,
    Kind,
    Mark,
    Measured,
    Panel,
    Point,
    Reading,
    Row,
    Rows,
    Run,
    Sheet,
    Trace,
)
from reviewkit.spectrum import AUDIO_BAND_HZ

SPOT_HZ = 1000.0


def two_load(volts_a: float, load_a: float, volts_b: float, load_b: float) -> float:
    """Source impedance from two readings, Ω: (Va − Vb) / (Vb/Rb − Va/Ra); math.inf is no load (circuit theory)."""
    return (volts_a - volts_b) / (volts_b / load_b - volts_a / load_a)


def _two_load_uncertainty(volts: tuple[float, float], loads: tuple[float, float], step_v: float) -> float:
    """Expanded (k = 2) uncertainty from the meter's resolution alone: a step d is rectangular, u = d/√12 (GUM first
    order). The meter's gain error is common to both readings and cancels.
    """
    sensitivity = 0.0
    for i in (0, 1):
        moved = list(volts)
        moved[i] += step_v * 1e-3
        change = two_load(moved[0], loads[0], moved[1], loads[1]) - two_load(volts[0], loads[0], volts[1], loads[1])
        sensitivity += (change / (step_v * 1e-3)) ** 2
    return 2 * math.sqrt(sensitivity) * step_v / math.sqrt(12)


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """source_impedance (Ω) and damping_factor at 1 kHz, damping_factor_lowest over 20 Hz – 20 kHz, per channel; from
    two
    loads, the same at the frequency stated.
    """
    load_ohm = c.measurement.load_ohm
    if sheet is None:
        return _from_loads(c)
    frequency = sheet.need("frequency")
    found: list[Finding] = []
    withheld: list[str] = []
    for column in sheet.all("impedance"):
        at_1k = curves.value_at(frequency.values, column.values, SPOT_HZ)
        if at_1k is not None and at_1k > 0:
            found.append(figures.finding(c, "source_impedance", column.channel, at_1k, frequency=SPOT_HZ))
            if load_ohm:
                found.append(figures.finding(c, "damping_factor", column.channel, load_ohm / at_1k, frequency=SPOT_HZ))
        if not load_ohm:
            withheld.append(f'{c.measurement.id}: no damping factor, the load is not stated; write load = "8 ohm"')
            continue
        for band_hz in dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, "damping_factor")]):
            reached = curves.covered(frequency.values, band_hz)
            if reached is not None:
                where, inside = curves.part(frequency.values, column.values, reached)
                highest = int(np.argmax(inside))
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
    return Measured(tuple(found), tuple(dict.fromkeys(withheld)))


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
    # the factor is referred to the load stated, else to the one load that was on
    reference_ohm = m.load_ohm or closed[0]
    found: list[Finding] = []
    withheld: list[str] = []
    for channel, readings in m.volts.items():
        volts = (readings[0], readings[1])
        impedance = two_load(volts[0], loads[0], volts[1], loads[1])
        uncertainty = _two_load_uncertainty(volts, loads, m.volts_step[channel])
        if not impedance > 0 or uncertainty > impedance / 2:
            withheld.append(
                f"{m.id}: no source impedance for {channel or 'the channel'}: the two readings differ by no more than "
                "the meter resolves; read them with one more digit"
            )
            continue
        shared = {"frequency": m.frequency_hz, "method": "two loads", "load": reference_ohm}
        factor = reference_ohm / impedance
        found.append(figures.finding(c, "source_impedance", channel, impedance, uncertainty=uncertainty, **shared))
        found.append(
            figures.finding(
                c, "damping_factor", channel, factor, uncertainty=factor * uncertainty / impedance, **shared
            )
        )
    return Measured(tuple(found), tuple(withheld))


def card(runs: Sequence[Run]) -> Card:
    """Impedance over the dial with 1 kHz marked; where only two loads were read, the readings as a table."""
    main = figures.main_run(runs)
    factors = figures.by_channel(main, "damping_factor")
    key = figures.worse(factors)
    impedance = figures.by_channel(main, "source_impedance")
    at = quantities.hertz(float(impedance[0].at["frequency"])) if impedance and "frequency" in impedance[0].at else ""
    charted = [(run, run.sheet) for run in runs if run.sheet is not None]
    title = "Damping factor" if factors else "Source impedance"
    if not charted:
        headers = ("channel", "source impedance", "damping factor")
        rows = []
        for run in runs:
            for ohms in figures.by_channel(run, "source_impedance"):
                factor = run.get("damping_factor", ohms.channel)
                label = " ".join(p for p in (ohms.channel or "measured", figures.run_label(run, runs)) if p)
                rows.append(Row((label, quantities.show(ohms), quantities.show(factor) if factor else "")))
        return Card(
            id="",
            title=title,
            conditions=figures.stated(runs, at, "from two loads"),
            body=Rows(headers, tuple(rows), (1.0, 1.4, 1.4), strong=2),
        )
    traces = [
        Trace(
            sheet.need("frequency").values,
            column.values,
            column.channel,
            figures.trace_role(run, runs),
            figures.end_label(column.channel, run, runs),
        )
        for run, sheet in charted
        for column in sheet.all("impedance")
    ]
    readings = []
    if key is not None:
        readings.append(
            Reading(f"damping factor, {at}" if at else "damping factor", quantities.show(key), figures.rows_of(factors))
        )
    if impedance:
        readings.append(
            Reading(
                f"source impedance, {at}" if at else "source impedance",
                "" if key else quantities.show(impedance[0]),
                figures.rows_of(impedance),
            )
        )
    worst = max(impedance, key=lambda f: f.value, default=None)
    marks = () if worst is None else (Mark(SPOT_HZ, worst.value, quantities.show(worst), worst.channel),)
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
                ),
            )
        ),
        readings=tuple(readings),
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Source impedance at 1 kHz and the damping factor it makes; and what it was before."""
    m = run.conditions.measurement
    impedance = figures.by_channel(run, "source_impedance")
    factors = figures.by_channel(run, "damping_factor")
    lowest = figures.by_channel(run, "damping_factor_lowest")
    if not impedance:
        return ()
    was = figures.by_channel(before, "damping_factor") if before else []
    worst = figures.worse(factors)
    return (
        Point(
            "source-impedance",
            "damping",
            {
                "impedance": max(impedance, key=lambda f: f.value),
                "findings": factors,
                "worse": worst,
                "uncertainty": quantities.shown(worst.uncertainty, "factor")
                if worst and worst.uncertainty and worst.uncertainty > 0.01 * worst.value
                else "",
                "lowest": figures.worse(lowest),
                "load": m.load_ohm,
                "frequency": impedance[0].at.get("frequency"),
                "two_loads": run.sheet is None,
                "before": figures.worse(was),
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
    findings=findings,
    card=card,
    points=points,
)
