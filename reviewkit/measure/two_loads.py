"""A source read at two loads, as it is drawn: volts over the current drawn, which fall by the source impedance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.model import digits, quantities
from reviewkit.model.card import Mark, Panel, Readout, Trace
from reviewkit.model.finding import Finding, Run


def sag(runs: Sequence[Run], worst: Finding | None) -> Panel:
    """Return each channel's two readings joined, those of the worst channel labelled."""
    traces, marks = [], []
    for run in runs:
        m = run.conditions.measurement
        for channel in _channels(run):
            volts = np.array(m.volts[channel])
            current_a = np.array([v / ohms for v, ohms in zip(m.volts[channel], m.loads_ohm, strict=True)])
            order = np.argsort(current_a, kind="stable")
            label = figures.end_label(channel, run, runs)
            traces.append(Trace(current_a[order], volts[order], channel, figures.trace_role(run, runs), label))
            if worst is not None and (worst.measurement, worst.channel) == (m.id, channel):
                marks = [
                    Mark(float(x), float(y), f"{_volts(run, channel, float(y))} {_at(ohms)}", channel)
                    for x, y, ohms in zip(current_a, volts, m.loads_ohm, strict=True)
                ]
    currents = [float(np.max(trace.x)) for trace in traces]
    y_axis = scales.close_up([float(v) for trace in traces for v in trace.y], "V")
    return Panel(scales.across(max(currents), "A"), y_axis, tuple(traces), marks=tuple(marks))


def readings_of(run: Run) -> Readout:
    """Return the voltages as read, one channel per line."""
    m = run.conditions.measurement
    head = ("V", *(quantities.load(ohms) for ohms in m.loads_ohm))
    rows = [
        (channel or "read", *(_volts(run, channel, v).removesuffix(" V") for v in m.volts[channel]))
        for channel in _channels(run)
    ]
    return Readout("", "", (head, *rows))


def _channels(run: Run) -> list[str]:
    """Return the channels that have a figure."""
    return [f.channel for f in figures.by_channel(run, "source_impedance")]


def _volts(run: Run, channel: str, value: float) -> str:
    """Format a reading with the digits that it was written with."""
    step = run.conditions.measurement.volts_step.get(channel, 0.0)
    return f"{digits.fixed(value, max(0, -math.floor(math.log10(step) + 1e-9)) if step else 2)} V"


def _at(ohms: float) -> str:
    return quantities.load(ohms) if math.isinf(ohms) else f"at {quantities.load(ohms)}"
