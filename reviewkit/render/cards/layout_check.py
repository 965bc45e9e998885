"""Layout checks of a card, the last before a picture is painted: nothing outside, overlapping, covered or too small."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.box import Box
from reviewkit.render.cards.scene import Area, Item, Stroke, Text
from reviewkit.render.cards.shape import WIDE, Shape
from reviewkit.render.cards.sizes import LEAST

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array
    from reviewkit.render.cards.scene import Points

# Antialiasing and rounded places may extend a glyph this far beyond its outline.
TOLERANCE = 1.5
FILLS = ("band", "room")  # areas that are the ground of what is on them
# A text may be on a grid line or a fill: they are its ground, not its neighbours.
MAY_LIE_UNDER_TEXT = ("grid", "hunt", *FILLS)
# what may leave the safe box: the dial line crosses the frame, needles point past the end of a scale
MAY_LEAVE = ("dial", "hunt", "needle", "photo")


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a card.

    Attributes
    ----------
    rule
        "outside", "overlap", "covered", "small", "contrast" or "channels".
    text
        The text concerned, or "".
    """

    rule: str
    text: str
    message: str
    remedy: str = ""


def find_problems(items: Sequence[Item], shape: Shape = WIDE, least: float = LEAST) -> tuple[Problem, ...]:
    """Find everything wrong with a layout.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        Shapes in drawing order.
    shape : Shape
        The frame they are in.
    least : float
        Smallest text size allowed, in pixels of the frame.

    Returns
    -------
    tuple of Problem
        Shapes outside the safe box, texts that overlap, are covered or are too small.
    """
    texts = [item for item in items if isinstance(item, Text)]
    edges = [(text.box.left, text.box.top, text.box.right, text.box.bottom) for text in texts]
    boxes = np.array(edges, dtype=np.float64).reshape(-1, 4)
    safe, shapes_safe = (shape.safe.grown(slack, slack) for slack in (TOLERANCE, 2 * TOLERANCE))
    found = [
        Problem("outside", text.text, "reaches outside the safe box", text.remedy)
        for text in texts
        if not safe.holds(text.box)
    ]
    found += [
        Problem("small", text.text, f"is set at {text.size:g} px, under {least:g}", text.remedy)
        for text in texts
        if text.size < least
    ]
    for at, one in enumerate(texts):
        for other in np.flatnonzero(_overlapping_boxes(boxes[at + 1 :], one.box.grown(-TOLERANCE / 2, -TOLERANCE / 2))):
            second = texts[at + 1 + int(other)]
            found.append(Problem("overlap", one.text, f'runs into "{second.text}"', one.remedy or second.remedy))
    drawn = 0  # of the texts
    for item in items:
        if isinstance(item, Text):
            drawn += 1
            continue
        reach = bounds(item)
        if reach is None:
            continue
        if item.kind not in MAY_LEAVE and not shapes_safe.holds(reach):
            found.append(Problem("outside", "", f"a {item.kind} reaches outside the safe box"))
        # most texts are far away: only those within the shape's bounds are checked in detail
        near = np.flatnonzero(_overlapping_boxes(boxes, reach))
        if len(near):
            ground = item.kind in MAY_LIE_UNDER_TEXT  # under a text, not over one
            found += _covered([texts[at] for at in near if not ground or at < drawn], item)
    return tuple(found)


def bounds(shape: Stroke | Area) -> Box | None:
    """Return the rectangle around a shape, line width included; None if nothing of it can be seen."""
    margin = shape.width / 2 if isinstance(shape, Stroke) else 0.0
    points = shape.points
    if isinstance(points, np.ndarray):
        points = points[np.isfinite(points).all(axis=1)]
        if not len(points):
            return None
        left, top = points.min(axis=0).tolist()
        right, bottom = points.max(axis=0).tolist()
    else:
        # a rule or a tick, like most shapes: an array isn't worth its cost for two points
        finite = [(x, y) for x, y in points if isfinite(x) and isfinite(y)]
        if not finite:
            return None
        xs, ys = zip(*finite, strict=True)
        left, top, right, bottom = min(xs), min(ys), max(xs), max(ys)
    return Box(left - margin, top - margin, right + margin, bottom + margin)


def _overlapping_boxes(boxes: Array, reach: Box) -> NDArray[np.bool_]:
    """Tell which boxes, shape (n, 4), share any area with a rectangle; shape (n,)."""
    return np.asarray(
        (boxes[:, 0] < reach.right)
        & (boxes[:, 2] > reach.left)
        & (boxes[:, 1] < reach.bottom)
        & (boxes[:, 3] > reach.top)
    )


def _covered(texts: Sequence[Text], shape: Stroke | Area) -> list[Problem]:
    reach = (shape.width / 2 if isinstance(shape, Stroke) else 0.0) - TOLERANCE
    found = []
    for text in texts:
        box = text.box.grown(reach, reach)
        covers = lies_on(box, shape) if isinstance(shape, Area) else crosses(shape.points, box)
        if covers:
            found.append(Problem("covered", text.text, f"has a {shape.kind} drawn over it", text.remedy))
    return found


def crosses(line: Points, box: Box) -> bool:
    """Tell whether a polyline enters a box.

    Parameters
    ----------
    line : array_like, shape (n, 2)
        NaN rows separate parts; a single point counts.
    box : Box
        The box.

    Returns
    -------
    bool
        True if any part of the line is inside.

    Notes
    -----
    Clips each segment as Y.-D. Liang and B. A. Barsky do, ACM Trans. Graph. 3 (1), 1984, from memory.
    """
    points = np.asarray(line, dtype=np.float64).reshape(-1, 2)
    if box.width <= 0 or box.height <= 0 or not len(points):
        return False
    lows, highs = np.array((box.left, box.top)), np.array((box.right, box.bottom))
    if bool(np.any(np.all((points > lows) & (points < highs), axis=1))):
        return True
    start, step = points[:-1], np.diff(points, axis=0)
    # Liang and Barsky: the part of each segment (0 … 1) that lies between the box's edges, first along x, then along y
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = (lows - start) / step, (highs - start) / step
    enter, leave = np.minimum(one, other), np.maximum(one, other)
    level = step == 0
    between = (start > lows) & (start < highs)
    enter = np.where(level, np.where(between, -np.inf, np.inf), enter)
    leave = np.where(level, np.where(between, np.inf, -np.inf), leave)
    first, last = np.maximum(enter.max(axis=1), 0.0), np.minimum(leave.min(axis=1), 1.0)
    return bool(np.any(first < last))  # NaN compares false


def lies_on(box: Box, area: Area) -> bool:
    """Tell whether any part of a box lies on a filled polygon."""
    reach = bounds(area)
    if reach is None or not reach.meets(box):  # most areas are far away
        return False
    points = np.asarray(area.points, dtype=np.float64)
    outline = np.concatenate((points, points[:1]))
    return crosses(outline, box) or _contains(outline, (box.left + box.right) / 2, (box.top + box.bottom) / 2)


def _contains(polygon: Array, x: float, y: float) -> bool:
    """Tell whether a point is inside a closed polygon, shape (n, 2), by the even-odd rule."""
    inside = False
    for (x1, y1), (x2, y2) in pairwise(polygon):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            inside = not inside
    return inside
