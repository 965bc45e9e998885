"""Labels in and around a panel: names of curves, limits. No label touches a curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.model.card import Limit
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.layout_check import crosses
from reviewkit.render.cards.look import LABEL
from reviewkit.render.cards.scene import Box, Page, Stroke, Text

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

MARGIN = 8.0  # kept free round a label
LIMIT_SAMPLE, LIMIT_DASH = 48.0, (18.0, 12.0)  # sample of a limit's line before a label that is away from it
_ALONE = 60.0  # pixels from all other curves at which a curve can be named along its length
FAR = 30.0  # a label this far from what it names gets a leader

SHORTEN_LABEL = "shorten setting = …, or name fewer measurements on one card (card = …)"
SHORTEN_LIMIT = "shorten the condition of this [[rated]] table"


@dataclass(frozen=True)
class EndLabel:
    """A name to the right of a panel.

    Attributes
    ----------
    end
        End of the curve that it names, in pixels.
    y
        Height of the label's middle, in pixels.
    """

    text: str
    colour: str
    bold: bool
    size: float
    end: tuple[float, float]
    y: float


def spread_apart(targets: Sequence[float], pitch: float, low: float, high: float) -> list[float] | None:
    """Return positions as near as possible to targets but at least `pitch` apart, in the same order.

    Parameters
    ----------
    targets : sequence of float
        Wanted positions.
    pitch : float
        Least distance between two.
    low, high : float
        Range of the positions.

    Returns
    -------
    list of float or None
        None if there isn't room for all.

    Notes
    -----
    Isotonic regression by pooling adjacent violators: neighbours that are too close are joined to a block around their
    mean until no two blocks touch (R. E. Barlow and others, Statistical Inference under Order Restrictions, 1972; from
    memory).
    """
    if pitch * (len(targets) - 1) > high - low:
        return None
    # curves that end at nearly the same height keep their order: left above right everywhere
    order = sorted(range(len(targets)), key=lambda index: (round(2 * targets[index] / pitch), index))
    blocks: list[list[float]] = []  # [sum of (target - offset), count]
    for rank, index in enumerate(order):
        first, last = low + 0.0, high - pitch * (len(targets) - 1)
        blocks.append([min(max(targets[index] - rank * pitch, first), last), 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    places = [0.0] * len(targets)
    rank = 0
    for total, count in blocks:
        for _ in range(int(count)):
            places[order[rank]] = total / count + rank * pitch
            rank += 1
    return places


def needs_leader(label: EndLabel, right: float) -> bool:
    """Tell whether a label is too far from its curve's end to be read as its name."""
    return abs(label.y - label.end[1]) > FAR or right - label.end[0] > FAR


def place_end_labels(page: Page, labels: Sequence[EndLabel], right: float, x: float) -> None:
    """Place names at `x`, with a thin leader from the end of each curve whose name had to move."""
    for label in labels:
        rise = page.cap(label.size, label.bold)
        if needs_leader(label, right):
            # from the curve's end rather than the picture's edge, unless a text is in the way
            stop = (x - 8, label.y)
            start = (label.end[0] + 8, label.end[1])
            if any(
                crosses(np.array((start, stop)), text.box.grown(4, 4)) for text in page.items if isinstance(text, Text)
            ):
                start = (max(start[0], right + 4), start[1])
            page.add(Stroke("leader", (start, stop), label.colour, 2.0))
        page.add(
            page.text(
                label.text, x, label.y + rise / 2, label.size, label.colour, bold=label.bold, remedy=SHORTEN_LABEL
            )
        )


def place_near_end(
    page: Page, free: FreeSpace, text: str, end: tuple[float, float], size: float, colour: str, bold: bool
) -> bool:
    """Place a name inside the panel, next to a curve that ends early; return False if there is no room."""
    width, rise, drop, _ = page.measure(text, size, bold)
    high = rise + drop
    x, y = end
    for left, top in ((x + 14, y - high / 2), (x - width / 2, y - high - 16), (x - width / 2, y + 16)):
        box = Box(left, top, left + width, top + high)
        if free.is_free(box.grown(MARGIN / 2, MARGIN / 2)):
            break
    else:
        found = free.nearest(x, y, width + 2 * MARGIN, high + 2 * MARGIN, within=60.0)
        if found is None:
            return False
        box = found.grown(-MARGIN, -MARGIN)
    free.occupy_box(box.grown(MARGIN, MARGIN))
    page.add(page.text(text, box.left, box.bottom - drop, size, colour, bold=bold, remedy=SHORTEN_LABEL))
    return True


def clearest_point(line: Array, others: Sequence[Array], box: Box) -> tuple[float, float] | None:
    """Find the point at which a curve is furthest above or below all others of its panel.

    Parameters
    ----------
    line : ndarray, shape (n, 2)
        The curve, as fractions of the panel's width and height.
    others : sequence of ndarray, shape (n, 2)
        The other curves.
    box : Box
        The panel, in pixels.

    Returns
    -------
    tuple of float or None
        The point in pixels; None if the curve is near another everywhere.
    """
    across = np.linspace(0.05, 0.7, 27)
    own, *rest = (_heights(each, across) * box.height for each in (line, *others))
    away = np.min([np.where(np.isfinite(other), np.abs(own - other), np.inf) for other in rest], axis=0)
    away = np.where(np.isfinite(own) & (own < box.height - _ALONE), away, -1.0)
    best = int(np.argmax(away))
    if away[best] < _ALONE:
        return None
    return box.left + float(across[best]) * box.width, box.bottom - float(own[best])


def _heights(line: Array, across: Array) -> Array:
    """Return a line's heights at fractions of the panel's width; NaN where there is no line."""
    good = np.isfinite(line).all(axis=1)
    x, y = line[good, 0], line[good, 1]
    if len(x) < 2 or np.any(np.diff(x) < 0):
        return np.full(across.shape, np.nan)
    return np.asarray(np.interp(across, x, y, left=np.nan, right=np.nan))


def place_limit_sample(page: Page, left: float, y: float) -> None:
    """Place a sample of a limit's line before a label that begins at `left`."""
    ends = ((left - LIMIT_SAMPLE - 12, y), (left - 12, y))
    page.add(Stroke("limit", ends, page.look.soft, 3.0, LIMIT_DASH))


def place_limit_label(
    page: Page, free: FreeSpace, limit: Limit, line_ys: Sequence[float], ends: tuple[float, float]
) -> bool:
    """Place a limit's label along one of its lines, else in the nearest free place.

    A label far from its line is preceded by a sample of it.

    Parameters
    ----------
    page : Page
        The card.
    free : FreeSpace
        Free places of the panel.
    limit : Limit
        The limit.
    line_ys : sequence of float
        Heights of its lines, in pixels.
    ends : tuple of float
        Left and right end of its lines, in pixels.

    Returns
    -------
    bool
        False if there is no room.
    """
    if not limit.label:
        return True
    width, rise, drop, _ = page.measure(limit.label, LABEL, False)
    high = rise + drop
    left, right = ends[0] + 20, ends[1] - 20 - width
    if right < left:  # a short line: the label is centred on it
        left = right = (ends[0] + ends[1] - width) / 2
    places = [(x, top) for x in (left, right, (left + right) / 2) for y in line_ys for top in (y - high - 12, y + 12)]
    box: Box | None = None
    for with_grid in (True, False):
        for x, top in places:
            candidate = Box(x, top, x + width, top + high)
            if free.is_free(candidate.grown(MARGIN, MARGIN), grid=with_grid):
                box = candidate
                break
        if box:
            break
    if box is None:
        at = (left + width / 2, line_ys[0] if line_ys else free.box.top)
        found = free.nearest(*at, width + 2 * MARGIN, high + 2 * MARGIN, within=FAR)
        sample = 0.0
        if found is None:
            sample = LIMIT_SAMPLE + 12
            found = free.nearest(*at, sample + width + 2 * MARGIN, high + 2 * MARGIN)
        if found is None:
            return False
        box = replace(found.grown(-MARGIN, -MARGIN), left=found.left + MARGIN + sample)
        if sample:
            place_limit_sample(page, box.left, box.bottom - drop - page.cap(LABEL) / 2)
            free.occupy_box(found)
    free.occupy_box(box.grown(MARGIN, MARGIN))
    page.add(page.text(limit.label, box.left, box.bottom - drop, LABEL, page.look.soft, remedy=SHORTEN_LIMIT))
    return True
