"""Speed, wow and flutter of a deck or a turntable, by a recorded test tone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.capture_requests import played_tone_request
from reviewkit.measure.captures import refuse_silence, sample_rate_hz, waveform_samples
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.capture_request import Basis, CaptureRequest
from reviewkit.model.card import Card, Chart, Mark, Panel, Trace
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import STEADY, Kind
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import WEIGHTED_PEAK, WRMS, weighted
from reviewkit.signal.demodulation import NotModulated
from reviewkit.signal.flutter import BAND_HZ, Flutter, analyse_flutter

# turns of a record in a second; a measurement's own `rates` come first
_PLATTER_HZ = {"33⅓ rpm": 100 / 180, "45 rpm": 0.75, "78 rpm": 78 / 60}
_NEAR, _NEAR_LINES = 0.005, 0.5  # of a rate, and of 1 over the record's length: how near is the same
_MOST_NAMED = 2
_MOST_DRAWN = 600
_POINT_S = 0.01  # of the drawn curve, each the mean of that time: it costs a wobble at 4 Hz 0.3 %, at 20 Hz 6 %
_LOWEST_DRAWN_PERCENT = 1e-3
_ROOM = 1.3  # of a scale that the curves may fill: above and below them for their names
_ABOVE = 2.0  # of the highest peak: room for its name


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return the figures of a recorded tone: of the stronger channel, because both waver alike.

    speed_error, speed_drift, wow_and_flutter and unweighted_flutter (%), and strongest_rate (Hz).
    wow_and_flutter is given twice: as weighted peak (exceeded 5 % of the time) and as weighted r.m.s.
    """
    c = _played(c)
    rate_hz = sample_rate_hz(sheet)
    read = _read(sheet, max(sheet.all("level"), key=lambda column: float(np.std(column.values))), rate_hz, c)
    return Measured(tuple(_figures(c, read)), curves=tuple(_curves(read, c)))


def _played(c: Conditions) -> Conditions:
    """Return the conditions of what is played, not driven, whatever the bench drives otherwise."""
    m = c.measurement
    return replace(c, measurement=replace(m, load_ohm=None, channels="", drive=m.level))


def _read(sheet: Sheet, column: Column, rate_hz: float, c: Conditions) -> Flutter:
    m = c.measurement
    if m.frequency_hz is None:
        raise c.fault(
            'which tone is on the tape or record? Write frequency = "3150 Hz" (IEC, DIN) or frequency = "3000 Hz" '
            "(JIS, NAB), because the speed depends on it"
        )
    samples, _ = waveform_samples(column, sheet.source)
    refuse_silence(column, sheet)
    try:
        return analyse_flutter(samples, rate_hz, m.frequency_hz)
    except NotModulated as why:
        raise sheet.fault(str(why)) from None


def _figures(c: Conditions, read: Flutter) -> list[Finding]:
    hz = c.measurement.frequency_hz
    found = [
        figures.finding(c, "speed_error", "", 100 * read.speed_error, frequency=hz),
        figures.finding(c, "speed_drift", "", 100 * read.drift, frequency=hz),
        figures.finding(c, "unweighted_flutter", "", 100 * read.unweighted_peak, frequency=hz),
    ]
    for weighting, ratio in ((WEIGHTED_PEAK, read.weighted_peak), (WRMS, read.weighted_rms)):
        found.append(figures.finding(c, "wow_and_flutter", "", 100 * ratio, frequency=hz, weighting=weighting))
    if read.rates:
        rate_hz = read.rates[0].frequency_hz
        found.append(figures.finding(c, "strongest_rate", "", rate_hz))
    return found


def _curves(read: Flutter, c: Conditions) -> list[Curve]:
    """Return the weighted deviation and the unweighted spectrum of rates, in %, with the strongest rates by name."""
    named = {**_PLATTER_HZ, **c.measurement.rates_hz}
    strongest = [
        (
            rate.frequency_hz,
            100 * rate.peak,
            turning_at(rate.frequency_hz / (1 + read.speed_error), named, read.seconds),
        )
        for rate in read.rates
    ]
    size = max(1, round(_POINT_S * len(read.time_s) / float(np.ptp(read.time_s))))
    time_s, percent = (_averaged(values, size) for values in (read.time_s, 100 * read.weighted))
    rates_hz, peaks = _highest(read.spectrum_hz, 100 * read.spectrum)
    return [
        Curve("deviation", "", read_only(time_s), read_only(percent), {"seconds": read.seconds}),
        Curve("rates", "", read_only(rates_hz), read_only(peaks), {"strongest": strongest}),
    ]


def turning_at(rate_hz: float, named: Mapping[str, float], seconds: float) -> str:
    """Return what turns at a rate, or at half of it: "capstan", "2 × capstan"; "" if nothing is known to."""
    for times in (1, 2):
        for name, own_hz in reversed(list(named.items())):
            if abs(rate_hz - times * own_hz) <= max(_NEAR * rate_hz, _NEAR_LINES / seconds):
                return name if times == 1 else f"2 × {name}"
    return ""


def _averaged(values: Array, size: int) -> Array:
    """Return the mean of every `size` values."""
    return np.asarray(values[: len(values) // size * size].reshape(-1, size).mean(axis=1))


def _highest(rates_hz: Array, peaks: Array) -> tuple[Array, Array]:
    """Return a spectrum of at most 600 points, evenly spaced on a log scale, each the highest line there."""
    edges = np.geomspace(*BAND_HZ, _MOST_DRAWN + 1)
    places = np.unique(np.searchsorted(rates_hz, edges[:-1]))
    places = places[places < len(rates_hz)]
    highest = [start + int(np.argmax(part)) for start, part in zip(places, np.split(peaks, places[1:]), strict=True)]
    return rates_hz[highest], peaks[highest]


def shown(run: Run) -> Finding | None:
    """Return the wow and flutter that a card shows large: as the maker rates it, else the weighted peak."""
    rated = [rating.weighting for rating in figures.rated(run.conditions, "wow_and_flutter")]
    weighting = next((each for each in rated if each in (WRMS, WEIGHTED_PEAK)), WEIGHTED_PEAK)
    return run.get("wow_and_flutter", weighting=weighting)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return what the figure is computed from, the weighted speed around its mean, on one scale before and after."""
    traces = _traces(runs, "deviation")
    largest = max(float(np.max(np.abs(trace.y))) for trace in traces)
    scale = scales.swing(max(largest, _LOWEST_DRAWN_PERCENT), "%")
    panel = Panel(
        scales.seconds(max(run.drawn("deviation")[0].facts["seconds"] for run in runs)),
        replace(scale, low=_ROOM * scale.low, high=_ROOM * scale.high),
        traces,
        label="speed around its mean, weighted",
        one_channel=True,
        one_scale=True,
    )
    return _card(runs, "", KIND.title, panel)


def further(runs: Sequence[Run]) -> tuple[Card, ...]:
    """Return the picture of the same runs for which a note calls: the wavering by rate, the strongest rates ringed."""
    traces = _traces(runs, "rates")
    peaks = [_ABOVE * max(float(np.max(trace.y)), _LOWEST_DRAWN_PERCENT) for trace in traces]
    panel = Panel(
        scales.rates(*BAND_HZ),
        scales.decades([_LOWEST_DRAWN_PERCENT, *peaks], "%"),
        traces,
        marks=tuple(mark for run in runs for mark in _named_rates(run, figures.trace_role(run, runs))),
        label="peak of each rate, unweighted",
        one_channel=True,
    )
    return (_card(runs, "rates", "Wavering by rate", panel),)


def _card(runs: Sequence[Run], name: str, subject: str, panel: Panel) -> Card:
    """Return a picture with the figure that both share, and its conditions."""
    runs = [replace(run, conditions=_played(run.conditions)) for run in runs]
    main = figures.main_run(runs)
    names = ("speed_error", "wow_and_flutter", "unweighted_flutter", "speed_drift")
    figure = shown(main)
    hero = figures.hero(figure, (), f"wow and flutter, {weighted(figure.at['weighting'])}" if figure else "")
    made = figures.card(
        runs,
        subject,
        Chart((panel,)),
        figures.off_the_dial(hero),
        [f for name in names for f in figures.by_channel(main, name)],
        (quantities.hertz(float(figure.at["frequency"])),) if figure else (),
    )
    return replace(made, id=name)


def _traces(runs: Sequence[Run], name: str) -> tuple[Trace, ...]:
    curves = [(run, run.drawn(name)[0]) for run in runs]
    return tuple(Trace(curve.x, curve.y, "", figures.trace_role(run, runs)) for run, curve in curves)


def _named_rates(run: Run, role: str) -> list[Mark]:
    """Return those of the strongest rates at which something known turns; if there are none, the strongest."""
    strongest = [s for s in run.drawn("rates")[0].facts["strongest"][:_MOST_NAMED] if s[1] > _LOWEST_DRAWN_PERCENT]
    named = [s for s in strongest if s[2]] or strongest[:1]
    return [
        Mark(rate_hz, peak, turns or quantities.shown(rate_hz, "corner"), role=role, optional=True)
        for rate_hz, peak, turns in named
    ]


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return speed, wow and flutter, what turns at the strongest rate, and what these were before."""
    figure = shown(run)
    if figure is None:
        return ()
    weighting = figure.at["weighting"]
    strongest = run.drawn("rates")[0].facts["strongest"]
    facts = {
        "flutter": figure,
        "weighting": weighting,
        "speed": run.get("speed_error"),
        "rate": run.get("strongest_rate"),
        "turns": strongest[0][2] if strongest else "",
        "before": before.get("wow_and_flutter", weighting=weighting) if before else None,
        "speed_before": before.get("speed_error") if before else None,
    }
    return (run.point("speed", **facts),)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    return (played_tone_request(rating, ""),)


KIND = Kind(
    name="flutter",
    title="Wow and flutter",
    about="a recorded test tone of 3150 or 3000 Hz, time and volts or a WAV, 20 s or more",
    needs=(("time", "level"),),
    compared=("wow_and_flutter",),
    asks=STEADY,
    headlines=("speed_error", "wow_and_flutter"),
    findings=findings,
    card=card,
    points=points,
    further=further,
    keys=("frequency", "rates"),
    file_words="(?:wow(?: and | & | n | )?)?flutter|wow|speed|w ?& ?f|wandf",
    signal="wavering",
    captured_as="wav",
    recipes=dict.fromkeys(("wow_and_flutter", "speed_error", "speed_drift"), _request),
    optional_line='#frequency = "3150 Hz"  # the tone that was recorded; or "3000 Hz"',
)
