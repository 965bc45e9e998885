"""Text → tokens: values by their units, bands, two tones, and words that name a condition, in any order.

What a brochure prints and what someone writes next to a reading are understood by the same table of words; each reader
says which of its tokens it can use.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

from reviewkit.model.units import SINGLE_UNITS, UNITS, normalised, scaled, symbol_of
from reviewkit.model.weightings import RMS, SPELLINGS, weighting_of

NUMBER = r"[+-]?(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})(?:[eE][+-]?\d{1,2})?"
UNSIGNED = r"(?:\d{1,15}(?:\.\d{1,15})?|\.\d{1,15})"
# "60 C" is no temperature in a brochure, but a cassette, or half of a word
UNIT = "|".join(re.escape(spelling) for spelling in sorted({*SINGLE_UNITS} - {"C"}, key=len, reverse=True))
HERTZ = "|".join(re.escape(word) for word in sorted(UNITS, key=len, reverse=True) if UNITS[word].base == "Hz")
END = r"(?![^\W\d_%])"  # of a unit: no letter follows
SEPARATORS = ",;/():=.+"
# amounts that only conditions have: the name of the condition
CONDITION_OF_UNIT = {"m": "distance", "g": "tracking force", "rpm": "speed"}
SIGNAL_TO_NOISE = "signal to noise"  # the name of the condition that a sensitivity is given at
BARE_END = "bare end"  # key of a band whose lower end has no unit where the upper one is in kHz

# patterns of what a token may be; compiled when a text is first read, for they take as long as several imports
_BAND = rf"({UNSIGNED})[ -]?({HERTZ})?\s*(?:\bto\b|-|~|…|\.\.+)\s*({UNSIGNED})[ -]?({HERTZ}){END}"
_TONES = rf"({UNSIGNED})[ -]?({HERTZ})\s*([+:/]|\band\b)\s*({UNSIGNED})[ -]?({HERTZ}){END}"
_AMOUNT = rf"({NUMBER}(?: [12]/[23](?![\d/]))?)[ -]?\s*({UNIT}){END}"
_EITHER_WAY_OF = rf"(?i)(?:±|\+/-|\+-|plus or minus)\s*({UNSIGNED})[ -]?({UNIT}){END}"
_TWO_SIDES_OF = (
    rf"\+\s*({UNSIGNED})[ -]?({UNIT})?[\s,/]*-\s*({UNSIGNED})[ -]?({UNIT}){END}|"
    rf"-\s*({UNSIGNED})[ -]?({UNIT})?[\s,/]*\+\s*({UNSIGNED})[ -]?({UNIT}){END}"
)
# what a figure or a level is relative to
_REFERENCE = (
    rf"(?i)(?:re|ref\.?|relative to|referred to)\s+((?:{NUMBER})\s*(?:{UNIT}){END}"
    r"(?: (?:third harmonic|distortion|thd))?)(?: distortion)?(?: (?:at the )?(input|output)\b)?"
)
# an amount that a word after it makes a condition of its own
_NAMED = (
    rf"(?:(?:±|\+/-)\s*)?({UNSIGNED}[\s-]*(?:{UNIT}))[\s-]*(modulation|deviation|spacing|taps?)\b"
    r"|\bC-?(46|60|90|120)(?: cassette| tape)?\b"
)
# the ratio at which a sensitivity is given: "20 dB S+N/N", "S/N 26 dB"
_RATIO = r"\(?s ?\+ ?n\)? ?/ ?n\b|s/n\b"
_AT_RATIO = (
    rf"(?i)(?:for |at )?(?:({UNSIGNED} ?dB)\s+(?:{_RATIO})|(?:{_RATIO})(?: ratio)?\s*[:=]?\s*({UNSIGNED} ?dB){END})"
)
# the time constants of FM or tape, in front of their name or after it
_CONSTANTS = rf"((?:(?:{UNSIGNED}|inf|∞)\s*\+\s*)?{UNSIGNED})\s*[µu]s(?:ec)?\.?"
_OF_CONSTANTS = r"(?:playback |replay )?(de-?\s?emphasis|equali[sz]ation|eq)\b"
_EQUALISED = rf"(?i){_CONSTANTS}\s*{_OF_CONSTANTS}|{_OF_CONSTANTS}\s*[:=]?\s*{_CONSTANTS}{END}"
_BARE = rf"{UNSIGNED}(?![\w%])"
_DECIBELS = r"[ -]?(?:dB|db|DB)"
_EITHER_WAY = rf"(?i)(?:±|\+/-|\+-|plus or minus)\s*({UNSIGNED}){_DECIBELS}{END}"
_UP, _DOWN = (rf"{sign}\s*({UNSIGNED})(?!\.?\d)(?:{_DECIBELS})?" for sign in (r"\+?", "-"))
_TWO_SIDES = rf"(?i)(?:(?=\+|0){_UP}[\s,/]*(?:to\s*)?{_DOWN}|{_DOWN}[\s,/]*(?:to\s*)?(?=\+|0){_UP})(?<=[Bb]){END}"
_WEIGHTED = r"(?i)(\w+)(?:-|\s+)weight(?:ed|ing)\b"
_WORD = r"[^\s,;/():=]+"


@dataclass(frozen=True)
class Token:
    """A part of a text. `text`: as it would be written in session.toml.

    `key`: the base unit of an amount; band, tones (played together), two frequencies, within (a tolerance in dB),
    "either way" (one in another unit), number, reference; a condition's key; "named" for one without a key, with its
    name and value; "word" for one that isn't known; or a separator itself.
    """

    key: str
    value: Any
    text: str


def amount(number: str, unit: str) -> Token:
    """Return a value with its unit as a token under its base unit."""
    known = SINGLE_UNITS[unit]
    whole, _, part = number.removesuffix(".").partition(" ")
    value = float(whole) + float(Fraction(part)) if part else float(whole)
    return Token(known.base, scaled(value, known.factor), f"{number.removesuffix('.')} {symbol_of(known)}")


_compiled = cache(re.compile)


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
        if text[at].isspace():
            at += 1
            continue
        token, at = _next(text, at, known, words)
        tokens.append(token)
    return tokens


def _next(text: str, at: int, known: re.Pattern[str], words: Mapping[str, tuple[str, Any]]) -> tuple[Token, int]:
    if match := _compiled(_NAMED).match(text, at):
        name, value = (
            (match[2].removesuffix("s"), match[1].replace("-", " ")) if match[2] else ("cassette", f"C-{match[3]}")
        )
        return Token("named", (name, value), match[0]), match.end()
    if match := _compiled(_AT_RATIO).match(text, at):
        return Token("named", (SIGNAL_TO_NOISE, _decibels(match[1] or match[2])), match[0]), match.end()
    if match := _compiled(_EQUALISED).match(text, at):
        name = "de-emphasis" if (match[2] or match[3]).lower().startswith("de") else "equalisation"
        return Token("named", (name, f"{match[1] or match[4]} µs"), match[0]), match.end()
    if match := _compiled(_REFERENCE).match(text, at):
        return Token("reference", match[2] or "", " ".join(filter(None, (match[1], match[2])))), match.end()
    if match := known.match(text, at):
        key, value = words[plain(match[0])]
        return Token(key, value, match[0]), match.end()
    if match := _compiled(_WEIGHTED).match(text, at):
        return Token("weighting", weighting_of(match[1]), match[0]), match.end()
    if match := _compiled(_EITHER_WAY).match(text, at):
        return Token("within", None, f"{match[1]} dB"), match.end()
    if match := _compiled(_TWO_SIDES).match(text, at):
        low, high = match[2] or match[3], match[1] or match[4]
        return Token("within", [f"-{low} dB", f"+{high} dB"], match[0]), match.end()
    if match := _compiled(_EITHER_WAY_OF).match(text, at):
        half = amount(match[1], match[2])
        return Token("either way", (half.key, half.value, None), half.text), match.end()
    if match := _compiled(_TWO_SIDES_OF).match(text, at):
        return _two_sides(match), match.end()
    if match := _compiled(_BAND).match(text, at):
        return _band(match), match.end()
    if match := _compiled(_TONES).match(text, at):
        return _tones(match), match.end()
    if match := _compiled(_AMOUNT).match(text, at):
        return amount(match[1], match[2]), match.end()
    if match := _compiled(_BARE).match(text, at):
        return Token("number", float(match[0]), match[0]), match.end()
    if text[at] not in SEPARATORS and (match := _compiled(_WORD).match(text, at)):
        return Token("word", None, match[0]), match.end()
    return Token(text[at], None, text[at]), at + 1


def _decibels(text: str) -> str:
    return f"{text[:-2].strip()} dB"


def _two_sides(match: re.Match[str]) -> Token:
    high, of_high, low, of_low = match.groups()[:4] if match[1] else (match[7], match[8], match[5], match[6])
    upper, lower = amount(high, of_high or of_low), amount(low, of_low or of_high)
    return Token("either way", (upper.key, upper.value, [f"-{lower.text}", f"+{upper.text}"]), match[0])


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


def _phrases(phrases: str, key: str, value: Any) -> dict[str, tuple[str, Any]]:
    return {phrase.strip(): (key, value) for phrase in phrases.split(",")}


def _named(name: str, value: str, phrases: str) -> dict[str, tuple[str, Any]]:
    return _phrases(phrases, "named", (name, value))


# what both brochures and readings call conditions that have no key, and what has the same words in both
SHARED_WORDS: dict[str, tuple[str, Any]] = {
    # a power and a voltage are r.m.s. without being weighted by it
    **{word: ("weighting", name) for word, name in SPELLINGS.items() if not word.isdigit() and name != RMS},
    **_named("mode", "mono", "mono, monophonic, monaural"),
    **_named("mode", "stereo", "stereo, stereophonic"),
    **_named("tape", "normal", "normal tape, ferric tape, type i tape, type i, fe2o3 tape, standard tape"),
    **_named("tape", "chrome", "chrome tape, chromium tape, type ii tape, type ii, cro2 tape, cro2"),
    **_named("tape", "ferrichrome", "ferrichrome tape, type iii tape, type iii, fecr tape"),
    **_named("tape", "metal", "metal tape, type iv tape, type iv"),
    **_named("noise reduction", "on", "noise reduction on, nr on, with noise reduction on, with noise reduction"),
    **_named(
        "noise reduction", "off", "noise reduction off, nr off, without noise reduction, with noise reduction off"
    ),
    **_named("antenna", "ferrite", "ferrite antenna, bar antenna, ferrite bar antenna, ferrite rod antenna"),
    **_named("antenna", "internal", "internal antenna, built in antenna"),
    **_named("antenna", "loop", "loop antenna"),
    **_named("antenna", "external", "external antenna, outdoor antenna"),
    **_named("method", "EIAJ", "eiaj"),
    **_named("output", "pre out", "pre out, preamp out"),
    **_named("output", "tape out", "tape out, tape rec out"),
    **_named("output", "rec out", "rec out, recording output"),
    **_phrases("shorted, input shorted, inputs shorted, short circuited, shorted input", "termination", "shorted"),
    **_phrases("volume maximum, volume at maximum, volume control at maximum", "volume", "maximum"),
    **_phrases("volume minimum, volume at minimum, volume control at minimum", "volume", "minimum"),
}
