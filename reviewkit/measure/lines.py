"""Named lines and bands of a spectrum: rumble of a turntable, pilot and subcarrier of a tuner, jitter of a player."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from reviewkit.measure import figures
from reviewkit.measure.captures import sample_rate_hz
from reviewkit.measure.idle_output import Withheld, read_noise
from reviewkit.measure.line_pictures import sidebands_curve, sidebands_panel, spectrum_curve, spectrum_panel
from reviewkit.measure.reference_tones import ReferenceTone, reference_of, reference_words
from reviewkit.model import quantities
from reviewkit.model.capture_request import ALONE, AS_RATED, AS_USED, BY_METER, Basis, CaptureRequest
from reviewkit.model.card import Card, Chart
from reviewkit.model.finding import Conditions, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import HIDDEN, TEST_RECORD
from reviewkit.model.kind import QUIET, Kind
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import RMS, RUMBLE_B_TYPE, weighted
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.demodulation import NotModulated
from reviewkit.signal.jitter import REACH_HZ, Jitter, jitter_lines
from reviewkit.signal.named_lines import RUMBLE_BAND_HZ, STEREO_HZ, line_at, strongest_other
from reviewkit.signal.noise_lines import Noise, band_volts, scatter
from reviewkit.signal.spectrum_lines import is_even
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import rumble_b_type

RUMBLE = "rumble"
_WEIGHTED_TO_HZ = 2000.0  # two poles and more above 315 Hz: what is missing above doesn't count
_MOST_HARMONICS = 20

Named = Mapping[str, float | tuple[float, float]]
# of what is played, not driven: a stated level is that of the reference tone
_PLAYED: dict[str, Any] = {"load_ohm": None, "channels": "", "drive": None}


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return the levels of named lines and bands relative to a reference tone, dB, per channel.

    rumble (10 – 315 Hz, a bound; also weighted by a stand-in), line_level of every other name,
    subcarrier_suppression of pilot and subcarrier together, strongest_other_line, and jitter (s r.m.s.) of a player.
    """
    m = c.measurement
    own = c.but(**_PLAYED)
    got = figures.Collected(own)
    for column in sheet.all("level"):
        try:
            noise, volts = read_noise(sheet, column, c)
        except Withheld as why:
            got.withhold(f"no lines: {why}")
            continue
        reference, why_not = reference_of(sheet, noise, c, volts=volts)
        if why_not:
            got.withhold(why_not)
        jitter = _jitter(sheet, column, c)
        if reference is not None:
            _add_levels(got, column.channel, noise, reference, _named(c, noise))
            if (other := _other(own, column.channel, noise, reference, jitter)) is not None and sheet.find("time"):
                got.findings.append(other)
        if jitter:
            rms_s = math.hypot(*(each.rms_s for each in jitter))
            got.add("jitter", column.channel, rms_s, frequency=m.frequency_hz, weighting=RMS)
        unit = "dB" if reference else "dBV" if volts else "dBFS" if sheet.find("time") else "relative"
        level = reference.level if reference else 1.0
        got.curves.append(spectrum_curve(column.channel, noise, level, unit))
        if jitter and m.frequency_hz:
            got.curves.append(sidebands_curve(column.channel, noise, level, m.frequency_hz, jitter))
    return got.measured


def _named(c: Conditions, noise: Noise) -> Named:
    """Return the lines and bands to look for: the session's, and those that every unit of its type has."""
    types = c.gear.types if c.gear else ()
    usual: dict[str, float | tuple[float, float]] = {}
    if "turntable" in types or figures.rated(c, RUMBLE):
        usual[RUMBLE] = RUMBLE_BAND_HZ
    if "tuner" in types or figures.rated(c, "subcarrier_suppression"):
        usual |= STEREO_HZ
    # what nobody asked for isn't missed
    asked = bool(figures.rated(c, RUMBLE, "subcarrier_suppression"))
    tops_hz = {name: at[1] if isinstance(at, tuple) else at for name, at in usual.items()}
    reached = {name: at for name, at in usual.items() if asked or tops_hz[name] <= noise.reach_hz[1]}
    return {**reached, **c.measurement.lines_hz}


def _add_levels(got: figures.Collected, channel: str, noise: Noise, reference: ReferenceTone, named: Named) -> None:
    c = got.conditions
    for name, place in named.items():
        if isinstance(place, tuple):
            band = noise.band(*place)
            if band != place:
                got.withhold(f"no {name}: the data doesn't reach {quantities.band(place)}")
            else:
                got.findings += _band(c, channel, noise, reference, name, place)
            continue
        line = line_at(noise, place)
        if line is None:
            got.withhold(f"no {name}: the data doesn't reach {quantities.hertz(place)}")
            continue
        db = _ratio_db(line.level_v, reference)
        made = _finding(c, "line_level", channel, db, reference, line=name, frequency=place)
        got.findings.append(made if line.is_distinct else figures.bounded(made, "at most", HIDDEN))
    got.findings += _stereo(c, channel, noise, reference, named)


def _band(
    c: Conditions, channel: str, noise: Noise, reference: ReferenceTone, name: str, band_hz: tuple[float, float]
) -> list[Finding]:
    level = band_volts(noise, band_hz)
    if level <= 0:
        return []
    spread = scatter(noise, band_hz)
    db = _ratio_db(level, reference)
    if name.casefold() != RUMBLE:
        return [_finding(c, "line_level", channel, db, reference, spread, line=name, band=list(band_hz))]
    made = [_finding(c, "rumble", channel, db, reference, spread, band=list(band_hz))]
    wide = noise.band(band_hz[0], AUDIO_BAND_HZ[1])
    if (
        wide is not None
        and wide[1] >= _WEIGHTED_TO_HZ / 1.005
        and (level := band_volts(noise, wide, rumble_b_type)) > 0
    ):
        spread = scatter(noise, wide, rumble_b_type)
        db = _ratio_db(level, reference)
        made.append(_finding(c, "rumble", channel, db, reference, spread, weighting=RUMBLE_B_TYPE))
    return [figures.bounded(each, "at most", TEST_RECORD) for each in made]


def _stereo(c: Conditions, channel: str, noise: Noise, reference: ReferenceTone, named: Named) -> list[Finding]:
    """Return the tone over pilot and subcarrier together, if both are named and reached."""
    lines = [line_at(noise, hz) for hz in STEREO_HZ.values() if hz in named.values()]
    reached = [line for line in lines if line is not None]
    if len(reached) < len(STEREO_HZ):
        return []
    db = -_ratio_db(math.hypot(*(line.level_v for line in reached)), reference)
    made = _finding(c, "subcarrier_suppression", channel, db, reference)
    strongest = max(reached, key=lambda line: line.level_v)
    return [made if strongest.is_distinct else figures.bounded(made, "at least", HIDDEN)]


def _other(
    c: Conditions, channel: str, noise: Noise, reference: ReferenceTone, jitter: Sequence[Jitter]
) -> Finding | None:
    """Return the strongest line that has no name and is neither the tone, nor its harmonic, nor hum."""
    tone_hz, band_hz = c.measurement.frequency_hz, noise.band(*AUDIO_BAND_HZ)
    if band_hz is None:
        return None
    known: list[float | tuple[float, float]] = list(_named(c, noise).values())
    for hz in (tone_hz, c.mains_hz):
        known += [n * hz for n in range(1, _MOST_HARMONICS + 1)] if hz else []
    if tone_hz and jitter:
        known.append((tone_hz - REACH_HZ, tone_hz + REACH_HZ))
    line = strongest_other(noise, band_hz, known)
    if line is None:
        return None
    db = _ratio_db(line.level_v, reference)
    return _finding(c, "strongest_other_line", channel, db, reference, frequency=line.frequency_hz, band=list(band_hz))


def _jitter(sheet: Sheet, column: Column, c: Conditions) -> list[Jitter]:
    """Return the steady rates of jitter in the tone of a player; of a deck's tone they would be flutter."""
    tone_hz = c.measurement.frequency_hz
    wanted = ("player" in c.gear.types if c.gear else False) or bool(figures.rated(c, "jitter"))
    if tone_hz is None or not wanted or not sheet.find("time") or tone_hz <= 2 * REACH_HZ:
        return []
    try:
        return jitter_lines(column.values, sample_rate_hz(sheet), tone_hz)
    except NotModulated as why:
        raise sheet.fault(str(why)) from None


def _ratio_db(level: float, reference: ReferenceTone) -> float:
    return float(db_of_amplitude(level / reference.level))


def _finding(
    c: Conditions, quantity: str, channel: str, db: float, reference: ReferenceTone, spread: float = 0.0, **at: Any
) -> Finding:
    """Return a level relative to the reference. `spread`: the scatter that a finite record leaves, a ratio."""
    expanded = reference.expanded_db
    if expanded is not None:
        expanded = math.hypot(expanded, 2 * spread / figures.LN10_OVER_20) or None
    at = {"reference_level": reference.named, **at}
    return figures.finding(c, quantity, channel, db, uncertainty=expanded, **at)


# what a card shows large, the first that there is: how it is looked up, and what it is
_HEROES: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("jitter", {}, "clock jitter, r.m.s."),
    ("rumble", {"weighting": None}, "rumble"),
    ("subcarrier_suppression", {}, "subcarrier suppression"),
)


def _key(run: Run) -> tuple[list[Finding], str]:
    """Return the figure that a card shows large, of each channel, and what it is."""
    for quantity, at, what in _HEROES:
        if of_channels := figures.by_channel(run, quantity, **at):
            return of_channels, what
    levels = figures.by_channel(run, "line_level")
    if levels:
        strongest = max(levels, key=lambda f: f.value)
        return figures.by_channel(run, "line_level", line=strongest.at["line"]), str(strongest.at["line"])
    return figures.by_channel(run, "strongest_other_line"), "strongest other line"


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the worst channel's spectrum with its lines named; of jitter, the sidebands next to the tone."""
    main = figures.main_run(runs)
    found, what = _key(main)
    key = quantities.worse(found)
    if key is None:
        channel = main.curves[0].channel if main.curves else ""
        panels = (spectrum_panel(runs, main, channel, None),) if main.curves else ()
        return figures.card(runs, KIND.title, Chart(panels), None)
    if key.quantity == "jitter":
        panel = sidebands_panel(runs, main, key.channel)
    else:
        panel = spectrum_panel(runs, main, key.channel, key)
    shown = ("rumble", "line_level", "subcarrier_suppression", "strongest_other_line", "jitter")
    known = any(what == name for *_, name in _HEROES)
    more = (
        "" if known else what,
        reference_words(main),
        weighted(key.at["weighting"]) if "weighting" in key.at else "",
        quantities.band(key.at["band"]) if "band" in key.at else "",
    )
    return figures.card(
        [run.but(**_PLAYED) for run in runs],
        what[0].upper() + what[1:] if known else KIND.title,
        Chart((panel,)),
        figures.off_the_dial(figures.hero(key, found)),
        [f for name in shown for f in figures.by_channel(main, name)],
        more,
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the card's figure and what it was, what jitter is strongest at, and the strongest line without a name."""
    found, _ = _key(run)
    key = quantities.worse(found)
    if key is None:
        return ()
    at = {name: key.at.get(name) for name in ("weighting", "line")}
    curve = next((curve for curve in run.curves if curve.name == "sidebands" and curve.channel == key.channel), None)
    facts = {
        "quantity": key.quantity,
        "key": key,
        "reference": reference_words(run).removeprefix("re "),
        "before": quantities.worse(figures.by_channel(before, key.quantity, **at)),
        "rate": quantities.hertz(curve.facts["strongest_hz"]) if curve else "",
        "other": run.get("strongest_other_line", key.channel),
    }
    return (run.point("lines", **facts),)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return this kind for a waveform or a spectrum whose name says so; by content it could be noise or a tone."""
    frequency, roles = sheet.find("frequency"), {column.role for column in sheet.columns}
    # "rumble" may be a filter, but no filter's response is a waveform
    others = name.kinds - ({"lines", "contour"} if "time" in roles else {"lines"})
    if "lines" not in name.kinds or others or "level" not in roles:
        return None
    if "time" not in roles and (frequency is None or not is_even(frequency.values)):
        return None
    return Content(("lines",), "a spectrum or a waveform, with lines by its name")


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request a capture; of weighted rumble a meter's reading, because no figure here answers it."""
    at: dict[str, Any] = {"weighting": rating.weighting} if rating.weighting else {}
    if rating.quantity == RUMBLE and rating.weighting:
        words = {"names": (rating.called,), "units": (rating.unit,)}
        alike = (rating.quantity, rating.weighting)
        return (
            CaptureRequest(
                "reading", "own", (RUMBLE,), at, AS_RATED, place=BY_METER, channels=("",), apart=alike, wording=words
            ),
        )
    names = (rating.quantity,)
    return (CaptureRequest("", "", names, at, AS_USED, place=ALONE, apart=names, wording={"names": names}),)


KIND = Kind(
    name="lines",
    title="Lines in the spectrum",
    about="named lines and bands of a spectrum, such as rumble or a pilot: a WAV, or a spectrum with its `window`",
    needs=(("time", "level"), ("frequency", "level")),
    compared=("rumble", "subcarrier_suppression", "jitter", "line_level"),
    asks=QUIET,
    headlines=("rumble", "subcarrier_suppression", "jitter"),
    findings=findings,
    card=card,
    points=points,
    keys=("frequency", "lines", "reference_level"),
    file_words="rumble|pilot|sub ?carrier|jitter",
    recognise=recognise,
    recipes=dict.fromkeys(("rumble", "subcarrier_suppression", "jitter"), _request),
    captured_as="wav",
    optional_line='#reference_level = "245 mV"  # of the reference tone, through the same capture',
)
