"""Distortion over frequency at one power."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.measure.capture_requests import distortion_requests
from reviewkit.measure.distortion import LIMITED, above_zero, distortion_percent, figure_of
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.card import Card, Chart, Limit, Panel
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import CLEAN, POWER, Kind
from reviewkit.model.ratings import distortion_limit
from reviewkit.model.recognised import DISTORTION_WORDS, Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import db_of_amplitude, relative_db
from reviewkit.signal.tone import AUDIO_BAND_HZ

_STEADY_DB = 0.5  # levels that differ by less are one level


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return worst_distortion and distortion per channel.

    worst_distortion: %, with its frequency, over 20 Hz – 20 kHz and each rated band, as far as the data goes.
    distortion: %, at 1 kHz and each rated frequency. at.figure is THD or THD+N if the file names it.
    """
    frequency_hz = sheet.need("frequency").values
    got = figures.Collected(c)
    bands = list(dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, *LIMITED)]))
    for column in sheet.all("distortion"):
        percent, figure = distortion_percent(column), figure_of(column)
        got.findings += sweeps.worst_in_bands(
            c, "worst_distortion", column.channel, frequency_hz, percent, bands, curved=False, figure=figure
        )
        for spot in figures.spots_hz(c, *LIMITED):
            value = curves.value_at(frequency_hz, percent, spot, curved=False)
            if value is not None:
                got.add("distortion", column.channel, value, frequency=spot, figure=figure)
        x, y = above_zero(frequency_hz, percent)
        got.curves.append(Curve("", column.channel, read_only(x), read_only(y)))
    return got.measured


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return distortion by decades over frequency, with the rated limits over their bands."""
    traces = [figures.trace(curve, run, runs) for run in runs for curve in run.curves]
    main = figures.main_run(runs)
    rated = _limits(main.conditions)
    limits = [Limit(None, most, *sweeps.span_of(r), f"rated {quantities.percent(most)}", r) for r, most in rated]
    values = [*figures.extents(traces), *(most for _, most in rated if most)]
    found = _shown(main)
    return figures.card(
        runs,
        figures.distortion_name(main),
        Chart((Panel(scales.dial_for(traces), scales.decades(values, "%"), tuple(traces), tuple(limits)),)),
        figures.hero(quantities.worse(found), found),
        [*_worst(main), *figures.by_channel(main, "distortion")],
    )


def _limits(c: Conditions) -> list[tuple[Rating, float]]:
    """Return the ratings that limit distortion into this load, each with its limit, %."""
    of_load = (r for r in figures.rated(c, *LIMITED) if r.load_ohm in (None, c.measurement.load_ohm))
    return [(r, limit) for r in of_load if (limit := distortion_limit(r) or r.at_most) is not None]


def _worst(run: Run) -> list[Finding]:
    """Return each channel's worst distortion over the rated band if there is one, else over 20 Hz – 20 kHz."""
    return sweeps.of_main_band(figures.by_channel(run, "worst_distortion"), run.conditions, *LIMITED)


def _shown(run: Run) -> list[Finding]:
    """Return each channel's distortion that a card shows large: at the rated frequency, else the worst."""
    spots = figures.by_channel(run, "distortion")
    return sweeps.at_rated_frequency(spots, [r for r, _ in _limits(run.conditions)]) or _worst(run)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the figure that the card shows large, what it was before, and the worst over the band."""
    found = _shown(run)
    if not found:
        return ()
    name, place = ("worst", "band") if "band" in found[0].at else ("spot", "frequency")
    was = figures.by_channel(before, found[0].quantity, **{place: found[0].at[place]})
    now, earlier = figures.as_shown(found, was)
    facts = {
        place: found[0].at[place],
        "worse": now,
        "worst": quantities.worse(_worst(run)),
        "drive": figures.drive(run.conditions.measurement),
        "before": earlier,
    }
    return (run.point(name, **facts),)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return whether a file is distortion over frequency, and the level that it states for each point."""
    roles = {column.role for column in sheet.columns}
    if not {"distortion", "frequency"} <= roles or roles & {"impedance", "time"}:
        return None
    levels = [column for column in sheet.columns if column.role in ("power", "level")]
    if not levels:
        return Content((KIND.name,), "distortion over frequency")
    spreads = [float(np.ptp(_level_db(column))) for column in levels]
    if max(spreads) > _STEADY_DB:
        return Content((KIND.name, "response"), "it has distortion and levels over frequency")
    level, unit = float(np.median(levels[0].values)), levels[0].unit
    table = {"drive": f"{float(f'{level:.3g}'):.10g} {unit}"} if unit in ("V", "W") else {}
    return Content((KIND.name,), "distortion over frequency, at one level", table)


def _level_db(column: Column) -> Array:
    if column.unit == "W":
        return np.asarray(db_of_amplitude(np.sqrt(np.abs(column.values) + 1e-30)))
    return relative_db(column.values, column.unit)


KIND = Kind(
    name="distortion-frequency",
    title="Distortion over frequency",
    about="frequency and distortion of one or both channels, at one power (`drive`)",
    needs=(("frequency", "distortion"),),
    compared=("worst_distortion", "distortion"),
    asks=POWER,
    asks_at_line=CLEAN,
    headlines=("worst_distortion",),
    findings=findings,
    card=card,
    points=points,
    keys=("drive",),
    file_words=DISTORTION_WORDS,
    recognise=recognise,
    recipes={"thd": distortion_requests, "thd_plus_noise": distortion_requests, "distortion": distortion_requests},
)
