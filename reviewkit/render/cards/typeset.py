"""Line breaking, at the place a careful typographer would choose."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import itemgetter

from reviewkit.render.cards.scene import Measure, Page

# costs of a break: none at a dot between conditions, high inside "40 W" or "20 Hz – 20 kHz"
_AT_DOT, _AT_COMMA, _AT_SPACE, _AT_HYPHEN, _IN_QUANTITY, _IN_WORD = 0, 1, 2, 4, 20, 100

_LONG_WORD = re.compile("[a-z]{7}")  # longer than any unit


@dataclass(frozen=True)
class Setting:
    """A text as set: size and lines."""

    size: float
    lines: tuple[str, ...]
    width: float  # of the widest line


def _breaks(text: str, anywhere: bool) -> Iterator[tuple[int, str, str]]:
    """Yield every possible break as (cost, text before it, text after it)."""
    for match in re.finditer(r" · | |(?<=[-/])(?=\w)", text):
        before, after = text[: match.start()], text[match.end() :]
        if not before or not after:
            continue
        if match[0] == " · ":
            cost = _AT_DOT
        elif not match[0]:
            cost = _AT_HYPHEN
        elif before[-1] == "·" or after[0] == "·":
            continue
        elif before[-1] == ",":
            cost = _AT_COMMA
        elif before[-1].isdigit() and _LONG_WORD.match(after):  # "10 ratings" is no quantity
            cost = _AT_SPACE
        elif before[-1].isdigit() or before[-1] in "–±≤" or after[0] == "–":
            cost = _IN_QUANTITY
        else:
            cost = _AT_SPACE
        yield cost, before, after
    if anywhere:
        for at in range(2, len(text) - 1):
            if text[at - 1].isalnum() and text[at].isalnum():
                yield _IN_WORD, text[:at], text[at:]


def _break_lines(
    measure: Measure, text: str, size: float, weight: str, width: float, most: int, anywhere: bool
) -> tuple[int, float, tuple[str, ...]] | None:
    """Return the cheapest breaking into at most `most` lines, as (cost, widest line, lines); None if none fits."""
    whole = measure(text, size, weight).width
    if whole <= width:
        return 0, whole, (text,)
    if most == 1 or whole > width * most:
        return None
    best: tuple[int, float, tuple[str, ...]] | None = None
    for cost, before, after in sorted(_breaks(text, anywhere), key=itemgetter(0)):  # measuring costs more than sorting
        if best is not None and cost > best[0]:
            break
        first = measure(before, size, weight).width
        if first > width:
            continue
        rest = _break_lines(measure, after, size, weight, width, most - 1, anywhere)
        if rest is not None:
            candidate = (cost + rest[0], max(first, rest[1]), (before, *rest[2]))
            if best is None or candidate[:2] < best[:2]:
                best = candidate
    return best


def fit_text(
    page: Page,
    text: str,
    sizes: Sequence[float],
    width: float,
    *,
    weight: str = "regular",
    most: int = 1,
    anywhere: bool = False,
) -> Setting | None:
    """Fit a text into a width: at the largest size on one line, else on two, up to `most` lines.

    More lines are tried only after every size.

    Parameters
    ----------
    page : Page
        Measures the text.
    text : str
        The text.
    sizes : sequence of float
        Em sizes to try, falling.
    width : float
        Width in pixels.
    weight : str
        "light", "regular", "bold" or "black".
    most : int
        Largest number of lines.
    anywhere : bool
        True to allow a break inside a word as the last resort (names).

    Returns
    -------
    Setting or None
        None if nothing fits.
    """
    for lines in range(1, most + 1):
        for size in sizes:
            found = _break_lines(page.measure, text, size, weight, width, lines, anywhere)
            if found is not None:
                return Setting(size, found[2], found[1])
    return None


def cut_text(page: Page, text: str, size: float, width: float, weight: str = "regular") -> Setting:
    """Return a text on one line, cut off with an ellipsis if it is too long: for a name shown in full later."""
    if page.width(text, size, weight) <= width:
        return Setting(size, (text,), page.width(text, size, weight))
    kept = next((n for n in range(len(text) - 1, 0, -1) if page.width(f"{text[:n]}…", size, weight) <= width), 0)
    line = f"{text[:kept].rstrip(' ,-')}…"
    return Setting(size, (line,), page.width(line, size, weight))


def place_lines(
    page: Page,
    setting: Setting,
    x: float,
    baseline: float,
    pitch: float,
    colour: str,
    *,
    weight: str = "regular",
    anchor: str = "left",
    remedy: str = "",
) -> float:
    """Place the lines of a setting, the first on a baseline; return the last one's. The rest: see `Page.text`."""
    for index, line in enumerate(setting.lines):
        at = baseline + index * pitch
        page.add(page.text(line, x, at, setting.size, colour, weight=weight, anchor=anchor, remedy=remedy))
    return baseline + (len(setting.lines) - 1) * pitch


def line_pitch(page: Page, setting: Setting, weight: str, leading: float) -> float:
    """Return the distance of a setting's baselines: `leading` in em, more if accents would touch what hangs above."""
    extents = [page.measure(line, setting.size, weight) for line in setting.lines]
    touching = (above.drop + below.rise + 3.0 for above, below in pairwise(extents))
    return max([setting.size * leading, *touching])


def fit_block(
    page: Page,
    text: str,
    sizes: Sequence[float],
    width: float,
    height: float,
    *,
    weight: str = "black",
    most: int = 3,
    leading: float = 1.0,
    anywhere: bool = False,
) -> Setting | None:
    """Fit a text into a rectangle at the largest size that any number of lines allows.

    Parameters
    ----------
    page : Page
        Measures the text.
    text : str
        The text.
    sizes : sequence of float
        Em sizes to try, falling.
    width, height : float
        The rectangle, in pixels.
    weight : str
        "light", "regular", "bold" or "black".
    most : int
        Largest number of lines.
    leading : float
        Pitch of the lines, in em.
    anywhere : bool
        True to allow a break inside a word, if no size does without.

    Returns
    -------
    Setting or None
        None if nothing fits.
    """
    for broken in (False, True) if anywhere else (False,):
        for size in sizes:
            setting = fit_text(page, text, (size,), width, weight=weight, most=most, anywhere=broken)
            if setting is None:
                continue
            pitch = line_pitch(page, setting, weight, leading)
            if page.cap(size, weight) + (len(setting.lines) - 1) * pitch <= height:
                return setting
    return None
