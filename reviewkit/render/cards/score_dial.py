"""The dial of the score: one scale for all judged ratings, their limits at its notch, a needle for each."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model.card import Score
from reviewkit.render.cards.look import AXIS, LEAST, NOTE
from reviewkit.render.cards.needle import wedge_at
from reviewkit.render.cards.scene import Page, Stroke

_TICKS = 8
_END, _TICK, _NOTCH = 40.0, 18.0, 72.0
_HEAVY, _THIN = 9.0, 3.0
_EDGE = 120.0  # from the frame's edge to the scale's end, where needles past it have room
_PAST, _NEXT = 34.0, 28.0  # to the first needle past the end, and from one to the next
_LARGE, _SMALL = (94.0, 17.0), (60.0, 6.5)  # height and half the width of needles
# the order in which a clip shows them
PARTS = {"falls short": "step 1", "too close to call": "step 2", "": "step 3", "meets": "sweep 4"}


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
    baseline = line_y - 30.0
    rated = page.text("as rated", middle + 22, baseline, NOTE, look.ink, weight="bold")
    page.add(rated)
    for words, x, anchor, room in (
        (("missed by 2 × or 6 dB", "missed by 2 ×"), left + 14, "left", middle - 20 - left),
        (("met by 2 × or 6 dB", "met by 2 ×"), right - 14, "right", right - 14 - rated.box.right - 20),
    ):
        text = next((word for word in words if page.width(word, AXIS) <= room), "")
        if text:
            page.add(page.text(text, x, baseline, AXIS, look.soft, anchor=anchor))
    _place_needles(page, body, line_y, middle, half)


def _place_needles(page: Page, body: Score, line_y: float, middle: float, half: float) -> None:
    """Place small needles for what was met; larger, named ones for what was missed or is undecided."""
    look = page.look
    past = {-1: 0, 1: 0}

    def place_of(position: float) -> float:
        if abs(position) <= 1:
            return middle + half * position
        side = 1 if position > 0 else -1
        past[side] += 1
        x = middle + side * (half + _PAST + _NEXT * (past[side] - 1))
        return min(max(x, 6.0 + _LARGE[1]), page.shape.width - 6.0 - _LARGE[1])

    places = [place_of(row.position) for row in body.met if row.position is not None]
    with page.part_of(PARTS["meets"]):
        for x in places:
            page.add(wedge_at(page, x, line_y, "meets", *_SMALL))
    if past[1]:
        right = middle + half + _PAST - _SMALL[1] - 14
        width = page.width("off the scale", LEAST)
        if not any(right - width - 20 < x < right + 10 for x in places):
            page.add(page.text("off the scale", right, line_y + 50, LEAST, look.soft, anchor="right"))
        else:
            page.add(page.text("off the scale", page.shape.safe.right, line_y + 92, LEAST, look.soft, anchor="right"))
    named = [row for row in (*body.missed, *body.close) if row.position is not None]
    spans = []
    for index, row in enumerate(named):
        x = place_of(row.position or 0.0)
        muted = index and row.verdict == "falls short" and not body.met
        with page.part_of(PARTS[row.verdict]):
            page.add(wedge_at(page, x, line_y, "too close to call" if muted else row.verdict, *_LARGE))
        spans.append((x - _LARGE[1], x + _LARGE[1]))
    for index, row in enumerate(named):
        name = row.label.split(",")[0]
        off = row.position is not None and row.position < -1
        names = (f"{name}, off the scale", "off the scale") if off else (name,)
        with page.part_of(PARTS[row.verdict]):
            _place_needle_name(page, names, spans, index, line_y)


def _place_needle_name(
    page: Page, names: Sequence[str], spans: list[tuple[float, float]], index: int, line_y: float
) -> None:
    """Name a needle on its left, else on its right; not at all if neither has room: it is in the list below."""
    safe = page.shape.safe
    middle = (safe.left + safe.right) / 2
    left, right = spans[index]
    for name in names:
        width = page.width(name, AXIS)
        for start in (left - 18 - width, right + 18):
            stop = start + width
            free = all(stop + 12 <= low or high + 12 <= start for low, high in spans)
            if free and start >= safe.left and stop <= middle - 30:
                page.add(page.text(name, start, line_y + 82, AXIS, page.look.ink))
                spans.append((start, stop))
                return
