"""Capture requests for each rated name, from the kind of measurement that answers it.

A finding with a request's quantities and conditions is fully comparable with its rating.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from reviewkit.measure.kinds import KINDS
from reviewkit.model.capture_request import AS_RATED, BY_METER, Basis, CaptureRequest
from reviewkit.model.level import Level
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Rating


def capture_requests(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Return the captures that a rating asks for; those that decide come last."""
    recipes = ((each.name, each.recipes[rating.quantity]) for each in KINDS.values() if rating.quantity in each.recipes)
    name, recipe = next(recipes, ("", _own))
    named = (
        replace(each, kind=each.kind or name, name=each.name or name)
        for each in recipe(rating, basis) or _own(rating, basis)
    )
    return tuple(_as_rated(each, rating) for each in named)


def _as_rated(request: CaptureRequest, rating: Rating) -> CaptureRequest:
    """Add the load and the level that a rating names, which its recipe may not have asked for."""
    conditions = rule_of(rating).conditions
    at = dict(request.at)
    if "load" in conditions and rating.load_ohm is not None:
        at["load"] = rating.load_ohm
    if rating.conditions:
        at["conditions"] = dict(rating.conditions)
        request = replace(request, apart=(*request.apart, *rating.conditions))
    if {"level", "signal"} & {*conditions} and rating.level is not None and not rating.called:
        at |= rating.level.entries()
        if rating.level.unit == "V":
            request = replace(request, level=rating.level)
        request = replace(request, apart=(*request.apart, rating.level))
    if "level" not in conditions or rating.power_w is None or rating.quantity == "power" or rating.called:
        return replace(request, at=at)
    return replace(request, at={**at, "power": rating.power_w}, level=Level(rating.power_w, "W"))


def _own(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request a reading under the maker's own name, with every condition that the rating states."""
    at: dict[str, Any] = {"load": rating.load_ohm} if rating.load_ohm is not None else {}
    for key, stated in (
        ("input", rating.input),
        ("frequency", rating.frequency_hz),
        ("band", rating.band_hz),
        ("weighting", rating.weighting),
        ("termination", rating.termination),
        ("volume", rating.volume),
        ("channels", rating.channels),
        ("limit", rating.thd_percent or rating.thd_plus_noise_percent),
        ("conditions", dict(rating.conditions)),
    ):
        at |= {key: stated} if stated else {}
    at |= rating.level.entries() if rating.level is not None else {}
    at |= {"power": rating.power_w} if rating.power_w is not None else {}
    at |= {"re": rating.reference} if rating.reference else {}
    wanted = CaptureRequest(
        "reading",
        "own",
        (rating.quantity,),
        at,
        AS_RATED,
        place=BY_METER,
        channels=("",),
        apart=(rating.quantity, *map(str, sorted(at.items(), key=str))),
        wording={"names": (rating.called,), "units": (rating.unit,)},
    )
    return (wanted,)
