"""The pictures of one steady tone, and their curves: two cycles of its wave, the residual without it, its spectrum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.tone_sheets import POINTS_DRAWN, floor_of, spectrum_curve
from reviewkit.model import digits
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.card import Chart, Mark, Panel, Trace
from reviewkit.model.finding import Curve, Run
from reviewkit.model.sheet import Sheet
from reviewkit.signal.spectrum import without_fundamental
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.tone_lines import Lines, beta_for
from reviewkit.signal.windows import kaiser

CYCLES_SHOWN = 2
LEAST_CYCLES, LEAST_SAMPLES = 50, 4096  # needed for a spectrum to show more than its window
BESIDE = 0.015  # range searched for a line, relative to its frequency
_CYCLES_FITTED, _SECONDS_FITTED = 50, 1.0
_MOST_SAMPLES = 1 << 18
_FINER = 4
LOWEST_DRAWN_DB = -160.0
_CLEAR_OF_TONES = 0.1

# ------------------------------------------------------------------ from a file


def of_capture(sheet: Sheet, rate_hz: float, tones_hz: Mapping[str, float]) -> list[Curve]:
    """Return what is drawn of a capture: "wave" and "residual" of each channel and, of a long record, its "spectrum".

    Parameters
    ----------
    sheet : Sheet
        The capture; all its level columns are waveforms.
    rate_hz : float
        Its sample rate.
    tones_hz : Mapping[str, float]
        Channel -> frequency of its tone. A channel without one has an empty wave: the unit of the data is a fact of
        every wave.
    """
    curves = _waves(sheet, rate_hz, tones_hz)
    # the first channel's tone decides for all channels whether the record is long enough
    cycles = sheet.rows / rate_hz * next(iter(tones_hz.values()), 0.0)
    if sheet.rows >= LEAST_SAMPLES and cycles >= LEAST_CYCLES:
        for column in sheet.all("level"):
            if column.channel in tones_hz:
                tone_hz = tones_hz[column.channel]
                lines = _fine_lines(column.values[:_MOST_SAMPLES], rate_hz, tone_hz)
                curves.append(of_lines(column.channel, lines, tone_hz))
    return curves


def of_lines(channel: str, lines: Lines, tone_hz: float) -> Curve:
    """Return a channel's "spectrum": x in Hz, y in dB relative to the tone's own line."""
    near = np.abs(lines.frequency_hz / tone_hz - 1) < BESIDE
    strongest = float(np.max(lines.power[near] if near.any() else lines.power))
    return spectrum_curve(channel, lines, np.geomspace(*AUDIO_BAND_HZ, POINTS_DRAWN), float(np.sqrt(strongest)))


def _waves(sheet: Sheet, rate_hz: float, tones_hz: Mapping[str, float]) -> list[Curve]:
    """Return two cycles of each channel and of its residual.

    x: ms from where the first channel's tone crosses zero upwards; y: in the data's unit.
    """
    curves: list[Curve] = []
    start_s: float | None = None
    for column in sheet.all("level"):
        unit = {"unit": "of full scale" if column.unit == "ratio" else "V"}
        tone_hz = tones_hz.get(column.channel)
        if tone_hz is None:
            curves.append(Curve("wave", column.channel, read_only([]), read_only([]), unit))
            continue
        # only the beginning is shown, and a long record takes time
        samples = column.values[: int(rate_hz * max(_SECONDS_FITTED, _CYCLES_FITTED / tone_hz))]
        residual, phase = without_fundamental(samples, rate_hz, tone_hz)
        if start_s is None:
            start_s = ((-phase) % (2 * np.pi)) / (2 * np.pi * tone_hz)
        first = int(np.ceil(start_s * rate_hz))
        last = min(len(samples), first + int(CYCLES_SHOWN / tone_hz * rate_hz) + 1)
        milliseconds = read_only((np.arange(first, last) / rate_hz - start_s) * 1000)
        curves.append(Curve("wave", column.channel, milliseconds, read_only(samples[first:last]), unit))
        curves.append(Curve("residual", column.channel, milliseconds, read_only(residual[first:last]), unit))
    return curves


def _fine_lines(samples: Array, rate_hz: float, tone_hz: float) -> Lines:
    """Return a capture's spectrum through the window that it is analysed with, on closely spaced lines.

    No tone is more than an eighth of the record's own spacing from a line, so it is drawn at most 0.03 dB too low.
    """
    beta = beta_for(tone_hz * len(samples) / rate_hz)
    window = kaiser(len(samples), beta)
    count = _FINER * len(samples)
    power = 2 * np.abs(np.fft.rfft((samples - np.mean(samples)) * window, count) / np.sum(window)) ** 2
    return Lines(np.arange(len(power)) * rate_hz / count, power, _FINER * int(beta / np.pi))


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
        own = [c for c in run.drawn("wave") if len(c.x) and (c.channel == channel or not channel)]
        waves += [Trace(c.x, c.y, c.channel, role) for c in own]
        rests += [Trace(c.x, c.y, c.channel, role) for c in run.drawn("residual") if c.channel in (channel, "")]
        tone = run.get("frequency")
        if tone is not None:
            length_s = max(length_s, CYCLES_SHOWN / tone.value)
    x_axis = scales.milliseconds(length_s or CYCLES_SHOWN / 1000)
    volts_axis = scales.swing(_largest(waves) or 1.0, unit)
    factor = _magnified(volts_axis.high, _largest(rests))
    per_unit, unit = (1000, "mV") if unit == "V" and volts_axis.high / factor < 1.0 else (1, unit)
    rest_axis = scales.swing_to(volts_axis.high / factor * per_unit, unit)
    below = tuple(replace(t, y=t.y * per_unit) for t in rests)
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


def _unit(run: Run) -> str:
    return str(run.drawn("wave")[0].facts["unit"])


# ------------------------------------------------------------------ the spectrum


def spectrum_chart(runs: Sequence[Run], channel: str) -> Chart:
    """Return one channel's spectrum relative to its fundamental, from 20 Hz up, harmonics and hum named."""
    traces: list[Trace] = []
    marks: list[Mark] = []
    for run in runs:
        role = figures.trace_role(run, runs)
        for curve in run.drawn("spectrum"):
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
