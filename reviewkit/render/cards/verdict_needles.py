"""Verdicts under the readouts: name, needle, word and margin of each, large or small."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.look import LABEL, LEAST, READING
from reviewkit.render.cards.needle import notch_height, place_needle, pointer_depth
from reviewkit.render.cards.scene import Page
from reviewkit.render.cards.typeset import fit_text

_LABEL_PITCH = 44.0
_BESIDE_GAP = 22.0  # from a verdict's word to its margin

SHORTEN_VERDICT = "shorten the condition of this [[rated]] table"


@dataclass(frozen=True)
class VerdictNeedles:
    """Verdicts laid out in the column.

    Attributes
    ----------
    verdicts
        Each verdict with the lines of its caption.
    width
        Width of the column, in pixels.
    """

    verdicts: tuple[tuple[Verdict, tuple[str, ...]], ...]
    needle_width: float
    large: bool
    word_size: float
    word_cap: float
    limit_cap: float
    gap: float
    width: float
    more: int  # number of verdicts that aren't shown

    @property
    def height(self) -> float:
        """Return the height of all of them together."""
        heights = [self._height(len(caption)) for _, caption in self.verdicts]
        if self.more:
            heights.append(self.limit_cap)
        return sum(heights) + self.gap * max(len(heights) - 1, 0)

    def _height(self, lines: int) -> float:
        return self._line(lines) + (self._word_drop() if self.large else pointer_depth(self.needle_width))

    def _line(self, lines: int) -> float:
        """Return the distance from the top to the scale's line."""
        caption = self.limit_cap + (lines - 1) * _LABEL_PITCH
        above = notch_height(self.needle_width) + (self.limit_cap + 12 if self.large else 0)
        return caption + 26 + above

    def _word_drop(self) -> float:
        return pointer_depth(self.needle_width) + 24 + self.word_cap

    def place(self, page: Page, left: float, top: float) -> None:
        """Place them downwards from `top`."""
        look = page.look
        for verdict, caption in self.verdicts:
            for index, line in enumerate(caption):
                baseline = top + self.limit_cap + index * _LABEL_PITCH
                page.add(page.text(line, left, baseline, LABEL, look.soft, remedy=SHORTEN_VERDICT))
            line_y = top + self._line(len(caption))
            place_needle(page, left + 1, line_y, self.needle_width, verdict.position, verdict.verdict)
            word_x, word_y = left, line_y + self._word_drop()
            if self.large:
                middle, over = left + 1 + self.needle_width / 2, line_y - notch_height(self.needle_width) - 12
                page.add(
                    page.text(verdict.limit, middle, over, LABEL, look.soft, anchor="centre", remedy=SHORTEN_VERDICT)
                )
            else:
                word_x, word_y = left + self.needle_width + 24, line_y + 6
            word = page.text(verdict.verdict, word_x, word_y, self.word_size, look.status(verdict.verdict), bold=True)
            page.add(word)
            beside = verdict.margin
            room = left + self.width - word.box.right - _BESIDE_GAP
            for size in (self.word_size, 44.0, LEAST):
                if beside and size <= self.word_size and page.width(beside, size) <= room:
                    x = word.box.right + _BESIDE_GAP
                    page.add(page.text(beside, x, word_y, size, look.ink, remedy=SHORTEN_VERDICT))
                    break
            top += self._height(len(caption)) + self.gap
        if self.more:
            words = f"{self.more} more in the table"
            page.add(page.text(words, left, top + self.limit_cap, LABEL, look.soft, remedy=SHORTEN_VERDICT))


def lay_out_large(page: Page, verdicts: Sequence[Verdict], width: float, more: int) -> VerdictNeedles | None:
    """Lay out wide scales, each under its caption, with the limit above the notch and the word below."""
    captions = []
    needle_width = min(width - 30, 330.0)
    for verdict in verdicts:
        caption = fit_text(page, verdict.label, (LABEL,), width, most=2)
        if caption is None or page.width(verdict.limit, LABEL) > needle_width:
            return None
        captions.append((verdict, caption.lines))
    return VerdictNeedles(
        tuple(captions), needle_width, True, READING, page.cap(READING, True), page.cap(LABEL), 52.0, width, more
    )


def lay_out_small(page: Page, verdicts: Sequence[Verdict], width: float, more: int) -> VerdictNeedles | None:
    """Lay out short scales, each under its caption and limit, with the word next to it."""
    captions = []
    needle_width = 108.0
    for verdict in verdicts:
        caption = _caption(page, verdict, width)
        if caption is None or page.width(verdict.verdict, LABEL, True) > width - needle_width - 24:
            return None
        captions.append((verdict, caption))
    return VerdictNeedles(
        tuple(captions), needle_width, False, LABEL, page.cap(LABEL, True), page.cap(LABEL), 36.0, width, more
    )


def _caption(page: Page, verdict: Verdict, width: float) -> tuple[str, ...] | None:
    """Return name and limit on one line, else on one each, else broken; None if two lines are too few."""
    whole = f"{verdict.label}, {verdict.limit}" if verdict.limit else verdict.label
    if page.width(whole, LABEL) <= width:
        return (whole,)
    if verdict.limit and max(page.width(verdict.label, LABEL), page.width(f"rated {verdict.limit}", LABEL)) <= width:
        return verdict.label, f"rated {verdict.limit}"
    broken = fit_text(page, whole, (LABEL,), width, most=2)
    return broken.lines if broken else None
