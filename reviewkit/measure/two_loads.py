"""A source read at two loads, as it is shown: each channel's volts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reviewkit.measure import figures
from reviewkit.model import digits, quantities
from reviewkit.model.card import Row, Rows
from reviewkit.model.finding import Run


def readings(runs: Sequence[Run]) -> Rows:
    """Return the voltages as read and the damping factor, one line for each channel."""
    main = figures.main_run(runs)
    loads = tuple(quantities.load(ohms) for ohms in main.conditions.measurement.loads_ohm)
    factors = figures.by_channel(main, "damping_factor")
    lines = []
    for run in runs:
        m = run.conditions.measurement
        for channel in (f.channel for f in figures.by_channel(run, "source_impedance")):
            factor = run.get("damping_factor", channel)
            name = figures.end_label(figures.CHANNELS.get(channel, channel), run, runs) or "read"
            cells = (name, *(_volts(run, channel, v) for v in m.volts[channel]))
            lines.append(Row((*cells, *((quantities.with_uncertainty(factor) if factor else "–",) if factors else ()))))
    headers = ("", *loads, *(("damping factor",) if factors else ()))
    return Rows(headers, tuple(lines), strong=len(headers) - 1)


def _volts(run: Run, channel: str, value: float) -> str:
    """Format a reading with the digits that it was written with."""
    step = run.conditions.measurement.volts_step.get(channel, 0.0)
    return f"{digits.fixed(value, max(0, -math.floor(math.log10(step) + 1e-9)) if step else 2)} V"
