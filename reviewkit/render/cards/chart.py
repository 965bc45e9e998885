"""Charts: curves over the dial, the room between two of them, limits, stems, names where the curves run."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.model.card import OF_NO_STAGE, Chart, Hero, Panel, Trace
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.dial import open_rules, place_dial, place_rules
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.hero import HeroBlock, HeroPlace, lay_out_hero
from reviewkit.render.cards.labels import LIMIT_DASH, place_limit_label, place_trace_labels
from reviewkit.render.cards.marks import place_fall, place_marks, place_stems
from reviewkit.render.cards.scene import Area, Page, Stroke, Text
from reviewkit.render.cards.sizes import AXIS, BENCH, CURVE, DASH, GHOST, HEROES
from reviewkit.render.cards.traces import (
    DrawnTrace,
    axis_fraction,
    axis_position,
    clamped_position,
    clip_trace,
    isolated_points,
    line_length,
    smoothed,
    to_pixels,
    whole_dashes,
)

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_CLEAR = 40.0  # round a hero in the chart
_SPACING = 6.0  # pixels: points of a curve further apart than this are joined by a smooth line
_PANEL_GAP = 70.0
_NAMED = 24.0  # higher than usual, for the dial's name
_BESIDE_RULE, _OFF_RULE = 16.0, 4.0  # kept free of rules round a text
_SHORT_LIMIT = 132.0  # the width of a limit at one frequency
_DENSE = 8.0  # a curve this many times as long as its panel is wide is drawn thinner, or it would be a block
_ROLES = (*OF_NO_STAGE, "residual", "before", "now")  # drawn in this order


def place_chart(
    page: Page, chart: Chart, top: float, bottom: float, hero: Hero | None = None, wish: HeroPlace | None = None
) -> HeroPlace | None:
    """Place a chart between two heights; a hero in its free space, at a place that is wished for if it is free.

    Returns
    -------
    HeroPlace or None
        Where the hero is; None if it has no room, and what was placed must then be removed.

    Raises
    ------
    LayoutFault
        If a name has no room.
    """
    axis = chart.panels[-1].x
    first, *others = parts = _parts(page, chart, top, bottom - (_NAMED if axis.name else 0.0))
    place = _place_panel(*first, hero, wish)
    if hero is not None and place is None:
        return None
    for part, panel, box in others:
        _place_panel(part, panel, box, None, None)
    changes = [panel.fall.x for panel in chart.panels if panel.fall]
    place_dial(parts[-1][0], axis, changes)
    return place


def _parts(page: Page, chart: Chart, top: float, bottom: float) -> list[tuple[Page, Panel, Box]]:
    """Return panels one above the other, of which the last has the dial; a square one is as wide as it is high."""
    left, right = page.shape.curves
    shares = [*chart.heights, *[1.0] * len(chart.panels)][: len(chart.panels)]
    room = bottom - top - _PANEL_GAP * (len(shares) - 1)
    parts = []
    for panel, share in zip(chart.panels, shares, strict=True):
        foot = top + room * share / sum(shares)
        part, box = page, Box(left, top, right, foot)
        if panel.square:
            side = min(box.width, box.height)
            box = replace(box, right=box.left + side, top=box.bottom - side)
            part = page.within(replace(page.shape, curves=(box.left, box.right)))
        parts.append((part, panel, box))
        top = foot + _PANEL_GAP
    return parts


def _place_panel(page: Page, panel: Panel, box: Box, hero: Hero | None, wish: HeroPlace | None) -> HeroPlace | None:
    """Place one panel; return where its hero is. Without room for it the panel isn't finished."""
    free = FreeSpace(Box(box.left, box.top - 50, page.shape.safe.right, box.bottom + 14))
    limit_lines = _place_bands(page, panel, box)
    lines = [_line(trace, panel, box) for trace in sorted(panel.traces, key=lambda t: _ROLES.index(t.role))]
    lines = [line for line in lines if np.isfinite(line.points).any()]
    named = {line.trace.label: line for line in reversed(lines) if line.trace.label}  # the bench's two curves once
    edges = place_room(page, panel, box) if panel.room else None
    place_rules(page, panel.y, box, edges)
    if panel.label:
        label = page.text(panel.label, page.shape.safe.right, box.top - 14, AXIS, page.look.soft, anchor="right")
        page.add(label)
        free.occupy_box(label.box.grown(_CLEAR, 0.0))
    for (left, right), ys in limit_lines:
        for y in ys:
            edge = np.array(((left, y), (right, y)))
            page.add(Stroke("limit", edge, page.look.soft, 3.0, whole_dashes(edge, LIMIT_DASH)))
            free.occupy_line(edge, 6.0)
    for line in lines:
        with page.part_of(_part_of(line.trace.role, panel)):
            _place_line(page, line, free, dashes=not panel.one_channel)
    for role in ("before", "now") if panel.stems else ():
        with page.part_of(_part_of(role, panel)):
            place_stems(page, free, panel, box, role)
    if panel.fall:
        with page.part_of("fall"):
            place_fall(page, free, panel, box, fault=panel.room is not None and panel.room.fault)
    place = None
    if hero is not None:
        fitted = _fit_hero(page, hero, panel, box, free, edges, wish)
        if fitted is None:
            return None
        block, place, room = fitted
        with page.part_of("reading"):
            block.place(page, place.left, place.top)
        free.occupy_box(room)
        open_rules(page, [room])
    with page.part_of("label"):
        if panel.marks:
            place_marks(page, free, panel, box)
        longest_first = sorted(named.values(), key=lambda each: len(each.trace.label), reverse=True)
        place_trace_labels(page, free, longest_first, lines, box)
    for (ends, ys), limit in zip(limit_lines, panel.limits, strict=True):
        if limit.label:
            place_limit_label(page, free, limit, ys, ends)
    # (not under the rules' own numbers, which are at the left end)
    texts = [item.box for item in page.items if isinstance(item, Text) and item.x > page.shape.safe.left]
    open_rules(page, [text.grown(_BESIDE_RULE, _OFF_RULE) for text in texts])
    return place


def _part_of(role: str, panel: Panel) -> str:
    """Return the part of the card that a curve or stem belongs to: a ghost, if there are others after it, and what
    they are compared with.
    """
    roles = {trace.role for trace in panel.traces} | {stem.role for stem in panel.stems}
    return "ghost" if role == "ideal" or (role == "before" and roles - {"before", *OF_NO_STAGE}) else "curve"


def _line(trace: Trace, panel: Panel, box: Box) -> DrawnTrace:
    points = clip_trace(panel.x, panel.y, trace)
    if panel.x.scale == "log":  # a sweep; samples over time are joined as they are
        points = smoothed(points, _SPACING / box.width)
    pixels = to_pixels(points, box)
    width = {**dict.fromkeys(OF_NO_STAGE, BENCH), "before": GHOST, "residual": GHOST}.get(trace.role, CURVE)
    if line_length(pixels) > _DENSE * box.width:
        width = min(width, CURVE / 2)
    return DrawnTrace(trace, points, pixels, width)


def _place_line(page: Page, line: DrawnTrace, free: FreeSpace, *, dashes: bool) -> None:
    """Place a curve. The right channel is dashed; for a pair of channels the driven one decides, as for the colour."""
    trace = line.trace
    colour = page.look.curve(trace.channel, trace.role)
    dense = line.width < GHOST
    # (a dense curve isn't dashed: dashes would split every peak)
    dashed = dashes and trace.channel[:1] == "R" and trace.role not in OF_NO_STAGE and not dense
    unit = max(line.width, 7.0)  # a thin line's dashes are nearly as long as a thick one's
    parts = np.split(line.pixels, np.flatnonzero(np.isnan(line.pixels[:, 0]))) if dashed else [line.pixels]
    for part in (part for part in parts if line_length(part)):
        dash = whole_dashes(part, (DASH[0] * unit, DASH[1] * unit)) if dashed else None
        page.add(Stroke("curve", part, colour, line.width, dash))
    free.occupy_line(line.pixels, line.width)
    for x, y in isolated_points(line.pixels):
        turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
        page.add(Area("curve", np.column_stack((x + line.width * np.cos(turn), y + line.width * np.sin(turn))), colour))


def _place_bands(page: Page, panel: Panel, box: Box) -> list[tuple[tuple[float, float], list[float]]]:
    """Place the faint bands of what the maker allows; return each limit's ends in x and its lines' y."""
    found = []
    for limit in panel.limits:
        ends = axis_fraction(panel.x, np.array((limit.from_x, limit.to_x))).clip(0.0, 1.0)
        left, right = (box.left + float(end) * box.width for end in ends)
        if limit.from_x == limit.to_x:  # rated at one frequency: a short line about it
            left, right = max(left - _SHORT_LIMIT / 2, box.left), min(left + _SHORT_LIMIT / 2, box.right)
        ys, edges = [], [box.top, box.bottom]
        for index, value in enumerate((limit.high, limit.low)):
            if value is None:
                continue
            at = axis_position(panel.y, value)
            if 0.0 <= at <= 1.0:
                ys.append(box.bottom - at * box.height)
            edges[index] = box.bottom - clamped_position(panel.y, value) * box.height
        if limit.from_x < limit.to_x and right > left and edges[1] > edges[0]:
            corners = ((left, edges[0]), (right, edges[0]), (right, edges[1]), (left, edges[1]))
            page.add(Area("band", corners, page.look.band))
        found.append(((left, right), ys))
    return found


def place_room(page: Page, panel: Panel, box: Box) -> tuple[Array, Array, Array] | None:
    """Fill the room between two curves.

    Parameters
    ----------
    page : Page
        Where it is placed.
    panel : Panel
        The panel, which must have a room.
    box : Box
        The panel's place, in pixels.

    Returns
    -------
    tuple[Array, Array, Array] | None
        Its x, upper and lower edge in pixels, each of shape (n,), x rising. None if the curves don't run side by side.
    """
    assert panel.room is not None
    both = [clip_trace(panel.x, panel.y, trace) for trace in (panel.room.one, panel.room.other)]
    finite = [line[np.isfinite(line).all(axis=1)] for line in both]
    if any(len(line) < 2 or np.any(np.diff(line[:, 0]) < 0) for line in finite):
        return None
    start, stop = max(line[0, 0] for line in finite), min(line[-1, 0] for line in finite)
    if stop <= start:
        return None
    inside = np.concatenate([line[:, 0] for line in finite])
    across = np.unique(np.concatenate(([start, stop], inside[(inside > start) & (inside < stop)])))
    ys = [box.bottom - np.interp(across, line[:, 0], line[:, 1]) * box.height for line in finite]
    xs = box.left + across * box.width
    outline = np.column_stack((np.concatenate((xs, xs[::-1])), np.concatenate((ys[0], ys[1][::-1]))))
    with page.part_of("curve"):
        page.add(Area("room", outline, page.look.fault_room if panel.room.fault else page.look.room))
    return xs, np.minimum(*ys), np.maximum(*ys)


def _fit_hero(
    page: Page,
    hero: Hero,
    panel: Panel,
    box: Box,
    free: FreeSpace,
    edges: tuple[Array, Array, Array] | None,
    wish: HeroPlace | None,
) -> tuple[HeroBlock, HeroPlace, Box] | None:
    """Fit the hero, as large as it can be, into the room between the curves, else into the free space of the panel.

    Returns
    -------
    tuple of HeroBlock, HeroPlace and Box, or None
        The hero laid out, where it is to be placed, and what it then occupies; None if it has no room.
    """
    trial = free.copy()
    target = (box.left + box.width / 2, box.top + box.height / 2)
    if edges is not None:
        trial.keep_between(*edges)
        target = (float(np.mean(edges[0])), float(np.mean((edges[1] + edges[2]) / 2)))
    elif panel.room is not None:
        return None
    if panel.fall is not None:
        x = box.left + clamped_position(panel.x, panel.fall.x) * box.width
        trial.occupy_box(Box(box.left, box.top - 50, x + 30, box.bottom + 14))
    clear = _CLEAR if edges is not None else 0.75 * _CLEAR
    for size in HEROES:
        if wish is not None and size > wish.size:
            continue
        block = lay_out_hero(page, hero, size, stacked=page.shape.stacked)
        found = trial.nearest(*target, block.width + 2 * clear, block.height + 2 * clear)
        if wish is not None and size == wish.size:
            there = Box(wish.left, wish.top, wish.left + block.width, wish.top + block.height).grown(clear, clear)
            found = there if trial.is_free(there) else found
        if found is not None:
            return block, HeroPlace(size, found.left + clear, found.top + clear), found.grown(-clear / 2, -clear / 2)
    return None
