"""Phase, delay, polarity and level between two channels that carry the same tones; a tape head's azimuth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.capture_requests import played_tone_request
from reviewkit.measure.captures import refuse_silence, sample_rate_hz, waveform_samples
from reviewkit.model import quantities
from reviewkit.model.arrays import read_only
from reviewkit.model.capture_request import Basis, CaptureRequest
from reviewkit.model.card import Card, Chart, Panel, Trace
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import FLAT, Kind
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.between_channels import Between, Delay, azimuth_arcmin, compare_channels, delay_between
from reviewkit.signal.tone_lines import NoTones

# a stereo cassette: 0.6 mm tracks with 0.3 mm between them (from memory)
_CASSETTE_CM_S, _CASSETTE_SPACING_M, _NEAR = 4.7625, 0.0009, 0.01
_POINTS = 181  # of a closed figure
_SIDES = {True: "right", False: "left"}
_LEAST_S = 1e-9


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return channel_phase_difference (°) and channel_balance (dB, left over right) at each tone, channel_delay (s),
    and azimuth_error (minutes of arc) if the tape's speed is stated.

    Phase, delay and azimuth are sizes; `later` in their conditions says which channel is late.

    Raises
    ------
    InputError
        If one of the two channels is missing or silent, or if they have no tone in common.
    """
    there = {column.channel: column for column in sheet.all("level")}
    if not {"L", "R"} <= set(there):
        raise sheet.fault("two channels are compared: capture left and right together, in one file")
    for side in "LR":
        refuse_silence(there[side], sheet)
    try:
        left, right = (waveform_samples(there[side], sheet.source)[0] for side in "LR")
        tones = compare_channels(left, right, sample_rate_hz(sheet))
    except NoTones as why:
        raise sheet.fault(str(why)) from None
    delay = delay_between(tones)
    got = figures.Collected(c)
    got.findings += [f for tone in tones for f in _of_tone(c, tone)]
    late: dict[str, Any] = {"later": _SIDES[delay.seconds > 0]} if abs(delay.seconds) >= _LEAST_S else {}
    got.add("channel_delay", "both", abs(delay.seconds), **late)
    if delay.lone and tones[0].frequency_hz > 1000.0:
        got.withhold("by one tone alone, the delay may be off by whole periods of it")
    if c.measurement.tape_speed is not None:
        # the tracks are a cassette's if the speed is
        cassette = abs(c.measurement.tape_speed / _CASSETTE_CM_S - 1) <= _NEAR
        spacing_m = c.measurement.track_spacing or (_CASSETTE_SPACING_M if cassette else None)
        if spacing_m is None:
            got.withhold('no azimuth, write track_spacing = "…", from middle to middle')
        else:
            angle = azimuth_arcmin(abs(delay.seconds), c.measurement.tape_speed / 100, spacing_m)
            got.add("azimuth_error", "both", angle, **late)
    got.curves.append(_figure(tones[-1], delay))
    return got.measured


def _of_tone(c: Conditions, tone: Between) -> list[Finding]:
    size = abs(tone.phase_deg)
    late: dict[str, Any] = {"later": _SIDES[tone.phase_deg > 0]} if size else {}
    hz = tone.frequency_hz
    return [
        figures.finding(c, "channel_phase_difference", "both", size, frequency=hz, **late),
        figures.finding(c, "channel_balance", "both", -tone.level_db, frequency=hz),
    ]


def _figure(tone: Between, delay: Delay) -> Curve:
    """Return the Lissajous figure of a tone: right over left, the larger of the two 1."""
    ratio = 10 ** (tone.level_db / 20)
    angle = np.linspace(0, 2 * np.pi, _POINTS)
    across, up = 1 / max(1.0, ratio), ratio / max(1.0, ratio)
    x, y = across * np.sin(angle), up * np.sin(angle - np.radians(tone.phase_deg))
    facts = {"frequency_hz": tone.frequency_hz, "inverted": delay.inverted}
    return Curve("figure", "both", read_only(x), read_only(y), facts)


def _shown(run: Run) -> Finding | None:
    """Return what the card shows large: the azimuth, else the phase at the highest tone."""
    phases = figures.by_channel(run, "channel_phase_difference")
    return run.get("azimuth_error") or (phases[-1] if phases else None)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the Lissajous figure of the highest tone, and the line to the upper right that it is in step."""
    main = figures.main_run(runs)
    traces = tuple(
        Trace(curve.x, curve.y, "", figures.trace_role(run, runs), figures.run_label(run, runs))
        for run in runs
        for curve in run.curves
    )
    hz = quantities.hertz(main.curves[0].facts["frequency_hz"])
    figure = _shown(main)
    across, up = scales.sides("left"), scales.sides("right")
    corners = read_only(np.array((across.low, across.high)))
    azimuth = main.get("azimuth_error") is not None
    in_step = Trace(corners, corners, "", "ideal", "aligned" if azimuth else "in step")
    panel = Panel(across, up, (in_step, *traces), one_channel=True, square=True)
    names = ("azimuth_error", "channel_phase_difference", "channel_delay", "channel_balance")
    found = [f for name in names for f in figures.by_channel(main, name)]
    return figures.card(
        runs,
        "Azimuth" if azimuth else KIND.title,
        Chart((panel,)),
        figures.off_the_dial(figures.hero(figure)),
        found,
        (hz,),
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return azimuth, delay and phase with the side that is late, the polarity, and what they were before."""
    phases = figures.by_channel(run, "channel_phase_difference")
    if not phases:
        return ()
    was = None
    if before is not None:
        azimuth = before.get("azimuth_error")
        was = azimuth or next(
            (f for f in before.findings if f.quantity == phases[-1].quantity and _alike(f, phases[-1])), None
        )
    return (
        run.point(
            "between",
            azimuth=run.get("azimuth_error"),
            delay=run.get("channel_delay"),
            phase=phases[-1],
            later=phases[-1].at.get("later", ""),
            inverted=run.curves[0].facts["inverted"],
            before=was,
        ),
    )


def _alike(one: Finding, other: Finding) -> bool:
    return abs(float(one.at["frequency"]) / float(other.at["frequency"]) - 1) < _NEAR


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return that a file is of this kind if its name says so: its tones alone may be anything."""
    if "between-channels" not in name.kinds or not sheet.find("time") or len(sheet.all("level")) != 2:
        return None
    return Content(("between-channels",), "two channels over time, to be compared by the file's name")


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    return (played_tone_request(rating, "both"),)


KIND = Kind(
    name="between-channels",
    title="Between the channels",
    about="both channels playing the same tones, time and volts or a two-channel WAV",
    needs=(("time", "level"),),
    compared=("azimuth_error", "channel_phase_difference"),
    asks=FLAT,
    headlines=("azimuth_error",),
    findings=findings,
    card=card,
    points=points,
    keys=("tape_speed", "track_spacing"),
    file_words="azimuth|lissajous|polarity|(?:(?:inter ?)?channel )?phase|between channels",
    recognise=recognise,
    captured_as="wav",
    recipes={"channel_phase_difference": _request, "azimuth_error": _request},
    optional_line='#tape_speed = "4.76 cm/s"  # for the azimuth',
)
