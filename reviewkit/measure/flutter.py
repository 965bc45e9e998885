"""Speed, wow and flutter of a deck or a turntable, by a recorded test tone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.captures import refuse_silence, sample_rate_hz, waveform_samples
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.capture_request import IDLE, Basis, CaptureRequest
from reviewkit.model.card import Card, Chart, Mark, Panel, Trace
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import STEADY, Kind
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.demodulation import NotModulated
from reviewkit.signal.flutter import BAND_HZ, Flutter, analyse_flutter

WRMS, WEIGHTED_PEAK = "WRMS", "weighted peak"
# turns of a record in a second; a measurement's own `rates` come first
_PLATTER_HZ = {"33⅓ rpm": 100 / 180, "45 rpm": 0.75, "78 rpm": 78 / 60}
_NEAR, _NEAR_LINES = 0.005, 0.5  # of a rate, and of 1 over the record's length: how near is the same
_MOST_NAMED = 2
_MOST_DRAWN = 600
_LOWEST_DRAWN_PERCENT = 1e-3
_ABOVE = 2.0  # of the highest peak: room for its name


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """Return the figures of a recorded tone, per channel.

    speed_error, speed_drift, wow_and_flutter and unweighted_flutter (%), and strongest_rate (Hz).
    wow_and_flutter is given twice: as weighted peak (exceeded 5 % of the time) and as weighted r.m.s.
    """
    assert sheet is not None
    c = _played(c)
    rate_hz = sample_rate_hz(sheet)
    found: list[Finding] = []
    drawn: list[Curve] = []
    for column in sheet.all("level"):
        read = _read(sheet, column, rate_hz, c)
        found += _figures(c, column.channel, read)
        drawn += _curves(column.channel, read, c)
    return Measured(tuple(found), curves=tuple(drawn))


def _played(c: Conditions) -> Conditions:
    """Return the conditions of what is played, not driven, whatever the bench drives otherwise."""
    return replace(c, measurement=replace(c.measurement, load_ohm=None, channels="", drive_w=None, drive_v=None))


def _read(sheet: Sheet, column: Column, rate_hz: float, c: Conditions) -> Flutter:
    m = c.measurement
    if m.frequency_hz is None:
        message = (
            f"[[measurement]] {m.id}: which tone is on the tape or record? Write frequency = "
            '"3150 Hz" (IEC, DIN) or frequency = "3000 Hz" (JIS, NAB), because the speed depends on it'
        )
        raise InputError(Fault("session.toml", m.line, message))
    samples, _ = waveform_samples(column, sheet.source)
    refuse_silence(column, sheet)
    try:
        return analyse_flutter(samples, rate_hz, m.frequency_hz)
    except NotModulated as why:
        whose = f"channel {column.channel}: " if column.channel else ""
        raise InputError(Fault(sheet.source, 0, f"{whose}{why}")) from None


def _figures(c: Conditions, channel: str, read: Flutter) -> list[Finding]:
    hz = c.measurement.frequency_hz
    found = [
        figures.finding(c, "speed_error", channel, 100 * read.speed_error, frequency=hz),
        figures.finding(c, "speed_drift", channel, 100 * read.drift, frequency=hz),
        figures.finding(c, "unweighted_flutter", channel, 100 * read.unweighted_peak, frequency=hz),
    ]
    for weighting, ratio in ((WEIGHTED_PEAK, read.weighted_peak), (WRMS, read.weighted_rms)):
        found.append(figures.finding(c, "wow_and_flutter", channel, 100 * ratio, frequency=hz, weighting=weighting))
    if read.rates:
        rate_hz = read.rates[0].frequency_hz
        found.append(figures.finding(c, "strongest_rate", channel, rate_hz))
    return found


def _curves(channel: str, read: Flutter, c: Conditions) -> list[Curve]:
    """Return the deviation over time and the spectrum of rates, both in %, with the strongest rates by name."""
    named = {**_PLATTER_HZ, **c.measurement.rates_hz}
    strongest = [
        (
            rate.frequency_hz,
            100 * rate.peak,
            turning_at(rate.frequency_hz / (1 + read.speed_error), named, read.seconds),
        )
        for rate in read.rates
    ]
    time_s, percent = _averaged(read.time_s, 100 * read.deviation)
    rates_hz, peaks = _highest(read.spectrum_hz, 100 * read.spectrum)
    return [
        Curve("deviation", channel, read_only(time_s), read_only(percent), {"seconds": read.seconds}),
        Curve("rates", channel, read_only(rates_hz), read_only(peaks), {"strongest": strongest}),
    ]


def turning_at(rate_hz: float, named: Mapping[str, float], seconds: float) -> str:
    """Return what turns at a rate, or at half of it: "capstan", "2 × capstan"; "" if nothing is known to."""
    for times in (1, 2):
        for name, own_hz in reversed(list(named.items())):
            if abs(rate_hz - times * own_hz) <= max(_NEAR * rate_hz, _NEAR_LINES / seconds):
                return name if times == 1 else f"2 × {name}"
    return ""


def _averaged(x: Array, y: Array) -> tuple[Array, Array]:
    """Return a curve of at most 600 points, each the mean of those that it stands for."""
    size = -(-len(x) // _MOST_DRAWN)
    count = len(x) // size
    return x[: count * size].reshape(count, size).mean(axis=1), y[: count * size].reshape(count, size).mean(axis=1)


def _highest(rates_hz: Array, peaks: Array) -> tuple[Array, Array]:
    """Return a spectrum of at most 600 points, evenly spaced on a log scale, each the highest line there."""
    edges = np.geomspace(*BAND_HZ, _MOST_DRAWN + 1)
    places = np.unique(np.searchsorted(rates_hz, edges[:-1]))
    places = places[places < len(rates_hz)]
    highest = [start + int(np.argmax(part)) for start, part in zip(places, np.split(peaks, places[1:]), strict=True)]
    return rates_hz[highest], peaks[highest]


def shown(run: Run) -> list[Finding]:
    """Return the wow and flutter that a card shows large, per channel: as rated, else the weighted peak."""
    rated = [rating.weighting for rating in figures.rated(run.conditions, "wow_and_flutter")]
    weighting = next((each for each in rated if each in (WRMS, WEIGHTED_PEAK)), WEIGHTED_PEAK)
    return figures.by_channel(run, "wow_and_flutter", weighting=weighting)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the deviation over time beside the spectrum of rates, the strongest rates ringed."""
    runs = [replace(run, conditions=_played(run.conditions)) for run in runs]
    main = figures.main_run(runs)
    found = shown(main)
    worst = quantities.worse(found)
    channel = worst.channel if worst else ""
    # a change may be the other channel's
    several = len({run.conditions.measurement.stage for run in runs}) > 1
    deviations = _traces(runs, "deviation", "" if several else channel)
    rates = _traces(runs, "rates", "" if several else channel)
    longest_s = max(curve.facts["seconds"] for run in runs for curve in run.curves if curve.name == "deviation")
    percents = [float(v) for trace in deviations for v in (np.min(trace.y), np.max(trace.y))]
    peaks = [_ABOVE * max(float(np.max(trace.y)), _LOWEST_DRAWN_PERCENT) for trace in rates]
    marks = tuple(
        replace(mark, role=figures.trace_role(run, runs)) for run in runs for mark in _named_rates(run, channel)
    )
    over_time = Panel(
        scales.seconds(longest_s),
        scales.around_no_error(percents, "%"),
        deviations,
        label="speed over time",
        one_channel=True,
    )
    spectrum = Panel(
        scales.rates(*BAND_HZ),
        scales.decades([_LOWEST_DRAWN_PERCENT, *peaks], "%"),
        rates,
        marks=marks,
        label="wavering by rate",
        one_channel=True,
    )
    hero = figures.hero(worst, found, str(worst.at["weighting"]) if worst else "")
    names = ("speed_error", "wow_and_flutter", "unweighted_flutter", "speed_drift")
    further = [f for name in names for f in figures.by_channel(main, name)]
    return figures.card(
        runs,
        KIND.title,
        Chart((over_time, spectrum), (1.0, 1.0), beside=True),
        # the frequency is the tone's, not a place on the dial
        replace(hero, caption=hero.caption.split(", at ")[0], x=None, y=None) if hero else None,
        further,
        (quantities.hertz(float(worst.at["frequency"])),) if worst else (),
    )


def _traces(runs: Sequence[Run], name: str, channel: str) -> tuple[Trace, ...]:
    return tuple(
        Trace(curve.x, curve.y, curve.channel, figures.trace_role(run, runs))
        for run in runs
        for curve in run.curves
        if curve.name == name and (curve.channel == channel or not channel)
    )


def _named_rates(run: Run, channel: str) -> list[Mark]:
    """Return the strongest rates of a channel, with what turns at them."""
    curve = next((each for each in run.curves if each.name == "rates" and each.channel == channel), None)
    if curve is None:
        return []
    return [
        Mark(rate_hz, peak, turns or f"{quantities.shown(rate_hz, 'corner')}", channel)
        for rate_hz, peak, turns in curve.facts["strongest"][:_MOST_NAMED]
        if peak > _LOWEST_DRAWN_PERCENT
    ]


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return speed, wow and flutter of the worse channel, what turns at the strongest rate, and what it was before."""
    worst = quantities.worse(shown(run))
    if worst is None:
        return ()
    curve = next(each for each in run.curves if each.name == "rates" and each.channel == worst.channel)
    was = None
    if before is not None:
        was = quantities.worse(figures.by_channel(before, "wow_and_flutter", weighting=worst.at["weighting"]))
    facts = {
        "flutter": worst,
        "weighting": worst.at["weighting"],
        "speed": run.get("speed_error", worst.channel),
        "rate": run.get("strongest_rate", worst.channel),
        "turns": curve.facts["strongest"][0][2] if curve.facts["strongest"] else "",
        "before": was,
        "speed_before": before.get("speed_error", worst.channel) if before else None,
    }
    return (Point("flutter", "speed", facts, run.conditions.measurement.id),)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = {"frequency": rating.frequency_hz} if rating.frequency_hz else {}
    weighting = {"weighting": rating.weighting} if rating.weighting else {}
    return (CaptureRequest("flutter", "test-tone", (rating.quantity,), at | weighting, IDLE),)


KIND = Kind(
    name="flutter",
    title="Wow and flutter",
    about="a recorded test tone of 3150 or 3000 Hz, time and volts or a WAV, 20 s or more",
    needs=(("time", "level"),),
    quantities=(*("speed_error", "speed_drift", "wow_and_flutter", "unweighted_flutter", "strongest_rate"),),
    compared=("wow_and_flutter",),
    asks=STEADY,
    headlines=("speed_error", "wow_and_flutter"),
    findings=findings,
    card=card,
    points=points,
    keys=("frequency", "rates"),
    file_words="(?:wow(?: and | & | n | )?)?flutter|wow|speed|w ?& ?f|wandf",
    signal="wavering",
    captured_as="wav",
)
