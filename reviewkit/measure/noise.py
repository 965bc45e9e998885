"""Idle noise: volts over 20 Hz – 20 kHz, how far they lie below a power, and the hum in them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from reviewkit.measure import figures
from reviewkit.measure.capture_requests import output_requests, reading_request, sensitivity_request
from reviewkit.measure.captures import sample_rate_hz
from reviewkit.measure.idle_output import (
    Withheld,
    bands_curve,
    lines_curve,
    not_reached,
    panel_of,
    read_noise,
    refuse_tone,
)
from reviewkit.model import quantities
from reviewkit.model.capture_request import IDLE, Basis, CaptureRequest
from reviewkit.model.card import Card, Chart
from reviewkit.model.finding import Conditions, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import reference_of
from reviewkit.model.gear import PLAYER
from reviewkit.model.kind import QUIET, Kind
from reviewkit.model.level import FULL_SCALE
from reviewkit.model.recognised import SPECTRUM_WORDS
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import CCIR_ARM, weighted
from reviewkit.signal import noise_lines
from reviewkit.signal.decibels import amplitude_of_db, db_of_amplitude
from reviewkit.signal.noise_lines import Noise
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import a_weighting, c_weighting, weighting_468
from reviewkit.signal.windows import lobe

# 468: its curve with an r.m.s. value, which reads white noise some 4.5 dB below the quasi-peak meter that belongs to it
_IF_RATED: dict[str, Callable[..., Any]] = {
    "C": c_weighting,
    "468": weighting_468,
    CCIR_ARM: partial(weighting_468, arm=True),
}
RELATIVE = "no noise in volts and no signal to noise ratio, the file's levels are relative"
# of an idle output: nothing is driven, at no level
_UNDRIVEN: dict[str, Any] = {"channels": "", "drive": None}


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return noise, snr and hum_voltage per channel.

    noise: V r.m.s., 20 Hz – 20 kHz or as far as the data goes, unweighted and A-weighted, and C- or 468-weighted or
    CCIR/ARM if a rating is. snr: dB, of all of them, relative to
    the rated output, 1 W and each power that a rating names. hum_voltage: V.
    """
    c = c.but(**_UNDRIVEN)
    got = figures.Collected(c)
    for column in sheet.all("level"):
        try:
            noise, volts = read_noise(sheet, column, c)
        except Withheld as why:
            got.withhold(f"no noise and no signal to noise ratio: {why}")
            got.curves.append(lines_curve(sheet, column, c))
            continue
        got.curves.append(bands_curve(column.channel, noise, volts=volts))
        band_hz = noise.band(*AUDIO_BAND_HZ)
        if band_hz is None:
            got.withhold("no noise and no signal to noise ratio: the data reaches nothing of 20 Hz – 20 kHz")
            continue
        refuse_tone(sheet, c, noise, band_hz)
        if not volts:
            hint = '; add for example full_scale = "10 V"' if column.unit in ("ratio", "dBFS") else "; export volts"
            got.withhold(RELATIVE + hint)
            continue
        for why_not in not_reached(sheet, band_hz):
            got.withhold(why_not)
        average = _average_of(sheet, column)
        if average is None and any(rating.weighting == CCIR_ARM for rating in figures.rated(c, "snr", "noise")):
            got.withhold("no CCIR/ARM figure: its meter responds to the average of a waveform; capture one")
        if c.mains_hz and not c.measurement.weighting and not _parts_mains(noise, c.mains_hz):
            got.withhold("no hum: the spectrum's lines are too far apart; export more lines")
        own = _figures(c, column.channel, noise, band_hz, average)
        if c.mains_hz and any(f.quantity == "hum_voltage" for f in own):
            strongest = noise_lines.strongest_hum(noise, c.mains_hz, band_hz)
            got.curves[-1] = replace(got.curves[-1], facts={**got.curves[-1].facts, "hum": strongest})
        got.findings += own
        for rated_hz in figures.rated_bands(c, "snr", "noise"):
            # "200 Hz – 15 kHz": as if cut off at the edges; slopes of such filters are nowhere printed
            if rated_hz != tuple(band_hz) and (inside := noise.band(*rated_hz)) and tuple(inside) == rated_hz:
                of_band = _figures(c, column.channel, noise, inside, average)
                got.findings += [f for f in of_band if f.quantity != "hum_voltage"]
    if any(f.quantity == "noise" for f in got.findings) and (missing := _no_reference(c)):
        got.withhold(missing)
    return got.measured


def _no_reference(c: Conditions) -> str:
    """Return why there is no ratio, or none relative to the rated power; "" if there is one."""
    player = c.gear is not None and PLAYER in c.gear.types
    if player or any(rating.reference_level or rating.reference_v for rating in figures.rated(c, "snr")):
        return ""  # relative to a voltage, or to what another file has
    if c.gear is not None and not c.gear.loads:
        return 'no signal to noise ratio: a line output has no power to compare it with; rate one re "2 V output"'
    ohms = c.measurement.load_ohm
    if ohms is None or math.isinf(ohms):
        return (
            'no signal to noise ratio: it is relative to a power, and no load is stated; add for example load = "8 ohm"'
        )
    if figures.rated_output_w(c) is None:
        return f"no signal to noise ratio relative to the rated power: none is rated into {quantities.load(ohms)}"
    return ""


def references_w(c: Conditions) -> list[float]:
    """Return the powers that noise is compared with, without repeats: rated, 1 W, those that snr ratings name."""
    wanted = [figures.rated_output_w(c), 1.0, *(rating.reference_w for rating in figures.rated(c, "snr"))]
    return list(dict.fromkeys(power_w for power_w in wanted if power_w))


def references_v(c: Conditions) -> list[float]:
    """Return the output voltages that snr ratings name, without repeats."""
    levels = [rating.reference_level for rating in figures.rated(c, "snr")]
    return list(dict.fromkeys(level.value for level in levels if level is not None and level.unit == "V"))


Average = Callable[[tuple[float, float], Callable[..., Any]], float]


def _average_of(sheet: Sheet, column: Column) -> Average | None:
    """Return what reads the average of a waveform over a band; None of a spectrum, which has lost it."""
    if sheet.find("time") is None:
        return None
    rate_hz = sample_rate_hz(sheet)
    return lambda band_hz, weight: noise_lines.average_volts(column.values, rate_hz, band_hz, weight)


def _figures(
    c: Conditions, channel: str, noise: Noise, band_hz: tuple[float, float], average: Average | None
) -> list[Finding]:
    m = c.measurement
    weights: list[tuple[str | None, Callable[..., Any]]] = [(None, np.ones_like), ("A", a_weighting)]
    rated = {rating.weighting for rating in figures.rated(c, "snr", "noise")}
    weights += [(name, weight) for name, weight in _IF_RATED.items() if name in rated]
    if m.weighting:
        # it is already weighted on the bench: don't weight it twice, and it can't be undone
        weights = [(m.weighting, np.ones_like)]
    found = []
    for weighting, weight in weights:
        if weighting != CCIR_ARM:
            volts = noise_lines.band_volts(noise, band_hz, weight)
        else:
            volts = average(band_hz, weight) if average else 0.0
        if volts == 0:
            continue
        under: dict[str, Any] = {"band": list(band_hz), "weighting": weighting, "window": noise.window or None}
        expanded_db = _expanded_db(c, noise_lines.scatter(noise, band_hz, weight))
        expanded = None if expanded_db is None else volts * expanded_db * figures.LN10_OVER_20
        found.append(figures.finding(c, "noise", channel, volts, uncertainty=expanded, **under))
        if m.load_ohm and not math.isinf(m.load_ohm):
            for power_w in references_w(c):
                ratio_db = float(db_of_amplitude(math.sqrt(power_w * m.load_ohm) / volts))
                found.append(
                    figures.finding(c, "snr", channel, ratio_db, uncertainty=expanded_db, reference=power_w, **under)
                )
        for reference_v in references_v(c):
            ratio_db = float(db_of_amplitude(reference_v / volts))
            under |= {"reference_level": [reference_v, "V", ""]}
            found.append(figures.finding(c, "snr", channel, ratio_db, uncertainty=expanded_db, **under))
    hum = 0.0
    if c.mains_hz and not m.weighting and _parts_mains(noise, c.mains_hz):
        hum = noise_lines.hum_volts(noise, c.mains_hz, band_hz)
    if hum > 0:
        expanded = figures.volts_uncertainty(c, hum)
        under = {"band": list(band_hz), "mains": c.mains_hz, "window": noise.window or None}
        found.append(figures.finding(c, "hum_voltage", channel, hum, uncertainty=expanded, **under))
    return found


def _parts_mains(noise: Noise, mains_hz: float) -> bool:
    """Return whether mains lines have a lobe each; a waveform is long enough."""
    return not noise.window or 2 * lobe(noise.window) * noise.spacing_hz <= mains_hz


def _expanded_db(c: Conditions, scatter: float) -> float | None:
    """Return the expanded uncertainty in dB: the bench's, and twice the scatter that a finite record leaves.

    None if the bench states none: part of an uncertainty would pass for the whole.
    """
    level_db = c.bench.level_uncertainty_db
    return None if level_db is None else math.hypot(level_db, 2 * scatter / figures.LN10_OVER_20)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the noise in third-octave bands, in dBV, and how far it lies below the rated power.

    Bands, not spectral lines: their height doesn't depend on the length of a record or on the window, so two captures
    can be compared, and a mains line can still be distinguished from hiss.
    """
    main = figures.main_run(runs)
    weighting = main.conditions.measurement.weighting
    ratios, volts = _by_condition(main, "snr"), _by_condition(main, "noise") + _by_condition(main, "hum_voltage")
    form, panel = panel_of(runs, main, _reference(main, ratios))
    found = (ratios or volts or [[]])[0]
    key = quantities.worse(found)
    what = ""
    if key is not None and key.quantity == "snr":
        what = f"{weighted(key.at.get('weighting', ''))}, below {reference_of(key)}"
    return figures.card(
        [run.but(**_UNDRIVEN) for run in runs],
        KIND.title,
        Chart((panel,)),
        figures.hero(key, found, what),
        [f for group in (*ratios, *volts) for f in group],
        (f"{weighting}-weighted, {form}" if weighting else form,),
    )


def _reference(run: Run, ratios: Sequence[Sequence[Finding]]) -> tuple[float, str] | None:
    """Return the voltage that the first ratio is relative to, and what it is called; None if that is a power."""
    ratio = next((quantities.worse(group) for group in ratios if "reference" not in group[0].at), None)
    if ratio is None:
        return None
    noise = run.get("noise", ratio.channel, weighting=ratio.at.get("weighting"), band=ratio.at.get("band"))
    return (noise.value * float(amplitude_of_db(ratio.value)), reference_of(ratio)) if noise else None


def _by_condition(run: Run, quantity: str) -> list[list[Finding]]:
    """Return a quantity's findings grouped by condition, those of all channels together: a ratio that is weighted as
    rated first, then A-weighted.
    """
    of = run.conditions.measurement.input.casefold()
    snr = figures.rated(run.conditions, "snr") if quantity == "snr" else ()
    rated = {rating.weighting or None for rating in snr if rating.input.casefold() in ("", of)}
    groups: dict[tuple[Any, Any], list[Finding]] = {}
    found = figures.by_channel(run, quantity)
    for f in found:
        if f.at.get("band") != found[0].at.get("band"):
            continue  # over a band that only a rating asks for
        groups.setdefault(_key(f), []).append(f)
    return [groups[key] for key in sorted(groups, key=lambda key: (key[0] not in rated, key[0] is None))]


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return how far the noise is below the rated power or 1 W, else its volts, and how much of it is hum."""
    facts = []
    volts, ratios = _by_condition(run, "noise"), _by_condition(run, "snr")
    if ratios:
        worse = quantities.worse(ratios[0])
        assert worse is not None
        facts.append(run.point("ratio", worse=worse, before=quantities.worse(_alike(before, worse))))
    elif volts:
        # in volts the unweighted figure comes first, as a ratio the weighted one
        plain = volts[-1]
        under = {"weighting": plain[0].at.get("weighting", ""), "before": quantities.worse(_alike(before, plain[0]))}
        facts.append(run.point("volts", findings=plain, worse=quantities.worse(plain), **under))
    hum = quantities.worse(figures.by_channel(run, "hum_voltage"))
    if hum is not None:
        noise = next(f for f in volts[-1] if f.channel == hum.channel).value
        line_hz, line_v = next(c.facts["hum"] for c in run.curves if c.channel == hum.channel and "hum" in c.facts)
        mostly_hz = line_hz if line_v**2 > noise**2 / 2 else None  # more than half of the noise is this one line
        facts.append(run.point("hum", finding=hum, share=(hum.value / noise) ** 2, mostly_hz=mostly_hz))
    return tuple(facts)


def _alike(run: Run | None, finding: Finding) -> list[Finding]:
    """Return another run's findings, one per channel, with the same weighting and reference."""
    return [f for f in figures.by_channel(run, finding.quantity) if _key(f) == _key(finding)]


def _key(f: Finding) -> tuple[Any, Any]:
    return f.at.get("weighting"), reference_of(f)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request noise and what is computed from it: one capture of the idle output gives all of them."""
    at = basis.named(rating, "input")
    if rating.weighting:
        at["weighting"] = rating.weighting
    if rating.quantity == "snr" and rating.reference_v is None and rating.reference_level is None:
        reference = rating.reference_w or basis.share(rating, 1.0)
        at |= {"reference": reference} if reference is not None else {}
    wording = {"weightings": (rating.weighting or "unweighted",)} if rating.quantity != "hum_voltage" else {}
    where = basis.place(rating)
    no_load = rating.quantity == "snr" and basis.load_ohm(rating) is None and rating.reference_v is None
    if (level := rating.reference_level) is not None:
        at["reference_level"] = [level.value, level.unit, level.reference]
        no_load = level.unit != "V"
    of_full_scale = rating.quantity == "snr" and (level == FULL_SCALE or (basis.player and not rating.reference))
    no_load = no_load and not of_full_scale
    if rating.level is not None:
        no_load = True  # with a carrier or a tape: by meter
    if rating.weighting not in ("", "A", CCIR_ARM) or no_load:
        return (reading_request(rating, "weighted-noise", at, where, drive=IDLE),)
    noise = CaptureRequest("", "", (rating.quantity,), at, IDLE, place=where, wording=wording)
    if of_full_scale:
        return *(replace(each, decides=False) for each in output_requests(rating, basis)), noise
    if rating.reference_v is None:
        return (noise,)
    # relative to a voltage at the input: the input sensitivity must be known
    needed = replace(sensitivity_request(rating, basis), quantities=("input_sensitivity",), decides=False)
    return needed, replace(noise, at=at | {"reference_input": rating.reference_v})


KIND = Kind(
    name="noise",
    title="Noise",
    about="the idle output: time and volts, or a spectrum with its `window`",
    needs=(("time", "level"), ("frequency", "level")),
    compared=("snr", "noise"),
    asks=QUIET,
    headlines=("snr",),
    findings=findings,
    card=card,
    points=points,
    keys=("weighting", "termination"),
    sound="noise",
    file_words=rf"noise|hum|idle|silence|silent|quiet|snr|s n|{SPECTRUM_WORDS}",
    recipes={"snr": _request, "noise": _request, "hum_voltage": _request},
    captured_as="wav",
    optional_line='#full_scale = "10 mV"  # of a WAV: the peak voltage of a full-scale sine',
)
