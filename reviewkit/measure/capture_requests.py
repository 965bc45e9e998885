"""Capture requests that several kinds make: one steady sine, a meter's reading, the input sensitivity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from reviewkit.model import unstated_conditions
from reviewkit.model.capture_request import ALONE, AS_USED, SINE, Basis, CaptureRequest, spot_hz
from reviewkit.model.level import FULL_SCALE, Level
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
    hz = (rating.frequency_hz,) if rating.frequency_hz else ()
    at = {"frequency": rating.frequency_hz, "weighting": rating.weighting}
    return CaptureRequest(
        "",
        "",
        quantities=(rating.quantity,),
        at={key: value for key, value in at.items() if value},
        drive=AS_USED,
        place=ALONE,
        channels=(channel,),
        apart=(rating.frequency_hz,),
        wording={"frequencies": hz} if hz else {},
    )


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


def is_even(rating: Rating) -> bool:
    """Return whether a rating's tolerance is the same on both sides."""
    return rating.within is None or -rating.within[0] == rating.within[1]
