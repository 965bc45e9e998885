"""What one steady tone looks like: its wave with what is left of it without the tone, and its spectrum."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit import digits, figures, scales
from reviewkit.arrays import Array
from reviewkit.captures import exported_lines, sample_rate_hz, waveform_samples
from reviewkit.model import Axis, Column, Curves, Mark, Panel, Run, Sheet, Trace
from reviewkit.signal.spectrum import AUDIO_BAND_HZ, without_fundamental
from reviewkit.signal.tone_lines import Lines, beta_for, of_spectrum
from reviewkit.signal.windows import kaiser
from reviewkit.tone_sheets import POINTS_DRAWN, drawn, floor_of

CYCLES_SHOWN = 2
CYCLES_FITTED, SECONDS_FITTED = 50, 1.0
LEAST_CYCLES, LEAST_SAMPLES = 50, 4096  # of a record whose spectrum shows more than its window
_MOST_SAMPLES = 1 << 18
_FINER = 4
_LOWEST_DRAWN_DB = -160.0
_BESIDE = 0.015  # where a line is looked for, re its frequency
_CLEAR_OF_TONES = 0.1


# ------------------------------------------------------------------ the wave


def waveform_panels(runs: Sequence[Run]) -> Curves:
    """Two cycles of each run over its residual; all runs share the scales.

    Volts and fractions of full scale have none in common: only runs in the last one's unit are drawn.
    """
    unit = _unit(runs[-1])
    runs = [run for run in runs if _unit(run) == unit]
    waves: list[list[Trace]] = []
    rests: list[list[Trace]] = []
    length_s = 0.0
    for run in runs:
        assert run.sheet is not None
        rate, start_s = sample_rate_hz(run.sheet), None
        wave, rest = [], []
        for column in run.sheet.all("level"):
            tone = run.get("frequency", column.channel)
            if tone is None:
                continue
            # the beginning is all that is shown, and a long record costs time
            samples = column.values[: int(rate * max(SECONDS_FITTED, CYCLES_FITTED / tone.value))]
            residual, phase = without_fundamental(samples, rate, tone.value)
            if start_s is None:
                # begin where the first channel's fundamental crosses zero upwards
                start_s = ((-phase) % (2 * np.pi)) / (2 * np.pi * tone.value)
                length_s = max(length_s, CYCLES_SHOWN / tone.value)
            first = int(np.ceil(start_s * rate))
            last = min(len(samples), first + int(CYCLES_SHOWN / tone.value * rate) + 1)
            milliseconds = (np.arange(first, last) / rate - start_s) * 1000
            wave.append(Trace(milliseconds, samples[first:last], column.channel, "now", column.channel))
            rest.append(Trace(milliseconds, residual[first:last], column.channel, "residual", ""))
        waves.append(wave)
        rests.append(rest)
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
    """How many times taller a residual can be drawn than its wave: 1, 2, 4 or 5 times a power of ten."""
    most = high / max(left, high * 1e-6)
    return max(m * 10.0**e for e in range(7) for m in (1, 2, 4, 5) if m * 10.0**e <= max(most, 1.0))


def _swing(top: float, unit: str, factor: float) -> Axis:
    """A vertical scale for a residual: the same up and down, three numbers."""
    text = digits.trimmed(top * factor)
    unit = f"m{unit}" if factor > 1 else unit
    high = top * factor
    return Axis(-high, high, "linear", ((-high, f"{digits.MINUS}{text}"), (0.0, "0"), (high, f"{text} {unit}")), unit)


def _unit(run: Run) -> str:
    assert run.sheet is not None
    return "of full scale" if run.sheet.need("level").unit == "ratio" else "V"


def _scaled(trace: Trace, factor: float) -> Trace:
    return Trace(trace.x, trace.y * factor, trace.channel, trace.role, trace.label)


# ------------------------------------------------------------------ the spectrum


def has_spectrum(run: Run) -> bool:
    """Whether a run's file is a spectrum, or a capture long enough to make one of."""
    tone = run.get("frequency")
    if run.sheet is None or tone is None:
        return False
    if run.sheet.find("time") is None:
        return True
    cycles = run.sheet.rows / sample_rate_hz(run.sheet) * tone.value
    return run.sheet.rows >= LEAST_SAMPLES and cycles >= LEAST_CYCLES


def spectrum_panels(runs: Sequence[Run]) -> Curves:
    """Each channel's spectrum re its fundamental, from 20 Hz up, its second and third harmonic and its hum marked.
    Spectra so dense would hide each other in one panel.
    """
    main = figures.main_run(runs)
    traces: dict[str, list[Trace]] = {}
    marks: dict[str, list[Mark]] = {}
    for run in runs:
        assert run.sheet is not None
        for column in run.sheet.all("level"):
            tone = run.get("frequency", column.channel)
            if tone is None:
                continue
            x, level_db = _spectrum(run.sheet, column, run, tone.value)
            role, label = figures.trace_role(run, runs), figures.end_label(column.channel, run, runs)
            trace = Trace(x, level_db, column.channel, role, label)
            traces.setdefault(column.channel, []).append(trace)
            if run is main:
                marks[column.channel] = _named_lines(run, trace, tone.value)
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


def _spectrum(sheet: Sheet, column: Column, run: Run, tone_hz: float) -> tuple[Array, Array]:
    """Frequencies (Hz) and levels (dB re the tone's own line), strongest line for each place of the picture."""
    if sheet.find("time") is None:
        told = exported_lines(sheet, column, run.conditions)
        lines = of_spectrum(told.frequency_hz, told.level, told.window)
    else:
        samples, _ = waveform_samples(column, sheet.source)
        lines = _fine_lines(samples[:_MOST_SAMPLES], sample_rate_hz(sheet), tone_hz)
    near = np.abs(lines.frequency_hz / tone_hz - 1) < _BESIDE
    strongest = float(np.max(lines.power[near] if near.any() else lines.power))
    return drawn(lines, np.geomspace(*AUDIO_BAND_HZ, POINTS_DRAWN), float(np.sqrt(strongest)))


def _fine_lines(samples: Array, rate_hz: float, tone_hz: float) -> Lines:
    """A capture's spectrum through the window that it is analysed with, its lines so close that no tone stands more
    than an eighth of the record's own spacing beside one: it is drawn at most 0.03 dB too low.
    """
    beta = beta_for(tone_hz * len(samples) / rate_hz)
    window = kaiser(len(samples), beta)
    count = _FINER * len(samples)
    power = 2 * np.abs(np.fft.rfft((samples - np.mean(samples)) * window, count) / np.sum(window)) ** 2
    return Lines(np.arange(len(power)) * rate_hz / count, power, _FINER * int(beta / np.pi))


def _named_lines(run: Run, trace: Trace, tone_hz: float) -> list[Mark]:
    """The second and the third harmonic, and the strongest line of the mains, at their peaks in the picture."""
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
    """The highest point of a curve about a frequency."""
    near = np.flatnonzero(np.abs(trace.x / hertz - 1) < _BESIDE)
    if not len(near):
        return None
    best = int(near[np.argmax(trace.y[near])])
    return float(trace.x[best]), float(trace.y[best])
