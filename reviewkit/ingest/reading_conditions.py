"""The `at` cell of a reading: the conditions of the value, under the keys that every finding's conditions have.

A value with a unit is recognised by it (1 kHz, 40 W, 8 ohm, 150 mV, 65 dBf, 1 %); weighting, channels and input by
their words, a receiver's radio by FM or AM alone; "tape = chrome" is a condition that the user names; anything else is
the setting.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from reviewkit.ingest.conditions import CONDITION_OF_UNIT, SHARED_WORDS, Token, scan
from reviewkit.ingest.references import read_reference
from reviewkit.ingest.session.session_values import read_conditions
from reviewkit.model.level import KEY_OF_UNIT as LEVELS
from reviewkit.model.level import LINEAR_UNITS
from reviewkit.model.units import UnitError, normalised, split_single
from reviewkit.model.unstated_conditions import RADIO

_KEY_OF_UNIT = {**LEVELS, "Hz": "frequency", "Ω": "load", "%": "limit"}
_ABOVE_ZERO = (*LINEAR_UNITS, "Hz", "Ω", "%")
_EXAMPLE = {
    "frequency": "1 kHz",
    "power": "40 W",
    "load": "8 ohm",
    "voltage": "150 mV",
    "limit": "1 %",
    "flux": "250 nWb/m",
    "velocity": "5 cm/s",
}
# a comma between digits isn't a separator: it is a decimal mark, right or wrong
_PARTS = re.compile(r";|(?<!\d),|,(?!\d)")
_INPUT = re.compile(r"input\s+(.+)|(.+?)\s+input", re.IGNORECASE)
_RELATIVE = re.compile(r"(?:(.*\S)\s+)?re\s+(.+)", re.IGNORECASE)
_PAIR = re.compile(r"([^=]+?)\s*=\s*([^=]+)")
_WORDS: dict[str, tuple[str, Any]] = {
    **SHARED_WORDS,
    # words that add nothing to a value's unit
    **dict.fromkeys(("at", "into", "with", "@", "load", "sine", "tone", "output", "per channel"), ("", None)),
    "distortion": ("", None),
    "thd": ("figure", "THD"),
    "thd+n": ("figure", "THD+N"),
    "unweighted": ("unweighted", None),
    **{
        f"{word} {end}": ("channels", word)
        for word in ("both", "one")
        for end in ("channel", "channels", "channel driven", "channels driven")
    },
}
_BY_WORDS = ("band", "tones", "weighting", "channels", "figure", "termination", "volume", "named")


def conditions_of(cell: str, with_points: Callable[[str], str], fault: Callable[[str], None]) -> dict[str, Any]:
    """Return conditions by key, with values in the base units.

    Frequency and band Hz, power and reference W, load Ω, voltage V, limit %, other levels by their keys;
    reference_input V, reference_level, tones, weighting, channels, input, termination, volume, figure, conditions,
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
            if match := _PAIR.fullmatch(text):
                self._name(match[1], match[2])
                continue
            if (match := _RELATIVE.fullmatch(text)) and self._note_reference(match[1] or "", match[2], text):
                text = "" if _is_decibels(match[1]) else match[1] or ""
            text = self._without_radio(text)
            if not text:
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

    def _without_radio(self, text: str) -> str:
        """Note the half of a receiver that a part is, or begins with, and return the rest: of "FM stereo", "stereo".

        "AM 30 %" is a modulation.
        """
        half, _, rest = text.partition(" ")
        tokens = scan(rest, _WORDS)
        if half.upper() not in RADIO or (rest and not _is_understood(tokens)) or any(t.key == "%" for t in tokens):
            return text
        self._put("input", half.upper(), text)
        return rest

    def _name(self, name: str, value: str) -> None:
        """Note a condition that the user names."""
        try:
            (pair,) = read_conditions({name: value})
        except ValueError as error:
            self.fault(f"at {error}")
        else:
            self._put_named(pair)

    def _put_named(self, pair: tuple[str, str]) -> None:
        named = self.at.setdefault("conditions", {})
        if named.setdefault(*pair) != pair[1]:
            second = f'at "{pair[0]} = {pair[1]}" is a second {pair[0]}'
            self.fault(f"{second}; write one of them, and the other reading in its own row")

    def _note_reference(self, before: str, text: str, whole: str) -> bool:
        """Note what a figure or a level is relative to; return False if the words mean something else."""
        found = read_reference(text)
        if found is None and _is_amount(text):
            self.fault(f'at "{whole[:40]}" is not above zero; write for example 40 W, or in words: idle')
        if found is None or found.reference == "rated output":
            return False
        if _is_decibels(before):
            self._put("relative_level", [split_single(before)[0], found.reference], whole)
        elif found.reference_w is not None:
            self._put("reference", found.reference_w, whole)
        elif found.reference_v is not None and text.casefold().endswith("input"):
            self._put("reference_input", found.reference_v, whole)
        elif level := found.reference_level:
            self._put("reference_level", [level.value, level.unit, level.reference], whole)
        else:  # a meter reads at the output
            self._put("reference_level", [found.reference_v, "V", ""], whole)
        return True

    def _put(self, key: str, value: Any, text: str) -> None:
        if key in self.at and self.at[key] != value:
            self.fault(f'at "{text[:40]}" is a second {key}; write one of them, and the other reading in its own row')
        self.at[key] = value

    def _note(self, tokens: list[Token], text: str) -> None:
        """Note the values and words of a part, such as 40 W into 8 ohm."""
        for token in tokens:
            key = _KEY_OF_UNIT.get(token.key, token.key)
            if token.key == "named":
                self._put_named(token.value)
            elif token.key in CONDITION_OF_UNIT:
                self._put_named((CONDITION_OF_UNIT[token.key], token.text))
            elif token.key in _ABOVE_ZERO and token.value <= 0:
                example = _EXAMPLE[key]
                self.fault(f'at "{text[:40]}" is not above zero; write for example {example}, or in words: idle')
            elif token.key in _KEY_OF_UNIT or token.key in _BY_WORDS:
                self._put(key, token.value, text)


def _is_amount(text: str) -> bool:
    try:
        value, unit = split_single(text)
    except UnitError:
        return False
    return unit.base in LINEAR_UNITS and value <= 0


def _is_decibels(text: str | None) -> bool:
    try:
        return split_single(text or "")[1].base == "dB"
    except UnitError:
        return False


def _is_understood(tokens: list[Token]) -> bool:
    """Return whether every word of a part is known, and at least one of them says something."""
    keys = {token.key for token in tokens}
    says = keys & {*_KEY_OF_UNIT, *_BY_WORDS, *CONDITION_OF_UNIT, "unweighted"}
    # a distortion is named for what is in percent
    return bool(says) and keys <= {*says, ""} and not ("figure" in keys and "%" not in keys)
