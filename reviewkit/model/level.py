"""The level of a rating or a figure: watts into a load, volts, dBFS, dBf, dB SPL, VU, a tape's flux or a groove's
velocity, or dB relative to a stated reference.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reviewkit.model.units import UnitError, split_single

# to which a level is set by meter (common practice, no source), and what the logarithm costs
_DB_SAME = 0.1 + 1e-3


@dataclass(frozen=True)
class Level:
    """One level. `reference`: what a level in dB is relative to, as written; of one in percent, what is as much of it;
    `load_ohm`: what the output works into.
    """

    value: float
    unit: str  # one of UNITS
    load_ohm: float | None = None
    reference: str = ""

    @property
    def watts(self) -> float | None:
        """The power, W; None if it can't be known without a load."""
        if self.unit == "W":
            return self.value
        return self.value**2 / self._ohms if self.unit == "V" and self._ohms else None

    @property
    def volts(self) -> float | None:
        """The voltage, V; None if it can't be known without a load."""
        if self.unit == "V":
            return self.value
        return math.sqrt(self.value * self._ohms) if self.unit == "W" and self._ohms else None

    @property
    def _ohms(self) -> float | None:
        return self.load_ohm if self.load_ohm and math.isfinite(self.load_ohm) else None

    def decibels_above(self, other: Level) -> float | None:
        """Return how far this level is above another, dB; None if the two aren't levels of the same thing."""
        for one, two, per_decade in ((self.watts, other.watts, 10), (self.volts, other.volts, 20)):
            if one is not None and two is not None:
                return per_decade * math.log10(one / two) if one > 0 and two > 0 else None
        here, there = (self, other) if self.unit == other.unit else (self._absolute(), other._absolute())
        if here.unit != there.unit or _plain(here.reference) != _plain(there.reference):
            return None
        if here.unit in _LINEAR:
            return 20 * math.log10(here.value / there.value) if min(here.value, there.value) > 0 else None
        if here.unit == "%":
            return 0.0 if here.value == there.value else None
        return here.value - there.value

    def _absolute(self) -> Level:
        """Return a level in dB relative to a flux or a velocity as what it is: −20 dB re 250 nWb/m as 25 nWb/m."""
        if self.unit == "dB":
            try:
                value, unit = split_single(self.reference)
            except UnitError:
                return self
            if unit.base in _LINEAR:
                return Level(value * 10 ** (self.value / 20), unit.base)
        return self

    def entries(self) -> dict[str, Any]:
        """Return the level as entries of a finding's conditions (`Finding.at`), without the load."""
        if self.unit in ("dB", "%"):
            return {"relative_level": [self.value, self.reference]}
        return {KEY_OF_UNIT[self.unit]: self.value}


def _plain(reference: str) -> str:
    return "".join(reference.split()).casefold()


_LINEAR = ("nWb/m", "cm/s")
KEY_OF_UNIT = {
    "W": "power",
    "V": "voltage",
    "dBFS": "dbfs",
    "dBf": "dbf",
    "dB SPL": "sound_pressure",
    "VU": "vu",
    "nWb/m": "flux",
    "cm/s": "velocity",
}
UNITS = (*KEY_OF_UNIT, "dB", "%")
LINEAR_UNITS = ("W", "V", *_LINEAR)  # in which a level is above zero
KEYS = ("relative_level", *KEY_OF_UNIT.values())
FULL_SCALE = Level(0.0, "dBFS")


def levels_of(at: Mapping[str, Any]) -> list[Level]:
    """Return the levels among a finding's conditions: what was set, and what was measured there."""
    levels = [
        Level(float(at[key]), unit, at.get("load")) for unit, key in KEY_OF_UNIT.items() if at.get(key) is not None
    ]
    if relative := at.get("relative_level"):
        levels.append(Level(float(relative[0]), "dB", reference=str(relative[1])))
    return levels


def reference_level(at: Mapping[str, Any]) -> Level | None:
    """Return the level that a finding is relative to, if that is neither a power nor a voltage at the input."""
    given = at.get("reference_level")
    return Level(float(given[0]), str(given[1]), reference=str(given[2])) if given else None


def level_of(at: Mapping[str, Any]) -> Level | None:
    """Return the first level among a finding's conditions; None if they hold none."""
    return next(iter(levels_of(at)), None)


def is_same(decibels: float) -> bool:
    """Return whether two levels this far apart are one level, set by meter."""
    return abs(decibels) <= _DB_SAME
