"""The impedance of a loudspeaker, a headphone or a cartridge: its minimum, what it may be rated at, its resonance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reviewkit.measure import curves, figures, scales
from reviewkit.model import quantities, rating_words
from reviewkit.model.arrays import Array
from reviewkit.model.capture_request import ALONE, AS_USED, Basis, CaptureRequest
from reviewkit.model.card import Card, Chart, Limit, Mark, Panel
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import LOAD, Kind
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal import impedance
from reviewkit.signal.tone import AUDIO_BAND_HZ

CLOSED, VENTED, NONE = "closed", "vented", "none"
_RATED = ("impedance", "minimum_impedance")
_Q = {CLOSED: ("qtc",), NONE: ("qts", "qms", "qes")}
# of what is a load itself, whatever the bench drives otherwise
_NO_LOAD: dict[str, Any] = {"load_ohm": None, "input": "", "channels": "", "termination": ""}


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return the impedance's figures, per channel.

    minimum_impedance and peak_impedance (Ω) with their frequencies, rated_impedance (Ω) by the 80 % rule; of one peak
    system_resonance (Hz), and qtc of a closed box, or qts, qms and qes of a bare driver; of two peaks lower_peak,
    upper_peak and tuning (Hz).
    """
    c = c.but(**_NO_LOAD)
    frequency_hz = sheet.need("frequency").values
    got = figures.Collected(c)
    for column in sheet.all("impedance"):
        got.curves.append(Curve("", column.channel, frequency_hz, column.values))
        got.findings += _lowest(c, column.channel, frequency_hz, column.values)
        resonances, why = _resonances(c, column.channel, frequency_hz, column.values)
        got.findings += resonances
        if why:
            got.withhold(why, column.channel)
    return got.measured


def _band_hz(c: Conditions) -> tuple[float, float]:
    """Return the band of a rated response, or of a rated impedance; else the audio band."""
    bands = figures.rated_bands(c, *_RATED, "flatness")
    return bands[0] if bands else AUDIO_BAND_HZ


def _lowest(c: Conditions, channel: str, frequency_hz: Array, ohm: Array) -> list[Finding]:
    """Return the minimum in the band, and the impedance that it may be rated at."""
    reached = curves.covered(frequency_hz, _band_hz(c))
    if reached is None:
        return []
    least = impedance.minimum_of(*curves.part(frequency_hz, ohm, reached))
    found = [
        figures.finding(c, "minimum_impedance", channel, least.ohm, frequency=least.frequency_hz, band=list(reached))
    ]
    rated = impedance.rated_ohm(least.ohm)
    if rated is not None:
        found.append(figures.finding(c, "rated_impedance", channel, rated, band=list(reached)))
    return found


def _resonances(c: Conditions, channel: str, frequency_hz: Array, ohm: Array) -> tuple[list[Finding], str]:
    """Return what the peaks in the bass show, and why something is withheld, or ""."""
    enclosure = c.measurement.enclosure
    peaks = impedance.bass_peaks(frequency_hz, ohm)
    if not peaks:
        return [], "no resonance: no peak in the bass is in the data" if enclosure else ""
    highest = max(peaks, key=lambda peak: peak.ohm)
    found = [figures.finding(c, "peak_impedance", channel, highest.ohm, frequency=highest.frequency_hz)]
    if len(peaks) == 2:
        dip = impedance.tuning_of(frequency_hz, ohm, peaks)
        values = {"lower_peak": peaks[0], "tuning": dip, "upper_peak": peaks[1]}
        found += [figures.finding(c, name, channel, point.frequency_hz) for name, point in values.items()]
        why = "no Q, two peaks are those of a vented box" if enclosure in _Q else ""
        return found, why
    if enclosure not in _Q:
        found.append(figures.finding(c, "system_resonance", channel, highest.frequency_hz))
        if enclosure == VENTED:
            return found, "no tuning, a vented box has two peaks and this curve has one"
        return found, 'no Q: write enclosure = "closed", or enclosure = "none" for a bare driver'
    try:
        fitted = impedance.fit_resonance(frequency_hz, ohm, c.measurement.dc_resistance_ohm)
    except impedance.NoResonance as why_not:
        found.append(figures.finding(c, "system_resonance", channel, highest.frequency_hz))
        return found, f"no Q: {why_not}"
    figure_of = {
        "qtc": fitted.q_total,
        "qts": fitted.q_total,
        "qms": fitted.q_mechanical,
        "qes": fitted.q_electrical,
    }
    found.append(figures.finding(c, "system_resonance", channel, fitted.frequency_hz))
    found += [figures.finding(c, name, channel, figure_of[name]) for name in _Q[enclosure]]
    return found, ""


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the impedance over frequency, the minimum and the resonance ringed."""
    runs = [run.but(**_NO_LOAD) for run in runs]
    main = figures.main_run(runs)
    traces = [figures.trace(curve, run, runs) for run in runs for curve in run.curves]
    lowest = figures.by_channel(main, "minimum_impedance")
    worst = quantities.worse(lowest)
    limits = tuple(_limit(rating, main) for rating in figures.rated(main.conditions, *_RATED) if rating.printed)
    y_axis = scales.ohms(figures.extents(traces))
    panel = Panel(scales.dial_for(traces), y_axis, tuple(traces), limits, _marks(main, worst))
    hero = figures.hero(worst, lowest, "lowest impedance")
    shown = ("system_resonance", "qtc", "qts", "lower_peak", "tuning", "upper_peak", "rated_impedance")
    found = [*lowest, *(f for name in shown for f in figures.by_channel(main, name))]
    words = {CLOSED: "closed box", VENTED: "vented box", NONE: "bare driver"}
    enclosure = words.get(main.conditions.measurement.enclosure, "")
    return figures.card(runs, KIND.title, Chart((panel,)), hero, found, (enclosure,))


def _limit(rating: Rating, run: Run) -> Limit:
    """Return how low the curve may fall: to 80 % of a nominal impedance."""
    share = impedance.RATED_SHARE if rating.quantity == "impedance" else 1.0
    # of a nominal impedance the verdict has both it and what it may fall to
    text = f"rated {rating_words.limit_text(rating)}" if share == 1.0 else "lowest allowed"
    return Limit(share * (rating.printed or 0.0), None, *_band_hz(run.conditions), text, rating)


def _marks(run: Run, lowest: Finding | None) -> tuple[Mark, ...]:
    """Return the places of the minimum, and of what resonates on the same channel."""
    if lowest is None:
        return ()
    marks = [Mark(float(lowest.at["frequency"]), lowest.value, "", lowest.channel)]
    curve = next(curve for curve in run.curves if curve.channel == lowest.channel)
    for name in ("system_resonance", "lower_peak", "tuning", "upper_peak"):
        place = run.get(name, lowest.channel)
        if place is not None:
            height = curves.value_at(curve.x, curve.y, place.value)
            if height is not None:
                marks.append(Mark(place.value, height, quantities.show(place), lowest.channel, optional=True))
    return tuple(marks)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the minimum, what it may be rated at, the resonance with its Q, and what these were before."""
    names = ("minimum_impedance", "rated_impedance", "system_resonance", "lower_peak", "upper_peak", "tuning")
    worst = quantities.worse(figures.by_channel(run, "minimum_impedance"))
    if worst is None:
        return ()
    facts = {name: run.get(name, worst.channel) for name in names}
    # the table has the resonance of the worse one, too
    resonance = quantities.worse(figures.by_channel(run, "system_resonance"))
    channel = resonance.channel if resonance else worst.channel
    was = before.get("system_resonance", channel) if before else None
    facts |= {"system_resonance": resonance, "q": run.get("qtc", channel) or run.get("qts", channel)}
    lowest_before = quantities.worse(figures.by_channel(before, "minimum_impedance"))
    facts |= {"before": lowest_before, "resonance_before": was}
    return (run.point("load", **facts),)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return whether a file is the impedance of a load: its curve resonates, or its name says so."""
    columns = sheet.all("impedance")
    frequency = sheet.find("frequency")
    if not columns or frequency is None:
        return None
    resonates = all(impedance.is_load(frequency.values, column.values) for column in columns)
    if not resonates and name.kinds != {"load-impedance"}:
        return None
    return Content(("load-impedance",), "impedance over frequency with a resonance, as a loudspeaker's")


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    quantity = "minimum_impedance" if rating.quantity == "impedance" else rating.quantity
    wording = {"bands": (rating.band_hz or AUDIO_BAND_HZ,)}
    return (CaptureRequest("", "", (quantity,), {}, AS_USED, place=ALONE, wording=wording),)


KIND = Kind(
    name="load-impedance",
    title="Impedance",
    about="frequency and ohms of a loudspeaker, a headphone or a cartridge",
    needs=(("frequency", "impedance"),),
    compared=("minimum_impedance",),
    asks=LOAD,
    headlines=("minimum_impedance", "rated_impedance", "system_resonance", "qtc", "qts", "tuning"),
    findings=findings,
    card=card,
    points=points,
    keys=("enclosure", "dc_resistance"),
    file_words="(?<!output )(?<!source )impedance|zma",
    recognise=recognise,
    recipes=dict.fromkeys(("impedance", "minimum_impedance", "system_resonance", "qtc", "qts"), _request),
    optional_line='#enclosure = "closed"  # or "vented", or "none" for a bare driver',
)
