"""Labels in and around a panel: names of curves, limits. No label touches a curve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from reviewkit.model.card import OF_NO_STAGE, Limit
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.layout_check import crosses, lies_on
from reviewkit.render.cards.scene import Area, Page, Stroke, Text
from reviewkit.render.cards.sizes import AXIS, NOTE, READING

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array
    from reviewkit.render.cards.traces import DrawnTrace

MARGIN = 8.0  # kept free round a label
LIMIT_SAMPLE, LIMIT_DASH = 48.0, (18.0, 12.0)  # sample of a limit's line before a label that is away from it
_ALONE = 76.0  # pixels from all other curves at which a curve can be named along its length
_ALONG_BEST, _ANYWHERE = "along the best part", "anywhere"
_POINTS = 1000  # at which a curve's distance is taken
_BARELY_ALONE = 30.0  # the same for a name that would otherwise be where the curves run together
_MOST_PLACES = 12  # tried for a name with a leader
_FAR_NAME = 90.0  # a name this far from its curve's end would be read as another's
FAR = 30.0  # a label this far from what it names gets a leader

SHORTEN_LABEL = "shorten setting = …, or name fewer measurements on one card (card = …)"
SHORTEN_LIMIT = "shorten the condition of this [[rated]] table"


class _Name(NamedTuple):
    """A curve's name in its place."""

    line: DrawnTrace
    place: Box
    size: float
    weight: str


def place_trace_labels(
    page: Page, free: FreeSpace, named: Sequence[DrawnTrace], lines: Sequence[DrawnTrace], box: Box
) -> None:
    """Name curves where they run, each furthest from the others; at its end if there is no room.

    Parameters
    ----------
    page : Page
        The card.
    free : FreeSpace
        Free places of the panel and the margin at its right.
    named : sequence of DrawnTrace
        The curves that have a label.
    lines : sequence of DrawnTrace
        All curves of the panel.
    box : Box
        The plot.

    Raises
    ------
    LayoutFault
        If a name has no room.
    """
    names: list[_Name] = []
    for line in named:
        names.append(_find_name(page, free, line, lines, box, [name.place for name in names]))
    for line, place, size, weight in names:
        drop = page.measure(line.trace.label, size, weight)[2]
        with page.part_of("ghost" if line.trace.role == "ideal" else "label"):
            x, y = place.left, place.bottom - drop
            colour = _label_colour(page, line, place)
            page.add(page.text(line.trace.label, x, y, size, colour, weight=weight, remedy=SHORTEN_LABEL))


def _find_name(
    page: Page,
    free: FreeSpace,
    line: DrawnTrace,
    lines: Sequence[DrawnTrace],
    box: Box,
    taken: Sequence[Box],
) -> _Name:
    """Find the place of a curve's name, and mark it as occupied. `taken`: the places of the names before it.

    Raises
    ------
    LayoutFault
        If there is none.
    """
    trace = line.trace
    weight, largest = "regular", AXIS
    if trace.role in ("now", "residual"):
        weight, largest = "bold", NOTE if len(trace.label) > 2 else READING
    for where, size in product((_ALONG_BEST, _ANYWHERE), (largest, AXIS)):
        place = _label_place(page, free, line, lines, box, size, weight, where)
        if place is not None:
            break
    else:
        place = _led_place(page, free, line, lines, weight, taken)
    free.occupy_box(place.grown(3 * MARGIN, MARGIN))
    return _Name(line, place, size, weight)


def _led_place(
    page: Page, free: FreeSpace, line: DrawnTrace, lines: Sequence[DrawnTrace], weight: str, taken: Sequence[Box]
) -> Box:
    """Return the free place nearest to a curve's middle; place a leader to it, unless it is next to the curve.

    Raises
    ------
    LayoutFault
        If there is none.
    """
    width, rise, drop, _ = page.measure(line.trace.label, AXIS, weight)
    points = line.pixels[np.isfinite(line.pixels).all(axis=1)]
    middle = points[len(points) // 2].tolist()
    trial = free.copy()
    for _ in range(_MOST_PLACES):
        found = trial.nearest(middle[0], middle[1], width + 2 * MARGIN, rise + drop + 2 * MARGIN)
        if found is None:
            break
        place = found.grown(-MARGIN, -MARGIN)
        away = _distances(place, points)
        if np.min(away) < FAR and _is_nearest(place, line, lines):
            return place
        x, y = points[np.argmin(away)].tolist()
        near = (min(max(x, place.left), place.right), place.bottom + 6 if place.bottom < y else place.top - 6)
        leader = np.array((near, (x, y)))
        texts = [*taken, *(item.box for item in page.items if isinstance(item, Text))]
        if not any(crosses(leader, text.grown(2, 2)) for text in texts):
            page.add(Stroke("leader", leader, page.look.soft, 2.0))
            free.occupy_line(leader, 4.0)
            return place
        trial.occupy_box(found)
    raise page.fault(line.trace.label, SHORTEN_LABEL, "has no room next to its curve")


def _label_colour(page: Page, line: DrawnTrace, place: Box) -> str:
    """Return a name's colour: its channel's; on a fill, only if it can be read there."""
    trace, look = line.trace, page.look
    if trace.role in (*OF_NO_STAGE, "before"):
        return look.soft
    if not trace.channel:
        return look.ink
    fills = [
        item.colour
        for item in page.items
        if isinstance(item, Area) and item.kind in ("band", "room") and lies_on(place.grown(MARGIN, MARGIN), item)
    ]
    return look.channel_on(trace.channel, fills[-1]) if fills else look.channel(trace.channel)


def _label_place(
    page: Page,
    free: FreeSpace,
    line: DrawnTrace,
    lines: Sequence[DrawnTrace],
    box: Box,
    size: float,
    weight: str,
    where: str,
) -> Box | None:
    """Find a place for a name: above, below or next to its curve, where no other curve is nearer; else after its end,
    unless it is to be along the best part of the curve.
    """
    width, rise, drop, _ = page.measure(line.trace.label, size, weight)
    high = rise + drop
    across = np.linspace(0.04, 0.98, 48)
    others = [_heights(other.points, across) for other in lines if other is not line]
    own = _heights(line.points, across)
    ends = line.points[np.isfinite(line.points).all(axis=1)]
    if len(ends) < 2:
        return None
    # clear of the others first; then rather to the right, where a reader's eye ends
    away = np.min([_gaps(own, other) for other in others], axis=0) if others else np.ones_like(own)
    # as wide as the name is
    reach = int(np.ceil(width / 2 / box.width * len(across)))
    away = np.array([np.min(away[max(i - reach, 0) : i + reach + 1]) for i in range(len(away))])
    # one of several settings is named where it does most, a stage or a channel to the right, where a reader's eye ends
    settings = len(line.trace.label) > 2 and all(other.trace.role == line.trace.role for other in lines)
    does = np.abs(own - np.nanmedian(own)) if others and settings else np.zeros_like(own)
    merit = 100 * np.minimum(np.rint(4 * does), 2) + 10 * np.minimum(np.rint(8 * away), 6) + across
    best_first = [i for i in np.argsort(-merit) if np.isfinite(own[i])]
    if where == _ALONG_BEST:
        best_first = [i for i in best_first if merit[i] >= 100 * np.nanmax(np.minimum(np.rint(4 * does), 2))]

    def along(alone: float) -> Box | None:
        for index in best_first:
            if others and away[index] * box.height < alone:
                continue
            x, y = box.left + float(across[index]) * box.width, box.bottom - float(own[index]) * box.height
            span = 0 if alone else reach  # a slope is for a name that has no better place
            run = box.bottom - own[max(index - span, 0) : index + span + 1] * box.height
            above, below, beside = np.nanmin(run) - high - 20, np.nanmax(run) + 20, y - high / 2
            # next to a curve is for a steep one; the free places show whether it is
            over = min(max(x - width / 2, free.box.left + MARGIN), free.box.right - MARGIN - width)
            for left, top in ((over, above), (over, below), (x + 44, beside), (x - width - 44, beside)):
                candidate = Box(left, top, left + width, top + high)
                if free.is_free(candidate.grown(MARGIN, MARGIN)) and _is_nearest(candidate, line, lines):
                    return candidate
        return None

    # L and R side by side after their ends can be told apart, however close the curves are
    found = along(_ALONE) or (along(_BARELY_ALONE) if len(line.trace.label) > 2 else None)
    if found or (where == _ALONG_BEST and does.any()):
        return found
    end = box.left + float(ends[-1, 0]) * box.width, box.bottom - float(ends[-1, 1]) * box.height
    found = None
    for place in _at_end(free, end, width, high):
        if _is_nearest(place, line, lines):
            return place
        found = found or place
    return along(0.0) or found


def _at_end(free: FreeSpace, end: tuple[float, float], width: float, high: float) -> Iterator[Box]:
    """Yield the places for a name at the end of its curve: beside it, above, below and to the left."""
    x, y = end
    after = Box(x + 16, y - high / 2, x + 16 + width, y + high / 2)
    if free.is_free(after.grown(MARGIN / 2, MARGIN / 2)):
        yield after
    for rest in (replace(free.box, top=y), replace(free.box, bottom=y), replace(free.box, left=x)):
        side = free.copy()
        side.occupy_box(rest)
        near = side.nearest(x, y, width + 2 * MARGIN, high + 2 * MARGIN, within=_FAR_NAME)
        if near is not None:
            yield near.grown(-MARGIN, -MARGIN)


def _gaps(own: Array, other: Array) -> Array:
    """Return how far a curve is from another at each place: 0 next to a crossing, 1 where there is no other."""
    gaps = np.where(np.isfinite(other), np.abs(own - other), 1.0)
    crossed = np.flatnonzero(np.sign(own - other)[1:] * np.sign(own - other)[:-1] < 0)
    gaps[crossed] = gaps[crossed + 1] = 0.0
    return np.asarray(gaps)


def _is_nearest(name: Box, line: DrawnTrace, lines: Sequence[DrawnTrace]) -> bool:
    """Return whether a name is nearer to its own curve than to any other."""

    def distance(pixels: Array) -> float:
        at = np.linspace(0.0, len(pixels) - 1.0, max(len(pixels), _POINTS))  # between them, too
        between = [np.interp(at, np.arange(len(pixels)), pixels[:, column]) for column in (0, 1)]
        return float(np.nanmin(_distances(name, np.column_stack(between))))

    own = distance(line.pixels)
    return all(own < distance(other.pixels) for other in lines if other is not line)


def _distances(name: Box, points: Array) -> Array:
    """Return how far points, shape (n, 2), are from a name; shape (n,)."""
    x, y = points.T
    sideways = np.maximum(np.maximum(name.left - x, x - name.right), 0.0)
    upright = np.maximum(np.maximum(name.top - y, y - name.bottom), 0.0)
    return np.asarray(np.hypot(sideways, upright))


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
    width, rise, drop, _ = page.measure(limit.label, AXIS, "regular")
    high = rise + drop
    left, right = ends[0] + 20, ends[1] - 20 - width
    if right < left:  # a short line: the label is centred on it
        left = right = (ends[0] + ends[1] - width) / 2
    places = [(x, top) for x in (left, right, (left + right) / 2) for y in line_ys for top in (y - high - 12, y + 12)]
    boxes = (Box(x, top, x + width, top + high) for x, top in places)
    box = next((each for each in boxes if free.is_free(each.grown(MARGIN, MARGIN))), None)
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
            place_limit_sample(page, box.left, box.bottom - drop - page.cap(AXIS) / 2)
            free.occupy_box(found)
    free.occupy_box(box.grown(MARGIN, MARGIN))
    page.add(page.text(limit.label, box.left, box.bottom - drop, AXIS, page.look.soft, remedy=SHORTEN_LIMIT))
    return True
