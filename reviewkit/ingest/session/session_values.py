"""Single values of session.toml, as a hand writes them. Each function returns the value or raises ValueError.

A message begins with what is there and ends with what to write; the caller puts the key before it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date, time
from fractions import Fraction
from typing import Any

from reviewkit.ingest.plain_text import BIDIRECTIONAL
from reviewkit.model.errors import shortened
from reviewkit.model.mains import mains_of

YEARS = (1850, 2200)
LONGEST_TEXT = 1000  # characters: some ten lines of a page
# Broadcast and film rates that are written rounded, and are n × 1000/1001 exactly (SMPTE practice, from memory).
_NOMINAL_RATES = (24, 30, 48, 60, 120)
_CONTROL = re.compile(rf"[\x00-\x1f\x7f\u0085\u2028\u2029{BIDIRECTIONAL}]")
NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)")


def written(value: object) -> str:
    """A value as it would stand in TOML, shortened where it is long."""
    text = _written(value, 3)
    return text if len(text) <= 60 else f"{text[:57]}…"


def _written(value: object, depth: int) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{printable(value[:80])}"'
    if isinstance(value, int):
        return str(value) if abs(value) < 10**60 else "a very long number"
    if isinstance(value, (list, dict)) and not depth:
        return "…"
    if isinstance(value, list):
        return f"[{', '.join(_written(item, depth - 1) for item in value[:8])}]"
    if isinstance(value, dict):
        pairs = (f"{key} = {_written(item, depth - 1)}" for key, item in list(value.items())[:8])
        return f"{{ {', '.join(pairs)} }}" if value else "{}"
    return str(value)


def _bare(value: str) -> str:
    return shortened(value.strip(), 60)


def printable(text: str) -> str:
    """Text that can be shown on one line of a terminal: signs that cannot be seen are written as codes."""
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)


def one_of(names: tuple[str, ...]) -> str:
    """Names as a choice: "lamplight" or "brochure"."""
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


# ------------------------------------------------------------------ text, numbers, choices


def text(value: Any) -> str:
    """One line of text, stripped."""
    if isinstance(value, (bool, int, float, date, time)):
        raise ValueError(f'{written(value)} is no text; write "{written(value)}"')
    if not isinstance(value, str):
        raise ValueError(f"{written(value)} is no text; write one text in quotation marks")
    if _CONTROL.search(value.strip()):
        raise ValueError(f"{written(value)} holds a line break or a control character; write it on one line")
    if len(value) > LONGEST_TEXT:
        raise ValueError(f"{written(value)} has {len(value)} characters; shorten it to at most {LONGEST_TEXT}")
    return value.strip()


def path(value: Any) -> str:
    """A path in the session's folder."""
    if isinstance(value, str) and _CONTROL.search(value.strip()):
        # "\r" and "\t" are signs of their own in quotation marks, so a backslash may have gone unnoticed
        raise ValueError(f"{written(value)} holds a backslash or a line break; write / between the parts of a path")
    return text(value)


def colour(value: Any) -> str:
    """A colour, red, green and blue in two hexadecimal digits each, in small letters."""
    found = text(value).lower()
    if re.fullmatch(r"#[0-9a-f]{3}", found):
        return "#" + "".join(digit * 2 for digit in found[1:])
    if not re.fullmatch(r"#[0-9a-f]{6}", found):
        raise ValueError(
            f'{written(value)} is no colour; write red, green and blue as "#rrggbb", for example "#ffd98a"'
        )
    return found


def filled(example: str) -> Callable[[Any], str]:
    """A reader of one line of text that must not be empty."""

    def read(value: Any) -> str:
        line = text(value)
        if not line:
            raise ValueError(f'{written(value)} is empty; write for example "{example}"')
        return line

    return read


def number(low: float, high: float, example: str) -> Callable[[Any], float]:
    """A reader of a bare number above `low` and up to `high`."""

    def read(value: Any) -> float:
        if isinstance(value, str) and NUMBER.fullmatch(value.strip()):
            raise ValueError(f"{written(value)} is text; write the number without quotation marks: {_bare(value)}")
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError(f"{written(value)} is no number; write for example {example}")
        if not low < value <= high:  # also false for nan
            bounds = "above zero" if high == math.inf and not low else f"above {low:g} and at most {high:g}"
            raise ValueError(f"{written(value)} is not {bounds}; write for example {example}")
        if value > 1e12:
            raise ValueError(f"{written(value)} is too large; write for example {example}")
        if abs(value) < 1e-9:
            raise ValueError(f"{written(value)} is too small; write for example {example}")
        return float(value)

    return read


def year(value: Any) -> int:
    """A calendar year."""
    if isinstance(value, str) and value.strip().isdecimal():
        raise ValueError(f"{written(value)} is text; write the number without quotation marks: {_bare(value)}")
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{written(value)} is no year; write for example 1977")
    if not YEARS[0] <= value <= YEARS[1]:
        raise ValueError(f"{written(value)} is no year from {YEARS[0]} to {YEARS[1]}; write for example 1977")
    return value


def choice(*names: str) -> Callable[[Any], str]:
    """A reader of one of a few words; case is forgiven."""

    def read(value: Any) -> str:
        word = value.strip().casefold() if isinstance(value, str) else None
        for name in names:
            if name.casefold() == word:
                return name
        raise ValueError(f"{written(value)} is not known; write {one_of(names)}")

    return read


def currency(value: Any) -> str:
    """A currency's code of three letters (ISO 4217)."""
    word = text(value)
    code = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}.get(word, word.upper())
    if not re.fullmatch("[A-Z]{3}", code):
        raise ValueError(f'{written(value)} is no currency code; write three letters, for example "USD"')
    if code != word:
        raise ValueError(f'{written(value)} is no currency code; write "{code}"')
    return code


def frame_rate(value: Any) -> Fraction:
    """Frames a second, exactly: 29.97 and "29.97" are 30000/1001, and so on; whole numbers are themselves."""
    remedy = "write 23.976, 24, 25, 29.97, 30, 50, 59.94 or 60"
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(f"{written(value)} is no frame rate; {remedy}")
    if isinstance(value, str) and not re.fullmatch(r"\s*\d{1,6}(\.\d{1,6}|/0*[1-9]\d{0,5})?\s*", value):
        raise ValueError(f"{written(value)} is no frame rate; {remedy}")
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{written(value)} is no frame rate; {remedy}")
    exact = Fraction(value.strip() if isinstance(value, str) else repr(value))
    if exact.denominator == 1 and 1 <= exact <= 240:
        return exact
    for nominal in _NOMINAL_RATES:
        rate = Fraction(nominal * 1000, 1001)
        if abs(exact - rate) <= Fraction(1, 200):
            return rate
    raise ValueError(f"{written(value)} is no frame rate; {remedy}")


def mains(value: Any) -> str:
    """A mains supply, kept as written; it must be readable as volts and hertz."""
    supply = text(value)
    mains_of(supply)
    return supply


def column(value: Any) -> str | int:
    """Which column of a file: its header's text, or its number from 1."""
    if isinstance(value, int) and not isinstance(value, bool):
        if not 1 <= value <= 10_000:
            raise ValueError(f"{written(value)} is no column; columns are numbered from 1")
        return value
    if isinstance(value, str) and value.strip():
        return value.strip()
    raise ValueError(f"{written(value)} is no column; write its header in quotation marks or its number from 1")


def weighting(word: str) -> str:
    """A weighting's name; a single letter is a capital, so that "a" and "A" are the same filter."""
    return word.upper() if len(word) == 1 else word
