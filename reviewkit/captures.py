"""Captured waveforms and spectra: their sample rate, their volts, and the pictures that kinds make of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reviewkit import digits, figures, scales
from reviewkit.arrays import Array
from reviewkit.decibels import amplitude_of_db, db_of_amplitude, volts_of
from reviewkit.errors import Fault, InputError
from reviewkit.model import Axis, Column, Conditions, Curves, Panel, Run, Sheet, Trace
from reviewkit.spectrum import without_fundamental
from reviewkit.spectrum_lines import is_even
from reviewkit.windows import COSINE_SUMS, window_name

CYCLES_SHOWN = 3
FEWEST_LINES = 32
CYCLES_FITTED, SECONDS_FITTED = 50, 1.0
_NO_WAVEFORM = 'column "{header}" is in {unit}: a waveform is a voltage over time; export it in V'


def sample_rate_hz(sheet: Sheet) -> float:
    """The sample rate from a time column: (n − 1) / span, because stamps are rounded in exports."""
    time = sheet.find("time")
    assert time is not None
    seconds = time.values
    span = float(seconds[-1] - seconds[0])
    rate = (len(seconds) - 1) / span
    stray = np.abs((seconds - seconds[0]) * rate - np.arange(len(seconds)))
    if float(np.max(stray)) > 1.0:
        raise InputError(
            Fault(
                sheet.source,
                0,
                f"the time stamps are not evenly spaced (row {int(np.argmax(stray)) + 1} of the data is "
                "more than a sample off); export the capture without gaps",
            )
        )
    return rate


def refuse_silence(sheet: Sheet, columns: Sequence[Column]) -> None:
    """Raise InputError where a sweep's level is 0 V, which has no decibels."""
    for column in columns:
        if column.unit == "V" and not np.all(column.values):
            row = int(np.argmin(np.abs(column.values))) + 1
            message = f'column "{column.header}" reads 0 V in data row {row}, which has no decibels; delete that row'
            raise InputError(Fault(sheet.source, 0, message))


def waveform_volts(column: Column, c: Conditions, source: str) -> Array:
    """A waveform's column in volts, shape kept. Raises InputError where its unit is no voltage over time."""
    if column.unit == "V":
        return column.values
    if column.unit == "ratio":
        message = (
            f"[[measurement]] {c.measurement.id}: {source} holds fractions of full scale; add the peak voltage of a "
            'full-scale sine, for example full_scale = "10 V"'
        )
        raise InputError(Fault("session.toml", c.measurement.line, message))
    raise InputError(Fault(source, 0, _NO_WAVEFORM.format(header=column.header, unit=column.unit)))


def waveform_samples(column: Column, source: str) -> tuple[Array, bool]:
    """A waveform's column, shape kept, and whether it is in volts: fractions of full scale still carry every ratio.

    Raises InputError where its unit is neither.
    """
    if column.unit not in ("V", "ratio"):
        raise InputError(Fault(source, 0, _NO_WAVEFORM.format(header=column.header, unit=column.unit)))
    return column.values, column.unit == "V"


@dataclass(frozen=True, eq=False)
class ExportedLines:
    """An exported spectrum's levels, shape (n,): in volts, or relative. `window`: None where noise cannot be told, and
    then `hint` says why.
    """

    frequency_hz: Array
    level: Array
    volts: bool
    window: str | None
    hint: str


def exported_lines(sheet: Sheet, column: Column, c: Conditions) -> ExportedLines:
    """A channel of an exported spectrum. Raises InputError for too few lines and for a window that is not known."""
    frequency, m = sheet.need("frequency"), c.measurement
    if len(frequency.values) < FEWEST_LINES:
        few = f"{len(frequency.values)} lines are no spectrum; export more lines, or is this a response?"
        raise InputError(Fault(sheet.source, 0, few))
    window = window_name(m.window) if m.window else None
    if m.window and window is None:
        known = f'[[measurement]] {m.id}: window = "{m.window}" is not known; known: ' + ", ".join(COSINE_SUMS)
        raise InputError(Fault("session.toml", m.line, known))
    hint = "" if window else 'the window is not known; write for example window = "hann"'
    if window and not is_even(frequency.values):
        window, hint = None, "its lines are not evenly spaced"
    volts = volts_of(column.values, column.unit, m.load_ohm, m.full_scale_v)
    # relative levels still carry every ratio
    level = np.asarray(amplitude_of_db(column.values)) if volts is None else volts
    return ExportedLines(frequency.values, level, volts is not None, window, hint)


def waveform_panels(runs: Sequence[Run]) -> Curves:
    """Three cycles of each run over its residual; all runs share the scales.

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
    largest = max((float(np.max(np.abs(t.y))) for wave in waves for t in wave), default=1.0)
    left = max((float(np.max(np.abs(t.y))) for rest in rests for t in rest), default=1.0) or 1e-6
    x_axis = scales.milliseconds(length_s or 0.003)
    volts_axis = scales.swing(largest, unit)
    millivolts = unit == "V" and left < 0.5
    rest_axis = scales.swing(left * 1000 if millivolts else left, "mV" if millivolts else unit)
    factor = volts_axis.high / (rest_axis.high / 1000 if millivolts else rest_axis.high)
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
    return Curves(top + bottom, columns=max(1, len(runs)), heights=(1.0, 1.0))


def _unit(run: Run) -> str:
    assert run.sheet is not None
    return "of full scale" if run.sheet.need("level").unit == "ratio" else "V"


def _scaled(trace: Trace, factor: float) -> Trace:
    return Trace(trace.x, trace.y * factor, trace.channel, trace.role, trace.label)


def spectrum_panel(runs: Sequence[Run]) -> Curves:
    """The spectrum re the fundamental, from 20 Hz up."""
    traces: list[Trace] = []
    for run in runs:
        assert run.sheet is not None
        frequency = run.sheet.need("frequency")
        for column in run.sheet.all("level"):
            level_db = (
                column.values
                if column.unit.startswith("dB")
                else db_of_amplitude(np.maximum(np.abs(column.values), 1e-12))
            )
            shown = (frequency.values >= 20) & (frequency.values <= 20_000)
            if shown.any():
                traces.append(
                    Trace(
                        frequency.values[shown],
                        level_db[shown] - float(np.max(level_db[shown])),
                        column.channel,
                        figures.trace_role(run, runs),
                        figures.end_label(column.channel, run, runs),
                    )
                )
    lows = [float(np.quantile(t.y, 0.02)) for t in traces] or [-100.0]
    y_axis: Axis = scales.twenties([0.0, max(min(lows), -160.0)])
    return Curves((Panel(scales.dial(20, 20_000), y_axis, tuple(traces)),))
