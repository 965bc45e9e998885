"""The bands of an equaliser: the gain, the centre and the Q of each, and all of them as a fan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales, sweeps
from reviewkit.model import quantities
from reviewkit.model.arrays import Array
from reviewkit.model.card import Card, Chart, Panel, Trace
from reviewkit.model.finding import Conditions, Finding, Point, Run
from reviewkit.signal.peaking import NoPeak, fit_band
from reviewkit.signal.tone import AUDIO_BAND_HZ

RATED = ("equaliser_range", "centre_frequency_accuracy", "centre_frequency", "band_q")
_LEAST_DB = 1.0  # of a band: with less, neither its centre nor its Q can be read


def band_findings(c: Conditions, channel: str, frequency_hz: Array, difference_db: Array) -> tuple[list[Finding], str]:
    """Return what one band does, and why a figure of it is withheld.

    Parameters
    ----------
    c : Conditions
        The conditions of its sweep, with the printed centre.
    channel : str
        The channel.
    frequency_hz : Array
        Shape (n,), rising.
    difference_db : Array
        Its difference from the reference, shape (n,), dB.

    Returns
    -------
    tuple[list[Finding], str]
        band_gain (dB), centre_frequency (Hz) and band_q, and if rated equaliser_range (dB) and
        centre_frequency_accuracy (%), all at the printed centre; and a reason, or "".
    """
    printed_hz = c.measurement.centre_hz
    assert printed_hz is not None
    # another band, or a fault, may do more elsewhere
    near = (frequency_hz >= printed_hz / 4) & (frequency_hz <= printed_hz * 4)
    if not near.any() or not frequency_hz[0] <= printed_hz <= frequency_hz[-1]:
        return [], "the sweep does not reach its centre"
    gain_db = float(max(difference_db[near], key=abs))
    values: dict[str, float | None] = {}
    why = ""
    if abs(gain_db) >= _LEAST_DB:
        try:
            band = fit_band(frequency_hz[near], difference_db[near])
        except NoPeak as error:
            return [], str(error)
        gain_db = band.gain_db
        values = {"centre_frequency": band.centre_hz, "band_q": band.q}
        if figures.rated(c, "centre_frequency_accuracy"):
            values["centre_frequency_accuracy"] = 100 * (band.centre_hz / printed_hz - 1)
        why = "" if band.q else "no Q: the sweep ends before half of its gain"
    if figures.rated(c, "equaliser_range"):
        values["equaliser_range"] = abs(gain_db)
    values = {"band_gain": gain_db, **values}
    found = [
        figures.finding(c, name, channel, value, frequency=printed_hz)
        for name, value in values.items()
        if value is not None
    ]
    return found, why


def fan(runs: Sequence[Run]) -> Card:
    """Return all bands over frequency, and large the gain of the one that does least; of each the channel with that."""
    shown = [run for run in runs if run.conditions.measurement.stage != "bench"] or list(runs)
    last = figures.main_run(shown).conditions.measurement.stage
    now = [run for run in shown if run.conditions.measurement.stage == last]
    gains = [f for run in now for f in run.findings if f.quantity == "band_gain"]
    key = min(gains, key=lambda f: abs(f.value), default=None)
    traces = [
        Trace(curve.x, curve.y, curve.channel, figures.trace_role(run, shown), "")
        for run in shown
        for curve in run.curves
        if key is None or len(run.curves) == 1 or curve.channel == key.channel
    ]
    extremes = [0.0, *sweeps.extremes(traces, [AUDIO_BAND_HZ])]
    against = list(dict.fromkeys(run.conditions.reference_name for run in shown))
    panel = Panel(
        scales.dial_for(traces), scales.lopsided(min(extremes), max(extremes)), tuple(traces), one_channel=True
    )
    several = len(gains) > 1
    hero = figures.hero(key, gains, "the least of all bands" if several else "")
    figures_of = [f for run in now for f in run.findings]
    return figures.card(runs, "Equaliser", Chart((panel,)), hero, figures_of, (f"relative to {', '.join(against)}",))


def band_points(run: Run) -> tuple[Point, ...]:
    """Return what the channel of a band that does least does."""
    gain = min(figures.by_channel(run, "band_gain"), key=lambda f: abs(f.value), default=None)
    if gain is None:
        return ()
    others = {name: run.get(name, gain.channel) for name in ("centre_frequency", "band_q")}
    return (run.point("band", gain=gain, bands=1, **others, setting=run.conditions.measurement.setting),)


def join_bands(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return several bands as one point: how many they are, the least gain and the centre furthest off."""
    bands = [point for point in points if point.name == "band"]
    if len(bands) < 2:
        return tuple(points)
    least = min(bands, key=lambda point: abs(point.facts["gain"].value))
    centres = [point.facts["centre_frequency"] for point in bands if point.facts["centre_frequency"]]
    off = max(centres, key=lambda f: abs(np.log(f.value / f.at["frequency"])), default=None)
    printed = {quantities.hertz(point.facts["gain"].at["frequency"]) for point in bands}
    joined = replace(least, facts={**least.facts, "bands": len(printed), "centre_frequency": off})
    return (joined, *(point for point in points if point.name != "band"))
