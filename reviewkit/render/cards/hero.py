"""The figure that a card shows large, alone or as "before → after", and the strip that reads as a sentence."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.card import Hero
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.look import AXIS, LEAST, NOTE, STRIP_HEROES
from reviewkit.render.cards.needle import PAST_END, WEDGE, place_needle
from reviewkit.render.cards.scene import Area, Page, Stroke
from reviewkit.render.cards.typeset import fit_text

_ARROW, _ARROW_GAP = 100.0, 44.0
_CAPTION_GAP, _NOTE_GAP = 36.0, 34.0  # between caption, figure and note
_STACK_GAP = 40.0  # between the old figure and the new one's caption
_PART_GAP = 64.0  # between figure, needle and word
_WORD, _LONG_WORD = 120.0, 84.0
_LEAST_NEEDLE, _MOST_NEEDLE = 330.0, 560.0
_RATED_GAP = 28.0  # about the rating above the right half of the needle
_LINE = 46.0  # pitch of captions and notes

SHORTEN_HERO = "name fewer figures: readings = […] of its [[measurement]]"
SHORTEN_VERDICT = "shorten the condition of this [[rated]] table"


@dataclass(frozen=True)
class HeroBlock:
    """A hero laid out: its size, and the room it takes."""

    hero: Hero
    size: float
    width: float
    height: float
    stacked: bool

    def place(self, page: Page, left: float, top: float) -> None:
        """Place the figures with their captions, `top` the top of the first caption."""
        hero, look = self.hero, page.look
        ink = look.status("falls short") if hero.fault else look.ink
        caption_cap, cap = page.cap(NOTE), page.cap(self.size, "black")
        y = top
        x = left
        if hero.before:
            page.add(page.text("before", x, y + caption_cap, NOTE, look.soft))
            old = page.text(
                bare(hero.before, hero.figure),
                x,
                y + caption_cap + _CAPTION_GAP + cap,
                self.size,
                look.soft,
                weight="light",
                remedy=SHORTEN_HERO,
            )
            page.add(old)
            if self.stacked:
                y += caption_cap + _CAPTION_GAP + cap + _STACK_GAP
            else:
                x = old.box.right + _ARROW_GAP
                arrow(page, x, old.baseline - cap / 2, _ARROW)
                x += _ARROW + _ARROW_GAP
        caption = hero.caption or ("after" if hero.before else "")
        if caption:
            page.add(
                page.text(
                    caption,
                    x,
                    y + caption_cap,
                    NOTE,
                    look.ink if hero.before or hero.fault else look.soft,
                    weight="bold" if hero.before or hero.fault else "regular",
                    remedy=SHORTEN_HERO,
                )
            )
            y += caption_cap + _CAPTION_GAP
        figure = page.text(hero.figure, x, y + cap, self.size, ink, weight="black", remedy=SHORTEN_HERO)
        page.add(figure)
        if hero.uncertainty:
            page.add(page.text(hero.uncertainty, figure.box.right + 24, y + cap, small(self.size), look.ink))
        if hero.note:
            page.add(page.text(hero.note, x, y + cap + _NOTE_GAP + caption_cap, NOTE, look.ink, remedy=SHORTEN_HERO))


def small(size: float) -> float:
    """Return the size of an uncertainty beside a figure."""
    return max(round(size * 0.36), NOTE)


def bare(old: str, new: str) -> str:
    """Return an old figure without its unit if the new one has the same: "5.0" before "0.020 %"."""
    unit = re.search(r"[^\d.,\s][^\d]*$", new)
    return old.removesuffix(unit[0]).rstrip() if unit else old


def lay_out_hero(page: Page, hero: Hero, size: float, *, stacked: bool) -> HeroBlock:
    """Lay out a hero at one size."""
    caption_cap, cap = page.cap(NOTE), page.cap(size, "black")
    figure = page.width(hero.figure, size, "black")
    if hero.uncertainty:
        figure += 24 + page.width(hero.uncertainty, small(size))
    caption = hero.caption or ("after" if hero.before else "")
    texts = [
        figure,
        page.width(caption, NOTE, "bold") if caption else 0.0,
        page.width(hero.note, NOTE) if hero.note else 0.0,
    ]
    height = cap + (caption_cap + _CAPTION_GAP if caption else 0.0) + (caption_cap + _NOTE_GAP if hero.note else 0.0)
    width = max(texts)
    if hero.before:
        old = max(page.width(bare(hero.before, hero.figure), size, "light"), page.width("before", NOTE))
        if stacked:
            width = max(width, old)
            height += caption_cap + _CAPTION_GAP + cap + _STACK_GAP
        else:
            width += old + 2 * _ARROW_GAP + _ARROW
    return HeroBlock(hero, size, width, height + 8, stacked)


def arrow(page: Page, left: float, y: float, length: float) -> None:
    """Place an arrow to the right."""
    tip, half = left + length, 17.0
    page.add(Stroke("mark", ((left, y), (tip - 30, y)), page.look.soft, 7.0))
    page.add(Area("mark", ((tip, y), (tip - 34, y - half), (tip - 34, y + half)), page.look.soft))


# ------------------------------------------------------------------ the strip


def place_strip(page: Page, hero: Hero, verdict: Verdict | None, lower: float) -> None:
    """Place the strip above a chart: judged figure with channel, needle with rating, word with margin.

    Raises
    ------
    LayoutFault
        If it doesn't fit.
    """
    shape = page.shape
    top, bottom = shape.strip[0] + lower, shape.strip[1] + lower
    sizes: Sequence[float] = STRIP_HEROES if not shape.stacked else (*STRIP_HEROES, 138.0, 126.0, 114.0, 104.0, 96.0)
    word = _WordBlock.of(page, verdict) if verdict else None
    for size in (*sizes, 138.0, 126.0, 116.0, 104.0, 92.0):
        block = lay_out_hero(page, hero, size, stacked=False)
        if _fits(page, block, word, verdict):
            break
    else:
        raise page.fault(hero.figure, SHORTEN_HERO)
    with page.part_of("reading"):
        block.place(page, shape.safe.left, top)
    if verdict is None or word is None:
        return
    cap = page.cap(block.size, "black")
    baseline = top + (page.cap(NOTE) + _CAPTION_GAP if hero.caption or hero.before else 0.0) + cap
    if shape.stacked and shape.height > shape.width:  # tall: needle and word below the figure
        line_y = bottom - 130
        width = shape.safe.width - word.width - _PART_GAP - 40
        _needle(page, shape.safe.left + 30, line_y, min(width, _MOST_NEEDLE), verdict)
        word.place(page, shape.safe.right - word.width, line_y + 20)
        return
    word_left = shape.safe.right - word.width
    if not shape.stacked:
        start = shape.safe.left + block.width + _PART_GAP
        room = word_left - _PART_GAP - start
        width = min(room, _MOST_NEEDLE)
        past = verdict.position is not None and abs(verdict.position) > 1
        left = start + (room - width) / 2
        if past:  # the wedge is one step past the scale's end
            width = (width - WEDGE) / (1 + PAST_END / 2 - 0.5)
            left += (PAST_END / 2 - 0.5) * width + WEDGE if verdict.position < 0 else 0.0
        _needle(page, left, baseline - 55, width, verdict)
    word.place(page, word_left, baseline)
    if shape.stacked:
        rated = fit_text(page, f"rated {verdict.limit}", (NOTE, LEAST), word.width + 120, most=1)
        if rated is not None:
            text = page.text(
                rated.lines[0], shape.safe.right, top + page.cap(NOTE), rated.size, page.look.soft, anchor="right"
            )
            page.add(text)


def _fits(page: Page, block: HeroBlock, word: _WordBlock | None, verdict: Verdict | None) -> bool:
    shape = page.shape
    if word is None or verdict is None or (shape.stacked and shape.height > shape.width):
        return block.width <= shape.safe.width
    rated = 2 * (page.width(f"rated {verdict.limit}", AXIS) + _RATED_GAP)
    needle = 0.0 if shape.stacked else min(max(_LEAST_NEEDLE, rated), _MOST_NEEDLE) + _PART_GAP
    return block.width + _PART_GAP + needle + word.width <= shape.safe.width


def _needle(page: Page, left: float, line_y: float, width: float, verdict: Verdict) -> None:
    with page.part_of("needle"):
        place_needle(
            page, left, line_y, width, verdict.position, verdict.verdict, f"rated {verdict.limit}", verdict.ends
        )


@dataclass(frozen=True)
class _WordBlock:
    """A verdict's word with what is below it."""

    lines: tuple[str, ...]
    size: float
    note: tuple[str, ...]
    width: float
    status: str

    @classmethod
    def of(cls, page: Page, verdict: Verdict) -> _WordBlock:
        """Lay out a verdict's word: large on one line, or on two if it is long."""
        word = verdict.verdict
        short = len(word) <= 6
        lines = (word,) if short else tuple(_halves(word))
        size = _WORD if short and not page.shape.stacked else _LONG_WORD
        if page.shape.stacked and not short:
            size = 72.0
        width = max(page.width(line, size, "bold") for line in lines)
        text = margin_text(verdict)
        note: tuple[str, ...] = ()
        if text:
            made = fit_text(page, text, (NOTE, LEAST), max(width, 360.0), most=2)
            if made is None:
                raise page.fault(text, SHORTEN_VERDICT)
            note, width = made.lines, max(width, made.width)
        return cls(lines, size, note, width, word)

    def place(self, page: Page, left: float, baseline: float) -> None:
        """Place the word's last line on a baseline, its note below."""
        look = page.look
        with page.part_of("needle"):
            for index, line in enumerate(self.lines):
                y = baseline - (len(self.lines) - 1 - index) * self.size * 0.95
                page.add(page.text(line, left, y, self.size, look.status(self.status), weight="bold"))
            for index, line in enumerate(self.note):
                y = baseline + 64 + index * _LINE
                page.add(page.text(line, left, y, NOTE if len(self.note) == 1 else LEAST, look.ink))


def _halves(word: str) -> list[str]:
    """Split a verdict's word in two: "falls", "short"; "too close", "to call"."""
    head, _, tail = word.rpartition(" ")
    return ["too close", "to call"] if word == "too close to call" else [head, tail]


def margin_text(verdict: Verdict) -> str:
    """Return what goes under a verdict's word: "by 0.14 dB", "margin 1.3 ×", or why it isn't comparable."""
    if verdict.verdict in ("meets", "falls short") and verdict.margin:
        if verdict.margin.endswith("×"):
            return f"margin {verdict.margin}"
        return f"by {verdict.margin.lstrip('+−')}"
    return verdict.brief


def free_box(block: HeroBlock, clear: float) -> tuple[float, float]:
    """Return the room that a hero needs with a margin on all sides."""
    return block.width + 2 * clear, block.height + 2 * clear


def inner(box: Box, clear: float) -> tuple[float, float]:
    """Return the left and top of a hero in a box with that margin."""
    return box.left + clear, box.top + clear
