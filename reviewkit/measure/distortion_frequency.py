"""Distortion over frequency at one power."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit import curves, figures, quantities, scales
from reviewkit.distortion import LIMITED, above_zero, distortion_percent, figure_of
from reviewkit.model import (
    Card,
    Conditions,
    Curves,
    Finding,
    Kind,
    Limit,
    Mark,
    Measured,
    Panel,
    Point,
    Reading,
    Run,
    Sheet,
    Trace,
    Verdict,
)
from reviewkit.signal.spectrum import AUDIO_BAND_HZ


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """worst_distortion (%, with where; over 20 Hz – 20 kHz and each rated band, as far as the data goes) and distortion
    (%, at 1 kHz) per channel. at.figure says THD or THD+N where the file says it.
    """
    assert sheet is not None
    frequency = sheet.need("frequency")
    found: list[Finding] = []
    bands = list(dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, *LIMITED)]))
    for column in sheet.all("distortion"):
        percent, figure = distortion_percent(column), figure_of(column)
        for band_hz in bands:
            reached = curves.covered(frequency.values, band_hz)
            if reached is None:
                continue
            where, inside = curves.part(frequency.values, percent, reached)
            worst = int(np.argmax(inside))
            found.append(
                figures.finding(
                    c,
                    "worst_distortion",
                    column.channel,
                    inside[worst],
                    frequency=float(where[worst]),
                    band=list(reached),
                    figure=figure,
                )
            )
        at_1k = curves.value_at(frequency.values, percent, 1000.0)
        if at_1k is not None:
            found.append(figures.finding(c, "distortion", column.channel, at_1k, frequency=1000.0, figure=figure))
    return Measured(tuple(found))


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Distortion by decades over the dial, the rated limit over its band, the worst point marked."""
    traces: list[Trace] = []
    for run in runs:
        assert run.sheet is not None
        frequency = run.sheet.need("frequency")
        traces += [
            Trace(
                *above_zero(frequency.values, distortion_percent(column)),
                column.channel,
                figures.trace_role(run, runs),
                figures.end_label(column.channel, run, runs),
            )
            for column in run.sheet.all("distortion")
        ]
    main = figures.main_run(runs)
    limits = tuple(
        Limit(None, limit, band[0], band[1], f"rated {quantities.percent(limit)}")
        for limit, band in dict.fromkeys(
            ((r.thd_percent or r.thd_plus_noise_percent or r.at_most), r.band_hz or AUDIO_BAND_HZ)
            for r in figures.rated(main.conditions, *LIMITED)
            if r.load_ohm in (None, main.conditions.measurement.load_ohm)
        )
        if limit is not None
    )[:1]
    values = [float(v) for trace in traces if len(trace.y) for v in (np.min(trace.y), np.max(trace.y))] + [
        limit.high for limit in limits if limit.high
    ]
    key = _worst(main)
    marks = () if key is None else (Mark(float(key.at["frequency"]), key.value, _at(key), key.channel),)
    figure = str(key.at.get("figure", "")) if key else ""
    readings = []
    if key is not None:
        band = key.at["band"]
        label = f"worst {figure or 'distortion'}, {quantities.band((band[0], band[1]))}"
        own = figures.by_channel(main, "worst_distortion", band=band)
        readings.append(Reading(label, quantities.show(key), figures.rows_of(own), figures.whose(key, own)))
        at_1k = figures.by_channel(main, "distortion")
        if at_1k:
            readings.append(Reading("at 1 kHz", "", figures.rows_of(at_1k)))
        for run in runs:
            if run is not main and (was := _worst(run)) is not None and run.conditions.measurement.stage != "bench":
                rows = figures.rows_of(figures.by_channel(run, "worst_distortion", band=was.at["band"]))
                readings.append(Reading(figures.run_label(run, runs), "", rows))
    return Card(
        id="",
        title=f"{figure or 'Distortion'} over frequency",
        chart=True,
        conditions=figures.stated(runs),
        body=Curves(
            (
                Panel(
                    scales.dial_for(traces),
                    scales.decades(values, "%"),
                    tuple(traces),
                    limits,
                    marks,
                ),
            )
        ),
        readings=tuple(readings),
        verdicts=tuple(verdicts),
    )


def _at(f: Finding) -> str:
    return f"{quantities.show(f)} at {quantities.hertz(float(f.at['frequency']))}"


def _worst(run: Run) -> Finding | None:
    """The worse channel's worst distortion over the rated band where there is one, else over 20 Hz – 20 kHz."""
    found = figures.by_channel(run, "worst_distortion")
    for band in [list(b) for b in figures.rated_bands(run.conditions, *LIMITED)]:
        if inside := [f for f in found if f.at["band"] == band]:
            return figures.worse(inside)
    return figures.worse([f for f in found if f.at["band"] == found[0].at["band"]]) if found else None


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """The worst over the band and where it stands, per channel; and what it was before."""
    worst = figures.by_channel(run, "worst_distortion")
    if not worst:
        return ()
    band = worst[0].at["band"]
    here = [f for f in worst if f.at["band"] == band]
    was = [f for f in figures.by_channel(before, "worst_distortion") if f.at["band"] == band] if before else []
    return (
        Point(
            "distortion-frequency",
            "worst",
            {
                "findings": here,
                "worse": figures.worse(here),
                "band": band,
                "figure": here[0].at.get("figure", "distortion"),
                "drive": figures.drive(run.conditions),
                "driven": figures.driven(run.conditions),
                "before": figures.worse(was),
                "at_1k": figures.worse(figures.by_channel(run, "distortion")),
            },
            run.conditions.measurement.id,
        ),
    )


KIND = Kind(
    name="distortion-frequency",
    title="Distortion over frequency",
    about="frequency and distortion of one or both channels, at one power (`drive`)",
    needs=(("frequency", "distortion"),),
    quantities=("worst_distortion", "distortion"),
    findings=findings,
    card=card,
    points=points,
)
