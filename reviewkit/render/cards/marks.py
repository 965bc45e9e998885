"""Marked points: a ring in the picture, with its text in the nearest free place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.model.card import Mark, Panel
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.labels import FAR, MARGIN, SHORTEN_LABEL
from reviewkit.render.cards.layout_check import crosses
from reviewkit.render.cards.scene import Area, Page, Stroke, Text
from reviewkit.render.cards.sizes import AXIS, GHOST
from reviewkit.render.cards.traces import clamped_position

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_RADIUS = 15.0
_DOT, _HEAD = 14.0, 34.0  # of a change
_STEM, _CAP = 10.0, 11.0  # of a spectrum's lines
_OVER_TIP = 10.0  # from the tip of a line without a ring to the room of its name
_MOST_PLACES = 8  # tried for one mark's text


def place_marks(page: Page, free: FreeSpace, panel: Panel, box: Box) -> None:
    """Place all rings, then all texts.

    Raises
    ------
    LayoutFault
        If a text has no room.
    """
    points = [_point(panel, mark, box) for mark in panel.marks]
    named = list(points)  # what a text is next to: a ring, or where the arrow to it begins
    for index, (mark, (x, y)) in enumerate(zip(panel.marks, points, strict=True)):
        if mark.from_y is not None:
            start = box.bottom - clamped_position(panel.y, mark.from_y) * box.height
            _arrow_down(page, x, start, y - _RADIUS)
            free.occupy_box(Box(x - 18, min(start, y), x + 18, max(start, y)))
            named[index] = x, start
    for x, y in (point for mark, point in zip(panel.marks, points, strict=True) if not mark.part):
        ring = _circle(x, y, _RADIUS)
        page.add(Area("mark", ring, page.look.ground), Stroke("mark", ring, page.look.ink, 4.0))
        free.occupy_box(Box(x, y, x, y).grown(_RADIUS + 4, _RADIUS + 4))
    for mark, point in zip(panel.marks, named, strict=True):
        if mark.text and not _place_text(page, free, mark, point, named) and not mark.optional:
            raise page.fault(mark.text, SHORTEN_LABEL, "has no free space in the picture")


def _point(panel: Panel, mark: Mark, box: Box) -> tuple[float, float]:
    """Return a mark's place in pixels, moved to the panel's edge if it is outside the axes."""
    x, y = (clamped_position(axis, value) for axis, value in ((panel.x, mark.x), (panel.y, mark.y)))
    return box.left + x * box.width, box.bottom - y * box.height


def _place_text(
    page: Page, free: FreeSpace, mark: Mark, point: tuple[float, float], rings: Sequence[tuple[float, float]]
) -> bool:
    """Place a mark's text in the nearest free place, without a ring above it; return False if there is none.

    A text too far from its ring gets a leader. A place is skipped, while there are others, if a leader would cross
    another text or the text could be read as another ring's.
    """
    width, rise, drop, _ = page.measure(mark.text, AXIS, "bold")
    size = width + 2 * MARGIN, rise + drop + 2 * MARGIN
    first = free.nearest(*point, *size)
    tip = point[1] - _OVER_TIP
    over = Box(point[0] - size[0] / 2, tip - size[1], point[0] + size[0] / 2, tip)
    if mark.part and free.is_free(over):
        first = over
    if first is None:
        return False
    found, leader = first, _leader(first, point)
    if _is_blocked(page, leader) or (leader is None and _is_ambiguous(found, point, rings)):
        led = ((box, _leader(box, point)) for box in _next_places(free, first, point, size))
        good = (
            one
            for one in led
            if not _is_blocked(page, one[1]) and (one[1] is not None or not _is_ambiguous(one[0], point, rings))
        )
        # a leader through another text does more harm than good: at worst, the text alone says what it belongs to
        found, leader = next(good, (first, None))
    if leader is not None:
        page.add(Stroke("leader", leader, page.look.soft, 2.0))
        free.occupy_line(leader, 4.0)
    free.occupy_box(found)
    box = found.grown(-MARGIN, -MARGIN)
    page.add(
        page.text(mark.text, box.left, box.bottom - drop, AXIS, page.look.ink, weight="bold", remedy=SHORTEN_LABEL)
    )
    return True


def _next_places(free: FreeSpace, first: Box, point: tuple[float, float], size: tuple[float, float]) -> Iterator[Box]:
    """Yield the next nearest free places, no two overlapping."""
    trial, found = free.copy(), first
    for _ in range(_MOST_PLACES):
        trial.occupy_box(found)
        further = trial.nearest(*point, *size)
        if further is None:
            return
        found = further
        yield found


def _leader(found: Box, point: tuple[float, float]) -> Array | None:
    """Return the line from a ring to its text, shape (2, 2); None if the text is near enough without."""
    x, y = point
    box = found.grown(-MARGIN, -MARGIN)
    near = (min(max(x, box.left), box.right), min(max(y, box.top), box.bottom))
    away = float(np.hypot(near[0] - x, near[1] - y))
    if away <= _RADIUS + FAR:
        return None
    start = (x + (near[0] - x) * (_RADIUS + 3) / away, y + (near[1] - y) * (_RADIUS + 3) / away)
    stop = (near[0] + (x - near[0]) * 8 / away, near[1] + (y - near[1]) * 8 / away)
    return np.array((start, stop))


def _is_ambiguous(found: Box, point: tuple[float, float], rings: Sequence[tuple[float, float]]) -> bool:
    """Tell whether a text is so near another ring that it can be read as that ring's."""
    reach = found.grown(_RADIUS - MARGIN, FAR)
    return any(
        ring != point and reach.left <= ring[0] <= reach.right and reach.top <= ring[1] <= reach.bottom
        for ring in rings
    )


def _is_blocked(page: Page, leader: Array | None) -> bool:
    texts = (item.box.grown(2, 2) for item in page.items if isinstance(item, Text))
    return leader is not None and any(crosses(leader, box) for box in texts)


# ------------------------------------------------------------------ a change, and the lines of a spectrum


def place_fall(page: Page, free: FreeSpace, panel: Panel, box: Box, *, fault: bool) -> None:
    """Place the change at one reading: hollow dot, line with one arrowhead, solid dot; of a fault only its dot."""
    assert panel.fall is not None
    x = box.left + clamped_position(panel.x, panel.fall.x) * box.width
    old, new = (box.bottom - clamped_position(panel.y, y) * box.height for y in (panel.fall.from_y, panel.fall.to_y))
    look = page.look
    if fault:
        page.add(Area("mark", _circle(x, old, _DOT), look.falls_short))
        free.occupy_box(Box(x - 20, old - 20, x + 20, old + 20))
        return
    way = 1.0 if new > old else -1.0
    _arrow_down(page, x, old + way * (_DOT + 6), new - way * _DOT)
    with page.part_of("ghost"):
        page.add(
            Area("mark", _circle(x, old, _DOT), look.ground), Stroke("mark", _circle(x, old, _DOT), look.soft, 4.0)
        )
    page.add(Area("mark", _circle(x, new, _DOT), look.ink))
    free.occupy_box(Box(x - 22, min(old, new) - 20, x + 22, max(old, new) + 20))


def _arrow_down(page: Page, x: float, start: float, end: float) -> None:
    """Place an upright line with one arrowhead, if there is room for both."""
    way = 1.0 if end > start else -1.0
    if abs(end - start) > 2 * _HEAD:
        tip = end - way * 4
        page.add(Stroke("mark", ((x, start), (x, tip - way * (_HEAD - 4))), page.look.soft, 4.5))
        page.add(Area("mark", ((x, tip), (x - 15, tip - way * _HEAD), (x + 15, tip - way * _HEAD)), page.look.soft))


def place_stems(page: Page, free: FreeSpace, panel: Panel, box: Box, role: str) -> None:
    """Place a spectrum's lines of one role: thick stems now, thin ones before, with a cap at their level."""
    look = page.look
    for stem in (stem for stem in panel.stems if stem.role == role):
        x = box.left + clamped_position(panel.x, stem.x) * box.width
        y = box.bottom - clamped_position(panel.y, stem.y) * box.height
        colour = look.curve(stem.channel, stem.role)
        if stem.role == "before":
            page.add(Stroke("curve", ((x, box.bottom), (x, y), (x - _CAP, y), (x + _CAP, y)), colour, GHOST))
        else:
            page.add(Stroke("curve", ((x, box.bottom), (x, y)), colour, _STEM))
        free.occupy_box(Box(x - _CAP, y - 8, x + _CAP, box.bottom))
        if stem.label:
            text = page.text(stem.label, x, y - 18, AXIS, look.ink, anchor="centre", remedy=SHORTEN_LABEL)
            if free.is_free(text.box.grown(4, 2)):
                page.add(text)
                free.occupy_box(text.box.grown(6, 4))


def _circle(x: float, y: float, radius: float) -> Array:
    turn = np.linspace(0.0, 2 * np.pi, 41)
    return np.column_stack((x + radius * np.cos(turn), y + radius * np.sin(turn)))
