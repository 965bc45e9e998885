"""Points worth pointing at: a ring in the picture, its words in the nearest free place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.model import Mark, Panel
from reviewkit.render.free_space import FreeSpace
from reviewkit.render.labels import FAR, MARGIN, SHORTEN_LABEL
from reviewkit.render.layout_check import crosses
from reviewkit.render.look import LABEL
from reviewkit.render.scene import Area, Box, Page, Stroke, Text
from reviewkit.render.traces import place

_RADIUS = 12.0
_OVER_PLOT = 32.0  # the line over a panel, where its label stands


def put_marks(page: Page, free: FreeSpace, panel: Panel, box: Box) -> None:
    """Place all rings, then their words; words for which the picture has no room go on the line over it.

    Raises LayoutFault where there is no room there either.
    """
    points = [_point(panel, mark, box) for mark in panel.marks]
    for x, y in points:
        _ring(page, x, y)
        free.take_box(Box(x, y, x, y).grown(_RADIUS + 4, _RADIUS + 4))
    homeless = [mark for mark, point in zip(panel.marks, points, strict=True) if not _words(page, free, mark, point)]
    if homeless:
        _over(page, homeless, box)


def _point(panel: Panel, mark: Mark, box: Box) -> tuple[float, float]:
    """Where a mark stands; one outside the axes stands on the panel's edge."""
    x, y = (min(max(place(axis, value), 0.0), 1.0) for axis, value in ((panel.x, mark.x), (panel.y, mark.y)))
    return box.left + x * box.width, box.bottom - y * box.height


def _ring(page: Page, x: float, y: float) -> None:
    turn = np.linspace(0.0, 2 * np.pi, 41)
    ring = np.column_stack((x + _RADIUS * np.cos(turn), y + _RADIUS * np.sin(turn)))
    page.add(Area("mark", ring, page.look.ground), Stroke("mark", ring, page.look.ink, 4.0))


def _words(page: Page, free: FreeSpace, mark: Mark, point: tuple[float, float]) -> bool:
    """Place a mark's words in the free place nearest to it; False where there is none."""
    x, y = point
    width, rise, drop, _ = page.measure(mark.text, LABEL, False)
    found = free.nearest(x, y, width + 2 * MARGIN, rise + drop + 2 * MARGIN)
    if found is None:
        return False
    box = found.grown(-MARGIN, -MARGIN)
    near = (min(max(x, box.left), box.right), min(max(y, box.top), box.bottom))
    away = float(np.hypot(near[0] - x, near[1] - y))
    if away > _RADIUS + FAR:
        start = (x + (near[0] - x) * (_RADIUS + 3) / away, y + (near[1] - y) * (_RADIUS + 3) / away)
        stop = (near[0] + (x - near[0]) * 8 / away, near[1] + (y - near[1]) * 8 / away)
        leader = np.array((start, stop))
        # a leader through other words would do more harm than good: the words say where they belong
        if not any(crosses(leader, item.box.grown(2, 2)) for item in page.items if isinstance(item, Text)):
            page.add(Stroke("leader", leader, page.look.soft, 2.0))
            free.take_line(leader, 4.0)
    free.take_box(found)
    page.add(page.text(mark.text, box.left, box.bottom - drop, LABEL, page.look.ink, remedy=SHORTEN_LABEL))
    return True


def _over(page: Page, marks: Sequence[Mark], box: Box) -> None:
    """Place marks' words over the panel, flush right, behind a ring of their own."""
    words = " · ".join(mark.text for mark in marks)
    text = page.text(words, box.right, box.top - _OVER_PLOT, LABEL, page.look.ink, anchor="right", remedy=SHORTEN_LABEL)
    ring = text.box.left - _RADIUS - 12
    space = Box(ring - _RADIUS - 8, text.box.top, text.box.right, text.box.bottom)
    taken = any(space.meets(item.box) for item in page.items if isinstance(item, Text))
    if space.left < box.left or taken:
        raise page.fault(marks[-1].text, SHORTEN_LABEL, "has no free place in the picture")
    _ring(page, ring, text.baseline - page.cap(LABEL) / 2)
    page.add(text)
