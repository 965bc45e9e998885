"""Single values of session.toml as they are written by hand.

A reader gets a value of the type that pydantic has checked and returns the value, or raises ValueError: what is wrong
with it, and what to write instead. The caller puts the key and the value before it.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

from reviewkit.ingest.sheet.sheet_remedies import KEYS
from reviewkit.model.errors import nearest
from reviewkit.model.gear import TYPES
from reviewkit.model.mains import mains_of
from reviewkit.model.targets import FLAT, FM_S, seconds_of
from reviewkit.model.units import normalised

# Broadcast and film rates that are written rounded, and are n × 1000/1001 exactly (SMPTE practice, from memory).
_NOMINAL_RATES = (24, 30, 48, 60, 120)
_LONGEST_CONDITION, _MOST_CONDITIONS = 40, 10
# conditions that have a key
OWN_KEYS = (
    *("load", "input", "channels", "band", "frequency", "level", "power", "weighting", "reference", "termination"),
    *("volume", "setting", "stage", "tones", "thd"),
)
_RATE = re.compile(r"\s*\d{1,6}(\.\d{1,6}|/0*[1-9]\d{0,5})?\s*")


def with_remedy(message: str, example: str) -> str:
    """Return a message with an example of what to write, if it doesn't have a remedy yet."""
    unquoted = re.sub(r'"[^"]*"', "", message)  # without the user's own text
    if not example or "; " in unquoted or "(write " in unquoted:
        return message
    return f"{message}; write for example {example}"


# ------------------------------------------------------------------ readers


def read_path(path: str) -> str:
    """Return a path in the session's folder.

    Raises
    ------
    ValueError
        If it has a character that can't be printed.
    """
    if not path.isprintable():
        # "\r" and "\t" are signs of their own in quotation marks, so a backslash may have gone unnoticed
        raise ValueError("holds a backslash or a line break; write / between the parts of a path")
    return path


def read_colour(text: str) -> str:
    """Return a colour as "#rrggbb" in small letters.

    Raises
    ------
    ValueError
        If it isn't written in three or six hexadecimal digits.
    """
    colour = text.lower()
    if re.fullmatch(r"#[0-9a-f]{3}", colour):
        return "#" + "".join(digit * 2 for digit in colour[1:])
    if not re.fullmatch(r"#[0-9a-f]{6}", colour):
        raise ValueError('is not a colour; write red, green and blue in hexadecimal digits, for example "#ffd98a"')
    return colour


def read_address(text: str) -> str:
    """Return the address of a page on the web.

    Raises
    ------
    ValueError
        If it is neither empty nor an http or https address.
    """
    if text and not re.fullmatch(r"https?://[^\s/?#<>\"']+[^\s<>\"']*", text):
        raise ValueError('is not the address of a page; write for example "https://example.org/forty"')
    return text


def read_currency(text: str) -> str:
    """Return a currency's code of three letters (ISO 4217).

    Raises
    ------
    ValueError
        If it is written in any other way.
    """
    code = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}.get(text, text.upper())
    if not re.fullmatch("[A-Z]{3}", code):
        raise ValueError('is not a currency code; write three letters, for example "USD"')
    if code != text:
        raise ValueError(f'is not a currency code; write "{code}"')
    return code


def read_frame_rate(value: Any) -> Fraction:
    """Return a frame rate in frames a second, exactly: 29.97 and "29.97" are 30000/1001, and so on.

    Raises
    ------
    ValueError
        If it is neither a whole number from 1 to 240 nor a rate in use.
    """
    text = str(value) if isinstance(value, (int, float, str)) else ""
    exact = Fraction(text.strip()) if _RATE.fullmatch(text) else Fraction(0)
    if exact.denominator == 1 and 1 <= exact <= 240:
        return exact
    for nominal in _NOMINAL_RATES:
        rate = Fraction(nominal * 1000, 1001)
        if abs(exact - rate) <= Fraction(1, 200):
            return rate
    raise ValueError("is not a frame rate; write 23.976, 24, 25, 29.97, 30, 50, 59.94 or 60")


def read_mains(text: str) -> str:
    """Return a mains supply as it is written; it must be readable as volts and hertz."""
    mains_of(text)
    return text


def read_column(value: Any) -> str | int:
    """Return the column of a file that is meant: its header's text, or its number from 1.

    Raises
    ------
    ValueError
        If it is neither; the message says what to write.
    """
    if isinstance(value, str) and value.strip():
        return value.strip()
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError("is not a column; write its header in quotation marks or its number from 1")
    if not 1 <= value <= 10_000:
        raise ValueError("is not a column; columns are numbered from 1")
    return value


def read_column_name(word: str) -> str:
    """Return a column's name in `columns` or `units`.

    Raises
    ------
    ValueError
        If no column has that name. The message suggests the nearest.
    """
    if word not in KEYS:
        raise ValueError(f"is not a column; {nearest(word, KEYS)}")
    return word


def read_channel(word: str) -> str:
    """Return a channel of a two-load reading.

    Raises
    ------
    ValueError
        If it isn't L or R.
    """
    if word not in ("L", "R"):
        raise ValueError('is not a channel; write for example volts = { L = ["12.71 V", "12.46 V"] }')
    return word


def read_target(text: str) -> str:
    """Return the curve that a response is meant to follow: time constants as printed, "flat", or a file's path.

    Raises
    ------
    ValueError
        If time constants aren't those of FM or tape.
    """
    seconds = seconds_of(normalised(text))
    if not seconds:
        return FLAT if text.casefold() == FLAT else read_path(text)
    constants = sorted(float(f"{each * 1e6:.6g}") for each in seconds)
    if len(constants) == 1 and seconds[0] not in FM_S:
        raise ValueError('is no de-emphasis of FM; write "50 µs" or "75 µs", or of tape for example "inf + 35 µs"')
    if len(constants) == 2 and not (constants[0] <= 200 and constants[1] >= 1000):
        raise ValueError('is no equalisation of tape; write for example "3180 + 120 µs"')
    return f"{' + '.join(f'{each:g}' for each in reversed(constants))} µs"


def read_types(value: Any) -> tuple[str, ...]:
    """Return the types of a unit: one word, or several of one unit in a list.

    Raises
    ------
    ValueError
        If one isn't known; the message says what to write.
    """
    words = value if isinstance(value, list) else [value]
    spelled = [
        " ".join(word.casefold().replace("equalizer", "equaliser").split()) for word in words if isinstance(word, str)
    ]
    unknown = next((word for word in spelled if word not in TYPES), None)
    if unknown is not None:
        raise ValueError(f"is not a type of gear; {nearest(unknown, TYPES)}")
    if not words or len(spelled) < len(words) or len(words) > len(TYPES):
        raise ValueError('is not a type of gear; write for example "tuner" or ["tuner", "amplifier"]')
    return tuple(dict.fromkeys(spelled))


def read_conditions(named: Any) -> tuple[tuple[str, str], ...]:
    """Return conditions that the user names, in the order of their names: `{ tape = "chrome" }`.

    Raises
    ------
    ValueError
        If it isn't a table, a name or a value is empty, or a name is one of the program's own; the message says what to
        write.
    """
    if not isinstance(named, dict) or len(named) > _MOST_CONDITIONS:
        raise ValueError('is not a table in braces; write for example { tape = "chrome" }')
    read: dict[str, str] = {}
    for name, value in named.items():
        spelled = " ".join(name.casefold().replace("_", " ").split())
        text = " ".join(str(value).split()) if isinstance(value, (str, int, float)) else ""
        if not spelled or not text or isinstance(value, bool) or not (spelled + text).isprintable():
            raise ValueError('has a name or a value that is not text; write for example { tape = "chrome" }')
        if spelled in OWN_KEYS:
            raise ValueError(f'names "{spelled}", which is a key of its own; write {spelled} = "…" outside the braces')
        if len(spelled) > _LONGEST_CONDITION or len(text) > _LONGEST_CONDITION:
            raise ValueError(f"holds more than {_LONGEST_CONDITION} characters; shorten it")
        if spelled in read:
            raise ValueError(f'names "{spelled}" twice; keep one')
        read[spelled] = text
    return tuple(sorted(read.items()))
