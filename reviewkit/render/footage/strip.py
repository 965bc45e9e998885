"""Strips for the lower third: a card's title and its one figure on a plate, ready to lay over footage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from reviewkit.model.card import Card, Ending, Hero, Number
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.colours import Look
from reviewkit.render.cards.frame import overline
from reviewkit.render.cards.hero import HeroBlock, halves, lay_out_hero, margin_text
from reviewkit.render.cards.layout_check import bounds, find_problems
from reviewkit.render.cards.needle import FOOT, NOTCH, fit_scale, place_needle
from reviewkit.render.cards.paint import NO_FONTS, Fonts
from reviewkit.render.cards.png import encode_png_with_alpha
from reviewkit.render.cards.scene import Item, Page, Text
from reviewkit.render.cards.shape import WIDE, Shape
from reviewkit.render.cards.sizes import AXIS, LEAST
from reviewkit.render.cards.typeset import Setting, fit_text
from reviewkit.render.footage.overlay import MARGIN, draw_plate, paint_on_plate

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

_TOP = {"wide": 684, "tall": 940, "square": 460}  # of the frame: everything above is transparent
_UNDER_TEXT = 44.0  # from the last baseline to the end of the safe box
_GAP, _SMALL_GAP = 64.0, 28.0
_TITLES, _TALL_TITLES = (54.0, 50.0, 46.0, 42.0, 40.0, 38.0, LEAST), (72.0, 64.0, 58.0, 54.0, 48.0)
_HEROES, _TALL_HEROES = (112.0, 104.0, 96.0, 88.0, 80.0, 72.0, 64.0), (150.0, 138.0, 126.0, 112.0, 96.0, 80.0, 64.0)
_WORD, _LONG_WORD = 64.0, 52.0
_NEEDLE = 190.0
_FORMS = ((_NEEDLE, True), (0.0, True), (0.0, False))  # the needle and the rating are shown if there is room
_UNDER_TITLE, _LINE = 54.0, 52.0
_PITCH = 1.15  # of lines, in em

SHORTEN_STRIP = "shorten title = … or setting = … of its [[measurement]]"


@dataclass(frozen=True)
class StripContent:
    """The texts and the figure of a strip."""

    title: str
    conditions: str
    hero: Hero
    verdict: Verdict | None = None


def choose_content(card: Card) -> StripContent | None:
    """Choose what a card shows on its strip: what is large on the card; None if that isn't a figure."""
    body, subject = card.body, card.subject
    hero: Hero | None
    if isinstance(body, Number):
        title, hero = body.sentence, Hero(body.figure, bound=body.bound)
    elif isinstance(body, Ending):
        title, hero = body.word, body.hero
        if hero is not None:
            subject, hero = hero.heading, replace(hero, caption="", why="")
    else:
        title, hero = card.title, card.hero
    if hero is None:
        return None
    where = "" if hero.before else hero.heading
    subject = where[:1].upper() + where[1:] or subject
    conditions = " · ".join(filter(None, (card.stage, overline(subject, card.conditions))))
    # the subject says what changed; next to the figures there is room for "after" only
    beside = hero.short.partition(",")[0] or hero.caption if hero.before else ""
    one = replace(hero, caption=beside, why="", further=())
    return StripContent(title, conditions, one, card.verdict)


# ------------------------------------------------------------------ layout


@dataclass(frozen=True)
class _Figures:
    """The figures with their verdict next to them."""

    block: HeroBlock
    verdict: Verdict | None
    words: tuple[tuple[str, float, str], ...]  # text, size, weight
    needle: float
    width: float
    height: float

    @classmethod
    def of(cls, page: Page, what: StripContent, size: float, needle: float, *, with_rating: bool) -> _Figures:
        """Lay out the figures at one size; `needle`: the width of its scale, 0 for none."""
        block = lay_out_hero(page, what.hero, size, stacked=False)
        verdict = what.verdict
        if verdict is None:
            return cls(block, None, (), 0.0, block.width, block.height)
        short = len(verdict.verdict) <= len("meets")
        lines = (
            [(verdict.verdict, _WORD, "bold")] if short else [(w, _LONG_WORD, "bold") for w in halves(verdict.verdict)]
        )
        notes = filter(None, (margin_text(verdict), f"rated {verdict.limit}" if with_rating else ""))
        words = (*lines, *((note, AXIS, "regular") for note in notes))
        beside = needle + _SMALL_GAP if needle else 0.0
        width = block.width + _GAP + beside + max(page.width(*word) for word in words)
        height = max(block.height, page.cap(_WORD, "bold") + (len(words) - 1) * _LINE + 8, NOTCH + FOOT)
        return cls(block, verdict, words, needle, width, height)

    def place(self, page: Page, left: float, bottom: float) -> None:
        """Place them above a line."""
        with page.part_of("reading"):
            self.block.place(page, left, bottom - self.block.height + 8)
        if self.verdict is None:
            return
        look, word = page.look, self.verdict.verdict
        x = left + self.block.width + _GAP
        if self.needle:
            with page.part_of("needle"):
                start, width = fit_scale(x, self.needle, self.verdict.position)
                place_needle(page, start, bottom - FOOT, width, self.verdict.position, word)
            x += self.needle + _SMALL_GAP
        with page.part_of("word"):
            for index, (text, size, weight) in enumerate(reversed(self.words)):
                colour = look.status(word) if weight == "bold" else look.soft
                at = bottom - index * _LINE
                page.add(page.text(text, x, at, size, colour, weight=weight, remedy=SHORTEN_STRIP))


def lay_out_strip(page: Page, what: StripContent) -> tuple[Item, ...]:
    """Lay out and check a strip in the lower third: title above conditions, next to or below them the figure with its
    verdict.

    Raises
    ------
    LayoutFault
        If it doesn't fit; for the first problem.
    """
    safe, tall = page.shape.safe, page.shape.is_tall
    bottom = safe.bottom - _UNDER_TEXT
    sizes = _TALL_HEROES if tall else _HEROES
    for (needle, with_rating), lines, size in product(_FORMS, (1, 2, 3), sizes):
        figures = _Figures.of(page, what, size, needle, with_rating=with_rating)
        room = safe.width if page.shape.stacked else safe.width - figures.width - _GAP
        if figures.width > safe.width:
            continue
        title = fit_text(page, what.title, _TALL_TITLES if tall else _TITLES, room, weight="bold", most=lines)
        under = fit_text(page, what.conditions, (AXIS, LEAST), room, most=lines)
        if title is None or under is None:
            continue
        high = _words_height(title, under)
        high = high + _GAP + figures.height if page.shape.stacked else max(high, figures.height)
        if bottom - high < _TOP[page.shape.name] + MARGIN:
            continue
        if page.shape.stacked:
            figures.place(page, safe.left, bottom)
            _place_words(page, title, under, bottom - figures.height - _GAP)
        else:
            _place_words(page, title, under, bottom)
            figures.place(page, safe.left + max(title.width, under.width) + _GAP, bottom)
        for problem in find_problems(page.items, page.shape):
            raise page.fault(problem.text, problem.remedy or "draw less on this card", problem.message)
        return tuple(page.items)
    raise page.fault(what.title, SHORTEN_STRIP, "does not fit on the strip")


def _words_height(title: Setting, under: Setting) -> float:
    return sum((len(each.lines) - 1) * each.size * _PITCH for each in (title, under)) + _UNDER_TITLE + title.size


def _place_words(page: Page, title: Setting, under: Setting, bottom: float) -> None:
    """Place title and conditions, the last line on a baseline."""
    left, look = page.shape.safe.left, page.look
    first = bottom - (len(under.lines) - 1) * under.size * _PITCH
    for index, line in enumerate(under.lines):
        at = first + index * under.size * _PITCH
        page.add(page.text(line, left, at, under.size, look.soft, remedy=SHORTEN_STRIP))
    last = first - _UNDER_TITLE if any(under.lines) else bottom
    for index, line in enumerate(reversed(title.lines)):
        at = last - index * title.size * _PITCH
        page.add(page.text(line, left, at, title.size, look.ink, weight="bold", remedy=SHORTEN_STRIP))


# ------------------------------------------------------------------ the picture


def draw_strip(
    items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS, shape: Shape = WIDE
) -> tuple[Bytes, int]:
    """Draw the part of a strip's frame that isn't transparent.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        In the colours of `footage_look(look)`.
    look : Look
        Its ground is the plate's colour.
    width : int
        Width of the picture in pixels.
    fonts : Fonts
        The user's fonts, if any.
    shape : Shape
        The frame.

    Returns
    -------
    tuple of ndarray and int
        Pixels of shape (rows, width, 4), straight alpha, valid until the next picture of this size is painted; and the
        frame's row that is their first. Everything above is transparent.
    """
    boxes = [box for item in items if (box := item.box if isinstance(item, Text) else bounds(item))]
    around = Box(
        shape.safe.left,
        min(box.top for box in boxes),
        max(box.right for box in boxes),
        shape.safe.bottom - _UNDER_TEXT,
    )
    scale = width / shape.width
    first, end = round(_TOP[shape.name] * scale), round(shape.height * scale)
    plate = draw_plate([around], look, width, (first, end), shape)
    return paint_on_plate(items, plate, width, fonts, first, shape), first


def encode_strip(items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS, shape: Shape = WIDE) -> bytes:
    """Draw a strip and encode its full frame as a PNG."""
    pixels, first = draw_strip(items, look, width, fonts, shape)
    return encode_png_with_alpha(pixels, first)
