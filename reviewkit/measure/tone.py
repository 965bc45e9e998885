"""One steady sine: its level, distortion, noise and hum, from a waveform or from a spectrum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.capture_requests import OUTPUT_RECIPES, tone_request
from reviewkit.measure.captures import ExportedLines, exported_lines, refuse_silence, sample_rate_hz, waveform_samples
from reviewkit.measure.distortion import MOSTLY, are_odd, share_of
from reviewkit.measure.dynamic_range import add_range, main_range, points_of_range, range_request
from reviewkit.measure.figures import Collected
from reviewkit.measure.tone_pictures import (
    LOWEST_DRAWN_DB,
    of_capture,
    of_lines,
    spectrum_chart,
    waveform_chart,
)
from reviewkit.measure.tone_sheets import check_drive, level_conditions, levels_in_words, load_of
from reviewkit.model import quantities
from reviewkit.model.capture_request import USUAL_SHARE, Basis, CaptureRequest, spot_hz
from reviewkit.model.card import Card, Chart, Panel, Stem
from reviewkit.model.finding import Conditions, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import without
from reviewkit.model.kind import CLEAN, Kind
from reviewkit.model.recognised import DISTORTION_WORDS, SPECTRUM_WORDS
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import weighted
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.spectrum import NotOneTone, TooShort, Wavers, analyse
from reviewkit.signal.spectrum_lines import NoLines, analyse_lines
from reviewkit.signal.tone import Tone
from reviewkit.signal.tone_lines import of_spectrum

NAMED_HARMONICS = range(2, 10)
HARMONIC_NAMES = {2: "2nd", 3: "3rd"}
_FIGURES = ("thd_plus_noise", "thd")


def leading_figure(run: Run) -> str:
    """Return the quantity that states a tone's distortion: the rated one, else THD+N, or THD if noise can't be read."""
    rated = [r.quantity for r in run.conditions.ratings if r.quantity in _FIGURES and run.get(r.quantity)]
    return rated[0] if rated else "thd_plus_noise" if run.get("thd_plus_noise") else "thd"


# one channel's tone, whether its level is in volts, and the lines it was exported as, if it was
_Read = tuple[Tone, bool, ExportedLines | None]


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return the figures of a tone, per channel.

    frequency (Hz), level (V), power (W), gain (dB), thd and thd_plus_noise (%), sinad, snr (dB), harmonic_2 … 9,
    harmonics_higher and hum (dB relative to the fundamental), dc_offset (V, only from a DC-coupled capture).
    """
    got = Collected(c)
    tones_hz: dict[str, float] = {}
    rate_hz = sample_rate_hz(sheet) if sheet.find("time") else None
    for column in sheet.all("level"):
        try:
            read = _of_waveform(sheet, column, c, rate_hz) if rate_hz else _of_spectrum(sheet, column, c)
            tone, in_volts, exported = read
        except (NotOneTone, NoLines) as why:
            got.withhold(f"no figures for channel {column.channel or 'measured'}: {why}")
            continue
        window = None
        _ask_about(tone, sheet, c)
        tones_hz[column.channel] = tone.frequency_hz
        if exported is not None:
            window = exported.window
            lines = of_spectrum(exported.frequency_hz, exported.level, window)
            got.curves.append(of_lines(column.channel, lines, tone.frequency_hz))
            hides = f"the {window} window's own leakage hides the noise; export with another window"
            for why_not in filter(None, (exported.hint, hides if tone.noise_hidden else "")):
                got.withhold(f"no THD+N, SINAD or SNR from this spectrum: {why_not}")
        under: dict[str, Any] = {"frequency": tone.frequency_hz}
        if in_volts:
            under |= level_conditions(c, tone.level)
        else:
            hint = '; add for example full_scale = "10 V"' if column.unit == "ratio" else ""
            got.withhold(f"no level, power or gain, the file's levels are relative{hint}")
        got.findings += _levels(c, column.channel, tone, under, volts=in_volts)
        under |= {"band": list(tone.band_hz), "window": window, "without": list(c.measurement.without_hz or ()) or None}
        got.findings += _ratios(c, column.channel, tone, under)
        add_range(got, sheet, column, tone.frequency_hz, under)
        if tone.clouded:
            orders = ", ".join(str(order) for order in tone.clouded[:5]) + (" …" if len(tone.clouded) > 5 else "")
            near = f"something else is too near to harmonic {orders} of the tone; capture a longer record"
            got.withhold(f"no THD and no SNR: {near}")
        if tone.hum_needs_s is not None:
            lines_hz = f"lines at most {quantities.hertz(1 / tone.hum_needs_s)} apart"
            record_s = f"a record of at least {quantities.seconds(tone.hum_needs_s)}"
            got.withhold(f"no hum: it needs {record_s if exported is None else lines_hz}")
        if not tone.third_in_band:
            why_not = "even the third harmonic lies outside the data; capture at a higher sample rate"
            got.withhold(f"no distortion at {quantities.hertz(tone.frequency_hz)}: {why_not}")
    check_drive(sheet, c, got.findings)
    if rate_hz:
        got.curves += of_capture(sheet, rate_hz, tones_hz)
    return got.measured


def _of_waveform(sheet: Sheet, column: Column, c: Conditions, rate_hz: float) -> _Read:
    samples, volts = waveform_samples(column, sheet.source)
    refuse_silence(column, sheet)
    try:
        tone = analyse(samples, rate_hz, c.mains_hz, c.measurement.frequency_hz, c.measurement.without_hz or ())
    except Wavers as wavers:
        raise sheet.fault(f'{wavers}; write kind = "flutter"') from None
    except TooShort as short:
        raise sheet.fault(f"{short}; capture a longer record") from None
    return tone, volts, None


def _of_spectrum(sheet: Sheet, column: Column, c: Conditions) -> _Read:
    exported, near_hz = exported_lines(sheet, column, c), c.measurement.frequency_hz
    without_hz = c.measurement.without_hz or ()
    tone = analyse_lines(exported.frequency_hz, exported.level, exported.window, c.mains_hz, near_hz, without_hz)
    return tone, exported.volts, exported


def _ask_about(tone: Tone, sheet: Sheet, c: Conditions) -> None:
    """Refuse a tone with lone lines or much else next to it, unless the session says what they are."""
    m = c.measurement
    if m.without_hz is not None:
        return
    if tone.close_in:
        share = 100 * tone.close_in / tone.level
        raise c.fault(
            f"in {sheet.source}, most of what isn't the tone is next to it, {share:.2g} % of its level: a tone that "
            "wavers, or one that hum modulates? If it wavers, measure its waveform as flutter; if it doesn't, write "
            "without = [] to count everything"
        )
    if not tone.lone_hz:
        return
    lines = [quantities.hertz(hz, 5) for hz in tone.lone_hz]
    written = ", ".join(f'"{line}"' for line in lines)
    one = len(lines) == 1
    raise c.fault(
        f"next to the tone, {sheet.source} has {'a lone line' if one else 'lone lines'} at "
        f"{' and '.join(lines)}, far above all near {'it' if one else 'them'}: a pilot tone, or the "
        f"unit's own? Write without = [{written}] to leave {'it' if one else 'them'} out of distortion and noise, or "
        "without = [] to count everything"
    )


def _levels(c: Conditions, channel: str, tone: Tone, under: Mapping[str, Any], *, volts: bool) -> list[Finding]:
    """Return frequency, level, power (the fundamental's voltage squared over the load), gain and offset, if present."""
    m, level_v = c.measurement, tone.level
    values: list[tuple[str, float, float | None]] = [("frequency", tone.frequency_hz, None)]
    if volts:
        values.append(("level", level_v, figures.volts_uncertainty(c, level_v)))
        if ohms := load_of(c):
            power_w = level_v**2 / ohms
            values.append(("power", power_w, figures.watts_uncertainty(c, power_w)))
        if m.input_level_v:
            values.append(("gain", db_of_amplitude(level_v / m.input_level_v), c.bench.level_uncertainty_db))
        # an AC-coupled capture blocks the offset: what is left of it is the interface's own
        if tone.dc is not None and c.bench.coupling == "dc":
            values.append(("dc_offset", tone.dc, figures.volts_uncertainty(c, tone.dc)))
    return [figures.finding(c, name, channel, value, uncertainty=expanded, **under) for name, value, expanded in values]


def _ratios(c: Conditions, channel: str, tone: Tone, under: Mapping[str, Any]) -> list[Finding]:
    """Return distortion, noise and hum.

    If even the third harmonic is outside the data, there is no distortion; anything that can't be separated from a
    harmonic counts only in THD+N.
    """
    counted = {**under, "harmonics": len(tone.harmonics)}
    values: list[tuple[str, float | None, Mapping[str, Any]]] = []
    if not tone.clouded:
        values.append(("snr", tone.snr_db, counted))
    if tone.third_in_band:
        plus_noise = tone.thd_plus_noise
        if not tone.clouded:
            values.append(("thd", 100 * tone.thd, counted))
        values.append(("thd_plus_noise", None if plus_noise is None else 100 * plus_noise, counted))
        values.append(("sinad", tone.sinad_db, counted))
        parted = {order: level for order, level in tone.harmonics.items() if order not in tone.clouded}
        values += [(f"harmonic_{n}", _re_tone(tone, parted.get(n, 0.0)), under) for n in NAMED_HARMONICS]
        # harmonics hidden by leakage are small compared with all of them, but perhaps not with the higher ones alone
        if max(tone.clouded, default=0) <= 3 and not tone.noise_hidden:
            higher = float(np.sqrt(sum(level**2 for order, level in parted.items() if order > 3)))
            values.append(("harmonics_higher", _re_tone(tone, higher), counted))
    values.append(("hum", _re_tone(tone, tone.hum or 0.0), {**under, "mains": c.mains_hz}))
    return [figures.finding(c, name, channel, value, **at) for name, value, at in values if value is not None]


def _re_tone(tone: Tone, level: float) -> float | None:
    """Return a level in dB relative to the fundamental; None for a level of zero."""
    return float(db_of_amplitude(level / tone.level)) if level > 0 else None


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the harmonics of the worst channel as stems; if there is no distortion to show, its wave."""
    if main_range(figures.main_run(runs)) is not None:
        return replace(_spectrum(runs) if _drawn(runs) else _wave(runs), id="")
    return _harmonics(runs) or _wave(runs)


def further(runs: Sequence[Run]) -> tuple[Card, ...]:
    """Return the other pictures of the same runs, for which a note calls: the wave of captures, and the spectrum."""
    main = figures.main_run(runs)
    if not main.get(leading_figure(main)):
        return ()
    waves = (_wave(runs),) if _captured(runs) else ()
    return (*waves, _spectrum(runs)) if _drawn(runs) else waves


def _drawn(runs: Sequence[Run]) -> bool:
    return any(run.drawn("spectrum") for run in runs)


def _captured(runs: Sequence[Run]) -> list[Run]:
    return [run for run in runs if run.drawn("wave")]


def _worst(runs: Sequence[Run]) -> Finding | None:
    """Return the worse channel's distortion, of the run whose figures are shown."""
    main = figures.main_run(runs)
    return main_range(main) or quantities.worse(figures.by_channel(main, leading_figure(main)))


def _harmonics(runs: Sequence[Run]) -> Card | None:
    key = _worst(runs)
    if key is None:
        return None
    stems = [
        Stem(n * tone.value, level.value, key.channel, figures.trace_role(run, runs), HARMONIC_NAMES.get(n, ""))
        for run in runs
        if (tone := run.get("frequency", key.channel)) is not None
        for n in NAMED_HARMONICS
        if (level := run.get(f"harmonic_{n}", key.channel)) is not None
    ]
    if not stems:
        return None
    own = figures.main_run(runs).get("frequency", key.channel)
    tone_hz = own.value if own is not None else stems[0].x / NAMED_HARMONICS[0]
    stems.insert(0, Stem(tone_hz, 0.0, key.channel, "now", quantities.hertz(tone_hz)))
    highest = max(stem.x for stem in stems)
    y_axis = scales.twenties([0.0, min(max(stem.y, LOWEST_DRAWN_DB) for stem in stems)])
    panel = Panel(scales.harmonic_dial(tone_hz, highest), y_axis, (), stems=tuple(stems))
    return _card(runs, "", "Distortion", Chart((panel,)), key)


def _wave(runs: Sequence[Run]) -> Card:
    key = _worst(runs)
    return _card(runs, "waveform", "Waveform", waveform_chart(_captured(runs), key.channel if key else ""), key)


def _spectrum(runs: Sequence[Run]) -> Card:
    key = _worst(runs)
    return _card(runs, "spectrum", "Spectrum", spectrum_chart(runs, key.channel if key else ""), key)


def _card(runs: Sequence[Run], name: str, subject: str, body: Chart, key: Finding | None) -> Card:
    """Return a picture with the figure that all of them share, and its conditions."""
    main = figures.main_run(runs)
    levels = figures.by_channel(main, "frequency")
    tone = main.get("frequency", key.channel) if key else main.get("frequency")
    band = key.at.get("band") if key else None
    more = [quantities.hertz(tone.value)] if tone else []
    more += [f"{quantities.band(band)} wide"] if band else []
    if key is not None and key.at.get("without"):
        more.append(without(key.at["without"]))
    level = "" if figures.drive(main.conditions.measurement) or not tone else levels_in_words(main, levels)
    alike = {"weighting": key.at["weighting"]} if key and "weighting" in key.at else {}
    found = figures.by_channel(main, key.quantity, **alike) if key else []
    quantity = quantities.quantity_of(key) if key else None
    more_of_it = weighted(alike["weighting"]) if alike else quantity.name if quantity else ""
    hero = figures.hero(key, found, f"{quantity.plain_name} ({more_of_it})" if quantity else "")
    shown = [f for f in main.findings if f.quantity in ("dynamic_range", "thd_plus_noise", "thd", "snr", "hum")]
    if key is not None and key.quantity == "dynamic_range":
        subject, shown = "Dynamic range", [f for f in shown if f.quantity == key.quantity]
    return replace(figures.card(runs, subject, body, figures.off_the_dial(hero), shown, more, level), id=name)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the distortion per channel and what it was, as found its harmonics, and hum if it exceeds them all."""
    m = run.conditions.measurement
    if range_points := points_of_range(run, before):
        return range_points
    quantity = leading_figure(run)
    here = figures.by_channel(run, quantity)
    tone = run.get("frequency")
    if not here or tone is None:
        return ()
    worst, was = quantities.worse(here), quantities.worse(figures.by_channel(before, quantity))
    assert worst is not None
    drive = levels_in_words(run, here)
    facts = [run.point("distortion", findings=here, worse=worst, before=was, drive=drive, frequency=tone.value)]
    levels = {n: f for n in NAMED_HARMONICS if (f := run.get(f"harmonic_{n}", worst.channel))}
    leading = quantities.worse(list(levels.values()))
    if leading is not None and m.stage == "before":
        name = quantities.QUANTITIES[leading.quantity].name
        shape = {"mostly": share_of([leading], worst) >= MOSTLY, "odd": are_odd(levels, worst)}
        facts.append(run.point("harmonics", leading=leading, order=name, **shape))
    hum = quantities.worse(figures.by_channel(run, "hum"))
    # hum that lies under the harmonics is a figure for the page, and no news
    if hum is not None and (leading is None or hum.value > leading.value):
        facts.append(run.point("hum", finding=hum))
    return tuple(facts)


def _gain(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "load", "input") | {"frequency": spot_hz(rating)}
    return (tone_request(rating, basis, "gain", at, basis.sized(rating, USUAL_SHARE)),)


def _hum(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    # a maker's hum in dB is relative to the rated output
    return (tone_request(rating, basis, "hum", basis.named(rating, "input"), basis.sized(rating, 1.0)),)


KIND = Kind(
    name="tone",
    title="Distortion",
    about="one steady sine: time and volts of one or both channels; or a spectrum, with its `window`",
    needs=(("time", "level"), ("frequency", "level")),
    compared=("dynamic_range", "thd_plus_noise", "thd"),
    asks=CLEAN,
    headlines=("thd_plus_noise", "dynamic_range"),
    findings=findings,
    card=card,
    points=points,
    further=further,
    keys=("drive", "without"),
    sound="tone",
    file_words=rf"sine|tone(?! controls?| defeat| flat| direct| bypass)|{DISTORTION_WORDS}|{SPECTRUM_WORDS}",
    signal="sine",
    recipes={"gain": _gain, "hum": _hum, "dynamic_range": range_request, **OUTPUT_RECIPES},
)
