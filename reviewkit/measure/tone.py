"""One steady sine: its level, distortion, noise and hum, from a waveform or from a spectrum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from reviewkit import figures, quantities
from reviewkit.captures import exported_lines, sample_rate_hz, spectrum_panel, waveform_panels, waveform_samples
from reviewkit.decibels import db_of_amplitude
from reviewkit.errors import Fault, InputError
from reviewkit.model import (
    Card,
    Column,
    Conditions,
    Finding,
    Kind,
    Measured,
    Point,
    Reading,
    Run,
    Sheet,
)
from reviewkit.spectrum import NotOneTone, Tone, TooShort, analyse
from reviewkit.spectrum_lines import NoLines, analyse_lines

NAMED_HARMONICS = range(2, 10)
MOST_OFF_DRIVE_DB = 1.0  # a level set by hand and read off a knob is nearer than this


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """frequency (Hz), level (V), power (W), gain (dB), thd and thd_plus_noise (%), sinad, snr (dB), harmonic_2 … 9,
    harmonics_higher and hum (dB re fundamental), dc_offset (V, only from a DC-coupled capture) per channel.
    """
    assert sheet is not None
    found: list[Finding] = []
    withheld: list[str] = []
    for column in sheet.all("level"):
        try:
            read = _of_waveform if sheet.find("time") else _of_spectrum
            tone, volts, window, hint = read(sheet, column, c)
        except (NotOneTone, NoLines) as why:
            withheld.append(f"{c.measurement.id}: no figures for channel {column.channel or 'measured'}: {why}")
            continue
        withheld += [f"{c.measurement.id}: no THD+N, SINAD or SNR from this spectrum: {hint}"] if hint else []
        under: dict[str, Any] = {"frequency": tone.frequency_hz}
        if volts:
            _check_drive(sheet, c, tone.level)
            ohms = c.measurement.load_ohm
            under |= {"power": tone.level**2 / ohms} if ohms else {"voltage": tone.level}
        else:
            hint = '; add for example full_scale = "10 V"' if column.unit == "ratio" else ""
            withheld.append(f"{c.measurement.id}: no level, power or gain, the file's levels are relative{hint}")
        found += _levels(c, column.channel, tone, under, volts=volts)
        found += _ratios(c, column.channel, tone, under | {"band": list(tone.band_hz), "window": window})
        if tone.clouded:
            orders = ", ".join(str(order) for order in tone.clouded[:5]) + (" …" if len(tone.clouded) > 5 else "")
            withheld.append(
                f"{c.measurement.id}: no THD and no SNR: something else stands too near to harmonic {orders} of the "
                "tone; capture a longer record"
            )
        if not tone.third_in_band:
            withheld.append(
                f"{c.measurement.id}: no distortion at {quantities.hertz(tone.frequency_hz)}: even the third harmonic "
                "lies outside the data; capture at a higher sample rate"
            )
    return Measured(tuple(found), tuple(dict.fromkeys(withheld)))


def _check_drive(sheet: Sheet, c: Conditions, level_v: float) -> None:
    """Raise InputError where the capture holds another level than `drive` says: one of the two is wrong."""
    m = c.measurement
    stated_v = m.drive_v or ((m.drive_w * m.load_ohm) ** 0.5 if m.drive_w and m.load_ohm else None)
    if stated_v is None or abs(db_of_amplitude(level_v / stated_v)) <= MOST_OFF_DRIVE_DB:
        return
    held = quantities.watts(level_v**2 / m.load_ohm) if m.drive_w and m.load_ohm else quantities.volts(level_v)
    message = (
        f'[[measurement]] {m.id}: drive = "{figures.drive(c).split(" into")[0]}", but {sheet.source} holds {held}; '
        "write the level that was captured, or look for a wrong unit in the file"
    )
    raise InputError(Fault("session.toml", m.line, message))


def _of_waveform(sheet: Sheet, column: Column, c: Conditions) -> tuple[Tone, bool, None, str]:
    """The tone, and whether its level is in volts; no window, and nothing that withholds its noise."""
    samples, volts = waveform_samples(column, sheet.source)
    if not np.ptp(samples):
        channel = f"channel {column.channel}" if column.channel else "the capture"
        raise InputError(
            Fault(sheet.source, 0, f"{channel} is silent; name the others in columns = {{…}}, or capture it again")
        )
    rate_hz = sample_rate_hz(sheet)
    try:
        return analyse(samples, rate_hz, c.mains_hz, c.measurement.frequency_hz), volts, None, ""
    except TooShort as short:
        raise InputError(Fault(sheet.source, 0, f"{short}; capture a longer record")) from None


def _of_spectrum(sheet: Sheet, column: Column, c: Conditions) -> tuple[Tone, bool, str | None, str]:
    """The tone, whether its level is in volts, the window, and why noise figures are withheld ("" where they are
    not).
    """
    told = exported_lines(sheet, column, c)
    near_hz = c.measurement.frequency_hz
    tone = analyse_lines(told.frequency_hz, told.level, told.window, c.mains_hz, near_hz)
    return tone, told.volts, told.window, told.hint


def _levels(c: Conditions, channel: str, tone: Tone, under: Mapping[str, Any], *, volts: bool) -> list[Finding]:
    """Frequency, level, power (the fundamental's voltage squared over the load), gain and offset, as far as they
    exist.
    """
    m, level_v = c.measurement, tone.level
    values: list[tuple[str, float, float | None]] = [("frequency", tone.frequency_hz, None)]
    if volts:
        values.append(("level", level_v, figures.volts_uncertainty(c, level_v)))
        if m.load_ohm:
            power_w = level_v**2 / m.load_ohm
            values.append(("power", power_w, figures.watts_uncertainty(c, power_w)))
        if m.input_level_v:
            values.append(("gain", db_of_amplitude(level_v / m.input_level_v), c.bench.level_uncertainty_db))
        # an AC-coupled capture blocks the offset: what is left of it is the interface's own
        if tone.dc is not None and c.bench.coupling == "dc":
            values.append(("dc_offset", tone.dc, figures.volts_uncertainty(c, tone.dc)))
    return [figures.finding(c, name, channel, value, uncertainty=expanded, **under) for name, value, expanded in values]


def _ratios(c: Conditions, channel: str, tone: Tone, under: Mapping[str, Any]) -> list[Finding]:
    """Distortion, noise and hum. Where even the third harmonic lies outside the data, no distortion; what a harmonic
    cannot be parted from counts in THD+N alone.
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
        if max(tone.clouded, default=0) <= 3:
            higher = float(np.sqrt(sum(level**2 for order, level in parted.items() if order > 3)))
            values.append(("harmonics_higher", _re_tone(tone, higher), counted))
    values.append(("hum", _re_tone(tone, tone.hum or 0.0), {**under, "mains": c.mains_hz}))
    return [figures.finding(c, name, channel, value, **at) for name, value, at in values if value is not None]


def _re_tone(tone: Tone, level: float) -> float | None:
    """A level in dB re the fundamental; None for none."""
    return float(db_of_amplitude(level / tone.level)) if level > 0 else None


def card(runs: Sequence[Run]) -> Card:
    """Waveforms with what is left of them without the fundamental, on one scale; or the spectrum re the fundamental."""
    captured = [run for run in runs if run.sheet and run.sheet.find("time")]
    body = waveform_panels(captured[-3:]) if captured else spectrum_panel(runs)
    main = figures.main_run(runs)
    tone = main.get("frequency")
    stated = figures.stated(runs).split(" · ")
    level = "" if figures.drive(main.conditions) else quantities.conditions(tone.at) if tone else ""
    # a level that was measured says the load, too
    ohms = main.conditions.measurement.load_ohm
    said = (quantities.load(ohms),) if level and ohms is not None else ()
    return Card(
        id="",
        title=f"Distortion at {quantities.hertz(tone.value)}" if tone else "",
        chart=True,
        conditions=" · ".join(dict.fromkeys(part for part in (level, *stated) if part and part not in said)),
        body=body,
        readings=_readings(runs, main),
    )


def _readings(runs: Sequence[Run], main: Run) -> tuple[Reading, ...]:
    quantity = "thd_plus_noise" if main.get("thd_plus_noise") else "thd"
    key = figures.worse(figures.by_channel(main, quantity))
    if key is None:
        return ()
    channels = [f.channel for f in figures.by_channel(main, quantity)]
    rows: list[tuple[str, ...]] = [("", *channels)] if any(channels) else []
    for label, name in (
        ("THD+N %", "thd_plus_noise"),
        ("THD %", "thd"),
        ("2nd dB", "harmonic_2"),
        ("3rd dB", "harmonic_3"),
        ("higher dB", "harmonics_higher"),
    ):
        figures_of_row = [main.get(name, channel) for channel in channels]
        if any(figures_of_row):
            rows.append((label, *(figures.number(f) if f else "" for f in figures_of_row)))
    readings = [Reading(quantities.QUANTITIES[quantity].name, quantities.show(key), tuple(rows))]
    for run in runs:
        if run is not main and run.conditions.measurement.stage != "bench":
            readings.append(
                Reading(
                    f"{quantities.QUANTITIES[quantity].name} {figures.run_label(run, runs)}",
                    "",
                    figures.rows_of(figures.by_channel(run, quantity)),
                )
            )
    return tuple(readings)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Distortion per channel and what it was; which harmonic leads; hum where it was found."""
    m = run.conditions.measurement
    quantity = "thd_plus_noise" if run.get("thd_plus_noise") else "thd"
    here = figures.by_channel(run, quantity)
    tone = run.get("frequency")
    if not here or tone is None:
        return ()
    was = figures.by_channel(before, quantity) if before else []
    drive = figures.drive(run.conditions) or quantities.conditions(here[0].at)
    facts = [
        Point(
            "tone",
            "distortion",
            {
                "findings": here,
                "worse": figures.worse(here),
                "before": figures.worse(was),
                "drive": drive,
                "frequency": tone.value,
                "figure": quantities.QUANTITIES[quantity].name,
                "origin": "spectrum" if "window" in here[0].at else "waveform",
            },
            m.id,
        )
    ]
    worst = figures.worse(here)
    assert worst is not None
    leading = figures.worse([run.get(f"harmonic_{n}", worst.channel) for n in NAMED_HARMONICS])
    if leading is not None:
        facts.append(
            Point(
                "tone",
                "harmonics",
                {"leading": leading, "channel": worst.channel, "order": quantities.QUANTITIES[leading.quantity].name},
                m.id,
            )
        )
    hum = figures.worse(figures.by_channel(run, "hum"))
    if hum is not None:
        facts.append(Point("tone", "hum", {"finding": hum}, m.id))
    return tuple(facts)


KIND = Kind(
    name="tone",
    title="Distortion",
    about="one steady sine: time and volts of one or both channels; or a spectrum, with its `window`",
    needs=(("time", "level"), ("frequency", "level")),
    quantities=(
        "frequency",
        "level",
        "power",
        "gain",
        "thd",
        "thd_plus_noise",
        "sinad",
        "snr",
        "hum",
        "dc_offset",
        *(f"harmonic_{n}" for n in NAMED_HARMONICS),
        "harmonics_higher",
    ),
    findings=findings,
    card=card,
    points=points,
)
