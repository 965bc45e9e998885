"""Cells to numbers: how they are written with either decimal mark, the signs for none, and the value of a cell."""

from __future__ import annotations

import re

_EXPONENT = r"(?:[eEdD][+-]?\d+)?"


def _pattern(groups: str, decimals: str, bare: str) -> re.Pattern[str]:
    grouped = rf"[1-9]\d{{0,2}}(?:([{groups}])\d{{3}})(?:\1\d{{3}})*"
    return re.compile(rf"[+-]?(?:(?:{grouped}|\d+)(?:{decimals})?|{bare}){_EXPONENT}", re.ASCII)


# A digit group never begins with 0: 0,012 isn't 12.
WRITTEN = {
    ".": _pattern(r" ',", r"\.\d*", r"\.\d+"),
    ",": _pattern(r" '.", r",\d+", r",\d+"),
}
_GROUP_MARKS = {".": " ',", ",": " '."}
_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LONGEST = 1000  # characters: anything longer isn't a number
ONE_GROUP = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)  # 1,500: either 1500 or 1.5
WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
_NO_READING = frozenset(
    ("", "nan", "ol", "o.l", "o.l.", "0l", "0.l", "inf", "infinity", "∞", "1.#inf", "1.#ind", "1.#qnan", "nan(ind)")
)


class NotANumber(ValueError):
    """Error for a cell that is neither a number nor one of the signs for a missing reading."""


def is_missing(cell: str) -> bool:
    """Return whether a cleaned cell marks a missing reading: blank, --, NaN, OL, inf."""
    return cell.lstrip("+-").casefold() in _NO_READING


def is_number(cell: str) -> bool:
    """Return whether a cleaned cell is a number, with either decimal mark."""
    return len(cell) <= _LONGEST and (
        WRITTEN["."].fullmatch(cell) is not None or WRITTEN[","].fullmatch(cell) is not None
    )


def number(cell: str, decimal: str) -> float | None:
    """Return the value of a cleaned cell; None for a missing reading.

    Raises
    ------
    NotANumber
        If it is any other text.
    """
    if len(cell) > _LONGEST:
        raise NotANumber(cell)
    if decimal == "." and _PLAIN.fullmatch(cell):
        value = float(cell)
    elif WRITTEN[decimal].fullmatch(cell):
        for group in _GROUP_MARKS[decimal]:
            cell = cell.replace(group, "")
        value = float(cell.replace(decimal, ".").replace("d", "e").replace("D", "e"))
    elif is_missing(cell):
        return None
    else:
        raise NotANumber(cell)
    if value in (float("inf"), float("-inf")):
        raise NotANumber(cell)
    return value
