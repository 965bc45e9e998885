"""Capture requests for each rated name, from the kind of measurement that answers it.

A finding with a request's quantities and conditions is fully comparable with its rating.
"""

from __future__ import annotations

from dataclasses import replace

from reviewkit.measure import KINDS
from reviewkit.model.capture_request import Basis, CaptureRequest
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Rating


def capture_requests(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Return the captures that a rating asks for; those that decide come last."""
    recipe = next(kind.recipes[rating.quantity] for kind in KINDS.values() if rating.quantity in kind.recipes)
    return tuple(_as_rated(request, rating) for request in recipe(rating, basis))


def _as_rated(request: CaptureRequest, rating: Rating) -> CaptureRequest:
    """Add the load and the level that a rating names, which its recipe may not have asked for."""
    conditions = RULES[rating.quantity].conditions
    at = dict(request.at)
    if "load" in conditions and rating.load_ohm is not None:
        at["load"] = rating.load_ohm
    if "level" not in conditions or rating.power_w is None or rating.quantity == "power":
        return replace(request, at=at)
    return replace(request, at={**at, "power": rating.power_w}, power_w=rating.power_w, voltage_v=None)
