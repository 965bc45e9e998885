"""The figure that a card shows large, alone or as "before → after", and the strip that reads as a sentence."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from reviewkit.model.card import Hero
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.scene import Area, Page, Stroke
from reviewkit.render.cards.sizes import LEAST, NOTE, STRIP_HEROES
from reviewkit.render.cards.typeset import fit_text
from reviewkit.verdict.verdict_words import MEETS, margin_words

_ARROW, _ARROW_GAP = 100.0, 44.0
_CAPTION_GAP, _NOTE_GAP = 36.0, 34.0  # between caption, figure and note
_NOTE_LINE = 1.18  # pitch of several notes, in em
_BESIDE = 24.0  # from a figure to what is next to it
_STACK_GAP = 40.0  # between the old figure and the new one's caption
_PART_GAP = 64.0  # between figure, rating and word
_WORD, _LONG_WORD = 120.0, 84.0
_RATED = (110.0, 96.0, 84.0, 72.0, 60.0, NOTE)  # what is rated, next to the figure
_LINE = 46.0  # pitch of captions and notes
_NEARLY = 0.85  # what costs more of the figure's size is left out
_LEAST_HEROES = (84.0, 76.0, 68.0)

SHORTEN_HERO = "name fewer figures: readings = […] of its [[measurement]]"
SHORTEN_VERDICT = "shorten the condition of this [[rated]] table"


@dataclass(frozen=True)
class HeroPlace:
    """The place of a hero in a chart: its size, the left and upper end of its first caption."""

    size: float
    left: float
    top: float


@dataclass(frozen=True)
class HeroBlock:
    """A hero laid out: its size, and the room it takes."""

    hero: Hero
    size: float
    width: float
    height: float
    stacked: bool
    figure: float  # width of the last line of figures, without captions and notes
    notes: tuple[str, ...]  # the lines below it
    note_size: float
    note_gap: float
    under_both: bool  # whether they begin below the old figure, not below the new one next to it

    def with_note_gap(self, gap: float) -> HeroBlock:
        """Return it with its notes at least so far below the figure."""
        more = max(gap - self.note_gap, 0.0)
        return replace(self, note_gap=self.note_gap + more, height=self.height + more)

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
        if hero.heading:
            page.add(
                page.text(
                    hero.heading,
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
        if hero.addition:
            colour = look.soft if hero.addition == hero.rated else look.ink
            page.add(page.text(hero.addition, figure.box.right + _BESIDE, y + cap, small(self.size), colour))
        y += cap + self.note_gap + page.cap(self.note_size)
        for index, line in enumerate(self.notes):
            at = y + index * self.note_size * _NOTE_LINE
            page.add(page.text(line, left if self.under_both else x, at, self.note_size, look.ink, remedy=SHORTEN_HERO))


def small(size: float) -> float:
    """Return the size of what is next to a figure."""
    return max(round(size * 0.36), NOTE)


def bare(old: str, new: str) -> str:
    """Return an old figure without its unit if the new one has the same: "5.0" before "0.020 %"."""
    unit = re.search(r"[^\d.,\s][^\d]*$", new)
    return old.removesuffix(unit[0]).rstrip() if unit else old


def lay_out_hero(page: Page, hero: Hero, size: float, *, stacked: bool, room: float | None = None) -> HeroBlock:
    """Lay out a hero at one size. `room`: the width for its notes, if that isn't all of the safe box."""
    measure = page.measure
    caption_cap, cap = page.cap(NOTE), page.cap(size, "black")
    figure, height, beside = measure(hero.figure, size, "black").width, cap, 0.0
    if hero.addition:
        figure += _BESIDE + measure(hero.addition, small(size), "regular").width
    width = figure
    if hero.heading:
        width = max(width, measure(hero.heading, NOTE, "bold").width)
        height += caption_cap + _CAPTION_GAP
    if hero.before:
        old = measure(bare(hero.before, hero.figure), size, "light").width
        old = max(old, measure("before", NOTE, "regular").width)
        if stacked:
            width = max(width, old)
            height += caption_cap + _CAPTION_GAP + cap + _STACK_GAP
        else:
            beside = old + 2 * _ARROW_GAP + _ARROW
    room = page.shape.safe.width if room is None else room
    under_both = bool(hero.further) and page.shape.stacked
    note_size, notes = _fit_notes(page, hero, room if under_both else room - beside)
    gap = max(_NOTE_GAP, measure(hero.figure, size, "black").drop + 12.0)  # a "µ" reaches down
    width += beside
    if notes:
        width = max(width, *(page.width(line, note_size) + (0.0 if under_both else beside) for line in notes))
        height += page.cap(note_size) + gap + (len(notes) - 1) * note_size * _NOTE_LINE
    figure = width if hero.before else figure
    return HeroBlock(hero, size, width, height + 8, stacked, figure, notes, note_size, gap, under_both)


def _fit_notes(page: Page, hero: Hero, room: float) -> tuple[float, tuple[str, ...]]:
    """Return size and lines of what goes below a figure: one line if it fits, else as few as it takes.

    In a tall frame each note has its own line; in a square one they are small, for the chart needs the height.
    """
    parts = [part for part in (hero.note, *hero.further) if part]
    if page.width(" · ".join(parts), NOTE) <= room:
        return NOTE, (" · ".join(parts),) if parts else ()
    tall, size = page.shape.is_tall, LEAST if page.shape.stacked and not page.shape.is_tall else NOTE
    lines: list[str] = []
    for part in parts:
        joined = f"{lines[-1]} · {part}" if lines and not tall else ""
        if joined and page.width(joined, size) <= room:
            lines[-1] = joined
        else:
            fitted = fit_text(page, part, (size,), room, most=2)
            lines += fitted.lines if fitted else (part,)
    return size, tuple(lines)


def arrow(page: Page, left: float, y: float, length: float) -> None:
    """Place an arrow to the right."""
    tip, half = left + length, 17.0
    page.add(Stroke("mark", ((left, y), (tip - 30, y)), page.look.soft, 7.0))
    page.add(Area("mark", ((tip, y), (tip - 34, y - half), (tip - 34, y + half)), page.look.soft))


# ------------------------------------------------------------------ the strip


@dataclass(frozen=True)
class Strip:
    """A strip whose width is known to do: its figure, its verdict, and the largest size of the figure. `under`: what is
    rated is under the verdict's word, not next to the figure.
    """

    hero: Hero
    verdict: Verdict | None
    size: float
    under: bool = False


def fit_strip(page: Page, hero: Hero, verdict: Verdict | None) -> Strip:
    """Fit a strip to the width, with the rating under the word if need be, without the reason of a bound, or with a
    short caption.

    Raises
    ------
    LayoutFault
        If no form fits.
    """
    square = page.shape.stacked and not page.shape.is_tall  # where there is never room next to the figure
    plain = replace(hero, why="")
    heroes = [hero, *([plain] if hero.why else []), *([replace(plain, caption=hero.short)] if hero.short else [])]
    forms = [(each, under) for each in heroes for under in dict.fromkeys((square, True))]
    sizes = [_strip_size(page, each, verdict, under=under) or 0.0 for each, under in forms]
    for (each, under), size in zip(forms, sizes, strict=True):
        if size and size >= _NEARLY * max(sizes):
            return Strip(each, verdict, size, under)
    raise page.fault(hero.figure, SHORTEN_HERO)


def _strip_size(page: Page, hero: Hero, verdict: Verdict | None, *, under: bool) -> float | None:
    """Return the size of the figure on a strip, the largest that fits next to rating and word, if any does."""
    safe, stacked = page.shape.safe, page.shape.stacked
    others = _others_width(page, verdict, under=under)
    if verdict is not None and page.shape.is_tall and not under:
        word = _WordBlock.of(page, verdict, with_limit=False)
        if _rated_width(page, verdict, _RATED[-1]) > safe.width - word.width - _PART_GAP:
            return None
    # two figures in a narrow frame
    sizes: tuple[float, ...] = STRIP_HEROES + (_LEAST_HEROES if stacked else ())
    for size in sizes:
        block = lay_out_hero(page, hero, size, stacked=False, room=_room(page, others))
        width = block.figure if stacked else block.width
        if block.width <= safe.width and width + others <= safe.width:
            return size
    return None


def _others_width(page: Page, verdict: Verdict | None, *, under: bool) -> float:
    """Return the width that rating and word take next to the figure; in a tall frame they are below it."""
    if verdict is None or page.shape.is_tall:
        return 0.0
    others = _PART_GAP + _WordBlock.of(page, verdict, with_limit=under).width
    return others if under else others + _PART_GAP + _rated_width(page, verdict, _RATED[-1])


def _room(page: Page, others: float) -> float:
    """Return the width for a figure and its notes, if what is next to it takes some; in a narrow frame, only the figure
    has something next to it.
    """
    return page.shape.safe.width - (0.0 if page.shape.stacked else others)


def place_strip(page: Page, strip: Strip, top: float, size: float) -> float:
    """Place the strip above a chart: judged figure with channel, what is rated, word with margin.

    A tall frame has rating and word below the figure; a square one has the rating below the word.

    Returns
    -------
    float
        Its lower end.

    Raises
    ------
    LayoutFault
        If it doesn't fit.
    """
    safe, hero, verdict = page.shape.safe, strip.hero, strip.verdict
    room = _room(page, _others_width(page, verdict, under=strip.under))
    block = lay_out_hero(page, hero, size, stacked=False, room=room)
    head = top + (page.cap(NOTE) + _CAPTION_GAP if hero.heading else 0.0)
    word = _WordBlock.of(page, verdict, with_limit=strip.under) if verdict is not None else None
    word_left = _word_left(page, strip, block, word.width) if word is not None else safe.right
    if word is not None and page.shape.stacked and not page.shape.is_tall:  # notes go below what they'd run into
        end = word.place(page.blank(), 0.0, head + word.height(page))
        if any(safe.left + page.width(line, block.note_size) + _PART_GAP > word_left for line in block.notes):
            block = block.with_note_gap(end + _NOTE_GAP - head - page.cap(size, "black"))
    with page.part_of("reading"):
        block.place(page, safe.left, top)
    bottom = top + block.height
    if verdict is None or word is None:
        return bottom
    if page.shape.is_tall and strip.under:
        return word.place(page, word_left, bottom + word.height(page) + 24)
    if page.shape.is_tall:
        caption = page.cap(NOTE) + _CAPTION_GAP
        baseline = bottom + _STACK_GAP + max(caption + page.cap(_RATED[0]), word.height(page))
        top = baseline - page.cap(_RATED[0]) - caption
        _place_rated(page, Box(safe.left, top, word_left - _PART_GAP, baseline), verdict)
        return word.place(page, word_left, baseline)
    if page.shape.stacked:  # the word's head is as high as the figure's
        return max(bottom, word.place(page, word_left, head + word.height(page)))
    baseline = head + page.cap(size, "black")
    bottom = max(bottom, word.place(page, word_left, baseline))
    start = safe.left + block.width + _PART_GAP
    if not strip.under:
        _place_rated(page, Box(start, top, word_left - _PART_GAP, baseline), verdict)
    return bottom


def _word_left(page: Page, strip: Strip, block: HeroBlock, width: float) -> float:
    """Return where a verdict's word begins: at its column if what is next to it leaves room, else as far right as it
    can.
    """
    shape, column = page.shape, page.shape.columns[1]
    beside = 0.0 if shape.is_tall else block.figure if shape.stacked else block.width
    if strip.verdict is not None and not strip.under:
        beside += (0.0 if shape.is_tall else _PART_GAP) + _rated_width(page, strip.verdict, _RATED[-1])
    at_right = shape.safe.right - width
    return min(at_right, column) if shape.safe.left + beside + _PART_GAP <= column else at_right


def _source(verdict: Verdict) -> str:
    """Return what the limit is: "rated", "lowest allowed"; by which rating is in the overline."""
    return verdict.limit_source.rpartition(": ")[2]


def _rated_width(page: Page, verdict: Verdict, size: float) -> float:
    """Return the width of what is rated, with its caption."""
    return max(page.width(_source(verdict), NOTE), page.width(verdict.shown_limit, size))


def _place_rated(page: Page, room: Box, verdict: Verdict) -> None:
    """Place what is rated, on the lower end of a room, its caption at the upper end; in its column if it fits."""
    size = next((size for size in _RATED if _rated_width(page, verdict, size) <= room.width), _RATED[-1])
    left = max(min(page.shape.columns[0], room.right - _rated_width(page, verdict, size)), room.left)
    with page.part_of("reading"):
        page.add(page.text(_source(verdict), left, room.top + page.cap(NOTE), NOTE, page.look.soft))
        page.add(page.text(verdict.shown_limit, left, room.bottom, size, page.look.soft, remedy=SHORTEN_VERDICT))


@dataclass(frozen=True)
class _WordBlock:
    """A verdict's word with what is below it."""

    lines: tuple[str, ...]
    size: float
    notes: tuple[tuple[str, float, str], ...]  # text, size, colour
    width: float
    status: str

    @classmethod
    def of(cls, page: Page, verdict: Verdict, *, with_limit: bool) -> _WordBlock:
        """Lay out a verdict's word: large on one line, or on two if long; below it the rating, if it is to be there."""
        word, look = verdict.verdict, page.look
        short = len(word) <= 6
        lines = (word,) if short else halves(word)
        size = _WORD if short else _LONG_WORD
        if page.shape.stacked:
            size = _LONG_WORD if short else 72.0
        width = max(page.width(line, size, "bold") for line in lines)
        notes: list[tuple[str, float, str]] = []
        limit = f"rated {verdict.limit}" if with_limit else ""
        for text, colour in ((limit, look.ink), (margin_text(verdict), look.soft if limit else look.ink)):
            if text:
                fitted = fit_text(page, text, (NOTE, LEAST), max(width, 360.0), most=2)
                if fitted is None:
                    raise page.fault(text, SHORTEN_VERDICT)
                notes += [(line, NOTE if len(fitted.lines) == 1 else LEAST, colour) for line in fitted.lines]
        width = max(width, *(page.width(line, small) for line, small, _ in notes)) if notes else width
        return cls(lines, size, tuple(notes), width, word)

    def height(self, page: Page) -> float:
        """Return the height of the word, from its capitals to its last baseline."""
        return page.cap(self.size, "bold") + (len(self.lines) - 1) * self.size * 0.95

    def place(self, page: Page, left: float, baseline: float) -> float:
        """Place the word's last line on a baseline, its note below; return the lower end of both."""
        look = page.look
        with page.part_of("word"):
            for index, line in enumerate(self.lines):
                y = baseline - (len(self.lines) - 1 - index) * self.size * 0.95
                page.add(page.text(line, left, y, self.size, look.status(self.status), weight="bold"))
            for line, size, colour in self.notes:
                baseline += 64.0 if line is self.notes[0][0] else _LINE
                page.add(page.text(line, left, baseline, size, colour))
        return baseline + 10.0


def halves(word: str) -> tuple[str, str]:
    """Split a verdict's word in two: "falls", "short"; "too close", "to call"."""
    head, _, tail = word.rpartition(" ")
    return ("too close", "to call") if word == "too close to call" else (head, tail)


def margin_text(verdict: Verdict) -> str:
    """Return what goes under a verdict's word: "by 0.14 dB", "by a factor of 1.3", or why it isn't comparable."""
    if verdict.rating.sides_differ and verdict.verdict == MEETS:
        return ""  # of two unequal limits: a viewer can't see to which one it is
    return margin_words(verdict) or verdict.brief
