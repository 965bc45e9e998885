"""The curves of a steady tone's pictures: two cycles of its wave, the residual without the tone, its spectrum."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from reviewkit.measure.tone_sheets import POINTS_DRAWN, spectrum_curve
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.finding import Curve
from reviewkit.model.sheet import Column, Sheet
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
        unit = {"unit": _unit(column)}
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


def _unit(column: Column) -> str:
    return "of full scale" if column.unit == "ratio" else "V"


def _fine_lines(samples: Array, rate_hz: float, tone_hz: float) -> Lines:
    """Return a capture's spectrum through the window that it is analysed with, on closely spaced lines.

    No tone is more than an eighth of the record's own spacing from a line, so it is drawn at most 0.03 dB too low.
    """
    beta = beta_for(tone_hz * len(samples) / rate_hz)
    window = kaiser(len(samples), beta)
    count = _FINER * len(samples)
    power = 2 * np.abs(np.fft.rfft((samples - np.mean(samples)) * window, count) / np.sum(window)) ** 2
    return Lines(np.arange(len(power)) * rate_hz / count, power, _FINER * int(beta / np.pi))
