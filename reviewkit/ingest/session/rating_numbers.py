"""The numbers of a brochure's line with decimal points, and without marks between thousands."""

from __future__ import annotations

import re

from reviewkit.ingest.conditions import UNSIGNED
from reviewkit.ingest.session.rating_entries import NotUnderstood

_GROUPS = {mark: re.compile(rf"(?<![\w.,])[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+(?![\d.,]?\d)") for mark in ",."}
_DECIMALS = {
    mark: re.compile(rf"(?<![\w.,])(?:0{re.escape(mark)}\d+|\d+{re.escape(mark)}(?:\d{{1,2}}|\d{{4,}}))(?![.,]?\d)")
    for mark in ",."
}
_FROM_TO = re.compile(rf"({UNSIGNED})\s*(?:Hz)?\s*(?:\bto\b|-|~)\s*$", re.IGNORECASE)
_SPACED_GROUP = re.compile(r"(?<=[-~o]\d{2}) (?=\d{3}\s*Hz)|(?<=[-~o] \d{2}) (?=\d{3}\s*Hz)")  # 20 to 20 000 Hz


def with_points(text: str) -> str:
    """Return a text with decimal points and no marks between thousands.

    Raises
    ------
    NotUnderstood
        For a number that may be a thousand times another.
    """
    text = _SPACED_GROUP.sub("", text)
    shown = [mark for mark in ",." if _DECIMALS[mark].search(text)]
    if len(shown) == 2:
        raise NotUnderstood("has decimal commas and decimal points; write all its numbers with points")
    for mark, other in ((",", "."), (".", ",")):
        groups = _GROUPS[mark]
        for match in list(groups.finditer(text)):
            whole, point = match[0].replace(mark, ""), match[0].replace(mark, ".")
            before = _FROM_TO.search(text, 0, match.start())
            # 20 - 20,000 Hz rises only if the mark is between thousands
            falling = bool(before) and match[0].count(mark) == 1 and float(before[1]) >= float(point)  # type: ignore[index]
            if match[0].count(mark) > 1 or shown == [other] or falling:
                text = text.replace(match[0], whole)
            elif shown != [mark]:
                kilo = f", such as {float(whole) / 1000:g} kHz" if "Hz" in text else ""
                either = f"{whole} or {_surely_decimal(point)}"
                raise NotUnderstood(f'"{match[0]}" is {either}; write the one that is meant{kilo}')
    return re.sub(r"(?<=\d),(?=\d)", ".", text) if shown == [","] else text


def _surely_decimal(number: str) -> str:
    """Return a number with three decimals so that they aren't three digits after a mark between thousands."""
    shorter = number.rstrip("0").rstrip(".")
    return f"{number}0" if shorter == number else shorter
