"""Crosstalk: the undriven channel's level relative to the driven one's, negative; where separation is rated, that."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.model import quantities, rating_words
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.capture_request import SWEEP, Basis, CaptureRequest, band_or_spot
from reviewkit.model.card import Card, Chart, Limit, Panel
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import QUIET, Kind
from reviewkit.model.recognised import DIRECTION, SIDE
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Sheet
from reviewkit.model.unstated_conditions import FREQUENCY_HZ, RADIO
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.tone import AUDIO_BAND_HZ

_ALWAYS_HZ = 10_000.0  # besides 1 kHz
_ONE_RANGE_DB = 40.0
_OTHER = {"L": "R", "R": "L"}
_SPOT, _WORST = ("crosstalk", "separation"), ("crosstalk_worst", "separation_worst")


def _directions(sheet: Sheet, c: Conditions) -> list[tuple[str, Array]]:
    """Return crosstalk in dB for each direction, from ready-made columns or both channels' levels with one driven."""
    ready = [column for column in sheet.all("level") if ">" in column.channel]
    if ready:
        for column in ready:
            if not column.unit.startswith("dB"):
                message = f'column "{column.header}" is in {column.unit}: crosstalk of one direction is a ratio in dB'
                raise sheet.fault(message)
        found = [(column.channel, column.values) for column in ready]
    else:
        driven = c.measurement.driven
        if driven not in _OTHER:
            raise c.fault(
                'which channel was driven? write driven = "L" or driven = "R", or export columns "L to R" and "R to L"'
            )
        there = {column.channel: column for column in sweeps.levels_of(sheet)}
        if not {"L", "R"} <= set(there):
            raise sheet.fault(
                'crosstalk needs the levels of both channels; export both, or columns "L to R" and "R to L"'
            )
        source, victim = there[driven], there[_OTHER[driven]]
        if source.unit != victim.unit:
            raise sheet.fault(f"left in {there['L'].unit} and right in {there['R'].unit}: export both in one unit")
        apart_db = relative_db(victim.values, victim.unit) - relative_db(source.values, source.unit)
        found = [(f"{driven}>{_OTHER[driven]}", apart_db)]
    for direction, level_db in found:
        if float(np.median(level_db)) > 0:
            raise sheet.fault(
                f"crosstalk {direction} reads above 0 dB: the undriven channel over the driven one "
                "is negative; export it so, or check which channel was driven"
            )
    return found


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return crosstalk and crosstalk_worst, or if only separation is rated, separation and separation_worst.

    At one place: dB, at 1 kHz, 10 kHz and each rated frequency. At worst: dB, with its frequency, over 20 Hz – 20 kHz
    and each rated band.
    """
    c = c.but(channels="one")
    frequency_hz = sheet.need("frequency").values
    found: list[Finding] = []
    spots = dict.fromkeys([FREQUENCY_HZ, _ALWAYS_HZ, *figures.spots_hz(c, "crosstalk", "separation")])
    bands = list(dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, "crosstalk", "separation")]))
    directions = _directions(sheet, c)
    for direction, level_db in directions:
        for spot in spots:
            value = curves.value_at(frequency_hz, level_db, spot)
            if value is not None:
                found.append(figures.finding(c, "crosstalk", direction, value, frequency=spot))
        found += sweeps.worst_in_bands(c, "crosstalk_worst", direction, frequency_hz, level_db, bands)
    drawn = (Curve("", direction, frequency_hz, read_only(level_db)) for direction, level_db in directions)
    return Measured(tuple(_over_two_ranges(c, each) for each in found), curves=tuple(drawn))


def _over_two_ranges(c: Conditions, finding: Finding) -> Finding:
    """Return crosstalk with its expanded uncertainty, as far as the bench's level causes it.

    Notes
    -----
    Levels that are more than 40 dB apart are not read on one range, so each brings its own uncertainty, √2 times the
    stated one in all; on one range it is the same for both, and cancels. Common practice, no source.
    """
    level_db = c.bench.level_uncertainty_db
    if level_db is None or abs(finding.value) <= _ONE_RANGE_DB:
        return finding
    return replace(finding, uncertainty=math.hypot(finding.uncertainty or 0.0, math.sqrt(2) * level_db))


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return crosstalk or separation over frequency, as its figures are, in steps of 20 dB, with the rated limits."""
    runs = [run.but(channels="one") for run in runs]
    traces = [figures.trace(curve, run, runs) for run in runs for curve in run.curves]
    main = figures.main_run(runs)
    found = _at_spot(main) or _worst(main)
    y_axis = scales.twenties(figures.extents(traces))
    turned = any(quantities.quantity_of(f).better > 0 for f in found)
    if turned:
        traces, y_axis = [replace(t, y=-t.y) for t in traces], scales.turned(y_axis)
    limits = tuple(
        Limit(
            apart_db if turned else None,
            None if turned else -apart_db,
            *sweeps.span_of(rating),
            f"rated {rating_words.limit_text(rating)}",
            rating,
        )
        for rating in figures.rated(main.conditions, "crosstalk", "separation")
        if (apart_db := rating.at_least if rating.at_most is None else -rating.at_most) is not None
    )
    return figures.card(
        runs,
        "Separation" if turned else KIND.title,
        Chart((Panel(scales.dial_for(traces), y_axis, tuple(traces), limits),)),
        figures.hero(quantities.worse(found), found),
        [f for f in main.findings if f.quantity in _SPOT],
    )


def _at_spot(run: Run) -> list[Finding]:
    """Return each direction's figure at the rated frequency, else at 1 kHz."""
    found = [f for f in run.findings if f.quantity in _SPOT]
    return sweeps.at_rated_frequency(found, figures.rated(run.conditions, *_SPOT), FREQUENCY_HZ)


def _worst(run: Run) -> list[Finding]:
    """Return each direction's worst over 20 Hz – 20 kHz, or over the part of it that was measured."""
    worst = [f for f in run.findings if f.quantity in _WORST]
    return [f for f in worst if f.at["band"] == worst[0].at["band"]]


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the figure that the card shows large, what it was before, and the worst over the band."""
    found, c = _at_spot(run), run.conditions
    was = figures.by_channel(before, found[0].quantity, frequency=found[0].at["frequency"]) if before and found else []
    spot, earlier = figures.as_shown(found, was)
    facts = {
        "spot": spot,
        # nothing drives an input of it: a player, a tuner, the radio of a receiver
        "source": bool(c.gear and c.gear.source) or c.measurement.input.upper() in RADIO,
        "one_way": len({f.channel for f in run.findings}) == 1,
        "worst": quantities.worse(_worst(run)),
        "before": earlier,
    }
    return (run.point("separation", **facts),) if spot or facts["worst"] else ()


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "input") | band_or_spot(rating) | {"channels": "one"}
    wording = {"bands": (rating.band_hz,)} if rating.band_hz else {"frequencies": (at["frequency"],)}
    quantity = "crosstalk_worst" if rating.band_hz else "crosstalk"
    return (basis.request(rating, (quantity,), at, SWEEP, channels=("L>R", "R>L"), wording=wording),)


KIND = Kind(
    name="crosstalk",
    title="Crosstalk",
    about="frequency and level of both channels with one `driven`, or ready-made columns for each direction",
    needs=(("frequency", "level"),),
    compared=_SPOT,
    asks=QUIET,
    headlines=_SPOT,
    findings=findings,
    card=card,
    points=points,
    keys=("drive", "driven"),
    sound="balance",
    file_words=rf"cross ?talk|x ?talk|separation|{SIDE} (?:channel )?driven|driv(?:en|ing) {SIDE}|{DIRECTION}",
    recipes={"crosstalk": _request, "separation": _request},
    optional_line='#driven = "L"  # where the columns name no direction; then a second table with "R"',
)
