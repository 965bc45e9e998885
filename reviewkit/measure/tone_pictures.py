"""The pictures of one steady tone: its wave with the residual without the tone, and its spectrum."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.tone_curves import BESIDE, CYCLES_SHOWN
from reviewkit.measure.tone_sheets import floor_of
from reviewkit.model import digits
from reviewkit.model.card import Axis, Curves, Mark, Panel, Trace
from reviewkit.model.finding import Curve, Run
from reviewkit.signal.spectrum import AUDIO_BAND_HZ

_LOWEST_DRAWN_DB = -160.0
_CLEAR_OF_TONES = 0.1


def curves_of(run: Run, name: str) -> list[Curve]:
    """Return a run's curves of this name, in the file's order of channels."""
    return [curve for curve in run.curves if curve.name == name]


# ------------------------------------------------------------------ the wave


def waveform_panels(runs: Sequence[Run]) -> Curves:
    """Return two cycles of each run over its residual; all runs share the scales.

    Volts and fractions of full scale have no common scale: only runs in the last one's unit are drawn.
    """
    unit = _unit(runs[-1])
    runs = [run for run in runs if _unit(run) == unit]
    waves: list[list[Trace]] = []
    rests: list[list[Trace]] = []
    length_s = 0.0
    for run in runs:
        waves.append([Trace(c.x, c.y, c.channel, "now", c.channel) for c in curves_of(run, "wave") if len(c.x)])
        rests.append([Trace(c.x, c.y, c.channel, "residual", "") for c in curves_of(run, "residual")])
        tone = run.get("frequency")
        if tone is not None:
            length_s = max(length_s, CYCLES_SHOWN / tone.value)
    x_axis = scales.milliseconds(length_s or CYCLES_SHOWN / 1000)
    volts_axis = scales.swing(_largest(waves) or 1.0, unit)
    factor = _magnified(volts_axis.high, _largest(rests))
    millivolts = unit == "V" and volts_axis.high / factor < 1.0
    rest_axis = _swing(volts_axis.high / factor, unit, 1000 if millivolts else 1)
    top = tuple(
        Panel(x_axis, volts_axis, tuple(wave), label=figures.run_label(run, runs) or "waveform")
        for run, wave in zip(runs, waves, strict=True)
    )
    bottom = tuple(
        Panel(
            x_axis,
            rest_axis,
            tuple(_scaled(t, 1000 if millivolts else 1) for t in rest),
            label=f"residual, {digits.trimmed(factor)} × taller",
        )
        for rest in rests
    )
    return Curves(top + bottom, columns=max(1, len(runs)), heights=(1.0, 1.3))


def _largest(traces: Sequence[Sequence[Trace]]) -> float:
    return max((float(np.max(np.abs(t.y))) for own in traces for t in own if len(t.y)), default=0.0)


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


def spectrum_panels(runs: Sequence[Run]) -> Curves:
    """Return each channel's spectrum relative to its fundamental, from 20 Hz up.

    Its second and third harmonic and its hum are marked. Spectra so dense would hide each other in one panel.
    """
    main = figures.main_run(runs)
    traces: dict[str, list[Trace]] = {}
    marks: dict[str, list[Mark]] = {}
    for run in runs:
        for curve in curves_of(run, "spectrum"):
            role, label = figures.trace_role(run, runs), figures.end_label(curve.channel, run, runs)
            trace = Trace(curve.x, curve.y, curve.channel, role, label)
            traces.setdefault(curve.channel, []).append(trace)
            tone = run.get("frequency", curve.channel)
            if run is main and tone is not None:
                marks[curve.channel] = _named_lines(run, trace, tone.value)
    y_axis = scales.twenties([0.0, floor_of([t.y for own in traces.values() for t in own], _LOWEST_DRAWN_DB)])
    panels = [
        Panel(
            scales.dial(*AUDIO_BAND_HZ),
            y_axis,
            tuple(own),
            marks=tuple(marks.get(channel, ())),
            label=" ".join(part for part in (channel, "" if at else "re the tone") if part),
        )
        for at, (channel, own) in enumerate(traces.items())
    ]
    return Curves(tuple(panels), heights=(1.0,) * len(panels) or (1.0,))


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
    return [Mark(*peak, name, trace.channel) for peak, name in marks if peak is not None]


def _peak(trace: Trace, hertz: float) -> tuple[float, float] | None:
    """Return the highest point of a curve near a frequency."""
    near = np.flatnonzero(np.abs(trace.x / hertz - 1) < BESIDE)
    if not len(near):
        return None
    best = int(near[np.argmax(trace.y[near])])
    return float(trace.x[best]), float(trace.y[best])
