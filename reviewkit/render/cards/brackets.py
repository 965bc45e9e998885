"""Brackets: an upright line between two heights, closed at both ends, with its text in the nearest free place."""

from __future__ import annotations

import numpy as np

from reviewkit.model.card import Bracket, Panel
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.labels import FAR, MARGIN, SHORTEN_LABEL
from reviewkit.render.cards.layout_check import crosses
from reviewkit.render.cards.look import LABEL
from reviewkit.render.cards.scene import Box, Page, Stroke, Text
from reviewkit.render.cards.traces import clamped_position

_WIDTH = 4.0
_HALF_END = 16.0  # of the short lines at both ends
_RING = 18.0  # a mark's ring with the room around it; the mark's text is placed later
_WORD_GAP = 40.0  # between texts on the line above a panel
_OVER_PLOT = 32.0  # from the panel to the line above it, which has its label


def place_brackets(page: Page, free: FreeSpace, panel: Panel, box: Box) -> None:
    """Place all brackets, then their texts, clear of the panel's marks.

    A text without room in the picture goes above it.

    Raises
    ------
    LayoutFault
        If there is no room there either.
    """
    if not panel.brackets:
        return
    for mark in panel.marks:
        x, y = _point(panel, mark.x, mark.y, box)
        free.occupy_box(Box(x, y, x, y).grown(_RING, _RING))
    lines = [_bracket_extent(panel, bracket, box) for bracket in panel.brackets]
    for x, top, bottom in lines:
        left, right = max(x - _HALF_END, box.left), min(x + _HALF_END, box.right)
        for points in (((x, top), (x, bottom)), ((left, top), (right, top)), ((left, bottom), (right, bottom))):
            page.add(Stroke("mark", points, page.look.ink, _WIDTH))
            free.occupy_line(np.array(points), _WIDTH)
    for bracket, line in zip(panel.brackets, lines, strict=True):
        if bracket.text and not _place_text(page, free, bracket, line):
            _place_over_panel(page, bracket, line[0], box)


def _point(panel: Panel, x_value: float, y_value: float, box: Box) -> tuple[float, float]:
    """Return a point of the panel in pixels, moved to the panel's edge if it is outside the axes."""
    x, y = (clamped_position(axis, value) for axis, value in ((panel.x, x_value), (panel.y, y_value)))
    return box.left + x * box.width, box.bottom - y * box.height


def _bracket_extent(panel: Panel, bracket: Bracket, box: Box) -> tuple[float, float, float]:
    """Return a bracket's x, top and bottom in pixels."""
    x, one = _point(panel, bracket.x, bracket.from_y, box)
    _, other = _point(panel, bracket.x, bracket.to_y, box)
    return x, min(one, other), max(one, other)


def _place_text(page: Page, free: FreeSpace, bracket: Bracket, line: tuple[float, float, float]) -> bool:
    """Place a bracket's text in the nearest free place; return False if there is none."""
    x, top, bottom = line
    width, rise, drop, _ = page.measure(bracket.text, LABEL, False)
    places = [
        found
        for y in np.linspace(top, bottom, 5)
        if (found := free.nearest(x, float(y), width + 2 * MARGIN, rise + drop + 2 * MARGIN)) is not None
    ]
    if not places:
        return False
    found = min(places, key=lambda one: _distance(one, x, top, bottom)[0])
    away, near, on_line = _distance(found, x, top, bottom)
    box = found.grown(-MARGIN, -MARGIN)
    if away > FAR:
        start, stop = np.array(on_line), np.array(near)
        step = (stop - start) / away
        leader = np.array((start + step * (_WIDTH + 2), stop))
        # a leader through another text does more harm than good: the text says what it belongs to
        if not any(crosses(leader, item.box.grown(2, 2)) for item in page.items if isinstance(item, Text)):
            page.add(Stroke("leader", leader, page.look.soft, 2.0))
            free.occupy_line(leader, 4.0)
    free.occupy_box(found)
    page.add(page.text(bracket.text, box.left, box.bottom - drop, LABEL, page.look.ink, remedy=SHORTEN_LABEL))
    return True


def _distance(
    found: Box, x: float, top: float, bottom: float
) -> tuple[float, tuple[float, float], tuple[float, float]]:
    """Return the distance from a place to a bracket's line, with the nearest point of each."""
    near_x = min(max(x, found.left), found.right)
    on_line_y = min(max((found.top + found.bottom) / 2, top), bottom)
    near_y = min(max(on_line_y, found.top), found.bottom)
    return float(np.hypot(near_x - x, near_y - on_line_y)), (near_x, near_y), (x, on_line_y)


def _place_over_panel(page: Page, bracket: Bracket, x: float, box: Box) -> None:
    """Place a bracket's text above the panel, as near to the bracket as other texts there allow."""
    over = box.top - _OVER_PLOT
    left = max((i.box.right for i in page.items if isinstance(i, Text) and i.baseline == over), default=box.left)
    width = page.width(bracket.text, LABEL)
    at = min(max(x - width / 2, left + _WORD_GAP), box.right - width)
    text = page.text(bracket.text, at, over, LABEL, page.look.ink, remedy=SHORTEN_LABEL)
    if text.box.left < box.left or any(text.box.meets(i.box) for i in page.items if isinstance(i, Text)):
        raise page.fault(bracket.text, SHORTEN_LABEL, "has no free place in the picture")
    page.add(text)
