"""The response through a phono stage: how far it is off the RIAA replay curve, re 1 kHz."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit import curves, digits, figures, quantities, scales
from reviewkit.arrays import Array
from reviewkit.captures import refuse_silence
from reviewkit.errors import Fault, InputError
from reviewkit.model import (
    Card,
    Column,
    Conditions,
    Curves,
    Finding,
    Kind,
    Limit,
    Mark,
    Measured,
    Panel,
    Point,
    Rating,
    Reading,
    Run,
    Sheet,
    Trace,
    Verdict,
)
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.spectrum import AUDIO_BAND_HZ
from reviewkit.signal.weighting import REFERENCE_HZ, riaa_replay_db

MIDDLE_BAND_HZ = (40.0, 15_000.0)  # over which makers often rate it (common practice, no source)
# the curve spans 39 dB from 20 Hz to 20 kHz, a deviation a few (IEC 60098): further off than this, and less than half
# as far read the other way, the file was taken for what it is not
MOST_OFF_DB = 6.0


def _deviation(frequency_hz: Array, column: Column, c: Conditions) -> Array | None:
    """A channel re the replay curve, 0 dB at 1 kHz, shape (n,); None where the data does not reach 1 kHz."""
    return _read_as(frequency_hz, column, equalised=c.measurement.equalised, amendment=c.measurement.amendment)


def _read_as(frequency_hz: Array, column: Column, *, equalised: bool, amendment: bool) -> Array | None:
    level_db = relative_db(column.values, column.unit)
    if not equalised:
        level_db = level_db - riaa_replay_db(frequency_hz, amendment=amendment)
    at_1k = curves.value_at(frequency_hz, level_db, REFERENCE_HZ)
    return None if at_1k is None else level_db - at_1k


def _refuse_misread(sheet: Sheet, c: Conditions, frequency_hz: Array, column: Column) -> None:
    """Raise InputError where the file evidently holds the other of the two: a plain response or a deviation."""
    m = c.measurement
    band_hz = curves.covered(frequency_hz, AUDIO_BAND_HZ)
    if band_hz is None:
        return
    largest = {}
    for equalised in (True, False):
        read = _read_as(frequency_hz, column, equalised=equalised, amendment=m.amendment)
        if read is None:
            return
        largest[equalised] = float(np.max(np.abs(curves.part(frequency_hz, read, band_hz)[1])))
    told, otherwise = largest[m.equalised], largest[not m.equalised]
    if told <= MOST_OFF_DB or otherwise >= told / 2:
        return
    held = f'[[measurement]] {m.id}: {sheet.source}, column "{column.header}", '
    if m.equalised:
        message = (
            f"is {digits.fixed(told, 0)} dB off level, as a response without pre-emphasis is; take equalised = true out"
        )
    else:
        message = (
            f"is {digits.fixed(told, 0)} dB off the RIAA curve but near level, as one with a pre-emphasised input "
            "is; add equalised = true"
        )
    raise InputError(Fault("session.toml", m.line, held + message))


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """riaa_deviation (dB re 1 kHz): the largest either way with its sign and where it stands, over 20 Hz – 20 kHz,
    40 Hz – 15 kHz and each rated band, as far as the data goes, per channel.
    """
    assert sheet is not None
    frequency_hz, columns = _levels(sheet)
    found: list[Finding] = []
    withheld: list[str] = []
    bands = [AUDIO_BAND_HZ, MIDDLE_BAND_HZ, *figures.rated_bands(c, "riaa_deviation")]
    reached = dict.fromkeys(curves.covered(frequency_hz, band_hz) for band_hz in bands)
    for column in columns:
        _refuse_misread(sheet, c, frequency_hz, column)
        deviation = _deviation(frequency_hz, column, c)
        if deviation is None:
            withheld.append(
                f"{c.measurement.id}: no figures, the sweep does not reach 1 kHz, to which the RIAA curve is referred"
            )
            continue
        for band_hz in reached:
            if band_hz is None:
                continue
            where, inside = curves.part(frequency_hz, deviation, band_hz)
            worst = int(np.argmax(np.abs(inside)))
            found.append(
                figures.finding(
                    c,
                    "riaa_deviation",
                    column.channel,
                    inside[worst],
                    frequency=float(where[worst]),
                    band=list(band_hz),
                    amendment=c.measurement.amendment or None,
                )
            )
    return Measured(tuple(found), tuple(dict.fromkeys(withheld)))


def _levels(sheet: Sheet) -> tuple[Array, list[Column]]:
    columns = [column for column in sheet.all("level") if ">" not in column.channel]
    refuse_silence(sheet, columns)
    return sheet.need("frequency").values, columns


def _main_band(run: Run) -> list[float] | None:
    """The band whose deviation a card shows large: the rated one where it is covered, else 20 Hz – 20 kHz or what
    there is.
    """
    bands = [f.at["band"] for f in figures.by_channel(run, "riaa_deviation")]
    for rated in figures.rated_bands(run.conditions, "riaa_deviation"):
        if list(rated) in bands:
            return list(rated)
    return bands[0] if bands else None


def _curve(c: Conditions) -> str:
    return "re RIAA with the 1976 amendment" if c.measurement.amendment else "re RIAA"


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """The deviation over the dial about zero, the rated band drawn in, the worst point marked."""
    traces: list[Trace] = []
    for run in runs:
        assert run.sheet is not None
        frequency_hz, columns = _levels(run.sheet)
        for column in columns:
            deviation = _deviation(frequency_hz, column, run.conditions)
            if deviation is not None:
                label = figures.end_label(column.channel, run, runs)
                traces.append(Trace(frequency_hz, deviation, column.channel, figures.trace_role(run, runs), label))
    main = figures.main_run(runs)
    limits = tuple(_limit(r) for r in figures.rated(main.conditions, "riaa_deviation") if r.within)[:1]
    bands = [AUDIO_BAND_HZ, *figures.rated_bands(main.conditions, "riaa_deviation")]
    low_hz, high_hz = min(band[0] for band in bands), max(band[1] for band in bands)
    # below that the curve may leave the picture: the amendment alone takes 20 dB at 2 Hz
    shown = [trace.y[(trace.x >= low_hz / 1.005) & (trace.x <= high_hz * 1.005)] for trace in traces]
    extremes = [float(np.max(np.abs(y))) for y in shown if len(y)]
    # the limit stands inside the picture, not on its edge
    extremes += [1.2 * abs(side) for limit in limits for side in (limit.low, limit.high) if side is not None]
    band_hz = _main_band(main)
    key = figures.worse(figures.by_channel(main, "riaa_deviation", band=band_hz))
    marks: tuple[Mark, ...] = ()
    if key is not None:
        at = float(key.at["frequency"])
        marks = (Mark(at, key.value, f"{quantities.show(key)} at {quantities.hertz(at)}", key.channel),)
    curves_of = {_curve(run.conditions) for run in runs}
    panel = Panel(
        scales.dial(low_hz, high_hz), scales.around_zero(max(extremes, default=0.5)), tuple(traces), limits, marks
    )
    return Card(
        id="",
        title="",
        chart=True,
        conditions=figures.stated(runs, *(curves_of if len(curves_of) == 1 else ())),
        body=Curves((panel,)),
        readings=_readings(runs, main, band_hz),
        verdicts=tuple(verdicts),
    )


def _limit(rating: Rating) -> Limit:
    assert rating.within is not None
    low, high = rating.within
    band_hz = rating.band_hz or AUDIO_BAND_HZ
    return Limit(low, high, band_hz[0], band_hz[1], f"rated {quantities.limit_within(low, high)}")


def _readings(runs: Sequence[Run], main: Run, band_hz: list[float] | None) -> tuple[Reading, ...]:
    if band_hz is None:
        return ()
    readings = []
    bands = [band_hz, *(f.at["band"] for f in figures.by_channel(main, "riaa_deviation"))]
    for place, each in enumerate(dict.fromkeys((band[0], band[1]) for band in bands)):
        here = figures.by_channel(main, "riaa_deviation", band=list(each))
        key = figures.worse(here)
        if key is not None and place < 2:
            rows = figures.rows_of(here) or (() if place == 0 else (("", quantities.show(key)),))
            whose = "" if place else figures.whose(key, here)
            readings.append(Reading(quantities.band(each), "" if place else quantities.show(key), rows, whose))
    for run in runs:
        if run is not main and run.conditions.measurement.stage != "bench":
            here = figures.by_channel(run, "riaa_deviation", band=_main_band(run))
            rows = figures.rows_of(here) or tuple(("", quantities.show(f)) for f in here)
            readings.append(Reading(figures.run_label(run, runs), "", rows))
    return tuple(readings)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """How far the worse channel is off the curve, and where; the same over the middle of the band; what it was."""
    m = run.conditions.measurement
    whole = figures.by_channel(run, "riaa_deviation")
    if not whole:
        return ()
    bands = list(dict.fromkeys((f.at["band"][0], f.at["band"][1]) for f in whole))
    here = figures.by_channel(run, "riaa_deviation", band=list(bands[0]))
    worse = figures.worse(here)
    was = figures.by_channel(before, "riaa_deviation", band=list(bands[0])) if before else []
    facts = [
        Point(
            "phono",
            "deviation",
            {
                "findings": here,
                "worse": worse,
                "band": bands[0],
                "amendment": m.amendment,
                "before": figures.worse(was),
            },
            m.id,
        )
    ]
    middle = figures.worse(figures.by_channel(run, "riaa_deviation", band=list(MIDDLE_BAND_HZ)))
    if middle is not None and worse is not None and quantities.show(middle) != quantities.show(worse):
        facts.append(Point("phono", "middle", {"worse": middle, "band": MIDDLE_BAND_HZ}, m.id))
    return tuple(facts)


KIND = Kind(
    name="phono",
    title="Phono response",
    about="a response through the phono stage: frequency and level, the input flat or pre-emphasised (`equalised`)",
    needs=(("frequency", "level"),),
    quantities=("riaa_deviation",),
    findings=findings,
    card=card,
    points=points,
)
