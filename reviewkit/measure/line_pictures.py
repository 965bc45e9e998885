"""The curves of a spectrum with named lines: the whole of it, or the sidebands next to a tone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.card import Mark, Panel, Trace
from reviewkit.model.finding import Curve, Finding, Run
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.jitter import REACH_HZ, Jitter
from reviewkit.signal.named_lines import RUMBLE_BAND_HZ, STEREO_HZ, highest_lines
from reviewkit.signal.noise_lines import Noise

SPECTRUM, SIDEBANDS = "spectrum", "sidebands"
_MOST_DRAWN = 600
_LOWEST_DB = -160.0  # below the highest: nothing is drawn there
_LOWEST_HZ, _HIGHEST_HZ = 10.0, 100_000.0
_MOST_NAMED, _NAMED_APART_HZ = 3, 400.0


def spectrum_curve(channel: str, noise: Noise, level: float, unit: str) -> Curve:
    """Return a channel's spectrum: x in Hz, y in dB relative to a level, V r.m.s. or of full scale."""
    low = max(_LOWEST_HZ, noise.reach_hz[0])
    edges = np.geomspace(low, max(2 * low, min(_HIGHEST_HZ, noise.reach_hz[1])), _MOST_DRAWN + 1)
    x, volts = highest_lines(noise, edges)
    return _curve(SPECTRUM, channel, x, volts / level, {"unit": unit, "spacing": noise.spacing_hz})


def sidebands_curve(channel: str, noise: Noise, level: float, tone_hz: float, jitter: Sequence[Jitter]) -> Curve:
    """Return what is next to a tone: x in Hz from it, y in dB relative to it."""
    x, volts = highest_lines(noise, np.linspace(tone_hz - REACH_HZ, tone_hz + REACH_HZ, _MOST_DRAWN + 2))
    pairs: list[tuple[float, float]] = []
    for each in jitter:
        # names next to each other would leave open which is whose
        if len(pairs) < _MOST_NAMED and all(abs(each.frequency_hz - hz) > _NAMED_APART_HZ for hz, _ in pairs):
            pairs.append((each.frequency_hz, each.sideband_db(tone_hz)))
    facts = {"strongest_hz": jitter[0].frequency_hz, "pairs": pairs, "tone": tone_hz, "spacing": noise.spacing_hz}
    return _curve(SIDEBANDS, channel, x - tone_hz, volts / level, facts)


def _curve(name: str, channel: str, x: Array, ratio: Array, facts: dict[str, object]) -> Curve:
    highest = float(np.max(ratio, initial=1e-12))
    y = db_of_amplitude(np.maximum(ratio, highest * 10 ** (_LOWEST_DB / 20)))
    return Curve(name, channel, read_only(x), read_only(np.asarray(y)), facts)


def spectrum_panel(runs: Sequence[Run], main: Run, channel: str, key: Finding | None) -> Panel:
    """Return the spectra of one channel, its figure ringed or the lines that it is made of named. Of rumble only its
    band is drawn.
    """
    unit = main.drawn(SPECTRUM, channel)[0].facts["unit"]
    traces = [trace for run in runs for trace in _traces(run, runs, SPECTRUM, channel, unit)]
    x = scales.dial_for(traces)
    if main.get("rumble", channel) is not None:
        traces = [_below(trace, RUMBLE_BAND_HZ[1]) for trace in traces]
        x = scales.rates(*RUMBLE_BAND_HZ)
    marks = [
        _mark(f, figures.trace_role(run, runs), part=f.quantity != key.quantity)
        for run in runs
        for f in run.findings
        if key and _is_in(f, key)
    ]
    levels = [0.0 if unit == "dB" else float(np.max(traces[0].y)), *(mark.y for mark in marks if mark.x <= x.high)]
    levels += figures.extents(traces)
    shown = tuple(mark for mark in marks if x.low <= mark.x <= x.high and mark.role in ("now", "before"))
    return Panel(x, scales.twenties(levels), tuple(traces), marks=shown, one_channel=True)


def _below(trace: Trace, top_hz: float) -> Trace:
    inside = trace.x <= top_hz
    return replace(trace, x=read_only(trace.x[inside]), y=read_only(trace.y[inside]))


def _is_in(f: Finding, key: Finding) -> bool:
    """Return whether a finding is a line that stands out of the noise, and which the card's figure is of."""
    hz = f.at.get("frequency")
    if f.channel != key.channel or f.bound or hz is None:
        return False
    if f.quantity != "line_level" or key.quantity == "line_level":
        return f.quantity == key.quantity and hz == key.at.get("frequency")
    if key.quantity == "subcarrier_suppression":
        return hz in STEREO_HZ.values()
    return key.quantity == "rumble" and RUMBLE_BAND_HZ[0] <= hz <= RUMBLE_BAND_HZ[1]


def _mark(f: Finding, role: str, *, part: bool) -> Mark:
    hz = float(f.at["frequency"])
    return Mark(hz, f.value, str(f.at.get("line") or quantities.hertz(hz)), f.channel, role, optional=True, part=part)


def sidebands_panel(runs: Sequence[Run], main: Run, channel: str) -> Panel:
    """Return what is next to the tone in one channel, the strongest pair of sidebands ringed."""
    curve = main.drawn(SIDEBANDS, channel)[0]
    traces = [trace for run in runs for trace in _traces(run, runs, SIDEBANDS, channel)]
    lows = [float(np.min(trace.y)) for trace in traces]
    marks = [
        Mark(side * hz, db, quantities.hertz(hz) if side > 0 else "", channel, role, optional=True)
        for run in runs
        if (role := figures.trace_role(run, runs)) in ("now", "before")
        for own in run.drawn(SIDEBANDS, channel)
        for hz, db in own.facts["pairs"]
        for side in (-1, 1)
    ]
    tone = scales.around_tone(REACH_HZ, curve.facts["tone"])
    return Panel(tone, scales.twenties([0.0, *lows]), tuple(traces), marks=tuple(marks), one_channel=True)


def _traces(run: Run, runs: Sequence[Run], name: str, channel: str, unit: str = "") -> list[Trace]:
    role = figures.trace_role(run, runs)
    curves = [curve for curve in run.drawn(name, channel) if not unit or curve.facts["unit"] == unit]
    return [Trace(curve.x, curve.y, channel, role) for curve in curves]
