"""Cells to numbers: the decimal mark, the cells without a number, and the value of each cell."""

from __future__ import annotations

import re
from collections.abc import Iterable

_EXPONENT = r"(?:[eEdD][+-]?\d+)?"


def _pattern(groups: str, decimals: str, bare: str) -> re.Pattern[str]:
    grouped = rf"[1-9]\d{{0,2}}(?:([{groups}])\d{{3}})(?:\1\d{{3}})*"
    return re.compile(rf"[+-]?(?:(?:{grouped}|\d+)(?:{decimals})?|{bare}){_EXPONENT}", re.ASCII)


# A digit group never begins with 0: 0,012 isn't 12.
_WRITTEN = {
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
        _WRITTEN["."].fullmatch(cell) is not None or _WRITTEN[","].fullmatch(cell) is not None
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
    elif _WRITTEN[decimal].fullmatch(cell):
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


def decimal_mark(cells: Iterable[tuple[int, str]]) -> tuple[str, tuple[int, str] | None]:
    """Return the decimal mark of a file's cells (line, cleaned cell), and the first cell that leaves it open, if any.

    A cell such as 1,5 or 0,012 or 1.234,5 shows the comma to be the decimal mark, 1,000.5 or 0.5 the point. If all
    cells are like 1,500, which is 1.5 in one country and 1500 in another, nobody can tell. The same goes for cells like
    1.500 among whole numbers; without those it is read as a decimal point.
    """
    votes = {".": 0, ",": 0}
    enough = 500  # a cell farther on that doesn't agree is reported as not a number
    in_doubt: tuple[int, str] | None = None
    for line, cell in cells:
        if "," in cell or "." in cell:
            mark = _shown_by(cell)
            if mark:
                votes[mark] += 1
                if votes[mark] >= enough:
                    break
            elif ONE_GROUP.fullmatch(cell) and (in_doubt is None or ("," in cell and "." in in_doubt[1])):
                in_doubt = (line, cell)
    if votes["."] or votes[","]:
        return (",", None) if votes[","] > votes["."] else (".", None)
    return ".", in_doubt


def _shown_by(cell: str) -> str:
    """Return the decimal mark that this cell alone proves, or ""."""
    if ONE_GROUP.fullmatch(cell):
        return ""
    point, comma = _WRITTEN["."].fullmatch(cell), _WRITTEN[","].fullmatch(cell)
    if point and not comma:
        return "."
    return "," if comma and not point else ""
