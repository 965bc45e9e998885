"""The dynamic range of a player: what is left of its tone at −60 dBFS, below full scale."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import figures
from reviewkit.measure.figures import Collected
from reviewkit.measure.idle_output import Withheld, read_noise
from reviewkit.model import quantities
from reviewkit.model.capture_request import ALONE, AS_USED, Basis, CaptureRequest
from reviewkit.model.finding import Finding, Point, Run
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.weightings import CCIR_RMS
from reviewkit.signal import noise_lines
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import a_weighting, weighting_468

NAME = "dynamic_range"
TONE_DBFS = -60.0
_EIAJ = {"method": "EIAJ"}
_SAME_LINE = 1e-3
_SAME_DB = 0.5  # the tone of a test disc is exact, but for the player's own linearity
# AES17-2015, 6.4.1, and with A as brochures have it (EIAJ CP-307, from memory)
_WEIGHTS: Mapping[str, Callable[..., Any]] = {
    "A": a_weighting,
    CCIR_RMS: lambda hz: weighting_468(hz, arm=True),
    "": np.ones_like,
}


def add_range(got: Collected, sheet: Sheet, column: Column, tone_hz: float, under: Mapping[str, Any]) -> None:
    """Add the dynamic range of a tone at −60 dBFS, or why there is none; nothing of any other tone.

    It is dynamic_range in dB, A-weighted, CCIR-RMS and unweighted, over 20 Hz – 20 kHz or as far as the data goes.

    Parameters
    ----------
    got : Collected
        The tone's results.
    sheet, column : Sheet, Column
        The file and its channel.
    tone_hz : float
        The frequency of its tone.
    under : Mapping[str, Any]
        The conditions of its figures.

    Raises
    ------
    InputError
        If the record is too short.

    Notes
    -----
    Full scale over everything but the tone, distortion included (AES17-2015, 6.4.1). The tone is taken out as a line,
    where that standard has a notch, which takes 0.45 dB from 2 kHz. Full scale is the tone's own level and 60 dB.
    """
    c, level = got.conditions, got.conditions.measurement.drive
    if level is None or level.unit != "dBFS" or abs(level.value - TONE_DBFS) > _SAME_DB:
        return
    try:
        noise, _ = read_noise(sheet, column, c)
    except Withheld as why:
        got.withhold(f"no dynamic range: {why}")
        return
    band_hz = noise.band(*AUDIO_BAND_HZ)
    tone = min(noise.lines, key=lambda line: abs(line.frequency_hz - tone_hz), default=None)
    if band_hz is None or tone is None or abs(tone.frequency_hz - tone_hz) > noise.spacing_hz:
        got.withhold("no dynamic range: the tone does not stand out of the noise")
        return
    left_out = (tone.frequency_hz, *(c.measurement.without_hz or ()))
    kept = (line for line in noise.lines if all(abs(line.frequency_hz / hz - 1) > _SAME_LINE for hz in left_out))
    rest = replace(noise, lines=tuple(kept))
    full_scale = math.sqrt(tone.power) * 10 ** (-level.value / 20)
    plain = {key: value for key, value in under.items() if key not in ("power", "voltage")}  # −60 dBFS says more
    at = {**plain, "frequency": tone_hz, "band": list(band_hz), "window": noise.window or None}
    eiaj = any(("method", "EIAJ") in rating.conditions for rating in figures.rated(c, NAME))
    for weighting, weight in _WEIGHTS.items():
        left = noise_lines.band_volts(rest, band_hz, weight)
        if left > 0:
            own = {**at, "weighting": weighting or None, **({"conditions": _EIAJ} if eiaj and weighting == "A" else {})}
            got.add(NAME, column.channel, 20 * math.log10(full_scale / left), **own)


def main_range(run: Run) -> Finding | None:
    """Return the worse channel's dynamic range, weighted as it is rated, else by A; None if a run has none."""
    rated = [rating.weighting or "A" for rating in figures.rated(run.conditions, NAME)]
    wanted = next(iter(rated), "A")
    return quantities.worse(figures.by_channel(run, NAME, weighting=wanted))


def points_of_range(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the dynamic range and what it was; nothing of a run that has none."""
    own = main_range(run)
    if own is None:
        return ()
    earlier = main_range(before) if before else None
    return (run.point("range", worse=own, weighting=own.at["weighting"], before=earlier),)


def range_request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request the tone of a test disc."""
    at = {"dbfs": TONE_DBFS, **({"weighting": rating.weighting} if rating.weighting else {})}
    return (CaptureRequest("", "", (NAME,), at, AS_USED, place=ALONE, apart=(NAME,), wording={"quantities": (NAME,)}),)
