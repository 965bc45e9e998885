"""Many tones played together: how far they are above the strongest line that isn't one of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.figures import LN10_OVER_20
from reviewkit.measure.tone_sheets import (
    POINTS_DRAWN,
    ChannelLines,
    channel_lines,
    check_drive,
    each_channel,
    floor_of,
    level_conditions,
    level_of_the_run,
    levels_in_words,
    spectrum_curve,
)
from reviewkit.model import quantities
from reviewkit.model.capture_request import MANY
from reviewkit.model.card import Card, Chart, Mark, Panel, Trace
from reviewkit.model.finding import Conditions, Finding, Measured, Point, Run
from reviewkit.model.kind import CLEAN, Kind
from reviewkit.model.recognised import SPECTRUM_WORDS
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.between_tones import FEWEST_TONES, check_tones, strongest_between
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.mains_lines import is_multiple
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.tone_lines import Line

_NEGLIGIBLE_DB = 0.02  # an uncertainty that no digit shows
_MAINS_WANDER = 0.002
_HEADROOM_DB, _LOWEST_DRAWN_DB = 3.0, -160.0


def tone_level(tones: Sequence[Line]) -> float:
    """Return the level of one tone, r.m.s.: the median one's, which neither end of the response moves."""
    return float(np.median([tone.level for tone in tones]))


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return multitone_clearance (dB) per channel: the median tone's level less that of the strongest other line.

    The band is 20 Hz – 20 kHz, or as far as the data reaches. Without the window nothing is given.

    Notes
    -----
    A product's level is taken over its lobe; if none is above the noise, the noise's largest line counts, as r.m.s. in
    the width of one line. Tones: the lines within 20 dB of the strongest, at least three (this project's own
    definition; none is binding). Power is that of all tones together.
    """

    def one(column: Column, got: figures.Collected) -> None:
        read = channel_lines(sheet, column, c, check_tones, blind=False)
        if read.hint:
            got.withhold(f"no multitone clearance from this spectrum: {read.hint}")
            return
        edges_hz = np.geomspace(*AUDIO_BAND_HZ, POINTS_DRAWN)
        got.curves.append(spectrum_curve(column.channel, read.lines, edges_hz, tone_level(read.tones)))
        got.findings.append(_finding(column.channel, read, c))

    found = each_channel(sheet, c, one)
    together = "the power of all tones together" if c.measurement.drive_w else "all tones together"
    check_drive(sheet, c, found.findings, together)
    return found


def _finding(channel: str, read: ChannelLines, c: Conditions) -> Finding:
    lines, tones = read.rest, read.tones
    band_hz = (
        max(AUDIO_BAND_HZ[0], float(lines.frequency_hz[0])),
        min(AUDIO_BAND_HZ[1], float(lines.frequency_hz[-1])),
    )
    rest = strongest_between(lines, tones, band_hz)
    uncertainty = rest.uncertainty / rest.level / LN10_OVER_20
    total_v = float(np.sqrt(sum(tone.level**2 for tone in tones))) if read.volts else None
    limited_by = "hum" if _is_mains(rest.frequency_hz, lines.line_hz, c) else "a product"
    at: dict[str, Any] = {
        **level_conditions(c, total_v),
        "frequency": rest.frequency_hz,
        "band": list(band_hz),
        "line_width": lines.line_hz,
        "tones_count": len(tones),
        "limited_by": limited_by if rest.is_distinct else "noise",
        "window": read.window,
    }
    return figures.finding(
        c,
        "multitone_clearance",
        channel,
        float(db_of_amplitude(tone_level(tones) / rest.level)),
        uncertainty=uncertainty if uncertainty > _NEGLIGIBLE_DB else None,
        **at,
    )


def _is_mains(frequency_hz: float, line_hz: float, c: Conditions) -> bool:
    """Return whether a line is at the mains frequency or one of its first twenty multiples."""
    if c.mains_hz is None:
        return False
    return is_multiple(frequency_hz, c.mains_hz, max(line_hz, _MAINS_WANDER * frequency_hz))


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the worst channel's spectrum, an arrow from its tones to the strongest product, which is ringed."""
    main = figures.main_run(runs)
    found = figures.by_channel(main, "multitone_clearance")
    key = quantities.worse(found)
    if key is None:
        return figures.card(runs, KIND.title, Chart(()), None)
    traces, marks = [], []
    for run in runs:
        role = figures.trace_role(run, runs)
        traces += [Trace(c.x, c.y, c.channel, role) for c in run.curves if c.channel == key.channel]
        own = run.get("multitone_clearance", key.channel)
        if own is not None and role in ("now", "before"):
            marks.append(Mark(float(own.at["frequency"]), -own.value, _words(own), own.channel, role, from_y=0.0))
    levels = [trace.y for trace in traces]
    y_axis = scales.twenties([0.0, floor_of(levels, _LOWEST_DRAWN_DB)])
    # the tones are about 0 dB, some a little over it
    y_axis = replace(y_axis, high=max(float(np.max(level)) for level in levels) + _HEADROOM_DB)
    return figures.card(
        runs,
        KIND.title,
        Chart((Panel(scales.dial(*AUDIO_BAND_HZ), y_axis, tuple(traces), marks=tuple(marks), one_channel=True),)),
        figures.off_the_dial(figures.hero(key, found, "below one tone")),
        found,
        (
            f"{key.at['tones_count']} tones",
            quantities.band(key.at["band"]),
            f"lines of {quantities.hertz(key.at['line_width'])}",
        ),
        level_of_the_run(main, key),
    )


def _words(f: Finding) -> str:
    where = quantities.hertz(f.at["frequency"])
    return {"noise": "noise", "hum": f"hum, {where}", "a product": f"product, {where}"}[f.at["limited_by"]]


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the clearance of the worse channel, what sets it, and what it was."""
    here = figures.by_channel(run, "multitone_clearance")
    worst = quantities.worse(here)
    if worst is None:
        return ()
    was = quantities.worse(figures.by_channel(before, "multitone_clearance"))
    facts = {"worse": worst, "drive": levels_in_words(run, here), "before": was}
    return (run.point("clearance", **facts),)


KIND = Kind(
    name="multitone",
    title="Multitone",
    about=f"{FEWEST_TONES} or more tones played together: a waveform, or a spectrum with its `window`",
    needs=(("time", "level"), ("frequency", "level")),
    compared=("multitone_clearance",),
    asks=CLEAN,
    headlines=("multitone_clearance",),
    findings=findings,
    card=card,
    points=points,
    keys=("drive",),
    file_words=rf"multi ?tones?|{SPECTRUM_WORDS}",
    signal="many",
    recipes={
        "multitone_clearance": lambda rating, basis: (
            basis.request(rating, ("multitone_clearance",), basis.named(rating, "load", "input"), MANY),
        )
    },
    captured_as="wav",
    optional_line='#full_scale = "5 V"  # of a WAV: the peak voltage of a full-scale sine',
)
