"""The reference of a ratio: "rated output", "1 W", "5 mV" at the input, "2 V output", "0 dBFS", "250 nWb/m" …"""

from __future__ import annotations

import re
from typing import NamedTuple

from reviewkit.model.level import LINEAR_UNITS, UNITS, Level
from reviewkit.model.units import UnitError, split_single

_PLACE = re.compile(r"\s*(?:at the )?\b(input|output)\b\s*$", re.IGNORECASE)
# the level of a tape at which so much of it is distortion
_DISTORTED = re.compile(r"(.+%)\s*(third harmonic|distortion|thd)(?: distortion)?", re.IGNORECASE)


class Reference(NamedTuple):
    """A reference as written, and the one of the three that it is, or none: the rated output."""

    reference: str
    reference_w: float | None = None
    reference_v: float | None = None  # at the input
    reference_level: Level | None = None


def read_reference(text: str) -> Reference | None:
    """Return a reference; None if it can't be read as one. A bare voltage is at the input."""
    text = " ".join(text.split())
    if text.casefold() in ("", "rated output", "rated power"):
        return Reference("rated output" if text else "")
    if match := _DISTORTED.fullmatch(text):
        level = _level(match[1], match[2].lower())
        return Reference(text, reference_level=level) if level and level.unit == "%" else None
    place = _PLACE.search(text)
    level = _level(text[: place.start()] if place else text)
    if level is None or level.unit in ("%", "dB"):
        return None
    if level.unit == "W":
        return Reference(text, level.value)
    if level.unit == "V" and not (place and place[1].lower() == "output"):
        return Reference(text[: place.start()] if place else text, reference_v=level.value)
    return Reference(text, reference_level=level)


def _level(text: str, of: str = "") -> Level | None:
    try:
        value, unit = split_single(text)
    except UnitError:
        return None
    if unit.base not in UNITS or (unit.base in (*LINEAR_UNITS, "%") and value <= 0):
        return None
    return Level(value, unit.base, reference=of)
