"""What a spectrum with named lines draws: the whole of it, or the sidebands next to a tone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.card import Mark, Panel, Trace
from reviewkit.model.finding import Curve, Finding, Run
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.jitter import REACH_HZ, Jitter
from reviewkit.signal.named_lines import highest_lines
from reviewkit.signal.noise_lines import Noise

SPECTRUM, SIDEBANDS = "spectrum", "sidebands"
_MOST_DRAWN = 600
_LOWEST_DB = -160.0  # below the highest: nothing is drawn there
_LOWEST_HZ, _HIGHEST_HZ = 10.0, 100_000.0
_MOST_NAMED = 3


def spectrum_curve(channel: str, noise: Noise, level: float, unit: str) -> Curve:
    """Return a channel's spectrum: x in Hz, y in dB relative to a level, V r.m.s. or of full scale."""
    low = max(_LOWEST_HZ, noise.reach_hz[0])
    edges = np.geomspace(low, max(2 * low, min(_HIGHEST_HZ, noise.reach_hz[1])), _MOST_DRAWN + 1)
    x, volts = highest_lines(noise, edges)
    return _curve(SPECTRUM, channel, x, volts / level, {"unit": unit, "spacing": noise.spacing_hz})


def sidebands_curve(channel: str, noise: Noise, level: float, tone_hz: float, jitter: Sequence[Jitter]) -> Curve:
    """Return what is next to a tone: x in Hz from it, y in dB relative to it."""
    x, volts = highest_lines(noise, np.linspace(tone_hz - REACH_HZ, tone_hz + REACH_HZ, _MOST_DRAWN + 2))
    strongest = [(each.frequency_hz, each.sideband_db(tone_hz)) for each in jitter[:_MOST_NAMED]]
    facts = {"strongest_hz": jitter[0].frequency_hz, "pairs": strongest, "tone": tone_hz, "spacing": noise.spacing_hz}
    return _curve(SIDEBANDS, channel, x - tone_hz, volts / level, facts)


def _curve(name: str, channel: str, x: Array, ratio: Array, facts: dict[str, object]) -> Curve:
    highest = float(np.max(ratio, initial=1e-12))
    y = db_of_amplitude(np.maximum(ratio, highest * 10 ** (_LOWEST_DB / 20)))
    return Curve(name, channel, read_only(x), read_only(np.asarray(y)), facts)


def spectrum_panel(runs: Sequence[Run], main: Run, channel: str) -> Panel:
    """Return the spectra of one channel, the main run's lines ringed and named, its bands as levels."""
    unit = _of(main, SPECTRUM, channel)[0].facts["unit"]
    traces = [trace for run in runs for trace in _traces(run, runs, SPECTRUM, channel, unit)]
    bands = [trace for run in runs for trace in _band_levels(run, runs, channel)]
    y = [0.0 if unit == "dB" else float(np.max(traces[0].y)), *(float(np.min(trace.y)) for trace in traces)]
    tops = [float(np.max(trace.y)) for trace in (*traces, *bands)]
    return Panel(
        scales.dial_for(traces),
        scales.twenties([*y, *tops]),
        (*traces, *bands),
        marks=tuple(_mark(f) for f in main.findings if f.channel == channel and _is_line(f)),
        one_channel=True,
    )


def _is_line(f: Finding) -> bool:
    """Return whether a finding is a line that stands out of the noise."""
    return (
        f.quantity in ("line_level", "strongest_other_line")
        and not f.bound
        and "line_width" not in f.at
        and (f.quantity == "strongest_other_line" or "band" not in f.at)
    )


def _mark(f: Finding) -> Mark:
    hz = float(f.at["frequency"])
    return Mark(hz, f.value, str(f.at.get("line") or quantities.hertz(hz)), f.channel, optional=True)


def _band_levels(run: Run, runs: Sequence[Run], channel: str) -> list[Trace]:
    """Return each band's level, drawn from edge to edge."""
    role = figures.trace_role(run, runs)
    found = [
        f for f in run.findings if f.channel == channel and "band" in f.at and f.quantity in ("rumble", "line_level")
    ]
    return [
        Trace(
            read_only(np.array([float(hz) for hz in f.at["band"]])),
            read_only(np.full(2, f.value)),
            channel,
            role,
            str(f.at.get("line", f.quantity)) if role == "now" else "",
        )
        for f in found
    ]


def sidebands_panel(runs: Sequence[Run], main: Run, channel: str) -> Panel:
    """Return what is next to the tone in one channel, the strongest pair of sidebands ringed."""
    curve = _of(main, SIDEBANDS, channel)[0]
    traces = [trace for run in runs for trace in _traces(run, runs, SIDEBANDS, channel)]
    lows = [float(np.min(trace.y)) for trace in traces]
    pairs = curve.facts["pairs"]
    marks = [
        Mark(side * hz, db, quantities.hertz(hz) if side > 0 else "", channel, optional=True)
        for hz, db in pairs
        for side in (-1, 1)
    ]
    tone = scales.around_tone(REACH_HZ, curve.facts["tone"])
    return Panel(tone, scales.twenties([0.0, *lows]), tuple(traces), marks=tuple(marks), one_channel=True)


def _of(run: Run, name: str, channel: str) -> list[Curve]:
    return [curve for curve in run.curves if (curve.name, curve.channel) == (name, channel)]


def _traces(run: Run, runs: Sequence[Run], name: str, channel: str, unit: str = "") -> list[Trace]:
    role = figures.trace_role(run, runs)
    curves = [curve for curve in _of(run, name, channel) if not unit or curve.facts["unit"] == unit]
    return [Trace(curve.x, curve.y, channel, role) for curve in curves]
