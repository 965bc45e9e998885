"""The dial of the score: one scale for all judged ratings, their limits at its notch, a needle for each."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model.card import Score, ScoreRow
from reviewkit.render.cards.needle import wedge_at
from reviewkit.render.cards.scene import Page, Stroke
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE

_TICKS = 8
_END, _TICK, _NOTCH = 40.0, 18.0, 72.0
_HEAVY, _THIN = 9.0, 3.0
_EDGE = 120.0  # from the frame's edge to the scale's end, where needles past it have room
_PAST, _NEXT = 34.0, 28.0  # to the first needle past the end, and from one to the next
_LARGE, _SMALL = (94.0, 17.0), (60.0, 6.5)  # height and half the width of needles
_MOST_NAMED = 2
_NAME = 62.0  # from the line to the baseline of a needle's name
# the order in which a clip shows them
PARTS = {"falls short": "step 1", "too close to call": "step 2", "meets": "sweep 3"}


def place_score_dial(page: Page, body: Score, line_y: float) -> None:
    """Place the scale with its ends named, and a needle for each rating."""
    shape, look = page.shape, page.look
    left, right = _EDGE, shape.width - _EDGE
    if shape.stacked:
        left, right = left - 40.0, right + 40.0
    middle, half = (left + right) / 2, (right - left) / 2
    page.add(Stroke("dial", ((0.0, line_y), (middle, line_y)), look.soft, _THIN))
    page.add(Stroke("dial", ((middle, line_y), (float(shape.width), line_y)), look.ink, _HEAVY))
    for tick in range(_TICKS + 1):
        x = left + (right - left) * tick / _TICKS
        high = _NOTCH if tick == _TICKS // 2 else _END if tick in (0, _TICKS) else _TICK
        heavy = tick == _TICKS // 2
        page.add(
            Stroke("needle", ((x, line_y), (x, line_y - high)), look.ink if heavy else look.soft, 9.0 if heavy else 3.0)
        )
    baseline, room = line_y - 30.0, right - middle - 60.0
    forms = ((NOTE, AXIS, "by 2 ×"), (AXIS, LEAST, "by 2 ×"), (AXIS, LEAST, ""))
    needs = [page.width("as rated", rated, "bold") + page.width(f"met {by}", ends) for rated, ends, by in forms]
    rated, ends, by = next((form for form, need in zip(forms, needs, strict=True) if need <= room), forms[-1])
    page.add(page.text("as rated", middle + 22, baseline, rated, look.ink, weight="bold"))
    page.add(page.text(f"missed {by}".rstrip(), left + 14, baseline, ends, look.soft))
    page.add(page.text(f"met {by}".rstrip(), right - 14, baseline, ends, look.soft, anchor="right"))
    _place_needles(page, body, line_y, middle, half)


def _place_needles(page: Page, body: Score, line_y: float, middle: float, half: float) -> None:
    """Place small needles for what was met; larger ones, a few of them named, for what was missed or is undecided."""
    rows = [row.position for row in (*body.met, *body.missed, *body.close) if row.position is not None]
    past = {side: sum(side * position > 1 for position in rows) for side in (-1, 1)}
    placed = {-1: 0, 1: 0}
    room = page.shape.width - 6.0 - _LARGE[1] - (middle + half + _PAST)  # beyond the first past the end

    def place_of(position: float) -> float:
        if abs(position) <= 1:
            return middle + half * position
        side = 1 if position > 0 else -1
        step = min(_NEXT, room / max(past[side] - 1, 1))
        x = middle + side * (half + _PAST + step * placed[side])
        placed[side] += 1
        return x

    places = [place_of(row.position) for row in body.met if row.position is not None]
    with page.part_of(PARTS["meets"]):
        for x in places:
            page.add(wedge_at(page, x, line_y, "meets", *_SMALL))
    large = [row for row in (*body.missed, *body.close) if row.position is not None]
    tips = [place_of(row.position or 0.0) for row in large]
    for index, (row, x) in enumerate(zip(large, tips, strict=True)):
        muted = index and row.verdict == "falls short" and not body.met
        with page.part_of(PARTS[row.verdict]):
            word = "too close to call" if muted else row.verdict
            page.add(wedge_at(page, x, line_y, word, *_LARGE))
    if len(large) <= _MOST_NAMED:
        named = [*zip(large, tips, strict=True)] or [*zip(body.met[:1], places[:1], strict=False)]
        _place_names(page, body, named, [*tips, *places], line_y)


def _place_names(
    page: Page, body: Score, named: Sequence[tuple[ScoreRow, float]], tips: Sequence[float], line_y: float
) -> None:
    """Place a name next to its needle, to the left or the right, if no other needle or name is there."""
    taken = [(x - _LARGE[1], x + _LARGE[1]) for x in tips]
    for row, x in named:
        name, gap = name_of(body, row), _LARGE[1] + 14.0
        width = page.width(name, AXIS)
        for left in (x - gap - width, x + gap):
            clear = all(left > end + 10 or left + width < start - 10 for start, end in taken)
            if clear and page.shape.safe.left <= left and left + width <= page.shape.safe.right:
                with page.part_of(PARTS[row.verdict]):
                    page.add(page.text(name, left, line_y + _NAME, AXIS, page.look.status(row.verdict)))
                taken.append((left, left + width))
                break


def name_of(body: Score, row: ScoreRow) -> str:
    """Return a rating's name without its condition, unless another rating on the card differs only in that."""
    heads = [each.label.split(",")[0] for each in (*body.missed, *body.close, *body.met)]
    head = row.label.split(",")[0]
    return head if heads.count(head) == 1 else row.label
