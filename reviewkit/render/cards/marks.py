"""Marked points: a ring in the picture, with its text in the nearest free place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import deepcopy
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.model.card import Mark, Panel
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.labels import FAR, MARGIN, SHORTEN_LABEL
from reviewkit.render.cards.layout_check import crosses
from reviewkit.render.cards.look import LABEL
from reviewkit.render.cards.scene import Area, Box, Page, Stroke, Text
from reviewkit.render.cards.traces import clamped_position

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_RADIUS = 12.0
_MOST_PLACES = 8  # tried for one mark's text
_OVER_PLOT = 32.0  # from the panel to the line above it, which has its label


def place_marks(page: Page, free: FreeSpace, panel: Panel, box: Box) -> None:
    """Place all rings, then their texts. A text without room in the picture goes above it.

    Raises
    ------
    LayoutFault
        If there is no room there either.
    """
    points = [_point(panel, mark, box) for mark in panel.marks]
    for x, y in points:
        _place_ring(page, x, y)
        free.occupy_box(Box(x, y, x, y).grown(_RADIUS + 4, _RADIUS + 4))
    worded = [(mark, point) for mark, point in zip(panel.marks, points, strict=True) if mark.text]
    homeless = [mark for mark, point in worded if not _place_text(page, free, mark, point, points)]
    if homeless:
        _place_over_panel(page, homeless, box)


def _point(panel: Panel, mark: Mark, box: Box) -> tuple[float, float]:
    """Return a mark's place in pixels, moved to the panel's edge if it is outside the axes."""
    x, y = (clamped_position(axis, value) for axis, value in ((panel.x, mark.x), (panel.y, mark.y)))
    return box.left + x * box.width, box.bottom - y * box.height


def _place_ring(page: Page, x: float, y: float) -> None:
    turn = np.linspace(0.0, 2 * np.pi, 41)
    ring = np.column_stack((x + _RADIUS * np.cos(turn), y + _RADIUS * np.sin(turn)))
    page.add(Area("mark", ring, page.look.ground), Stroke("mark", ring, page.look.ink, 4.0))


def _place_text(
    page: Page, free: FreeSpace, mark: Mark, point: tuple[float, float], rings: Sequence[tuple[float, float]]
) -> bool:
    """Place a mark's text in the nearest free place; return False if there is none.

    A text too far from its ring gets a leader. A place is skipped, while there are others, if a leader would cross
    another text or the text could be read as another ring's.
    """
    width, rise, drop, _ = page.measure(mark.text, LABEL, False)
    size = width + 2 * MARGIN, rise + drop + 2 * MARGIN
    first = free.nearest(*point, *size)
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
    page.add(page.text(mark.text, box.left, box.bottom - drop, LABEL, page.look.ink, remedy=SHORTEN_LABEL))
    return True


def _next_places(free: FreeSpace, first: Box, point: tuple[float, float], size: tuple[float, float]) -> Iterator[Box]:
    """Yield the next nearest free places, no two overlapping."""
    trial, found = deepcopy(free), first
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


def _place_over_panel(page: Page, marks: Sequence[Mark], box: Box) -> None:
    """Place the texts of marks above the panel, flush right, after a ring."""
    words = " · ".join(mark.text for mark in marks)
    text = page.text(words, box.right, box.top - _OVER_PLOT, LABEL, page.look.ink, anchor="right", remedy=SHORTEN_LABEL)
    ring = text.box.left - _RADIUS - 12
    space = Box(ring - _RADIUS - 8, text.box.top, text.box.right, text.box.bottom)
    occupied = any(space.meets(item.box) for item in page.items if isinstance(item, Text))
    if space.left < box.left or occupied:
        raise page.fault(marks[-1].text, SHORTEN_LABEL, "has no free place in the picture")
    _place_ring(page, ring, text.baseline - page.cap(LABEL) / 2)
    page.add(text)
