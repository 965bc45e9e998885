"""The shared parts of kinds measured over frequency: levels relative to 1 kHz, figures of a band, curves and limits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from reviewkit.measure import curves, figures, scales
from reviewkit.model import quantities, unstated_conditions
from reviewkit.model.arrays import Array
from reviewkit.model.card import Axis, Card, Chart, Limit, Panel, Trace
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.signal.decibels import HALF_POWER_DB
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import REFERENCE_HZ

EDGE = 0.005  # an edge within half a percent of a band's counts as that edge
# a curve spans tens of dB, a deviation from it only a few: if a file is off by more than this, but by less than half as
# much if read the other way, it is of the other kind (a judgement)
_MOST_OFF_DB = 6.0

# ------------------------------------------------------------------ from a file


def levels_of(sheet: Sheet) -> list[Column]:
    """Return the columns that are the level of one channel.

    Parameters
    ----------
    sheet : Sheet
        The file.

    Returns
    -------
    list[Column]
        The columns, in the file's order.

    Raises
    ------
    InputError
        If one reads 0 V, which has no decibels.
    """
    columns = [column for column in sheet.all("level") if ">" not in column.channel]
    for column in columns:
        if column.unit == "V" and not np.all(column.values):
            row = int(np.argmin(np.abs(column.values))) + 1
            message = f'column "{column.header}" reads 0 V in data row {row}, which has no decibels; delete that row'
            raise sheet.fault(message)
    return columns


def relative(frequency_hz: Array, level_db: Array, to_hz: float | tuple[float, float] = REFERENCE_HZ) -> Array | None:
    """Return a level relative to its own at a frequency, or to its mean over a band.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising.
    level_db : Array
        Shape (n,).
    to_hz : float or (float, float)
        The frequency, Hz, or the lower and upper edge of the band.

    Returns
    -------
    Array | None
        In dB, shape (n,); None if the data doesn't reach the frequency, or all of the band.

    Notes
    -----
    The mean over a band is that of the decibels over log frequency, as an eye levels a curve (this project's own rule).
    """
    reference_db = level_there(frequency_hz, level_db, to_hz)
    return None if reference_db is None else level_db - reference_db


def level_there(frequency_hz: Array, level_db: Array, to_hz: float | tuple[float, float]) -> float | None:
    """Return a level at a frequency, or its mean over a band; see `relative`.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising.
    level_db : Array
        Shape (n,).
    to_hz : float or (float, float)
        The frequency, Hz, or the lower and upper edge of the band.

    Returns
    -------
    float | None
        In dB; None if the data doesn't reach there.
    """
    if not isinstance(to_hz, tuple):
        return curves.value_at(frequency_hz, level_db, to_hz)
    reached = curves.covered(frequency_hz, to_hz)
    if reached is None or reached[0] > to_hz[0] * (1 + EDGE) or reached[1] < to_hz[1] / (1 + EDGE):
        return None
    where, inside = curves.part(frequency_hz, level_db, to_hz)
    return float(np.trapezoid(inside, np.log(where)) / np.log(where[-1] / where[0]))


def corner_hz(
    frequency_hz: Array, relative_db: Array, step: int, to_hz: float | tuple[float, float] = REFERENCE_HZ
) -> float | None:
    """Return the frequency at which a relative level passes half power.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising.
    relative_db : Array
        Shape (n,).
    step : int
        −1 for below the reference, +1 for above.
    to_hz : float or (float, float)
        What the level is relative to, Hz.

    Returns
    -------
    float | None
        In Hz; None if the data doesn't show it.
    """
    low_hz, high_hz = to_hz if isinstance(to_hz, tuple) else (to_hz, to_hz)
    middle = int(np.argmin(np.abs(np.log(frequency_hz / np.sqrt(low_hz * high_hz)))))
    return curves.crossing(frequency_hz, relative_db, HALF_POWER_DB, middle, step, curved=True)


def worst_in_bands(
    c: Conditions,
    quantity: str,
    channel: str,
    frequency_hz: Array,
    y: Array,
    bands: Iterable[tuple[float, float]],
    *,
    way: int = +1,
    curved: bool = True,
    **at: Any,
) -> list[Finding]:
    """Return a finding for each band that the data reaches, with its frequency and the covered part of the band.

    Parameters
    ----------
    c : Conditions
        The conditions of the measurement.
    quantity : str
        The quantity of the findings.
    channel : str
        The channel.
    frequency_hz : Array
        Shape (n,), rising.
    y : Array
        Shape (n,), in the quantity's unit.
    bands : Iterable[tuple[float, float]]
        The lower and upper edge of each, Hz.
    way : int
        Which value is the worst: +1 the highest, −1 the lowest, 0 the one furthest from zero.
    curved : bool
        Whether edges are read on a curve or on straight lines: see `curves.value_at`.
    **at : Any
        More of the findings' conditions.

    Returns
    -------
    list[Finding]
        The findings, in the order of the bands.
    """
    found = []
    for band_hz in bands:
        reached = curves.covered(frequency_hz, band_hz)
        if reached is not None:
            where, inside = curves.part(frequency_hz, y, reached, curved=curved)
            worst = int(np.argmax(way * inside if way else np.abs(inside)))
            place: dict[str, Any] = {"frequency": float(where[worst]), "band": list(reached)}
            found.append(figures.finding(c, quantity, channel, inside[worst], **place, **at))
    return found


def misread_by(frequency_hz: Array, as_stated: Array | None, otherwise: Array | None) -> float:
    """Return how far a response is off the curve that it is compared with, if it evidently follows another one.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), rising.
    as_stated, otherwise : Array | None
        Its deviation from the one and from the other, dB, shape (n,); None if it doesn't reach the reference.

    Returns
    -------
    float
        The largest deviation from the first in 20 Hz – 20 kHz, dB; 0 if it may well follow that.
    """
    band_hz = curves.covered(frequency_hz, AUDIO_BAND_HZ)
    if band_hz is None or as_stated is None or otherwise is None:
        return 0.0
    stated_db, other_db = (
        float(np.max(np.abs(curves.part(frequency_hz, each, band_hz)[1]))) for each in (as_stated, otherwise)
    )
    return stated_db if stated_db > _MOST_OFF_DB and other_db < stated_db / 2 else 0.0


# ------------------------------------------------------------------ on a card


def extremes(traces: Sequence[Trace], bands: Iterable[tuple[float, float]]) -> list[float]:
    """Return the lowest and the highest value of each curve within what these bands span together."""
    edges = [edge for band_hz in bands for edge in band_hz]
    low_hz, high_hz = min(edges) / (1 + EDGE), max(edges) * (1 + EDGE)
    inside = [trace.y[(trace.x >= low_hz) & (trace.x <= high_hz)] for trace in traces]
    return [float(v) for y in inside if len(y) for v in (np.min(y), np.max(y))]


def of_main_band(found: Sequence[Finding], c: Conditions, *rated: str) -> list[Finding]:
    """Return the findings of the band whose figure a card shows large.

    It is that of a rating of these names for this input if it is covered, else 20 Hz – 20 kHz or the measured part of
    it.
    """
    bands = [f.at["band"] for f in found]
    inputs = ("", c.measurement.input)
    named = [list(r.band_hz) for r in figures.rated(c, *rated) if r.band_hz and r.input in inputs]
    main_hz = next((band_hz for band_hz in (*named, *bands[:1]) if band_hz in bands), None)
    return [f for f in found if f.at["band"] == main_hz]


def at_rated_frequency(
    found: Sequence[Finding], ratings: Sequence[Rating], else_hz: float | None = None
) -> list[Finding]:
    """Return the findings at the frequency of the first of these ratings, the one whose figure a card shows large.

    If that rating is over a band, or nothing was read at its frequency, those at `else_hz`.
    """
    rated_hz = [unstated_conditions.frequency_hz(rating) for rating in ratings[:1] if not rating.band_hz]
    return [f for f in found if f.at["frequency"] in rated_hz] or [f for f in found if f.at["frequency"] == else_hz]


def span_of(rating: Rating) -> tuple[float, float]:
    """Return where on the dial a rating holds: over its band, else at its frequency."""
    return rating.band_hz or (rating.frequency_hz or unstated_conditions.FREQUENCY_HZ,) * 2


def limit_within(rating: Rating) -> Limit:
    """Return the two sides of a rating such as ± 0.5 dB, over its band."""
    assert rating.within is not None
    low, high = rating.within
    return Limit(low, high, *unstated_conditions.band_hz(rating), f"rated {quantities.limit_within(low, high)}", rating)


def deviation_card(
    runs: Sequence[Run],
    title: str,
    quantity: str,
    scale: Callable[[Sequence[float]], Axis],
    *,
    whole: bool,
    also: Sequence[str] = (),
    rated: Sequence[str] = (),
    notes: tuple[str, ...] = (),
) -> Card:
    """Return the deviation over frequency with the rated bands, and large that of the worse channel.

    Parameters
    ----------
    runs : Sequence[Run]
        The runs, with their curves.
    title : str
        The card's title.
    quantity : str
        What is rated.
    scale : Callable[[Sequence[float]], Axis]
        Gives the scale in dB that holds values.
    whole : bool
        Whether the frequencies are those of the whole curves, or those of the bands only.
    also : Sequence[str]
        Quantities that are read on the same curves.
    rated : Sequence[str]
        Other names under which the deviation may be rated.
    notes : tuple[str, ...]
        Conditions to print besides those of every card.
    """
    main = figures.main_run(runs)
    traces = [figures.trace(curve, run, runs) for run in runs for curve in run.curves]
    limits = tuple(limit_within(r) for r in figures.rated(main.conditions, quantity, *rated) if r.within)
    bands = [AUDIO_BAND_HZ, *figures.rated_bands(main.conditions, quantity)]
    # a limit is inside the picture, not on its edge
    values = extremes(traces, bands)
    values += [1.2 * side for limit in limits for side in (limit.low, limit.high) if side is not None]
    edges = [edge for band in bands for edge in band]
    found = of_main_band([f for f in main.findings if f.quantity == quantity], main.conditions, quantity)
    x_axis = scales.dial_for(traces) if whole else scales.dial(min(edges), max(edges))
    return figures.card(
        runs,
        title,
        Chart((Panel(x_axis, scale(values), tuple(traces), limits),)),
        figures.hero(quantities.worse(found), found),
        [f for f in main.findings if f.quantity in (quantity, *also)],
        notes,
    )
