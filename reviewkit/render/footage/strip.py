"""Strips for the lower third: a card's key figure on one plate, ready to lay over footage."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reviewkit.model.card import Card, Readout
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.look import (
    FRAME_HEIGHT,
    FRAME_WIDTH,
    KEY,
    KEY_LEAST,
    LABEL,
    LEAST,
    READING,
    SAFE_BOTTOM,
    SAFE_LEFT,
    SAFE_RIGHT,
    Look,
)
from reviewkit.render.cards.needle import notch_height, place_needle, pointer_depth
from reviewkit.render.cards.paint import NO_FONTS, Fonts
from reviewkit.render.cards.png import encode_png_with_alpha
from reviewkit.render.cards.readings import SHORTEN_READING
from reviewkit.render.cards.scene import Box, Item, Page, Text
from reviewkit.render.cards.typeset import Setting, fit_text
from reviewkit.render.footage.overlay import draw_plate, paint_on_plate
from reviewkit.verdict.verdict_words import CLOSE

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

TOP = 720  # of the frame: the lower third begins there
_WIDTH = SAFE_RIGHT - SAFE_LEFT
_LAST_BASELINE = SAFE_BOTTOM - 48.0
_GAP, _SMALL_GAP = 64.0, 28.0
_PITCH, _UNDER_TITLE = 44.0, 50.0
_TITLE_SIZES = (READING, 46.0, 42.0, 40.0, 38.0, LEAST)
_WORD = 46.0
_FIGURE_SIZES = (KEY, 82.0, 74.0, KEY_LEAST)
_NEEDLE = 168.0

SHORTEN_STRIP = "shorten title = … or setting = … of its [[measurement]]"


@dataclass(frozen=True)
class StripContent:
    """The texts and the verdict of a strip.

    Attributes
    ----------
    conditions
        The indispensable one first, those that may be left out last.
    """

    title: str
    label: str
    conditions: tuple[str, ...]
    figure: str
    channel: str = ""
    verdict: Verdict | None = None


def choose_content(card: Card) -> StripContent | None:
    """Choose what a card shows on its strip: its key figure with the verdict on it, if there is one.

    Failing that, its first verdict with the measured figure. Returns None if it has neither.
    """
    conditions = tuple(part for part in card.conditions.split(" · ") if part)
    for reading in card.readings:
        if reading.key:
            same = [v for v in card.verdicts if _same_figure(reading.key, v.measured)]
            # prefer the rating of the figure itself to one that merely shares its number
            verdict = next((v for v in same if v.measured == reading.key), same[0] if same else None)
            label = _label(card.title, reading.label, conditions)
            return StripContent(
                card.title, label, conditions, _figure(reading.key, verdict), _channel(reading), verdict
            )
    for verdict in card.verdicts:
        if verdict.measured:
            return StripContent(card.title, verdict.label, conditions, verdict.measured, "", verdict)
    return None


def _label(title: str, label: str, conditions: Sequence[str]) -> str:
    """Return a readout's label without what the strip says already."""
    said = (title.casefold(), *(part.casefold() for part in conditions))
    rest = ", ".join(part for part in label.split(", ") if part.casefold() not in said)
    return rest if conditions else label


def _figure(key: str, verdict: Verdict | None) -> str:
    """Return the figure, with its uncertainty if that decides the verdict."""
    close = verdict is not None and verdict.verdict == CLOSE and verdict.measured.split(" ")[0] == key.split(" ")[0]
    return verdict.measured if close and verdict is not None else key


def _same_figure(key: str, measured: str) -> bool:
    """Tell whether a verdict is about the key figure: "−64.0 dB" and "64.0 dB"."""
    now = key.rpartition("→")[2].strip()
    number, other = (re.search(r"\d[\d.]*", text) for text in (now, measured))
    return (
        number is not None and other is not None and number[0] == other[0] and now[number.end() :].strip() in measured
    )


def _channel(reading: Readout) -> str:
    """Return the key figure's channel: its own, or that of the only row with the same figure."""
    same = [row[0] for row in reading.rows if len(row) == 2 and row[1] == reading.key]
    return reading.channel or (same[0] if len(same) == 1 else "")


# ------------------------------------------------------------------ layout


def lay_out_strip(page: Page, what: StripContent) -> None:
    """Place a strip in the lower third: title above label and conditions, the figure, the needle.

    Raises
    ------
    LayoutFault
        If even the shortest form doesn't fit.
    """
    beside = _needle_width(page, what.verdict)
    for lines in (1, 2, 3):
        for size in _FIGURE_SIZES:
            figure = _figure_width(page, what, size)
            room = _WIDTH - figure - beside - _GAP
            title = fit_text(page, what.title, _TITLE_SIZES, room, bold=True, most=lines)
            if title is None:
                continue
            for label in _label_forms(what):
                under = fit_text(page, label, (LABEL,), room, most=lines)
                if under is not None:
                    _place(page, what, title, under, size, SAFE_LEFT + max(title.width, under.width) + _GAP, figure)
                    return
    raise page.fault(max(what.title, what.label, key=len), SHORTEN_STRIP, "does not fit on the strip")


def _label_forms(what: StripContent) -> Iterator[str]:
    """Yield label and conditions, from all of them down to the first, which no figure goes without."""
    for count in range(len(what.conditions), min(len(what.conditions), 1) - 1, -1):
        yield " · ".join(part for part in (what.label, *what.conditions[:count]) if part)


def _figure_width(page: Page, what: StripContent, size: float) -> float:
    whose = page.width(what.channel, READING, True) + _SMALL_GAP if what.channel else 0.0
    return page.width(what.figure, size, True) + whose


def _needle_width(page: Page, verdict: Verdict | None) -> float:
    """Return the width of the needle, its words and the gap before it; 0 without a verdict."""
    return _GAP + _NEEDLE + _SMALL_GAP + _words_width(page, verdict) if verdict else 0.0


def _words_width(page: Page, verdict: Verdict) -> float:
    return max(page.width(verdict.verdict, _WORD, True), page.width(_limit_text(verdict), LABEL))


def _limit_text(verdict: Verdict) -> str:
    return f"rated {verdict.limit}" if verdict.limit else ""


def _place(
    page: Page, what: StripContent, title: Setting, under: Setting, size: float, x: float, figure: float
) -> None:
    """Place everything; `x`: the figure's left edge, `figure`: its width including the channel."""
    look = page.look
    first = _LAST_BASELINE - (len(under.lines) - 1) * _PITCH
    baseline = first - _UNDER_TITLE - (len(title.lines) - 1) * title.size * 1.1
    middle = (baseline - page.cap(READING, True) + _LAST_BASELINE) / 2
    for line in title.lines:
        page.add(page.text(line, SAFE_LEFT, baseline, title.size, look.ink, bold=True, remedy=SHORTEN_STRIP))
        baseline += title.size * 1.1
    for index, line in enumerate(under.lines):
        page.add(page.text(line, SAFE_LEFT, first + index * _PITCH, LABEL, look.soft, remedy=SHORTEN_STRIP))
    with page.part_of("reading"):
        foot = middle + page.cap(size, True) / 2
        page.add(page.text(what.figure, x, foot, size, look.ink, bold=True, remedy=SHORTEN_READING))
        if what.channel:
            colour = look.channel(what.channel)
            page.add(page.text(what.channel, x + figure, foot, READING, colour, bold=True, anchor="right"))
    if what.verdict:
        with page.part_of("needle"):
            _place_needle(page, what.verdict, x + figure + _GAP, middle)


def _place_needle(page: Page, verdict: Verdict, x: float, middle: float) -> None:
    look = page.look
    place_needle(
        page,
        x,
        middle + (notch_height(_NEEDLE) - pointer_depth(_NEEDLE)) / 2,
        _NEEDLE,
        verdict.position,
        verdict.verdict,
    )
    x += _NEEDLE + _SMALL_GAP
    limit = _limit_text(verdict)
    height = page.cap(_WORD, True) + (_UNDER_TITLE if limit else 0.0)
    baseline = middle - height / 2 + page.cap(_WORD, True)
    page.add(page.text(verdict.verdict, x, baseline, _WORD, look.status(verdict.verdict), bold=True))
    if limit:
        page.add(page.text(limit, x, baseline + _UNDER_TITLE, LABEL, look.soft, remedy=SHORTEN_STRIP))


# ------------------------------------------------------------------ the picture


def draw_strip(items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS) -> tuple[Bytes, int]:
    """Draw the lower third of a strip's frame, as `draw_overlay` draws a whole one.

    Returns
    -------
    tuple of ndarray and int
        Pixels of shape (rows, width, 4), straight alpha, valid until the next picture of this size is painted; and the
        frame's row that is their first. Everything above is transparent.
    """
    scale = width / FRAME_WIDTH
    first, end = round(TOP * scale), round(FRAME_HEIGHT * scale)
    texts = [item.box for item in items if isinstance(item, Text)]
    around = Box(
        SAFE_LEFT,
        min(box.top for box in texts),
        max(box.right for box in texts),
        _LAST_BASELINE,
    )
    return paint_on_plate(items, draw_plate([around], look, width, (first, end)), width, fonts, first), first


def encode_strip(items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS) -> bytes:
    """Draw a strip and encode its full frame as a PNG."""
    pixels, first = draw_strip(items, look, width, fonts)
    return encode_png_with_alpha(pixels, first)
