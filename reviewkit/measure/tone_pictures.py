"""The pictures of one steady tone: its wave with the residual without the tone, and its spectrum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.tone_curves import BESIDE, CYCLES_SHOWN
from reviewkit.measure.tone_sheets import floor_of
from reviewkit.model import digits
from reviewkit.model.card import Axis, Chart, Mark, Panel, Trace
from reviewkit.model.finding import Curve, Run
from reviewkit.signal.spectrum import AUDIO_BAND_HZ

LOWEST_DRAWN_DB = -160.0
_CLEAR_OF_TONES = 0.1


def curves_of(run: Run, name: str) -> list[Curve]:
    """Return a run's curves of this name, in the file's order of channels."""
    return [curve for curve in run.curves if curve.name == name]


# ------------------------------------------------------------------ the wave


def waveform_chart(runs: Sequence[Run], channel: str) -> Chart:
    """Return two cycles of one channel over what was added to them; all runs share the scales and the magnification.

    Volts and fractions of full scale have no common scale: only runs in the last one's unit are drawn.
    """
    if not runs:
        return Chart(())
    unit = _unit(runs[-1])
    runs = [run for run in runs if _unit(run) == unit]
    waves, rests = [], []
    length_s = 0.0
    for run in runs:
        role = figures.trace_role(run, runs)
        own = [c for c in curves_of(run, "wave") if len(c.x) and (c.channel == channel or not channel)]
        waves += [Trace(c.x, c.y, c.channel, role) for c in own]
        rests += [Trace(c.x, c.y, c.channel, role) for c in curves_of(run, "residual") if c.channel in (channel, "")]
        tone = run.get("frequency")
        if tone is not None:
            length_s = max(length_s, CYCLES_SHOWN / tone.value)
    x_axis = scales.milliseconds(length_s or CYCLES_SHOWN / 1000)
    volts_axis = scales.swing(_largest(waves) or 1.0, unit)
    factor = _magnified(volts_axis.high, _largest(rests))
    millivolts = unit == "V" and volts_axis.high / factor < 1.0
    rest_axis = _swing(volts_axis.high / factor, unit, 1000 if millivolts else 1)
    below = tuple(_scaled(t, 1000 if millivolts else 1) for t in rests)
    label = f"what was added, scale × {digits.trimmed(factor)}"
    return Chart(
        (
            Panel(x_axis, volts_axis, tuple(waves), one_channel=True),
            Panel(x_axis, rest_axis, below, label=label, one_channel=True),
        ),
        (1.0, 1.6),
    )


def _largest(traces: Sequence[Trace]) -> float:
    return max((float(np.max(np.abs(t.y))) for t in traces if len(t.y)), default=0.0)


def _magnified(high: float, left: float) -> float:
    """Return how many times taller a residual can be drawn than its wave: 1, 2, 4 or 5 times a power of ten."""
    most = high / max(left, high * 1e-6)
    return max(m * 10.0**e for e in range(7) for m in (1, 2, 4, 5) if m * 10.0**e <= max(most, 1.0))


def _swing(top: float, unit: str, factor: float) -> Axis:
    """Return a vertical scale for a residual: the same up and down, three numbers."""
    text = digits.trimmed(top * factor)
    unit = f"m{unit}" if factor > 1 else unit
    high = top * factor
    return Axis(-high, high, "linear", ((-high, f"{digits.MINUS}{text}"), (0.0, "0"), (high, f"{text} {unit}")), unit)


def _unit(run: Run) -> str:
    return str(curves_of(run, "wave")[0].facts["unit"])


def _scaled(trace: Trace, factor: float) -> Trace:
    return Trace(trace.x, trace.y * factor, trace.channel, trace.role, trace.label)


# ------------------------------------------------------------------ the spectrum


def spectrum_chart(runs: Sequence[Run], channel: str) -> Chart:
    """Return one channel's spectrum relative to its fundamental, from 20 Hz up, harmonics and hum named."""
    traces: list[Trace] = []
    marks: list[Mark] = []
    for run in runs:
        role = figures.trace_role(run, runs)
        for curve in curves_of(run, "spectrum"):
            if curve.channel == channel:
                trace = Trace(curve.x, curve.y, channel, role)
                traces.append(trace)
                tone = run.get("frequency", channel)
                if tone is not None and role in ("now", "before"):
                    marks += [replace(mark, role=role) for mark in _named_lines(run, trace, tone.value)]
    y_axis = scales.twenties([0.0, floor_of([t.y for t in traces], LOWEST_DRAWN_DB)])
    return Chart((Panel(scales.dial(*AUDIO_BAND_HZ), y_axis, tuple(traces), marks=tuple(marks), one_channel=True),))


def _named_lines(run: Run, trace: Trace, tone_hz: float) -> list[Mark]:
    """Return the second and the third harmonic, and the strongest line of the mains, at their peaks in the picture."""
    found = [
        (order * tone_hz, name)
        for order, name in ((2, "2nd"), (3, "3rd"))
        if run.get(f"harmonic_{order}", trace.channel)
    ]
    marks = [(_peak(trace, hertz), name) for hertz, name in found]
    hum = run.get("hum", trace.channel)
    mains_hz = hum.at.get("mains") if hum else None
    if mains_hz:
        lines = [n * mains_hz for n in range(1, 21)]
        clear = [f for f in lines if f < (1 - _CLEAR_OF_TONES) * tone_hz or abs(f / tone_hz % 1 - 0.5) < 0.4]
        peaks = [peak for peak in (_peak(trace, f) for f in clear) if peak is not None]
        marks.append((max(peaks, key=lambda peak: peak[1], default=None), "hum"))
    return [Mark(*peak, name, trace.channel, part=True) for peak, name in marks if peak is not None]


def _peak(trace: Trace, hertz: float) -> tuple[float, float] | None:
    """Return the highest point of a curve near a frequency."""
    near = np.flatnonzero(np.abs(trace.x / hertz - 1) < BESIDE)
    if not len(near):
        return None
    best = int(near[np.argmax(trace.y[near])])
    return float(trace.x[best]), float(trace.y[best])
