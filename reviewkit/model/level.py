"""The level of a rating or a figure: watts into a load, volts, dBFS, or dB relative to a stated reference."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reviewkit.model import digits

# to which a level is set by meter (common practice, no source), and what the logarithm costs
_DB_SAME = 0.1 + 1e-3


@dataclass(frozen=True)
class Level:
    """One level. `reference`: what a level in dB is relative to, as written; `load_ohm`: what the output works into."""

    value: float
    unit: str  # "W", "V", "dBFS" or "dB"
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
        same = self.unit == other.unit and self.reference.casefold() == other.reference.casefold()
        return self.value - other.value if same and self.unit in ("dBFS", "dB") else None

    def entries(self) -> dict[str, Any]:
        """Return the level as entries of a finding's conditions (`Finding.at`), without the load."""
        if self.unit == "dB":
            return {"relative_level": [self.value, self.reference]}
        return {_KEYS[self.unit]: self.value}


_KEYS = {"W": "power", "V": "voltage", "dBFS": "dbfs"}
FULL_SCALE = Level(0.0, "dBFS")


def levels_of(at: Mapping[str, Any]) -> list[Level]:
    """Return the levels among a finding's conditions: what was set, and what was measured there."""
    levels = [Level(float(at[key]), unit, at.get("load")) for unit, key in _KEYS.items() if at.get(key) is not None]
    if relative := at.get("relative_level"):
        levels.append(Level(float(relative[0]), "dB", reference=str(relative[1])))
    return levels


def level_of(at: Mapping[str, Any]) -> Level | None:
    """Return the first level among a finding's conditions; None if they hold none."""
    return next(iter(levels_of(at)), None)


def is_same(decibels: float) -> bool:
    """Return whether two levels this far apart are one level, set by meter."""
    return abs(decibels) <= _DB_SAME


def decibels(value: float, significant: int = 3) -> str:
    """Return a level in dB as a condition or a limit: "−60", "0", "−0.5"."""
    return f"{digits.MINUS if value < 0 else ''}{digits.trimmed(abs(value), significant) if value else '0'}"
