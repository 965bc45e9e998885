"""Capture requests, and the defaults for what a rating leaves open: the bench's conditions, the usual levels."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from reviewkit.model import unstated_conditions
from reviewkit.model.gear import PLAYER, Gear
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating

SINE, POWER_SWEEP, SWEEP, PHONO_SWEEP, PAIR, MANY, SQUARE, IDLE, METER, AS_RATED, AS_USED = (
    "sine",
    "power sweep",
    "sweep",
    "phono sweep",
    "two tones",
    "many tones",
    "square wave",
    "idle",
    "meter",
    "as rated",
    "as used",
)
TERMINALS, LINE, ALONE, BY_METER = "terminals", "line output", "alone", "by meter"
# rated output less 10 dB is the normal measuring condition of IEC 60268-3 (from memory); another 10 dB keep an edge
# free of the output stage's slewing (a judgement, no source)
USUAL_SHARE, SMALL_SHARE = 0.1, 0.01
UNRATED_W = 1.0  # reference output of an amplifier whose power is not rated, IHF-A-202 (1978), from memory
LINE_LEVEL = Level(0.5, "V")  # reference output of a line output, the same source
LINE_LOAD_OHM = 10_000.0  # that a line output is loaded with to read its impedance (common practice, no source)
MAGNET_V = 0.005  # reference input of a phono stage for moving magnets at 1 kHz, the same source


@dataclass(frozen=True)
class CaptureRequest:
    """One capture for one rating.

    Attributes
    ----------
    kind
        The kind of measurement; "" for the one whose recipe it is.
    name
        Selects the wording; "" if its kind has one capture only.
    quantities
        The findings that it gives.
    at
        The conditions that they must have, as in `Finding.at`.
    wording
        The facts that its sentence needs, by name.
    apart
        What two requests must share to become one capture.
    """

    kind: str
    name: str
    quantities: tuple[str, ...]
    at: Mapping[str, Any]
    drive: str
    level: Level | None = None  # at the output, of a sine of the same peak; a voltage where no power is meant
    place: str = TERMINALS
    channels: tuple[str, ...] = ("L", "R")
    decides: bool = True  # False: it supports the rating but doesn't answer it alone
    apart: tuple[Any, ...] = ()
    wording: Mapping[str, tuple[Any, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Basis:
    """The bench and the other ratings, which supply what a rating leaves open."""

    bench: Bench
    ratings: tuple[Rating, ...] = ()
    gear: Gear | None = None

    @property
    def input(self) -> str:
        """Return the default input: the bench's, else the one that most ratings name, line inputs before the radio
        and phono. The radio of what drives a load is a half of its own.
        """
        drives = self.gear is not None and bool(self.gear.loads)
        named = Counter(r.input for r in self.ratings if r.input and not (drives and _is_radio(r)))
        names = [name for name, _ in named.most_common()]
        names.sort(key=lambda name: (name.upper() in unstated_conditions.RADIO, "phono" in name.lower()))
        return self.bench.input or next(iter(names), "")

    def load_ohm(self, rating: Rating) -> float | None:
        """Return the load to measure into: the rating's, else the bench's, else the first that any rating names.

        A line output has none, unless the rating itself names one.
        """
        if self.at_line(rating):
            return rating.load_ohm
        named = [rating.load_ohm, self.bench.load_ohm, *(r.load_ohm for r in self.ratings)]
        return next((ohms for ohms in named if ohms is not None and math.isfinite(ohms)), None)

    def at_line(self, rating: Rating) -> bool:
        """Return whether a rating is of a line output: of gear that drives no load, or of the radio of a receiver."""
        if self.gear is None:
            return False
        return not self.gear.loads or _is_radio(rating)

    @property
    def player(self) -> bool:
        """Return whether the unit is a player, whose figures without a level are those of full scale."""
        return self.gear is not None and PLAYER in self.gear.types

    def rated_w(self, load_ohm: float | None) -> float | None:
        """Return the rated power per channel into a load, W; half of a total power if there is no other."""
        watts = unstated_conditions.rated_output_w(self.ratings, load_ohm)
        halves = [
            replace(r, total=False, at_least=r.at_least / 2) for r in self.ratings if r.total and r.at_least is not None
        ]
        return watts or unstated_conditions.rated_output_w(halves, load_ohm)

    def share(self, rating: Rating, share: float) -> float | None:
        """Return a share of the rated output, W; 1 W if no power is rated; None without loudspeaker outputs."""
        if self.at_line(rating):
            return None
        load = self.load_ohm(rating)
        rated = self.rated_w(load)
        if rated is not None:
            return rated * share
        return UNRATED_W if load is not None else None

    def named(self, rating: Rating, *keys: str) -> dict[str, Any]:
        """Return the conditions of these names: the rating's, else the bench's."""
        all_of = {
            "load": self.load_ohm(rating),
            "input": rating.input or self.input,
            "channels": rating.channels or self.bench.channels or "both",
        }
        return {key: all_of[key] for key in keys if all_of[key] not in (None, "")}

    def sized(self, rating: Rating, share: float) -> Level | None:
        """Return a usual level: a share of the rated output, else a line level; None of a source, which has its own."""
        # no generator drives an input of a source, or the radio of a receiver
        if _is_radio(rating) or (self.gear is not None and self.gear.source):
            return None
        watts = self.share(rating, share)
        return LINE_LEVEL if watts is None else Level(watts, "W")

    def rated_level(self, rating: Rating) -> Level | None:
        """Return the level that a rating holds at: the power that it names, else the rated output or a line level."""
        return self.sized(rating, 1.0) if rating.power_w is None else Level(rating.power_w, "W")

    def request(
        self,
        rating: Rating,
        quantities: tuple[str, ...],
        at: Mapping[str, Any],
        drive: str,
        share: float = USUAL_SHARE,
        **more: Any,
    ) -> CaptureRequest:
        """Request a capture at a usual level, measured where the output is. `more`: further fields of it."""
        return CaptureRequest("", "", quantities, at, drive, self.sized(rating, share), self.place(rating), **more)

    def place(self, rating: Rating) -> str:
        """Return where the output is measured: at the loudspeaker terminals or the line output."""
        if self.at_line(rating):
            return LINE
        at_power = any(r.quantity == "power" or r.power_w is not None for r in self.ratings)
        driving = at_power or self.load_ohm(rating) is not None
        return TERMINALS if driving else LINE


def _is_radio(rating: Rating) -> bool:
    return rating.input.upper() in unstated_conditions.RADIO


def spot_hz(rating: Rating) -> float:
    """Return the frequency to measure at: the rating's, or the one in its band nearest to what it means without one."""
    usual_hz = unstated_conditions.frequency_hz(rating)
    if rating.frequency_hz is not None:
        return usual_hz
    low, high = rating.band_hz or (usual_hz, usual_hz)
    return min(max(usual_hz, low), high)


def band_or_spot(rating: Rating) -> dict[str, Any]:
    """Return the rated band as a condition, else the frequency to measure at."""
    if rating.band_hz is not None:
        return {"band": rating.band_hz}
    return {"frequency": spot_hz(rating)}
