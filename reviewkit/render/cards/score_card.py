"""The score: every judged rating on one dial; below it, large, what was missed and what is undecided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.card import Score, ScoreRow
from reviewkit.render.cards.hero import small
from reviewkit.render.cards.scene import Page
from reviewkit.render.cards.score_dial import PARTS, place_score_dial
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import Setting, cut_text, fit_text

_UNDER_DIAL, _OVER_REST = 120.0, 76.0
_ROW = 185.0  # least height of a row
_FIGURES = (240.0, 190.0, 160.0, 140.0, 120.0, 104.0, 92.0, 72.0, 60.0)
_LABELS = (60.0, 52.0, NOTE, AXIS, LEAST)
_LINE = 1.18  # pitch of a row's lines, in em
_COLUMN_GAP = 44.0
_LEAST_LABEL = 0.36  # of the width, for the texts
_WORDS = {"falls short": "missed", "meets": "met"}

SHORTEN_LABEL = "shorten the input or the condition of this [[rated]] table"


@dataclass(frozen=True)
class _SetRow:
    """The texts next to a rating's figure: its label, what was rated, its verdict."""

    row: ScoreRow
    label: Setting
    rated: Setting
    word: Setting


def place_score(page: Page, body: Score, lower: float) -> None:
    """Place the dial, then the ratings that weren't met, the largest miss first; of all others only the number.

    If all were met, the nearest to its limit is the large one.

    Raises
    ------
    LayoutFault
        If a rating doesn't fit.
    """
    shape, look = page.shape, page.look
    safe, line_y = shape.safe, shape.high_dial + lower
    place_score_dial(page, body, line_y)
    rows = [*body.missed, *body.close] or [*body.met[:1]]
    top, bottom = line_y + _UNDER_DIAL, safe.bottom - _OVER_REST
    shown = rows[: max(int((bottom - top) / _ROW), 1)]
    step = (bottom - top) / len(shown)
    size = _figure_size(page, shown, step)
    left = safe.left + max(_figure_width(page, row, size) for row in shown) + _COLUMN_GAP
    for index, row in enumerate(shown):
        colour = look.ink if index and not body.met and row in body.missed else look.status(row.verdict)
        with page.part_of(PARTS[row.verdict]):
            _place_row(
                page,
                _set_row(page, row, safe.right - left, closest=len(body.met) > 1),
                left,
                top + step * (index + 0.5),
                size,
                colour,
            )
    rest = _rest(body, rows[len(shown) :])
    if rest:
        with page.part_of(PARTS["meets"]):
            page.add(page.text(rest, safe.left, safe.bottom - 14.0, AXIS, look.soft))


def _rest(body: Score, left_out: Sequence[ScoreRow]) -> str:
    """Return how many ratings the card doesn't name; the title has the number of those met."""
    counts = (
        (sum(row.verdict == "falls short" for row in left_out), "more missed"),
        (sum(row.verdict == "too close to call" for row in left_out), "more too close to call"),
        (len(body.unjudged), "not judged"),
    )
    return ", ".join(f"{count} {what}" for count, what in counts if count)


def _figure_width(page: Page, row: ScoreRow, size: float) -> float:
    spread = 24 + page.width(row.uncertainty, small(size)) if row.uncertainty else 0.0
    return page.width(row.measured, size, "black") + spread


def _figure_size(page: Page, rows: Sequence[ScoreRow], step: float) -> float:
    """Return the largest size at which all figures leave their texts room.

    Raises
    ------
    LayoutFault
        If there is none.
    """
    room = page.shape.safe.width * (1 - _LEAST_LABEL)
    for size in _FIGURES:
        if page.cap(size, "black") <= step - 40.0 and all(_figure_width(page, row, size) <= room for row in rows):
            return size
    raise page.fault(max((row.measured for row in rows), key=len), SHORTEN_LABEL)


def _set_row(page: Page, row: ScoreRow, width: float, *, closest: bool) -> _SetRow:
    def fit(text: str, sizes: Sequence[float], weight: str, most: int) -> Setting:
        return fit_text(page, text, sizes, width, weight=weight, most=most) or cut_text(
            page, text, LEAST, width, weight
        )

    sizes_of_notes = (NOTE, AXIS, LEAST)
    first = "tightest: " if closest and row.verdict == "meets" else ""
    word = f"{first}{_WORDS.get(row.verdict, row.verdict)} {row.note}".rstrip()
    return _SetRow(
        row,
        fit(row.label, _LABELS, "bold", 2),
        fit(f"rated {row.rated}", sizes_of_notes, "regular", 1),
        fit(word, sizes_of_notes, "bold", 2),
    )


def _place_row(page: Page, line: _SetRow, left: float, middle: float, size: float, colour: str) -> None:
    """Place a figure, on its right its label, what was rated, and how far off it is."""
    look, row = page.look, line.row
    cap = page.cap(size, "black")
    parts = ((line.label, look.ink, "bold"), (line.rated, look.soft, "regular"), (line.word, colour, "bold"))
    texts = [(text, part.size, of_text, weight) for part, of_text, weight in parts for text in part.lines]
    pitches = [text_size * _LINE for _, text_size, _, _ in texts]
    first = page.cap(texts[0][1], "bold")
    high = first + sum(pitches[1:])
    baseline = middle + cap / 2
    figure = page.text(row.measured, page.shape.safe.left, baseline, size, colour, weight="black", remedy=SHORTEN_LABEL)
    page.add(figure)
    if row.uncertainty:
        page.add(page.text(row.uncertainty, figure.box.right + 24, baseline, small(size), look.ink))
    at = middle - high / 2 + first
    for (text, text_size, text_colour, weight), pitch in zip(texts, [*pitches[1:], 0.0], strict=True):
        page.add(page.text(text, left, at, text_size, text_colour, weight=weight, remedy=SHORTEN_LABEL))
        at += pitch
