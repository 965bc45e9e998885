"""Capture requests that several kinds make: one steady sine, a meter's reading, distortion at power."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from reviewkit.model import unstated_conditions
from reviewkit.model.capture_request import ALONE, AS_USED, POWER_SWEEP, SINE, SWEEP, Basis, CaptureRequest, spot_hz
from reviewkit.model.level import FULL_SCALE, Level
from reviewkit.model.ratings import distortion_limit
from reviewkit.model.session import Rating


def tone_request(
    rating: Rating, basis: Basis, quantity: str, at: Mapping[str, Any], level: Level | None
) -> CaptureRequest:
    """Request one steady sine."""
    hz = at.get("frequency", unstated_conditions.FREQUENCY_HZ)
    wording = {"frequencies": (hz,), "quantities": (quantity,)}
    return CaptureRequest(
        "tone", "tone", (quantity,), at, SINE, level, basis.place(rating), apart=(hz,), wording=wording
    )


def output_requests(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request the tone of a signal whose level is known, for what it gives at the output; nothing if none is known."""
    level = rating.level or (FULL_SCALE if basis.player else None)
    if level is None or level.unit not in ("dBFS", "dBf", "nWb/m", "dB"):
        return ()
    at = basis.named(rating, "input") | {"frequency": spot_hz(rating)} | level.entries()
    return (tone_request(rating, basis, "level", at, None),)


OUTPUT_RECIPES = dict.fromkeys(("output_level", "output_voltage"), output_requests)


def played_tone_request(rating: Rating, channel: str) -> CaptureRequest:
    """Request the tone of a tape or record, played as the unit is used; `channel`: "both", or "" for any."""
    hz = (rating.frequency_hz,)
    at: dict[str, Any] = {"frequency": rating.frequency_hz} if rating.frequency_hz else {}
    at |= {"weighting": rating.weighting} if rating.weighting else {}
    wording = {"frequencies": hz} if rating.frequency_hz else {}
    names, channels = (rating.quantity,), (channel,)
    return CaptureRequest("", "", names, at, AS_USED, place=ALONE, channels=channels, apart=hz, wording=wording)


def reading_request(
    rating: Rating,
    name: str,
    at: Mapping[str, Any],
    place: str,
    *,
    drive: str = SINE,
    level: Level | None = None,
) -> CaptureRequest:
    """Request a single meter reading, a row of a `reading` file."""
    names = {"frequency": "frequencies", "weighting": "weightings"}
    wording = {name: (at[key],) for key, name in names.items() if key in at}
    apart = (at.get("frequency"), at.get("weighting"))
    return CaptureRequest("reading", name, (rating.quantity,), at, drive, level, place, apart=apart, wording=wording)


def sensitivity_request(rating: Rating, basis: Basis) -> CaptureRequest:
    """Request the input voltage that drives the output to the rated power."""
    level = basis.rated_level(rating)
    at = basis.named(rating, "input", "load") | {"frequency": spot_hz(rating)}
    if level and level.unit == "W":
        at["power"] = level.value
    wanted = reading_request(rating, "input-sensitivity", at, basis.place(rating), level=level)
    if rating.quantity != "input_sensitivity":
        return wanted  # the printed figure is something else
    return replace(wanted, wording={**wanted.wording, "rated": (rating.printed,)})


def find_blocker(rating: Rating, basis: Basis) -> str:
    """Return why no capture can both confirm and deny a rating, or "".

    "no distortion" and "total" require a change in the rating's own table, "no rated output" requires another table;
    "music" can be confirmed only.
    """
    limited = rating.thd_percent is not None or rating.thd_plus_noise_percent is not None
    if rating.quantity == "power" and rating.total and (rating.band_hz or rating.channels == "one"):
        return "total"
    if rating.quantity == "power" and rating.band_hz and not limited:
        return "no distortion"
    if rating.reference_v is not None or rating.reference_level is not None:
        return ""
    if rating.quantity == "snr" and rating.reference and rating.reference_w is None:
        return "no rated output"
    return "music" if rating.quantity == "power" and rating.rule.lower() == "music" else ""


def power_requests(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request watts at a limit from a power sweep; over a band also the distortion at the rated power.

    If there are two requests, the second decides.
    """
    assert rating.at_least is not None
    level = Level(rating.at_least / (2 if rating.total else 1), "W")
    limit = unstated_conditions.distortion_percent(rating)
    shared = basis.named(rating, "load", "input", "channels") | {"figure": _figure(rating, basis)}
    if rating.total:
        shared["channels"] = "both"
    hz = spot_hz(rating)
    over_band = rating.band_hz is not None and find_blocker(rating, basis) in ("", "music")
    wording = {"limits": (limit,), "frequencies": (hz,), "figures": (shared["figure"],)}
    sweep = CaptureRequest(
        "distortion-power",
        "power-sweep",
        ("power_at_limit",),
        shared | {"limit": limit, "frequency": hz},
        POWER_SWEEP,
        level,
        decides=not over_band,
        apart=(hz, shared["figure"]),
        wording=wording,
    )
    return (sweep, _band_request(rating, shared, level, sweep.place)) if over_band else (sweep,)


def _figure(rating: Rating, basis: Basis) -> str:
    """Return THD or THD+N: the maker's choice, else that of another power into the same load.

    One sweep then serves both.
    """
    load_ohm = basis.load_ohm(rating)
    same = (other for other in basis.ratings if other.quantity == "power" and basis.load_ohm(other) == load_ohm)
    asked = [rating] if distortion_limit(rating) is not None else same
    return "THD+N" if any(distortion_limit(each) is not None and each.thd_percent is None for each in asked) else "THD"


def _band_request(rating: Rating, shared: Mapping[str, Any], level: Level | None, place: str) -> CaptureRequest:
    """Request distortion over a band at one power, if there is one."""
    at = {**shared, "band": rating.band_hz, **_power(level)}
    wording = {"bands": (rating.band_hz,), "figures": (shared["figure"],)}
    return CaptureRequest(
        "distortion-frequency",
        "distortion-band",
        ("worst_distortion",),
        at,
        SWEEP,
        level if level and level.unit == "W" else None,
        place,
        apart=(shared["figure"],),
        wording=wording,
    )


def distortion_requests(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request distortion at the rated level: over a band by a sweep, at one frequency by a tone."""
    figure = "THD" if rating.quantity == "thd" else "THD+N"
    shared = basis.named(rating, "load", "input", "channels") | {"figure": figure}
    level = basis.rated_level(rating)
    if rating.level is None and basis.player:
        shared |= FULL_SCALE.entries()
    if rating.band_hz is not None:
        return (_band_request(rating, shared, level, basis.place(rating)),)
    quantity = "thd" if figure == "THD" else "thd_plus_noise"
    at = shared | {"frequency": spot_hz(rating)} | _power(level)
    return (tone_request(rating, basis, quantity, at, level),)


def _power(level: Level | None) -> dict[str, float]:
    return {"power": level.value} if level and level.unit == "W" else {}
