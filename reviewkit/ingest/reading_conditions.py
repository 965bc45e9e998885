"""The `at` cell of a reading: the conditions of the value, under the keys that every finding's conditions have.

A value with a unit is recognised by it (1 kHz, 40 W, 8 ohm, 150 mV, 1 %); weighting, channels and input by their words;
anything else is the setting.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from reviewkit.ingest.session.session_values import read_weighting
from reviewkit.model.units import normalised, scaled, unit_of

NUMBER = r"[+-]?(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})(?:[eE][+-]?\d{1,2})?"
_KEY_OF_UNIT = {"Hz": "frequency", "W": "power", "Ω": "load", "V": "voltage", "%": "limit"}
_EXAMPLE = {
    "frequency": "1 kHz",
    "power": "40 W",
    "load": "8 ohm",
    "voltage": "150 mV",
    "limit": "1 %",
    "reference": "40 W",
}
# a comma between digits isn't a separator: it is a decimal mark, right or wrong
_PARTS = re.compile(r";|(?<!\d),|,(?!\d)")
_AMOUNT = re.compile(rf"(?:(re|at|into|with|@)\s+)?({NUMBER})\s*(\S+)(?:\s+(.+))?", re.IGNORECASE)
_JOINED = re.compile(r"\s+(?=(?:re|at|into|with|@)\s)", re.IGNORECASE)
_PAIR = re.compile(rf"({NUMBER}\s*\S+?)\s*(\bto\b|-|\+)\s*({NUMBER}\s*\S+)")
_WEIGHTED = re.compile(r"(\S+?)(?:-|\s+)weight(?:ed|ing)", re.IGNORECASE)
_CHANNELS = re.compile(r"(both|one) channels?(?: driven)?", re.IGNORECASE)
_INPUT = re.compile(r"input\s+(.+)|(.+?)\s+input", re.IGNORECASE)
_FIGURES = {"thd": "THD", "thd+n": "THD+N"}
# words after a value that add nothing to its unit
_PASSED_OVER = {"load", "sine", "tone", "output", "per channel", "distortion"}


def conditions_of(cell: str, with_points: Callable[[str], str], fault: Callable[[str], None]) -> dict[str, Any]:
    """Return conditions by key, with values in the base units.

    Frequency and band Hz, power and reference W, load Ω, voltage V, limit %; tones, weighting, channels, input, figure,
    setting. `fault` is called with whatever can't be read, and the remedy.
    """
    return _Cell(with_points, fault).read(cell)


class _Cell:
    """One cell while it is read."""

    def __init__(self, with_points: Callable[[str], str], fault: Callable[[str], None]) -> None:
        self.with_points = with_points
        self.fault = fault
        self.at: dict[str, Any] = {}
        self.setting: list[str] = []

    def read(self, cell: str) -> dict[str, Any]:
        for part in _PARTS.split(normalised(cell)):
            text = " ".join(part.split())
            if not text:
                continue
            try:
                text = self.with_points(text)
            except ValueError as error:
                self.fault(f"at {error}")
                continue
            if not (self._pair(text) or self._amounts(text) or self._words(text)):
                self.setting.append(text)
        if self.setting:
            self.at["setting"] = ", ".join(self.setting)
        return self.at

    def _put(self, key: str, value: Any, text: str) -> bool:
        if key in self.at and self.at[key] != value:
            self.fault(f'at "{text[:40]}" is a second {key}; write one of them, and the other reading in its own row')
        self.at[key] = value
        return True

    def _pair(self, text: str) -> bool:
        """Note a band (20 Hz to 20 kHz) or two tones together (60 Hz + 7 kHz), and return whether the text is one."""
        match = _PAIR.fullmatch(text)
        ends = [self._value(end, "Hz") for end in match.groups()[::2]] if match else []
        if match is None or None in ends:
            return False
        low, high = sorted(end for end in ends if end is not None)
        return self._put("tones" if match[2] == "+" else "band", [low, high], text)

    def _value(self, text: str, base: str) -> float | None:
        match = re.fullmatch(rf"({NUMBER})\s*(\S+)", text)
        unit = unit_of(match[2]) if match else None
        return scaled(float(match[1]), unit.factor) if match and unit and unit.base == base else None

    def _amounts(self, text: str) -> bool:
        """Note a value with its unit, or several in a phrase such as 40 W into 8 ohm."""
        found = [_amount(piece) for piece in _JOINED.split(text)]
        amounts = [entry for entry in found if entry is not None]
        if len(amounts) < len(found):
            return False
        for key, value, figure in amounts:
            if value <= 0:
                example = _EXAMPLE[key]
                self.fault(f'at "{text[:40]}" is not above zero; write for example {example}, or in words: idle')
                continue
            self._put(key, value, text)
            if figure:
                self._put("figure", figure, text)
        return True

    def _words(self, text: str) -> bool:
        if text.casefold() == "unweighted":
            return True
        if match := _WEIGHTED.fullmatch(text):
            return self._put("weighting", read_weighting(match[1]), text)
        if match := _CHANNELS.fullmatch(text):
            return self._put("channels", match[1].lower(), text)
        if match := _INPUT.fullmatch(text):
            return self._put("input", match[1] or match[2], text)
        return False


def _amount(text: str) -> tuple[str, float, str] | None:
    """Return the key, the value in its base unit, and of a limit its kind of distortion; None for other text."""
    match = _AMOUNT.fullmatch(text)
    unit = unit_of(match[3]) if match else None
    if match is None or unit is None or unit.base not in _KEY_OF_UNIT:
        return None
    behind = (match[4] or "").casefold()
    figure = _FIGURES.get(behind, "") if unit.base == "%" else ""
    if behind and not figure and behind not in _PASSED_OVER:
        return None
    key = "reference" if (match[1] or "").lower() == "re" and unit.base == "W" else _KEY_OF_UNIT[unit.base]
    return key, scaled(float(match[2]), unit.factor), figure
