"""Distortion over frequency at one power."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.measure.distortion import LIMITED, above_zero, distortion_percent, figure_of
from reviewkit.model import quantities
from reviewkit.model.arrays import read_only
from reviewkit.model.card import Card, Curves, Limit, Panel, Readout
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import Kind
from reviewkit.model.ratings import distortion_limit
from reviewkit.model.sheet import Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.spectrum import AUDIO_BAND_HZ


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """Return worst_distortion and distortion per channel.

    worst_distortion: %, with its frequency, over 20 Hz – 20 kHz and each rated band, as far as the data goes.
    distortion: %, at 1 kHz. at.figure is THD or THD+N if the file names it.
    """
    assert sheet is not None
    frequency_hz = sheet.need("frequency").values
    found: list[Finding] = []
    drawn: list[Curve] = []
    bands = list(dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, *LIMITED)]))
    for column in sheet.all("distortion"):
        percent, figure = distortion_percent(column), figure_of(column)
        found += sweeps.worst_in_bands(
            c, "worst_distortion", column.channel, frequency_hz, percent, bands, curved=False, figure=figure
        )
        at_1k = curves.value_at(frequency_hz, percent, 1000.0, curved=False)
        if at_1k is not None:
            found.append(figures.finding(c, "distortion", column.channel, at_1k, frequency=1000.0, figure=figure))
        x, y = above_zero(frequency_hz, percent)
        drawn.append(Curve("", column.channel, read_only(x), read_only(y)))
    return Measured(tuple(found), curves=tuple(drawn))


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return distortion by decades over frequency, with the rated limit over its band and the worst point marked."""
    traces = sweeps.traces_of(runs)
    main = figures.main_run(runs)
    limits = tuple(
        Limit(None, limit, band[0], band[1], f"rated {quantities.percent(limit)}")
        for limit, band in dict.fromkeys(
            ((distortion_limit(r) or r.at_most), r.band_hz or AUDIO_BAND_HZ)
            for r in figures.rated(main.conditions, *LIMITED)
            if r.load_ohm in (None, main.conditions.measurement.load_ohm)
        )
        if limit is not None
    )[:1]
    values = [float(v) for trace in traces if len(trace.y) for v in (np.min(trace.y), np.max(trace.y))] + [
        limit.high for limit in limits if limit.high
    ]
    key = _worst(main)
    figure = str(key.at.get("figure", "")) if key else ""
    readings = []
    if key is not None:
        band = key.at["band"]
        label = f"worst {figure or 'distortion'}, {quantities.band((band[0], band[1]))}"
        own = figures.by_channel(main, "worst_distortion", band=band)
        readings.append(Readout(label, quantities.show(key), figures.rows_of(own), figures.whose(key, own)))
        at_1k = figures.by_channel(main, "distortion")
        if at_1k:
            readings.append(Readout("at 1 kHz", "", figures.rows_of(at_1k)))
        for run in runs:
            if run is not main and (was := _worst(run)) is not None and run.conditions.measurement.stage != "bench":
                rows = figures.rows_of(figures.by_channel(run, "worst_distortion", band=was.at["band"]))
                readings.append(Readout(figures.run_label(run, runs), "", rows))
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
                    sweeps.mark_of(key),
                ),
            )
        ),
        readings=tuple(readings),
        verdicts=tuple(verdicts),
    )


def _worst(run: Run) -> Finding | None:
    """Return the worse channel's worst distortion over the rated band if there is one, else over 20 Hz – 20 kHz."""
    band_hz = sweeps.main_band(run, "worst_distortion", *LIMITED)
    return quantities.worse(figures.by_channel(run, "worst_distortion", band=band_hz))


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the worst over the band and its frequency, per channel, and what it was before."""
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
                "worse": quantities.worse(here),
                "band": band,
                "figure": here[0].at.get("figure", "distortion"),
                "drive": figures.drive(run.conditions),
                "driven": figures.driven(run.conditions),
                "before": quantities.worse(was),
                "at_1k": quantities.worse(figures.by_channel(run, "distortion")),
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
    headlines=("worst_distortion",),
    findings=findings,
    card=card,
    points=points,
)
