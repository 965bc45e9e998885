"""Times as they are noted while filming: M:SS, H:MM:SS, with fractions. Exact, so that differences are too."""

from __future__ import annotations

import re
from fractions import Fraction

DAY_S = 86_400
_TIME = re.compile(r"(\d{1,4}):(\d{1,2})(?::(\d{1,2}))?([.,]\d{1,9})?")
LOOKS_LIKE_TIME = re.compile(r"\d+:\d")


def read_time(text: str, *, clock: bool = False) -> Fraction:
    """Return the seconds of a time as written.

    Parameters
    ----------
    text : str
        M:SS or H:MM:SS, with or without a fraction.
    clock : bool
        Whether it is a time of day, HH:MM:SS.

    Raises
    ------
    ValueError
        The text is not such a time; the message says what to write.
    """
    form = "HH:MM:SS, as in 21:10:32" if clock else "M:SS or H:MM:SS, as in 6:12"
    match = _TIME.fullmatch(text)
    if not match:
        raise ValueError(f'"{text[:40]}" is not a time; write {form}')
    first, second, third, fraction = match.groups()
    if fraction and fraction.startswith(","):
        raise ValueError(f'"{text}" has a comma; write {text.replace(",", ".")}')
    if clock and third is None:
        raise ValueError(f'"{text}" is not a time of day; after "clip … at" write {form}')
    for part, name in ((second, "minutes" if third else "seconds"), (third, "seconds")):
        if part is not None and len(part) != 2:
            raise ValueError(f'"{text}" has one digit in its {name}; write two: {form}')
        if part is not None and int(part) > 59:
            raise ValueError(f'"{text}": {name} go up to 59; write {form}')
    hours, minutes, seconds = (int(first), int(second), int(third)) if third else (0, int(first), int(second))
    if clock and hours > 23:
        raise ValueError(f'"{text}": the hours of a day go up to 23; write {form}')
    return hours * 3600 + minutes * 60 + seconds + Fraction(f"0{fraction or ''}")


def show_time(seconds: Fraction) -> str:
    """Return a time as notes have it: 0:41, 13:10.5, 1:02:03."""
    whole = int(seconds)
    hours, minutes = divmod(whole // 60, 60)
    rest = f"{float(seconds - whole):.3f}".rstrip("0").rstrip(".")[1:] if seconds != whole else ""
    start = f"{hours}:{minutes:02d}" if hours else str(minutes)
    return f"{start}:{whole % 60:02d}{rest}"
