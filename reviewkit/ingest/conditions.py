"""Text → tokens: values by their units, bands, two tones, and words that name a condition, in any order.

What a brochure prints and what someone writes next to a reading are understood by the same table of words; each reader
says which of its tokens it can use.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from reviewkit.model.units import UNITS, normalised, scaled

NUMBER = r"[+-]?(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})(?:[eE][+-]?\d{1,2})?"
UNSIGNED = r"(?:\d{1,15}(?:\.\d{1,15})?|\.\d{1,15})"
UNIT = "|".join(re.escape(spelling) for spelling in sorted(UNITS, key=len, reverse=True))
HERTZ = "|".join(re.escape(word) for word in sorted(UNITS, key=len, reverse=True) if UNITS[word].base == "Hz")
END = r"(?![^\W\d_%])"  # of a unit: no letter follows
SEPARATORS = ",;/():=.+"
BARE_END = "bare end"  # key of a band whose lower end has no unit where the upper one is in kHz

_SPACE = re.compile(r"\s+")
_BAND = re.compile(rf"({UNSIGNED})[ -]?({HERTZ})?\s*(?:\bto\b|-|~|…|\.\.+)\s*({UNSIGNED})[ -]?({HERTZ}){END}")
_TONES = re.compile(rf"({UNSIGNED})[ -]?({HERTZ})\s*([+:/]|\band\b)\s*({UNSIGNED})[ -]?({HERTZ}){END}")
_AMOUNT = re.compile(rf"({NUMBER})[ -]?\s*({UNIT}){END}")
_BARE = re.compile(rf"{UNSIGNED}(?![\w%])")
_DECIBELS = r"[ -]?(?:dB|db|DB)"
_EITHER_WAY = re.compile(rf"(?:±|\+/-|\+-|plus or minus)\s*({UNSIGNED}){_DECIBELS}{END}", re.IGNORECASE)
_UP, _DOWN = (rf"{sign}\s*({UNSIGNED})(?!\.?\d)(?:{_DECIBELS})?" for sign in (r"\+?", "-"))
_TWO_SIDES = re.compile(
    rf"(?:(?=\+|0){_UP}[\s,/]*(?:to\s*)?{_DOWN}|{_DOWN}[\s,/]*(?:to\s*)?(?=\+|0){_UP})(?<=[Bb]){END}", re.IGNORECASE
)
_WEIGHTED = re.compile(r"(\w+)(?:-|\s+)weight(?:ed|ing)\b", re.IGNORECASE)
_WORD = re.compile(r"[^\s,;/():=]+")


@dataclass(frozen=True)
class Token:
    """A part of a text. `text`: as it would be written in session.toml.

    `key`: the base unit of an amount; band, tones (played together), two frequencies, within (a tolerance in dB),
    number; a condition's key; "word" for one that isn't known; or a separator itself.
    """

    key: str
    value: Any
    text: str


@cache
def _symbols() -> dict[tuple[str, float], str]:
    """Return the usual spelling of each unit."""
    found: dict[tuple[str, float], str] = {}
    for spelling, unit in sorted(UNITS.items(), key=lambda item: "µ" not in item[0]):
        found.setdefault((unit.base, unit.factor), spelling)
    return found


def amount(number: str, unit: str) -> Token:
    """Return a value with its unit as a token under its base unit."""
    known = UNITS[unit]
    spelled = number.removesuffix(".")
    return Token(known.base, scaled(float(number), known.factor), f"{spelled} {_symbols()[(known.base, known.factor)]}")


@cache
def phrases_of(words: tuple[str, ...]) -> re.Pattern[str]:
    """Return a pattern of phrases, the longest first; spaces and hyphens in them are the same."""
    longest_first = sorted(words, key=len, reverse=True)
    # no letter may follow a letter; "<0.1" is two tokens
    ended = (
        (re.escape(word).replace(r"\ ", r"[\s-]+"), r"(?!\w)" if word[-1:].isalnum() else "") for word in longest_first
    )
    return re.compile("|".join(spelled + end for spelled, end in ended), re.IGNORECASE)


def plain(text: str) -> str:
    """Return a phrase as it is written in a table of words."""
    return " ".join(text.casefold().replace("-", " ").split())


def scan(text: str, words: Mapping[str, tuple[str, Any]]) -> list[Token]:
    """Return the tokens of a text, in its order.

    Parameters
    ----------
    text : str
        The text, with decimal points.
    words : mapping of str to (str, value)
        Phrases in small letters without hyphens, and the key and value of each; the key "" is passed over.
    """
    text = normalised(text)
    known = phrases_of(tuple(words))
    tokens: list[Token] = []
    at = 0
    while at < len(text):
        if space := _SPACE.match(text, at):
            at = space.end()
            continue
        token, at = _next(text, at, known, words)
        tokens.append(token)
    return tokens


def _next(text: str, at: int, known: re.Pattern[str], words: Mapping[str, tuple[str, Any]]) -> tuple[Token, int]:
    if match := known.match(text, at):
        key, value = words[plain(match[0])]
        return Token(key, value, match[0]), match.end()
    if match := _WEIGHTED.match(text, at):
        weighting = match[1].upper() if len(match[1]) == 1 else match[1]
        return Token("weighting", weighting, match[0]), match.end()
    if match := _EITHER_WAY.match(text, at):
        return Token("within", None, f"{match[1]} dB"), match.end()
    if match := _TWO_SIDES.match(text, at):
        low, high = match[2] or match[3], match[1] or match[4]
        return Token("within", [f"-{low} dB", f"+{high} dB"], match[0]), match.end()
    if match := _BAND.match(text, at):
        return _band(match), match.end()
    if match := _TONES.match(text, at):
        return _tones(match), match.end()
    if match := _AMOUNT.match(text, at):
        return amount(match[1], match[2]), match.end()
    if match := _BARE.match(text, at):
        return Token("number", float(match[0]), match[0]), match.end()
    if text[at] not in SEPARATORS and (match := _WORD.match(text, at)):
        return Token("word", None, match[0]), match.end()
    return Token(text[at], None, text[at]), at + 1


def _tones(match: re.Match[str]) -> Token:
    ends = sorted((amount(match[1], match[2]), amount(match[4], match[5])), key=lambda token: float(token.value))
    key = "tones" if match[3] == "+" else "two frequencies"
    return Token(key, [end.value for end in ends], " + ".join(end.text for end in ends))


def _band(match: re.Match[str]) -> Token:
    low, high = amount(match[1], match[2] or match[4]), amount(match[3], match[4])
    if not match[2] and UNITS[match[4]].factor != 1.0:
        return Token(BARE_END, match[1], match[0])
    ends = sorted((low, high), key=lambda token: float(token.value))
    return Token("band", [end.value for end in ends], " to ".join(end.text for end in ends))
