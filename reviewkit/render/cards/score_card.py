"""The score: every judged rating on one dial; below it, large, what was missed and what is undecided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from reviewkit.model.card import Score, ScoreRow
from reviewkit.render.cards.hero import small
from reviewkit.render.cards.scene import Page, Stroke
from reviewkit.render.cards.score_dial import PARTS, place_score_dial
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import Setting, cut_text, fit_text

_UNDER_DIAL, _OVER_REST = 112.0, 66.0
_HEADING = 90.0  # height of a heading with its rule and the room below
_ROW, _HIGHEST_ROW = 150.0, 340.0
_FIGURES = (240.0, 190.0, 160.0, 140.0, 120.0, 104.0, 92.0, 72.0, 60.0)
_HEADING_SIZE = 52.0
_LABELS = (60.0, 52.0, NOTE, AXIS, LEAST)
_LINE = 1.18  # pitch of a row's lines, in em
_COLUMN_GAP = 44.0
_LEAST_LABEL = 0.36  # of the width, for the texts
_HEADINGS = {"falls short": "missed", "meets": "met"}
_NEAREST = "nearest its limit"

SHORTEN_LABEL = "shorten the input or the condition of this [[rated]] table"


_Text = tuple[str, float, str, str]  # a line next to a figure: its size, colour and weight


def place_score(page: Page, body: Score, lower: float) -> None:
    """Place the dial, then the ratings that weren't met, the largest miss first; of all others only the number.

    If all were met, the nearest to its limit is the large one. Those of one verdict have its word above them.

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
    shown = rows[: max(int((bottom - top - _HEADING * len({row.verdict for row in rows})) / _ROW), 1)]
    headings = _HEADING * len({row.verdict for row in shown})
    step = min((bottom - top - headings) / len(shown), _HIGHEST_ROW)
    size = _figure_size(page, shown, step)
    y = top + (bottom - top - headings - step * len(shown)) / 2
    for verdict, group in groupby(shown, lambda row: row.verdict):
        with page.part_of(PARTS[verdict]):
            of_many = verdict == "meets" and len(body.met) > 1
            of_verdict = list(group)
            heading = _NEAREST if of_many else _HEADINGS.get(verdict, verdict)
            if verdict == "falls short" and len(of_verdict) == 1:
                heading = f"{heading} {of_verdict[0].note}".strip()  # "missed by 13 %"
                of_verdict = [replace(of_verdict[0], note="")]
            page.add(page.text(heading, safe.left, y + 62.0, _HEADING_SIZE, look.status(verdict), weight="bold"))
            page.add(Stroke("grid", ((safe.left, y + 80.0), (safe.right, y + 80.0)), look.rule, 2.0))
            y += _HEADING
            for row in of_verdict:
                muted = verdict == "falls short" and not body.met and row is not shown[0]
                colour = look.ink if muted else look.status(verdict)
                note = f"met {row.note}" if of_many else row.note
                left = safe.left + _figure_width(page, row, size) + _COLUMN_GAP
                texts = _set_texts(page, replace(row, note=note), safe.right - left, step - 14.0, colour)
                _place_row(page, row, left, y + step / 2, size, colour, texts)
                y += step
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
        if page.cap(size, "black") <= step - 48.0 and all(_figure_width(page, row, size) <= room for row in rows):
            return size
    raise page.fault(max((row.measured for row in rows), key=len), SHORTEN_LABEL)


def _set_texts(page: Page, row: ScoreRow, width: float, height: float, colour: str) -> list[_Text]:
    """Return the lines next to a rating's figure: its label as large as fits, what was rated, how far off it is."""

    def fit(text: str, sizes: Sequence[float], weight: str, most: int) -> Setting:
        return fit_text(page, text, sizes, width, weight=weight, most=most) or cut_text(
            page, text, LEAST, width, weight
        )

    look, sizes = page.look, (NOTE, AXIS, LEAST)
    below = [(fit(f"rated {row.rated}", sizes, "regular", 1), look.soft, "regular")]
    below += [(fit(row.note, sizes, "bold", 2), colour, "bold")] if row.note else []
    for first in range(len(_LABELS)):
        parts = [(fit(row.label, _LABELS[first:], "bold", 2), look.ink, "bold"), *below]
        texts = [(text, part.size, of_text, weight) for part, of_text, weight in parts for text in part.lines]
        if _height(page, texts) <= height:
            return texts
    label = cut_text(page, row.label, LEAST, width, "bold")
    return [(label.lines[0], LEAST, look.ink, "bold"), *texts[-sum(len(part.lines) for part, _, _ in below) :]]


def _height(page: Page, texts: Sequence[_Text]) -> float:
    """Return the height of lines of text, from the first one's capitals to the last one's baseline."""
    return page.cap(texts[0][1], "bold") + _LINE * sum(size for _, size, _, _ in texts[1:])


def _place_row(
    page: Page, row: ScoreRow, left: float, middle: float, size: float, colour: str, texts: Sequence[_Text]
) -> None:
    """Place a figure, and on its right its lines of text."""
    cap = page.cap(size, "black")
    baseline = middle + cap / 2
    figure = page.text(row.measured, page.shape.safe.left, baseline, size, colour, weight="black", remedy=SHORTEN_LABEL)
    page.add(figure)
    if row.uncertainty:
        page.add(page.text(row.uncertainty, figure.box.right + 24, baseline, small(size), page.look.ink))
    at = middle - _height(page, texts) / 2 + page.cap(texts[0][1], "bold")
    for index, (text, text_size, text_colour, weight) in enumerate(texts):
        at += text_size * _LINE if index else 0.0
        page.add(page.text(text, left, at, text_size, text_colour, weight=weight, remedy=SHORTEN_LABEL))
