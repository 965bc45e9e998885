"""The shared parts of the kinds that are rated as within ± so much over a band: a response, a phono stage."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.model import quantities
from reviewkit.model.arrays import Array
from reviewkit.model.card import Axis, Card, Chart, Panel
from reviewkit.model.finding import Run
from reviewkit.signal.tone import AUDIO_BAND_HZ

# a curve spans tens of dB, a deviation from it only a few: if a file is off by more than this, but by less than half as
# much if read the other way, it is of the other kind (a judgement)
MOST_OFF_DB = 6.0


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
    return stated_db if stated_db > MOST_OFF_DB and other_db < stated_db / 2 else 0.0


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
    limits = tuple(sweeps.limit_within(r) for r in figures.rated(main.conditions, quantity, *rated) if r.within)
    bands = [AUDIO_BAND_HZ, *figures.rated_bands(main.conditions, quantity)]
    # a limit is inside the picture, not on its edge
    values = sweeps.extremes(traces, bands)
    values += [1.2 * side for limit in limits for side in (limit.low, limit.high) if side is not None]
    edges = [edge for band in bands for edge in band]
    found = sweeps.of_main_band([f for f in main.findings if f.quantity == quantity], main.conditions, quantity)
    x_axis = scales.dial_for(traces) if whole else scales.dial(min(edges), max(edges))
    return figures.card(
        runs,
        title,
        Chart((Panel(x_axis, scale(values), tuple(traces), limits),)),
        figures.hero(quantities.worse(found), found),
        [f for f in main.findings if f.quantity in (quantity, *also)],
        notes,
    )
