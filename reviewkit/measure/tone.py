"""One steady sine: its level, distortion, noise and hum, from a waveform or from a spectrum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from reviewkit import figures, quantities, scales
from reviewkit.arrays import Array
from reviewkit.decibels import amplitude_of_db, db_of_amplitude, volts_of
from reviewkit.errors import Fault, InputError
from reviewkit.model import (
    Axis,
    Card,
    Column,
    Conditions,
    Curves,
    Finding,
    Kind,
    Measured,
    Panel,
    Point,
    Reading,
    Run,
    Sheet,
    Trace,
)
from reviewkit.spectrum import TooShort, analyse, without_fundamental
from reviewkit.spectrum_lines import NoLines, analyse_lines, is_even
from reviewkit.windows import COSINE_SUMS, window_name

NAMED_HARMONICS = range(2, 10)
CYCLES_SHOWN = 3


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """frequency (Hz), level (V), power (W), gain (dB), thd and thd_plus_noise (%), sinad, snr (dB), harmonic_2 … 9,
    harmonics_higher and hum (dB re fundamental), dc_offset (V, only from a DC-coupled capture) per channel.
    """
    assert sheet is not None
    take = _from_waveform if sheet.find("time") else _from_spectrum
    found: list[Finding] = []
    withheld: list[str] = []
    for column in sheet.all("level"):
        more, why = take(sheet, column, c)
        found += more
        withheld += why
    return Measured(tuple(found), tuple(dict.fromkeys(withheld)))


def _rate_hz(sheet: Sheet) -> float:
    """The sample rate from a time column: (n − 1) / span, because stamps are rounded in exports."""
    time = sheet.find("time")
    assert time is not None
    seconds = time.values
    span = float(seconds[-1] - seconds[0])
    rate = (len(seconds) - 1) / span
    stray = np.abs((seconds - seconds[0]) * rate - np.arange(len(seconds)))
    if float(np.max(stray)) > 1.0:
        raise InputError(
            Fault(
                sheet.source,
                0,
                f"the time stamps are not evenly spaced (row {int(np.argmax(stray)) + 1} of the data is "
                "more than a sample off); export the capture without gaps",
            )
        )
    return rate


def _volts(column: Column, c: Conditions, source: str) -> Array:
    volts = volts_of(column.values, column.unit, c.measurement.load_ohm, c.measurement.full_scale_v)
    if volts is None:
        raise InputError(
            Fault(
                source,
                0,
                f'column "{column.header}" is in {column.unit}: a waveform needs volts; '
                + ('say full_scale = "10 V" in session.toml' if column.unit == "dBFS" else "export it in V"),
            )
        )
    return volts


def _from_waveform(sheet: Sheet, column: Column, c: Conditions) -> tuple[list[Finding], list[str]]:
    if column.unit.startswith("dB"):
        raise InputError(
            Fault(
                sheet.source,
                0,
                f'column "{column.header}" is in {column.unit}: a waveform is a voltage over time; export it in V',
            )
        )
    try:
        tone = analyse(_volts(column, c, sheet.source), _rate_hz(sheet), c.mains_hz, c.measurement.frequency_hz)
    except TooShort as short:
        raise InputError(Fault(sheet.source, 0, f"{short}; capture a longer record")) from None
    under = {"frequency": tone.frequency_hz, "band": list(tone.band_hz)}
    found, withheld = _levels(c, column.channel, tone.frequency_hz, tone.level, volts=True)
    under |= _level_at(c, tone.level)
    ratios: dict[str, float] = {"snr": tone.snr_db} if tone.noise > 0 else {}
    if tone.third_in_band:
        ratios |= {"thd": 100 * tone.thd, "thd_plus_noise": 100 * tone.thd_plus_noise, "sinad": tone.sinad_db}
    else:
        withheld.append(_third(c, tone.frequency_hz))
    found += _ratios(c, column.channel, ratios, under, tone.harmonics, tone.level)
    if tone.hum is not None:
        found.append(
            figures.finding(
                c, "hum", column.channel, db_of_amplitude(tone.hum / tone.level), **(under | {"mains": c.mains_hz})
            )
        )
    if c.bench.coupling == "dc":
        found.append(
            figures.finding(c, "dc_offset", column.channel, tone.dc, uncertainty=figures.volts_uncertainty(c, tone.dc))
        )
    return found, withheld


def _from_spectrum(sheet: Sheet, column: Column, c: Conditions) -> tuple[list[Finding], list[str]]:
    frequency = sheet.find("frequency")
    assert frequency is not None
    m = c.measurement
    if len(frequency.values) < 32:
        raise InputError(
            Fault(
                sheet.source,
                0,
                f"{len(frequency.values)} lines are no spectrum; export more lines, or is this a response?",
            )
        )
    volts = volts_of(column.values, column.unit, m.load_ohm, m.full_scale_v)
    # relative levels still carry every ratio; only level, power and gain need volts
    level = volts if volts is not None else amplitude_of_db(column.values)
    window = window_name(m.window) if m.window else None
    if m.window and window is None:
        raise InputError(
            Fault(
                "session.toml",
                m.line,
                f'[[measurement]] {m.id}: window = "{m.window}" is not known; known: ' + ", ".join(COSINE_SUMS),
            )
        )
    withheld: list[str] = []
    hint = ""
    if window is None:
        hint = 'the window is not known; write for example window = "hann"'
    elif not is_even(frequency.values):
        window, hint = None, "its lines are not evenly spaced"
    try:
        tone = analyse_lines(frequency.values, level, window, c.mains_hz, m.frequency_hz)
    except NoLines as why:
        return [], [f"{m.id}: no figures for channel {column.channel or 'measured'}: {why}"]
    if hint:
        withheld.append(f"{m.id}: no THD+N, SINAD or SNR from this spectrum: {hint}")
    found, more = _levels(c, column.channel, tone.frequency_hz, tone.level, volts=volts is not None)
    withheld += more
    under: dict[str, Any] = {"frequency": tone.frequency_hz, "band": list(tone.band_hz), "window": window}
    if volts is not None:
        under |= _level_at(c, tone.level)
    ratios: dict[str, float] = {}
    if tone.noise is not None and tone.noise > 0:
        ratios["snr"] = float(db_of_amplitude(tone.level / tone.noise))
    if tone.third_in_band:
        ratios["thd"] = 100 * tone.thd
        if tone.noise is not None:
            rest = tone.rest_power()
            ratios |= {
                "thd_plus_noise": 100 * float(np.sqrt(rest / (rest + tone.level**2))),
                "sinad": float(10 * np.log10(tone.level**2 / rest)),
            }
    else:
        withheld.append(_third(c, tone.frequency_hz))
    found += _ratios(c, column.channel, ratios, under, tone.harmonics, tone.level)
    if tone.hum is not None:
        found.append(
            figures.finding(
                c, "hum", column.channel, db_of_amplitude(tone.hum / tone.level), **(under | {"mains": c.mains_hz})
            )
        )
    return found, withheld


def _third(c: Conditions, frequency_hz: float) -> str:
    return (
        f"{c.measurement.id}: no distortion at {quantities.hertz(frequency_hz)}: even the third harmonic lies outside the data; "
        "capture at a higher sample rate"
    )


def _level_at(c: Conditions, level_v: float) -> dict[str, Any]:
    load_ohm = c.measurement.load_ohm
    return {"power": level_v**2 / load_ohm} if load_ohm else {"voltage": level_v}


def _levels(
    c: Conditions, channel: str, frequency_hz: float, level_v: float, *, volts: bool
) -> tuple[list[Finding], list[str]]:
    """Frequency, level, power (the fundamental's voltage squared over the load) and gain."""
    m = c.measurement
    at = {"frequency": frequency_hz, **(_level_at(c, level_v) if volts else {})}
    found = [figures.finding(c, "frequency", channel, frequency_hz, **at)]
    if not volts:
        return found, [f"{m.id}: no level, power or gain, the file's levels are relative"]
    found.append(figures.finding(c, "level", channel, level_v, uncertainty=figures.volts_uncertainty(c, level_v), **at))
    if m.load_ohm:
        power_w = level_v**2 / m.load_ohm
        found.append(
            figures.finding(c, "power", channel, power_w, uncertainty=figures.watts_uncertainty(c, power_w), **at)
        )
    if m.input_level_v:
        found.append(
            figures.finding(
                c,
                "gain",
                channel,
                db_of_amplitude(level_v / m.input_level_v),
                uncertainty=c.bench.level_uncertainty_db,
                **at,
            )
        )
    return found, []


def _ratios(
    c: Conditions,
    channel: str,
    ratios: Mapping[str, float],
    under: Mapping[str, Any],
    harmonics: Mapping[int, float],
    level: float,
) -> list[Finding]:
    counted = dict(under) | {"harmonics": len(harmonics)}
    found = [figures.finding(c, quantity, channel, value, **counted) for quantity, value in ratios.items()]
    if "thd" not in ratios:
        return found
    for order in NAMED_HARMONICS:
        if harmonics.get(order, 0) > 0:
            found.append(
                figures.finding(
                    c, f"harmonic_{order}", channel, db_of_amplitude(harmonics[order] / level), **dict(under)
                )
            )
    higher = float(np.sqrt(sum(value**2 for order, value in harmonics.items() if order > 3)))
    if higher > 0:
        found.append(figures.finding(c, "harmonics_higher", channel, db_of_amplitude(higher / level), **counted))
    return found


def card(runs: Sequence[Run]) -> Card:
    """Waveforms with what is left of them without the fundamental, on one scale; or the spectrum re the fundamental."""
    captured = [run for run in runs if run.sheet and run.sheet.find("time")]
    body = _waveforms(captured[-3:]) if captured else _spectrum(runs)
    main = figures.main_run(runs)
    tone = main.get("frequency")
    level = "" if figures.drive(main.conditions) else quantities.conditions(tone.at) if tone else ""
    return Card(
        id="",
        title=f"Distortion at {quantities.hertz(tone.value)}" if tone else "",
        chart=True,
        conditions=" · ".join(part for part in (level, figures.stated(runs)) if part),
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


def _waveforms(runs: Sequence[Run]) -> Curves:
    """Three cycles of each run over its residual; all runs share the scales."""
    waves: list[list[Trace]] = []
    rests: list[list[Trace]] = []
    length_s = 0.0
    for run in runs:
        assert run.sheet is not None
        rate, start_s = _rate_hz(run.sheet), None
        wave, rest = [], []
        for column in run.sheet.all("level"):
            tone = run.get("frequency", column.channel)
            if tone is None:
                continue
            volts = _volts(column, run.conditions, run.sheet.source)
            residual, phase = without_fundamental(volts, rate, tone.value)
            if start_s is None:
                # begin where the first channel's fundamental crosses zero upwards
                start_s = ((-phase) % (2 * np.pi)) / (2 * np.pi * tone.value)
                length_s = max(length_s, CYCLES_SHOWN / tone.value)
            first = int(np.ceil(start_s * rate))
            last = min(len(volts), first + int(CYCLES_SHOWN / tone.value * rate) + 1)
            milliseconds = (np.arange(first, last) / rate - start_s) * 1000
            wave.append(Trace(milliseconds, volts[first:last], column.channel, "now", column.channel))
            rest.append(Trace(milliseconds, residual[first:last], column.channel, "residual", ""))
        waves.append(wave)
        rests.append(rest)
    largest = max((float(np.max(np.abs(t.y))) for wave in waves for t in wave), default=1.0)
    left = max((float(np.max(np.abs(t.y))) for rest in rests for t in rest), default=1.0) or 1e-6
    x_axis = scales.milliseconds(length_s or 0.003)
    volts_axis = scales.swing(largest, "V")
    millivolts = left < 0.5
    rest_axis = scales.swing(left * 1000 if millivolts else left, "mV" if millivolts else "V")
    factor = volts_axis.high / (rest_axis.high / 1000 if millivolts else rest_axis.high)
    top = tuple(
        Panel(x_axis, volts_axis, tuple(wave), label=figures.run_label(run, runs) or "waveform")
        for run, wave in zip(runs, waves, strict=True)
    )
    bottom = tuple(
        Panel(
            x_axis,
            rest_axis,
            tuple(_scaled(t, 1000 if millivolts else 1) for t in rest),
            label=f"residual × {quantities.trimmed(factor)}",
        )
        for rest in rests
    )
    return Curves(top + bottom, columns=max(1, len(runs)), heights=(1.0, 1.0))


def _scaled(trace: Trace, factor: float) -> Trace:
    return Trace(trace.x, trace.y * factor, trace.channel, trace.role, trace.label)


def _spectrum(runs: Sequence[Run]) -> Curves:
    """The spectrum re the fundamental, from 20 Hz up."""
    traces: list[Trace] = []
    for run in runs:
        assert run.sheet is not None
        frequency = run.sheet.find("frequency")
        assert frequency is not None
        for column in run.sheet.all("level"):
            level_db = (
                column.values
                if column.unit.startswith("dB")
                else db_of_amplitude(np.maximum(np.abs(column.values), 1e-12))
            )
            shown = (frequency.values >= 20) & (frequency.values <= 20_000)
            if shown.any():
                traces.append(
                    Trace(
                        frequency.values[shown],
                        level_db[shown] - float(np.max(level_db[shown])),
                        column.channel,
                        figures.trace_role(run, runs),
                        figures.end_label(column.channel, run, runs),
                    )
                )
    lows = [float(np.quantile(t.y, 0.02)) for t in traces] or [-100.0]
    y_axis: Axis = scales.twenties([0.0, max(min(lows), -160.0)])
    return Curves((Panel(scales.dial(20, 20_000), y_axis, tuple(traces)),))


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
