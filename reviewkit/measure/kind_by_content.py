"""Which kind of measurement a file holds, from its columns, its content and what its name says.

A kind is returned alone only if no other reading of the file would give other figures; else all that it may be are.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import curves, sweeps
from reviewkit.measure.captures import sample_rate_hz
from reviewkit.measure.kinds import KINDS
from reviewkit.measure.recognised_signals import MAINS_ONLY, NOTHING, Signal, of_spectrum, of_waveform
from reviewkit.model import quantities
from reviewkit.model.arrays import Array
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.sheet import Column, Sheet
from reviewkit.signal.decibels import db_of_amplitude, relative_db, volts_of
from reviewkit.signal.spectrum_lines import is_even
from reviewkit.signal.weighting import REFERENCE_HZ, riaa_replay_db
from reviewkit.signal.windows import window_name

FEWEST_LINES = 256  # of a spectrum; sweeps have fewer points
_TONE_CONTROL = re.compile(r"(?:bass|treble|mid ?range)\b")
_APART_DB = 20.0  # the channels of a sweep with one of them driven; no fault but a dead channel does that
_NEAR_RIAA_DB = 3.0  # the curve itself spans 39 dB from 20 Hz to 20 kHz (IEC 60098)
_FLAT_DB = 3.0
_RIAA_BAND_HZ, _FLAT_BAND_HZ = (50.0, 15_000.0), (100.0, 10_000.0)
_LOUD_V = 0.2  # no hum is so loud that anybody would measure on
_RIAA_POINTS, _FLAT_POINTS = 8, 3  # at least, in these bands
_QUIET_V = 0.02  # an idle output of a sound amplifier is below this (common practice, no source)
_LOWEST_OUTPUT_V = 0.003  # a sweep at less isn't that of an output that is driven
_LOWEST_RELATIVE_DB = -40.0
_SMOOTH_DB = 0.2
_NOT_AN_OUTPUT = re.compile(r"noise|crosstalk|separation|thd|distortion|residual|input|generator", re.IGNORECASE)
_NUMBER = r"\W*?(\d+(?:\.\d+)?)\s*"
_CONDITIONS = {
    "load": re.compile(rf"\bload\b{_NUMBER}(ohm|Ω)", re.IGNORECASE),
    "frequency": re.compile(rf"\bfrequency\b{_NUMBER}(k?Hz)\s*$", re.IGNORECASE),
    "drive": re.compile(rf"\b(?:output )?(?:power|level)\b{_NUMBER}(W|V)\b(?!\s*(?:-|–|to)\s)"),
}
_WINDOW = re.compile(r"\bwindow\w*\W+(.+)", re.IGNORECASE)


def content_of(sheet: Sheet, name: NameWords) -> Content:
    """Return the kind that a file is, or those that it may be, with what else its content gives.

    Parameters
    ----------
    sheet : Sheet
        The file as read.
    name : NameWords
        What its name says, which decides between readings that its content allows, and never against it.

    Returns
    -------
    Content
        With one kind if that is sure, with several if it must be asked, with none if it holds nothing of a kind.
    """
    claims = [claim for kind in KINDS.values() if (claim := kind.recognise(sheet, name)) is not None]
    found = _joined(claims) if claims else _by_columns(sheet, name)
    by_meter = {each for each, kind in KINDS.items() if kind.by_meter}
    if len(found.kinds) == 1 and name.kinds and not name.kinds & {*found.kinds, *by_meter}:
        meant = sorted(name.kinds)
        what = f"its content is that of {found.kinds[0]} ({found.what}), its name isn't"
        return Content((*found.kinds, *meant), what, found.table)
    return found


def _joined(claims: Sequence[Content]) -> Content:
    """Return what the kinds that recognise a file say of it: if they are several, that it may be any of them."""
    kinds = dict.fromkeys(kind for claim in claims for kind in claim.kinds)
    what = dict.fromkeys(claim.what for claim in claims)
    return Content(tuple(kinds), "; ".join(what), claims[0].table, claims[0].levels_v) if claims[1:] else claims[0]


def _by_columns(sheet: Sheet, name: NameWords) -> Content:
    """Return what a file is whose kinds are distinguished here: a signal, or levels over frequency."""
    roles = {column.role for column in sheet.columns}
    if "time" in roles:
        return _waveform(sheet, name)
    frequency = sheet.find("frequency")
    if frequency is None or "level" not in roles:
        return Content((), "it has neither distortion nor levels over frequency or time")
    if is_even(frequency.values) and len(frequency.values) >= FEWEST_LINES:
        return _spectrum(sheet, name)
    return _sweep(sheet, name)


def remarked(sheet: Sheet) -> dict[str, str]:
    """Return the conditions that the lines above a file's header state, as session.toml has them."""
    table: dict[str, str] = {}
    for line in sheet.remarks:
        for key, pattern in _CONDITIONS.items():
            if (stated := pattern.search(line)) and key not in table:
                table[key] = f"{stated[1]} {stated[2]}"
    return table


# ------------------------------------------------------------------ signals


def _waveform(sheet: Sheet, name: NameWords) -> Content:
    rate_hz = sample_rate_hz(sheet)
    return _signals(sheet, name, lambda column: of_waveform(column.values, rate_hz), {})


def _spectrum(sheet: Sheet, name: NameWords) -> Content:
    """Return the kind of a spectrum, or of a response that was exported with even spacing, as smooth as that is."""
    frequency_hz = sheet.need("frequency").values
    table: dict[str, Any] = {}
    window, remark = _window(sheet)
    if window:
        table["window"] = window
    smooth = all(_is_smooth(_in_decibels(column)) for column in sheet.all("level"))
    if smooth or any(">" in column.channel for column in sheet.all("level")):
        kinds = tuple(sorted(name.kinds & {"response", "contour", "crosstalk", "phono"})) or ("response", "noise")
        return Content(kinds if len(kinds) > 1 else (*kinds, "noise"), "it may be a spectrum or a response")
    found = _signals(
        sheet,
        name,
        lambda column: of_spectrum(frequency_hz, _in_decibels(column), window or None),
        table,
    )
    return Content(found.kinds, f"{found.what}, as a spectrum{remark}", found.table)


def _is_smooth(level_db: Array) -> bool:
    """Return whether neighbouring lines differ as little as those of a response: noise never is so even."""
    bends = np.abs(np.diff(level_db[np.isfinite(level_db)], 2))
    return bool(bends.size) and float(np.median(bends)) < _SMOOTH_DB


def _window(sheet: Sheet) -> tuple[str, str]:
    """Return the window that the lines above the header name, and a remark if they name one that isn't known."""
    for line in sheet.remarks:
        if named := _WINDOW.search(line):
            words = re.sub(r"\bwindow\b", "", named[1], flags=re.IGNORECASE).strip(" \t\"',;:=()")
            known = window_name(words)
            return (known, "") if known else ("", f'; the window "{words[:40]}" is not a known one')
    return "", ""


def _signals(sheet: Sheet, name: NameWords, signal_of: Callable[[Column], Signal], table: Mapping[str, Any]) -> Content:
    columns = sheet.all("level")
    kind_of = {kind.signal: name for name, kind in KINDS.items() if kind.signal}
    in_volts = columns[0].unit == "V"
    signals = [_named_tone(signal_of(column), name, in_volts=in_volts) for column in columns]
    names = {signal.kind for signal in signals}
    if len(names) != 1:
        if names <= {NOTHING, MAINS_ONLY}:
            names = {NOTHING}
        else:
            each = " and ".join(
                f"{column.channel or column.header}: {signal.what}"
                for column, signal in zip(columns, signals, strict=True)
            )
            kinds = dict.fromkeys(kind_of.get(signal.kind, "noise") for signal in signals)
            return Content((*kinds, ""), f"its channels hold different signals: {each}")
    signal, kind = signals[0], names.pop()
    if kind in (NOTHING, MAINS_ONLY):
        return _idle(signals, columns, name, table)
    if kind not in kind_of:
        return Content(signal.kinds, signal.what, table)
    levels = [each.level for each in signals]
    what = f"{signal.what} at {quantities.volts(max(levels))}" if in_volts else signal.what
    if len(levels) > 1 and db_of_amplitude(max(levels) / min(levels)) > _APART_DB:
        return Content((kind_of[kind], "crosstalk"), f"{what}, and the channels are over 20 dB apart")
    return Content((kind_of[kind],), what, table)


def _named_tone(signal: Signal, name: NameWords, *, in_volts: bool) -> Signal:
    """Return a sine of the mains' frequency, or a low multiple of it, as one if it is loud and its name agrees."""
    if signal.kind == MAINS_ONLY and in_volts and signal.level > _LOUD_V and name.kinds == {"tone"}:
        return replace(signal, kind="sine")
    return signal


def _idle(signals: Sequence[Signal], columns: Sequence[Column], name: NameWords, table: Mapping[str, Any]) -> Content:
    """Recognise as noise if quiet, or if the name says so and its lines are mains hum; otherwise ask."""
    lines = any(signal.kind == MAINS_ONLY for signal in signals)
    what = "no signal but hum" if lines else "no signal, only noise"
    named = "noise" in name.kinds
    rms = np.array([max(signal.level for signal in signals)])
    unit = columns[0].unit
    volts = volts_of(rms if unit == "V" else np.asarray(db_of_amplitude(rms)), unit)
    in_volts = volts is not None
    if volts is not None and float(volts[0]) < _QUIET_V:
        return Content(("noise",), f"{what}, {quantities.volts(float(volts[0]))}", table)
    if named and (lines or not in_volts):
        return Content(("noise",), what, table)
    return Content(("noise", "tone") if lines else ("noise", ""), f"{what}: is it the idle output?", table)


# ------------------------------------------------------------------ sweeps


def _sweep(sheet: Sheet, name: NameWords) -> Content:
    columns = sheet.all("level")
    directions = [column for column in columns if ">" in column.channel]
    if directions:
        if len(directions) == len(columns):
            return Content(("crosstalk",), "levels of one channel into the other, over frequency")
        return Content(("crosstalk", "response"), "it has levels of channels and of crosstalk")
    frequency_hz = sheet.need("frequency").values
    levels = {column.channel: _in_decibels(column) for column in columns}
    if any(not np.all(np.isfinite(level)) for level in levels.values()):
        return Content(("response", ""), "a level of it is zero")
    at_1k = {channel: curves.value_at(frequency_hz, level, REFERENCE_HZ) for channel, level in levels.items()}
    if len(frequency_hz) < 3 or None in at_1k.values():
        return Content(("response", "contour", "crosstalk"), "levels over frequency that don't reach 1 kHz")
    if other := next((column.header for column in columns if _NOT_AN_OUTPUT.search(column.header)), ""):
        return Content(("response", ""), f'"{other}" may not be the level of the output')
    reached = {channel: float(level) for channel, level in at_1k.items() if level is not None}
    if {"L", "R"} <= set(levels) and columns[0].unit == columns[1].unit:
        apart_db = float(np.median(levels["L"] - levels["R"]))
        if abs(apart_db) > _APART_DB:
            return _one_driven(apart_db, name, columns, reached)
        if "crosstalk" in name.kinds:
            return Content(("crosstalk", "response"), "its name says crosstalk, but its channels are alike")
    if any(_is_faint(column.unit, reached[column.channel]) for column in columns):
        what = "levels over frequency, too low for an output that is driven"
        return Content(("response", "noise", "crosstalk"), what)
    return replace(_shape(frequency_hz, levels, name), levels_v=_levels_v(columns, reached))


def _in_decibels(column: Column) -> Array:
    """Return a sweep's level in dB; not finite where it is zero."""
    with np.errstate(divide="ignore"):
        return relative_db(column.values, column.unit)


def _is_faint(unit: str, level_db: float) -> bool:
    if unit in ("V", "dBV", "dBu"):
        return level_db < float(db_of_amplitude(_LOWEST_OUTPUT_V))
    return level_db < _LOWEST_RELATIVE_DB


def _one_driven(apart_db: float, name: NameWords, columns: Sequence[Column], at_1k: Mapping[str, float]) -> Content:
    """Return crosstalk with its driven channel if the name agrees; a dead channel's response looks the same."""
    driven = "L" if apart_db > 0 else "R"
    what = f"both channels over frequency, the {'left' if driven == 'L' else 'right'} {abs(apart_db):.0f} dB above"
    table: dict[str, Any] = {"driven": driven}
    if name.channel not in ("", driven):
        return Content(("crosstalk", "response"), f"{what}; its name says the other channel", table)
    if "crosstalk" in name.kinds:
        mine = [column for column in columns if column.channel == driven]
        return Content(("crosstalk",), what, table, _levels_v(mine, at_1k))
    return Content(("crosstalk", "response"), f"{what}: crosstalk, or a channel that fails?", table)


def _levels_v(columns: Sequence[Column], at_1k: Mapping[str, float]) -> tuple[float, ...]:
    """Return the level of each channel at 1 kHz, V; nothing if they are relative."""
    # `relative_db` gives volts as dBV
    volts = [volts_of(np.array(at_1k[c.channel]), "dBV" if c.unit == "V" else c.unit) for c in columns]
    known = tuple(float(each) for each in volts if each is not None)
    return known if len(known) == len(columns) else ()


def _shape(frequency_hz: Array, levels: Mapping[str, Array], name: NameWords) -> Content:
    """Return what a sweep's shape shows: the RIAA curve, a flat response, or something to ask about."""
    from_1k = [sweeps.relative(frequency_hz, level) for level in levels.values()]
    curves_db = [level for level in from_1k if level is not None]
    off_riaa = max(
        _largest(frequency_hz, level - riaa_replay_db(frequency_hz), _RIAA_BAND_HZ, _RIAA_POINTS) for level in curves_db
    )
    off_flat = max(_largest(frequency_hz, level, _FLAT_BAND_HZ, _FLAT_POINTS) for level in curves_db)
    controls = name.kinds & {"contour"}
    if off_riaa <= _NEAR_RIAA_DB:
        what = "levels over frequency along the RIAA curve"
        if controls or name.kinds == {"response"}:
            return Content(("phono", *sorted(name.kinds)), what)
        return Content(("phono",), what)
    if "phono" in name.kinds:
        if off_flat <= _FLAT_DB:
            return Content(("phono", "response"), "a level response through a phono stage", {"equalised": True})
        return Content(("phono", "response"), "its name says phono, but it doesn't follow the RIAA curve")
    if controls:
        if "response" in name.kinds:
            return Content(("contour", "response"), "levels over frequency")
        shared = {"card": "tone-controls"} if _TONE_CONTROL.match(name.setting) else {}
        return Content(("contour",), "levels over frequency, of a control by its name", shared)
    if off_flat <= _FLAT_DB or "response" in name.kinds:
        return Content(("response",), "levels over frequency")
    off = f"{off_flat:.1f} dB off those at 1 kHz" if math.isfinite(off_flat) else "of too few points to tell"
    return Content(("response", "contour"), f"levels over frequency, {off}")


def _largest(frequency_hz: Array, level_db: Array, band_hz: tuple[float, float], fewest: int) -> float:
    """Return how far a curve is from zero in a band; infinite if the data covers too little of it to tell."""
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    if np.count_nonzero(inside) < fewest or frequency_hz[0] > 2 * band_hz[0] or frequency_hz[-1] < band_hz[1] / 2:
        return float("inf")
    return float(np.max(np.abs(level_db[inside])))
