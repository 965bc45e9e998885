"""The score: every judged rating on one dial; below it how many were met, then a line for each that was not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.card import FEW_ROWS, Score, ScoreRow
from reviewkit.render.cards.count import place_count
from reviewkit.render.cards.scene import Page
from reviewkit.render.cards.score_dial import PARTS, name_of, place_score_dial
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import cut_text

_UNDER_DIAL = 150.0  # room of the needles with their names
_FOOT = 76.0  # height of the last line with the room above it
_LINES_GAP = 76.0  # from the count to the lines
_COUNT_SHARE = 0.3  # of the height under the dial, at least
_MOST_ABOVE = 70.0  # above the lines, where there is room
_SIZES, _SMALL_SIZES = (60.0, 56.0, 52.0, 48.0), (NOTE, AXIS, LEAST)
_PITCH, _ROW_PITCH = 1.2, 1.5  # from line to line of one rating, and from one rating to the next, in em
_WORD_GAP, _NAME_GAP = 0.7, 0.28  # in em
# how a rating's word, its name and its figures may be split into lines
_FORMS = (((0, 1, 2),), ((0,), (1, 2)), ((0,), (1,), (2,)))

SHORTEN_LABEL = "shorten the input or the condition of this [[rated]] table"


@dataclass(frozen=True)
class _RowLines:
    """Ratings in lines: their texts, all of one size and one form."""

    rows: tuple[tuple[str, str, str], ...]  # of each the word, the name, the figures
    form: tuple[tuple[int, ...], ...]
    size: float
    starts: float  # from the left to the names

    @property
    def height(self) -> float:
        """Return the height from the first baseline to the last."""
        return self.size * (_ROW_PITCH * (len(self.rows) - 1) + _PITCH * (len(self.form) - 1) * len(self.rows))


def place_score(page: Page, body: Score, lower: float) -> None:
    """Place the dial, how many ratings were met, then those that were not: the largest miss first.

    If all were met, the line is of the nearest to its limit. Those left out, and what was not judged, come last.

    Raises
    ------
    LayoutFault
        If a rating doesn't fit.
    """
    shape, look = page.shape, page.look
    safe, line_y = shape.safe, shape.high_dial + lower
    place_score_dial(page, body, line_y)
    rows = [*body.missed, *body.close] or [*body.met[:1]]
    top, bottom = line_y + _UNDER_DIAL, safe.bottom - 14.0
    most = min(len(rows), FEW_ROWS)
    for shown in range(most, 0, -1):
        rest = _rest(page, body, rows[:shown], rows[shown:])
        foot = bottom - (_FOOT if rest else 0.0)
        lines = _set_lines(page, body, rows[:shown], (1.0 - _COUNT_SHARE) * (foot - top) - _LINES_GAP)
        if lines is not None:
            break
    else:
        raise page.fault(max((row.label for row in rows), key=len), SHORTEN_LABEL)
    with page.part_of(PARTS["falls short"]):
        under = _place_count(page, body, top, foot - lines.height - lines.size - _LINES_GAP)
    slack = foot - lines.height - under - page.cap(lines.size, "bold") - _LINES_GAP
    y = under + _LINES_GAP + min(slack / 2, _MOST_ABOVE) + page.cap(lines.size, "bold")
    for row, texts in zip(rows, lines.rows, strict=False):
        muted = row.verdict == "falls short" and not body.met and row is not rows[0]
        colour = look.ink if muted else look.status(row.verdict)
        with page.part_of(PARTS[row.verdict]):
            y = _place_row(page, texts, lines, y, colour) + _ROW_PITCH * lines.size
    if rest:
        with page.part_of(PARTS["meets"]):
            page.add(page.text(rest, safe.left, bottom, AXIS, look.soft))


def _place_count(page: Page, body: Score, top: float, bottom: float) -> float:
    """Place how many ratings were met of those judged; return the last baseline."""
    judged = len(body.met) + len(body.missed) + len(body.close)
    what = f"{'judged ' if body.unjudged else ''}rating{'s' if judged > 1 else ''} met"
    colour = page.look.status("meets") if len(body.met) == judged else page.look.ink
    return place_count(page, f"{len(body.met)} of {judged}", what, colour, top, bottom, SHORTEN_LABEL)


def _texts(body: Score, row: ScoreRow) -> tuple[str, str, str]:
    """Return a rating's word with its margin, its name, and its figures: "missed by 13 %", "…", "52, rated 60"."""
    met = "nearest its limit" if len(body.met) > 1 else f"met {row.note}".rstrip()
    close = "" if len(body.missed) + len(body.close) == 1 else row.verdict  # one alone is in the title
    word = {"falls short": f"missed {row.note}".rstrip(), "meets": met}.get(row.verdict, close)
    figure = f"{row.measured} {row.uncertainty}".rstrip()
    return word, name_of(body, row), f"{figure}, rated {row.rated}"


def _set_lines(page: Page, body: Score, rows: Sequence[ScoreRow], height: float) -> _RowLines | None:
    """Return ratings in lines of one size, in as few lines as possible; None if they don't fit.

    Small sizes are for one alone. A name that is too long for a line of its own is cut off.
    """
    texts, width = [_texts(body, row) for row in rows], page.shape.safe.width
    sizes = (*_SIZES, *_SMALL_SIZES) if len(rows) == 1 else _SIZES
    tries = [(form, size) for form in _FORMS for size in (_SIZES if len(form) == 1 else sizes)]
    for form, size in tries:
        if form == _FORMS[2] and size == LEAST:
            texts = [(word, cut_text(page, name, LEAST, width, "bold").lines[0], rest) for word, name, rest in texts]
        word = max(page.width(text[0], size, "bold") for text in texts)
        starts = word + _WORD_GAP * size if len(form) == 1 and word else 0.0
        names = [(page.width(name, size, "bold"), page.width(figures, size)) for _, name, figures in texts]
        gap = _NAME_GAP * size
        widest = max(max(one) if len(form) == 3 else starts + one[0] + gap + one[1] for one in names)
        lines = _RowLines(tuple(texts), form, size, starts)
        if max(word, widest) <= width and lines.height + page.cap(size, "bold") <= height:
            return lines
    return None


def _place_row(page: Page, texts: tuple[str, str, str], lines: _RowLines, y: float, colour: str) -> float:
    """Place a rating's line or lines, the first on a baseline; return the last one's."""
    look, size, left = page.look, lines.size, page.shape.safe.left
    styles = ((colour, "bold"), (look.ink, "bold"), (look.ink, "regular"))
    for index, line in enumerate(lines.form):
        y += _PITCH * size if index else 0.0
        for part in line:
            x = left + (lines.starts if part else 0.0)
            if part == 2 and 1 in line:
                x += page.width(texts[1], size, "bold") + _NAME_GAP * size
            of_text, weight = styles[part]
            page.add(page.text(texts[part], x, y, size, of_text, weight=weight, remedy=SHORTEN_LABEL))
    return y


def _rest(page: Page, body: Score, shown: Sequence[ScoreRow], left_out: Sequence[ScoreRow]) -> str:
    """Return what the card has no line for: how many more were missed, and what was not judged; one alone by name."""
    more = [
        f"{count} {'more ' if any(row.verdict == verdict for row in shown) else ''}{word}"
        for verdict, word in (("falls short", "missed"), ("too close to call", "too close to call"))
        if (count := sum(row.verdict == verdict for row in left_out))
    ]
    parts = [f"and {', '.join(more)}"] if more else []
    if body.unjudged:
        named = "; ".join([*parts, body.not_judged])
        if body.not_judged and page.width(named, AXIS) <= page.shape.safe.width:
            return named
        parts.append(f"{len(body.unjudged)} not judged")
    return "; ".join(parts)
