"""Captures merged and ordered: one for all ratings it can serve, few changes of set-up, hot ones last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from reviewkit.model.capture_request import (
    AS_RATED,
    AS_USED,
    BY_METER,
    IDLE,
    LINE_LOAD_OHM,
    METER,
    POWER_SWEEP,
    TERMINALS,
    Basis,
    CaptureRequest,
)
from reviewkit.model.level import Level
from reviewkit.model.session import Rating
from reviewkit.plan.recipes import capture_requests

# hot captures: above an eighth of the rated output, the preconditioning level (16 CFR 432.3(c)); from 10 W if
# none is rated (a judgement, no source)
HOT_SHARE, HOT_W = 0.125, 10.0
_DRIVES = (IDLE, METER, AS_RATED, AS_USED)  # captures without a generator come first


@dataclass(frozen=True)
class SetUp:
    """The parts of a set-up that are changed by hand.

    Attributes
    ----------
    driven
        "both", "one", "none", or "" of what isn't driven by hand.
    load_ohm
        None without a load.
    """

    input: str
    load_ohm: float | None
    driven: str
    place: str


@dataclass(frozen=True)
class Capture:
    """One file to record, or one row of readings.

    Attributes
    ----------
    uses
        The ratings that it serves, by number, each with its request.
    wording
        The facts that its sentence needs, by name.
    """

    kind: str
    name: str
    setup: SetUp
    drive: str
    level: Level | None
    hot: bool
    uses: tuple[tuple[int, CaptureRequest], ...]
    wording: Mapping[str, tuple[Any, ...]] = field(default_factory=dict)


def watts_of(capture: Capture | CaptureRequest) -> float:
    """Return the power that a capture is driven to, W; 0 if it isn't driven to a power."""
    return capture.level.value if capture.level and capture.level.unit == "W" else 0.0


def plan_captures(ratings: Sequence[Rating], basis: Basis) -> tuple[Capture, ...]:
    """Return every capture that the ratings ask for, each once, in the order to make them.

    Parameters
    ----------
    ratings : sequence of Rating
        The ratings.
    basis : Basis
        Supplies what they leave open.

    Returns
    -------
    tuple of Capture
        The captures.
    """
    found: dict[tuple[Any, ...], Capture] = {}
    for number, rating in enumerate(ratings):
        for wanted in capture_requests(rating, basis):
            setup = _set_up(rating, wanted, basis)
            level = None if wanted.drive == POWER_SWEEP else wanted.level
            key = (wanted.kind, wanted.name, setup, wanted.drive, wanted.apart, level)
            other = found.get(key)
            found[key] = _merge(other, number, wanted) if other else _new_capture(setup, number, wanted, basis)
    return tuple(_order(list(found.values()), basis))


def _set_up(rating: Rating, wanted: CaptureRequest, basis: Basis) -> SetUp:
    usual = basis.load_ohm(rating) if wanted.place == TERMINALS else LINE_LOAD_OHM if wanted.drive == METER else None
    load = wanted.at.get("load") or usual
    driven = wanted.at.get("channels") or basis.bench.channels or "both"
    driven = {IDLE: "none", AS_RATED: "", AS_USED: ""}.get(wanted.drive, driven)
    own = wanted.at.get("input") or rating.input
    return SetUp(own or (basis.input if wanted.place != BY_METER else ""), load, driven, wanted.place)


def _new_capture(setup: SetUp, number: int, wanted: CaptureRequest, basis: Basis) -> Capture:
    rated_w = basis.rated_w(setup.load_ohm)
    watts = watts_of(wanted)
    # allow for the rounding of a share that is exactly an eighth
    heats = watts > rated_w * HOT_SHARE * 1.001 if rated_w else watts >= HOT_W
    hot = wanted.drive == POWER_SWEEP or heats
    return Capture(
        wanted.kind,
        wanted.name,
        setup,
        wanted.drive,
        wanted.level,
        hot,
        ((number, wanted),),
        wanted.wording,
    )


def _merge(capture: Capture, number: int, wanted: CaptureRequest) -> Capture:
    """Return a capture that serves one more rating: its sweep reaches the higher power, its wording covers both."""
    wording = dict(capture.wording)
    for key, entries in wanted.wording.items():
        wording[key] = tuple(dict.fromkeys([*wording.get(key, ()), *entries]))
    level = wanted.level if watts_of(wanted) > watts_of(capture) else capture.level
    return replace(capture, level=level, uses=(*capture.uses, (number, wanted)), wording=wording)


def _order(found: Sequence[Capture], basis: Basis) -> list[Capture]:
    """Order captures: cold ones first, then hot ones, each set-up once in either part.

    The hot ones begin in the set-up in which the cold ones end, if they share one.
    """
    inputs = list(dict.fromkeys([basis.input, *(c.setup.input for c in found)]))

    def rank(setup: SetUp) -> tuple[float, ...]:
        """Return a sort key: the most troublesome change first, and lighter loads before heavier ones."""
        loaded, driven = setup.place == TERMINALS, ("none", "", "both", "one").index(setup.driven)
        load = -(setup.load_ohm or 0.0) if loaded else 0.0
        return float(loaded), load, float(inputs.index(setup.input)), float(driven)

    shared = {c.setup for c in found if c.hot} & {c.setup for c in found if not c.hot}
    join = rank(min(shared, key=rank)) if shared else None

    def key(c: Capture) -> tuple[Any, ...]:
        """Return a sort key: of each part of a set-up, whether it is that of the join, then its rank."""
        own = rank(c.setup)
        # a cold capture comes later, and a hot one earlier, the more of its set-up is that of the join
        place = [((each == there) != c.hot, each) for each, there in zip(own, join or own, strict=True)]
        return c.hot, place, c.drive not in _DRIVES, watts_of(c), c.drive == POWER_SWEEP

    return sorted(found, key=key)
