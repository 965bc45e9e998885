"""The `at` cell of a reading: the conditions of the value, under the keys that every finding's conditions have.

A value with a unit is recognised by it (1 kHz, 40 W, 8 ohm, 150 mV, 1 %); weighting, channels and input by their words;
anything else is the setting.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from reviewkit.ingest.conditions import Token, scan
from reviewkit.model.units import normalised

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
_INPUT = re.compile(r"input\s+(.+)|(.+?)\s+input", re.IGNORECASE)
_WORDS: dict[str, tuple[str, Any]] = {
    # words that add nothing to a value's unit
    **dict.fromkeys(("at", "into", "with", "@", "load", "sine", "tone", "output", "per channel"), ("", None)),
    "distortion": ("", None),
    "re": ("re", None),
    "thd": ("figure", "THD"),
    "thd+n": ("figure", "THD+N"),
    "unweighted": ("unweighted", None),
    **{
        f"{word} {end}": ("channels", word)
        for word in ("both", "one")
        for end in ("channel", "channels", "channel driven", "channels driven")
    },
}
_BY_WORDS = ("band", "tones", "weighting", "channels", "figure")


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
            tokens = scan(text, _WORDS)
            if _is_understood(tokens):
                self._note(tokens, text)
            elif match := _INPUT.fullmatch(text):
                self._put("input", match[1] or match[2], text)
            else:
                self.setting.append(text)
        if self.setting:
            self.at["setting"] = ", ".join(self.setting)
        return self.at

    def _put(self, key: str, value: Any, text: str) -> None:
        if key in self.at and self.at[key] != value:
            self.fault(f'at "{text[:40]}" is a second {key}; write one of them, and the other reading in its own row')
        self.at[key] = value

    def _note(self, tokens: list[Token], text: str) -> None:
        """Note the values and words of a part, such as 40 W into 8 ohm."""
        for before, token in zip([None, *tokens], tokens, strict=False):
            key = _KEY_OF_UNIT.get(token.key, token.key)
            if key == "power" and before is not None and before.key == "re":
                key = "reference"
            if token.key in _KEY_OF_UNIT and token.value <= 0:
                example = _EXAMPLE[key]
                self.fault(f'at "{text[:40]}" is not above zero; write for example {example}, or in words: idle')
            elif token.key in _KEY_OF_UNIT or token.key in _BY_WORDS:
                self._put(key, token.value, text)


def _is_understood(tokens: list[Token]) -> bool:
    """Return whether every word of a part is known, and at least one of them says something."""
    keys = {token.key for token in tokens}
    says = keys & {*_KEY_OF_UNIT, *_BY_WORDS, "unweighted"}
    # a distortion is named for what is in percent
    return bool(says) and keys <= {*says, "", "re"} and not ("figure" in keys and "%" not in keys)
