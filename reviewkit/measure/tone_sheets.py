"""Measurement files with several tones, a waveform or a spectrum, as lines, and the levels at which they are played."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from reviewkit.measure import figures
from reviewkit.measure.captures import exported_lines, sample_rate_hz, waveform_samples
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Run
from reviewkit.model.sheet import Column, Sheet
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.fitted_tones import REST_BETA, fitted_tones
from reviewkit.signal.tone_lines import Line, Lines, NoTones, beta_for, of_spectrum, of_waveform, peaks

FEWEST_SAMPLES = 256
WITHIN = 0.1  # tones are the lines whose level is at least a tenth of the strongest's
LEAST_DRAWN = 5.0  # lines between tones, for which the window of a drawing is chosen
MOST_OFF_DRIVE_DB = 1.0  # a level set by hand and read off a knob is nearer than this
POINTS_DRAWN = 900
_CHANNELS = {"L": "the left channel", "R": "the right channel"}


@dataclass(frozen=True, eq=False)
class ChannelLines:
    """One channel's spectrum and its strong tones. `rest`: of a waveform, the spectrum without them; else the same.
    `volts`: whether it is in volts; of a spectrum its window, and what to write if that isn't known ("" if it is).
    """

    lines: Lines
    rest: Lines
    tones: Sequence[Line]
    volts: bool
    window: str | None = None
    hint: str = ""


def channel_lines(
    sheet: Sheet, column: Column, c: Conditions, check: Callable[[Lines, Sequence[Line]], None], *, blind: bool = True
) -> ChannelLines:
    """Return a channel's spectrum, as exported, or of its waveform, whose tones are fitted and subtracted.

    Parameters
    ----------
    sheet, column : Sheet, Column
        The file and its channel.
    c : Conditions
        What it was measured under.
    check : Callable[[Lines, Sequence[Line]], None]
        Refuses, by NoTones, tones that aren't those of the kind, or are too close in these lines.
    blind : bool
        Whether to look for tones in a spectrum whose window is not known.

    Raises
    ------
    InputError
        If the file is neither a waveform nor a spectrum.
    NoTones
        If the tones aren't there.
    """
    if sheet.find("time") is None:
        exported = exported_lines(sheet, column, c)
        lines = of_spectrum(exported.frequency_hz, exported.level, exported.window)
        tones = peaks(lines, WITHIN) if blind or exported.window else []
        if tones:
            check(lines, tones)
        return ChannelLines(lines, lines, tones, exported.volts, exported.window, exported.hint)
    samples, volts = waveform_samples(column, sheet.source)
    if len(samples) < FEWEST_SAMPLES:
        raise sheet.fault(f"{len(samples)} samples are too few for a capture; capture a longer record")
    rate_hz = sample_rate_hz(sheet)
    tones, left = fitted_tones(samples, rate_hz, WITHIN)
    rest = of_waveform(left, rate_hz, REST_BETA, cleared=True)
    check(rest, tones)
    apart = min((b.place - a.place for a, b in pairwise(tones)), default=tones[0].place)
    return ChannelLines(of_waveform(samples, rate_hz, beta_for(max(apart, LEAST_DRAWN))), rest, tones, volts)


def level_conditions(c: Conditions, level_v: float | None) -> dict[str, Any]:
    """Return the level that a channel's figures hold at: power if there is a load, else voltage; none if relative."""
    if level_v is None:
        return {}
    ohms = load_of(c)
    return {"power": level_v**2 / ohms} if ohms else {"voltage": level_v}


def check_drive(sheet: Sheet, c: Conditions, found: Sequence[Finding], what: str = "") -> None:
    """Refuse a capture that contradicts `drive`: one of the two is wrong.

    Parameters
    ----------
    sheet : Sheet
        The capture.
    c : Conditions
        Its conditions.
    found : Sequence[Finding]
        What it holds; each channel's figures carry its own level.
    what : str
        Which level that is, for the message.

    Raises
    ------
    InputError
        If a channel is more than 1 dB away. Before a repair one channel may be faulty: it is enough that another holds
        the drive.
    """
    m, ohms = c.measurement, load_of(c)
    stated_v = m.drive_v or ((m.drive_w * ohms) ** 0.5 if m.drive_w and ohms else None)
    levels_v: dict[str, float] = {}
    for f in found:
        if ohms and "power" in f.at:
            levels_v[f.channel] = math.sqrt(f.at["power"] * ohms)
        elif "voltage" in f.at:
            levels_v[f.channel] = f.at["voltage"]
    if stated_v is None or not levels_v:
        return
    off = {channel: abs(db_of_amplitude(v / stated_v)) > MOST_OFF_DRIVE_DB for channel, v in levels_v.items()}
    if not any(off.values()) or (m.stage == "before" and not all(off.values())):
        return

    def shown(level_v: float) -> str:
        return quantities.watts(level_v**2 / ohms) if m.drive_w and ohms else quantities.volts(level_v)

    wrong = next(level for channel, level in levels_v.items() if off[channel])
    holds = ", ".join(filter(None, (shown(wrong), what)))
    if m.stage != "before" and db_of_amplitude(max(levels_v.values()) / min(levels_v.values())) > MOST_OFF_DRIVE_DB:
        # no drive would be that of all channels
        each = [f"{shown(level)} in {_CHANNELS.get(channel, channel)}" for channel, level in levels_v.items()]
        holds = ", ".join(filter(None, (" and ".join(each), what)))
        remedy = "leave drive out, and each channel's figures are given at its own level"
    else:
        remedy = "write that, or look for a wrong unit in the file"
        if m.full_scale_v is not None and sheet.source.lower().endswith(".wav"):
            would = quantities.volts(m.full_scale_v * stated_v / wrong, 3)
            remedy = (
                f'write that, or correct full_scale: with "{would}" in place of "{quantities.volts(m.full_scale_v)}"'
            )
            remedy += " it would be as stated"
    stated = quantities.conditions({"power": m.drive_w, "voltage": m.drive_v})
    raise c.fault(f'drive = "{stated}", but {sheet.source} holds {holds}; {remedy}')


def levels_in_words(run: Run, here: Sequence[Finding]) -> str:
    """Return the level at which one figure of each channel holds: one for all, or each channel's if they are apart."""
    levels = [f.at.get("power", 0.0) ** 0.5 or f.at.get("voltage", 0.0) for f in here]
    if not all(levels) or db_of_amplitude(max(levels) / min(levels)) <= MOST_OFF_DRIVE_DB:
        return figures.drive(run.conditions.measurement) or quantities.conditions(here[0].at)
    names = {"L": " on the left", "R": " on the right"}
    return ", ".join(f"{quantities.conditions(f.at)}{names.get(f.channel, '')}" for f in here)


def load_of(c: Conditions) -> float | None:
    """Return the load that power goes into, Ω; None if none is stated or the output is open."""
    ohms = c.measurement.load_ohm
    return ohms if ohms and math.isfinite(ohms) else None


def each_channel(sheet: Sheet, c: Conditions, of: Callable[[Column, figures.Collected], None]) -> Measured:
    """Return a file's results, channel by channel. A channel without its tones is withheld with the reason.

    Parameters
    ----------
    sheet : Sheet
        The file.
    c : Conditions
        The conditions.
    of : Callable[[Column, figures.Collected], None]
        Measures one channel, and adds what it finds.

    Returns
    -------
    Measured
        The results of all channels.

    Raises
    ------
    InputError
        If no channel has its tones.
    """
    got, faults = figures.Collected(c), []
    for column in sheet.all("level"):
        named = {"L": "left: ", "R": "right: "}.get(column.channel, "")
        try:
            of(column, got)
        except NoTones as why:
            faults.append(Fault(sheet.source, 0, f"{named}{why}"))
            got.withhold(f"no figures: {named}{why}")
    if faults and len(faults) == len(sheet.all("level")):
        raise InputError(faults)
    return got.measured


def level_of_the_run(run: Run, finding: Finding | None) -> str:
    """Return the level for a card's line as the file has it, if `drive` doesn't state it: "11.8 W"."""
    if figures.drive(run.conditions.measurement) or finding is None:
        return ""
    return quantities.conditions({key: finding.at.get(key) for key in ("power", "voltage")})


def spectrum_curve(
    channel: str, lines: Lines, edges_hz: Array, re_level: float, origin_hz: float = 0.0, **facts: Any
) -> Curve:
    """Return a spectrum as it is drawn: the strongest line between each pair of neighbouring edges.

    Parameters
    ----------
    channel : str
        The curve's channel.
    lines : Lines
        The spectrum.
    edges_hz : Array
        Shape (n + 1,), rising; stretches without a line are left out.
    re_level : float
        The level at 0 dB.
    origin_hz : float
        The frequency at x = 0.
    **facts : Any
        The curve's facts.

    Returns
    -------
    Curve
        x: Hz from `origin_hz`; y: dB relative to `re_level`; shapes at most (n,).
    """
    index, power = np.searchsorted(lines.frequency_hz, edges_hz).tolist(), lines.power
    kept = [a + int(power[a:b].argmax()) for a, b in pairwise(index) if b > a]  # `np.argmax` takes three times as long
    level_db = 10 * np.log10(np.maximum(power[kept], 1e-30) / re_level**2)
    x = read_only(lines.frequency_hz[kept] - origin_hz)
    return Curve("spectrum", channel, x, read_only(level_db), facts)


def floor_of(levels_db: Sequence[Array], lowest_db: float) -> float:
    """Return the lowest level worth drawing: all but a fiftieth of a spectrum lies above it.

    Parameters
    ----------
    levels_db : Sequence[Array]
        A spectrum's levels for each channel, each of shape (n,).
    lowest_db : float
        The result is never below this.

    Returns
    -------
    float
        In dB.
    """
    return max(lowest_db, min((float(np.quantile(level, 0.02)) for level in levels_db), default=lowest_db))
