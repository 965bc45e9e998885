"""Panels in a grid: horizontal rules only, a dial scale for the x axis, curves named at their ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from reviewkit.render.cards.brackets import place_brackets

from reviewkit.model.card import Curves, Panel, Trace
from reviewkit.render.cards.dial import dial_height, place_dial, unit_reach, y_labels
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.labels import (
    FAR,
    SHORTEN_LABEL,
    SHORTEN_LIMIT,
    EndLabel,
    clearest_point,
    needs_leader,
    place_end_labels,
    place_limit_label,
    place_near_end,
    spread_apart,
)
from reviewkit.render.cards.look import DASH, LABEL, SAFE_LEFT
from reviewkit.render.cards.marks import place_marks
from reviewkit.render.cards.scene import Area, Box, Page, Stroke
from reviewkit.render.cards.traces import (
    axis_fraction,
    axis_position,
    clamped_position,
    clip_trace,
    isolated_points,
    last_visible_point,
    line_length,
    to_pixels,
)

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_LEFT_OF_PLOT = 20.0  # between the y numbers and the plot
_LONE_GUTTER = 104.0  # a lone panel begins here whatever its numbers, so that cards align
_END_GAP, _RING_GAP, _LEADER_GAP = 18.0, 30.0, 48.0
_AT_EDGE = 0.985  # a curve that ends right of this fraction of the width counts as ending at the edge
_COLUMN_GAP, _ROW_GAP = 36.0, 40.0
_EARLY = 0.94  # a curve that ends left of this fraction of the width is named inside the panel, if there is room
_LEAST_PLOT = 240.0
_SHORT_LIMIT = 132.0
_DENSE = 8.0  # a curve this many times as long as its panel is wide is drawn thinner, or it would be a block
_ROLES = ("bench", "residual", "before", "now")  # drawn in this order


@dataclass(frozen=True)
class _PlottedTrace:
    """A trace clipped to its panel, as fractions of width and height."""

    trace: Trace
    points: Array
    end: tuple[float, float] | None


def place_plot(page: Page, curves: Curves, region: Box) -> None:
    """Place all panels in a region.

    Raises
    ------
    LayoutFault
        If a name has no room.
    """
    if not curves.panels:
        return
    before = len(page.items)
    if not _try_grid(page, curves, region, limits_beside=False):
        del page.items[before:]
        _try_grid(page, curves, region, limits_beside=True)


def _try_grid(page: Page, curves: Curves, region: Box, *, limits_beside: bool) -> bool:
    """Place the grid; return False if a limit's label found no free place in its panel."""
    columns = max(min(curves.columns, len(curves.panels)), 1)
    rows = [curves.panels[at : at + columns] for at in range(0, len(curves.panels), columns)]
    boxes = _row_boxes(page, curves, rows, region)
    wide = (region.width - _COLUMN_GAP * (columns - 1)) / columns
    fine = True
    for column in range(columns):
        stack = [(row[column], box, ruled) for row, (box, ruled) in zip(rows, boxes, strict=True) if column < len(row)]
        left = region.left + column * (wide + _COLUMN_GAP)
        lone = len(curves.panels) == 1
        gutter = max(_y_gutter(page, panel, box) for panel, box, _ in stack)
        panels = [_plotted_traces(panel) for panel, _, _ in stack]
        right_gutter = max(
            _right_gutter(page, panel, lines, box, ruled, lone=lone, limits_beside=limits_beside)
            for (panel, box, ruled), lines in zip(stack, panels, strict=True)
        )
        start, stop = left + (max(gutter, _LONE_GUTTER) if lone else gutter), left + wide - right_gutter
        if stop - start < _LEAST_PLOT:
            limits = [limit.label for p in curves.panels for limit in p.limits if limits_beside]
            longest = max([*limits, *(t.label for p in curves.panels for t in p.traces)], key=len, default="")
            remedy = SHORTEN_LIMIT if longest in limits else SHORTEN_LABEL
            raise page.fault(longest, remedy, "leaves the picture no room")
        for (panel, box, ruled), lines in zip(stack, panels, strict=True):
            at = Box(start, box.top, stop, box.bottom)
            fine &= _place_panel(page, panel, lines, at, ruled, lone=lone, limits_beside=limits_beside)
    return fine


def _row_boxes(page: Page, curves: Curves, rows: list[tuple[Panel, ...]], region: Box) -> list[tuple[Box, bool]]:
    """Return the plot area of each grid row, and whether it has its own dial scale."""
    cap = page.cap(LABEL)
    heads = [cap + 34 if any(panel.label or panel.y.unit for panel in row) else cap / 2 for row in rows]
    # panels above each other with the same x axis share the scale at the bottom
    ruled = [
        index == len(rows) - 1
        or any(
            column >= len(rows[index + 1]) or panel.x != rows[index + 1][column].x for column, panel in enumerate(row)
        )
        for index, row in enumerate(rows)
    ]
    shares = [curves.heights[index] if index < len(curves.heights) else 1.0 for index in range(len(rows))]
    used = sum(heads) + _ROW_GAP * (len(rows) - 1) + sum(dial_height(page) if own else 0 for own in ruled)
    room = region.height - used
    boxes = []
    top = region.top
    for head, own, part in zip(heads, ruled, shares, strict=True):
        plot_top = top + head
        bottom = plot_top + room * part / sum(shares)
        boxes.append((Box(region.left, plot_top, region.right, bottom), own))
        top = bottom + (dial_height(page) if own else 0) + _ROW_GAP
    return boxes


def _plotted_traces(panel: Panel) -> list[_PlottedTrace]:
    """Return the panel's visible traces in drawing order."""
    lines: list[_PlottedTrace] = []
    for trace in sorted(panel.traces, key=lambda trace: _ROLES.index(trace.role)):
        points = clip_trace(panel.x, panel.y, trace)
        end = last_visible_point(points)
        if end is not None:
            # the bench's two channels are one faint pair, named once
            twin = trace.role == "bench" and any(line.trace.label == trace.label for line in lines)
            lines.append(_PlottedTrace(replace(trace, label="") if twin else trace, points, end))
    return lines


def _y_gutter(page: Page, panel: Panel, box: Box) -> float:
    texts = [text for _, text in y_labels(page, panel.y, box)]
    texts.append(panel.y.unit)
    return max((page.width(text, LABEL) for text in texts if text), default=0.0) + _LEFT_OF_PLOT


def _end_labels(
    page: Page, panel: Panel, lines: list[_PlottedTrace], box: Box, *, lone: bool, limits_beside: bool
) -> list[EndLabel]:
    """Return the names at the right edge, moved apart.

    Raises
    ------
    LayoutFault
        If there are too many for the panel's height.
    """
    look = page.look
    found = []
    for line in lines:
        trace = line.trace
        if trace.label and line.end is not None:
            end = box.left + line.end[0] * box.width, box.bottom - line.end[1] * box.height
            bold = trace.role in ("now", "residual")
            # a name without a channel, such as a setting's, is for both
            own = trace.label.split(" ")[0] == trace.channel[:1]
            colour = look.soft if trace.role == "bench" else look.channel(trace.channel) if own else look.ink
            found.append(EndLabel(trace.label, colour, bold, 44.0 if lone and bold else LABEL, end, end[1]))
    if limits_beside:
        for limit in panel.limits:
            value = limit.high if limit.high is not None else limit.low
            if value is not None and limit.label:
                y = box.bottom - clamped_position(panel.y, value) * box.height
                found.append(EndLabel(limit.label, look.soft, False, LABEL, (box.right, y), y))
    if not found:
        return []
    pitch = max(page.cap(label.size, label.bold) for label in found) + 18
    slack = 14.0
    ys = spread_apart([label.y for label in found], pitch, box.top - slack, box.bottom + slack)
    if ys is None:
        raise page.fault(found[-1].text, SHORTEN_LABEL, "has no room beside the picture")
    return [replace(label, y=y) for label, y in zip(found, ys, strict=True)]


def _right_gutter(
    page: Page, panel: Panel, lines: list[_PlottedTrace], box: Box, ruled: bool, *, lone: bool, limits_beside: bool
) -> float:
    labels = _end_labels(page, panel, lines, box, lone=lone, limits_beside=limits_beside)
    need = unit_reach(page, panel.x) if ruled else 0.0
    if labels:
        moved = any(abs(label.y - label.end[1]) > FAR for label in labels)
        led = moved or any(line.end is not None and line.end[0] < _AT_EDGE for line in lines)
        gap = _LEADER_GAP if led else _gap(panel)
        need = max(need, gap + max(page.width(label.text, label.size, label.bold) for label in labels))
    return need


def _gap(panel: Panel) -> float:
    """Return the gap between the plot and the names next to it: wider if a ring is on the edge."""
    return _RING_GAP if any(axis_position(panel.x, mark.x) > _AT_EDGE for mark in panel.marks) else _END_GAP


def _place_panel(
    page: Page, panel: Panel, lines: list[_PlottedTrace], box: Box, ruled: bool, *, lone: bool, limits_beside: bool
) -> bool:
    look = page.look
    free = FreeSpace(box)
    cap = page.cap(LABEL)
    limit_lines = _place_bands(page, panel, box)
    if panel.label:
        page.add(page.text(panel.label, box.left, box.top - 32, LABEL, look.ink, bold=True, remedy=SHORTEN_LABEL))
    if panel.y.unit:
        right = box.left - _LEFT_OF_PLOT
        page.add(page.text(panel.y.unit, max(right, SAFE_LEFT), box.top - 32, LABEL, look.soft, anchor="right"))
    for value, text in y_labels(page, panel.y, box):
        y = box.bottom - value * box.height
        page.add(page.text(text, box.left - _LEFT_OF_PLOT, y + cap / 2, LABEL, look.soft, anchor="right"))
    for value in sorted({round(axis_position(panel.y, value), 9) for value, _ in panel.y.ticks}):
        if -1e-6 <= value <= 1 + 1e-6:
            y = box.bottom - value * box.height
            page.add(Stroke("grid", ((box.left, y), (box.right, y)), look.rule, 2.0))
            free.occupy_line(np.array(((box.left, y), (box.right, y))), 4.0, grid=True)
    for (left, right), ys in limit_lines:
        for y in ys:
            page.add(Stroke("limit", ((left, y), (right, y)), look.soft, 3.0, (18.0, 12.0)))
            free.occupy_line(np.array(((left, y), (right, y))), 6.0)
    with page.part_of("curve"):
        _place_traces(page, lines, box, free, lone=lone)
    if ruled:
        place_dial(page, panel.x, box)
    with page.part_of("label"):
        place_brackets(page, free, panel, box)
        place_marks(page, free, panel, box)
        _label_traces(page, panel, lines, box, free, lone=lone, limits_beside=limits_beside)
    if limits_beside:
        return True
    placed = [
        place_limit_label(page, free, limit, ys, ends)
        for (ends, ys), limit in zip(limit_lines, panel.limits, strict=True)
    ]
    return all(placed)


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


def _place_traces(page: Page, lines: list[_PlottedTrace], box: Box, free: FreeSpace, *, lone: bool) -> None:
    full = 6.5 if lone else 4.5
    # a panel of one channel has the channel in its name
    alone = not lone and len({line.trace.channel for line in lines}) == 1
    for line in lines:
        trace = line.trace
        width = {"bench": 2.5, "before": full * 0.6, "residual": full * 0.7}.get(trace.role, full)
        colour = page.look.curve(trace.channel, trace.role)
        pixels = to_pixels(line.points, box)
        dense = line_length(pixels) > _DENSE * box.width
        if dense:
            width = min(width, full / 2)
        # the right channel is dashed; for a pair of channels the driven one decides, as for the colour
        # (a thin line's dashes are as long as a thick one's: a curve below must be visible through the gaps)
        unit = max(width, full, 6.0)
        # (except a dense curve: dashes would split every peak, and its panel names the channel)
        dashed = trace.channel[:1] == "R" and trace.role != "bench" and not dense and not alone
        dash = (DASH[0] * unit, DASH[1] * unit) if dashed else None
        page.add(Stroke("curve", pixels, colour, width, dash))
        free.occupy_line(pixels, width)
        for x, y in isolated_points(pixels):
            turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
            page.add(Area("curve", np.column_stack((x + width * np.cos(turn), y + width * np.sin(turn))), colour))


def _label_traces(
    page: Page, panel: Panel, lines: list[_PlottedTrace], box: Box, free: FreeSpace, *, lone: bool, limits_beside: bool
) -> None:
    """Name each curve: to the right of the panel, or near its end if that is well inside."""
    beside = []
    for line in lines:
        if line.trace.role == "before" and line.trace.label and len(lines) > 2:
            # its end is mostly near those of the curves after the repair
            alone = clearest_point(line.points, [other.points for other in lines if other is not line], box)
            label = _end_labels(page, panel, [line], box, lone=lone, limits_beside=False)[0]
            if alone and place_near_end(page, free, label.text, alone, label.size, label.colour, label.bold):
                continue
        if line.end is not None and line.end[0] < _EARLY and line.trace.label:
            label = _end_labels(page, panel, [line], box, lone=lone, limits_beside=False)[0]
            if place_near_end(page, free, label.text, label.end, label.size, label.colour, label.bold):
                continue
        beside.append(line)
    labels = _end_labels(page, panel, beside, box, lone=lone, limits_beside=limits_beside)
    led = any(needs_leader(label, box.right) for label in labels)
    for label in labels:
        if box.right - label.end[0] > FAR:
            free.occupy_line(np.array((label.end, (box.right, label.y))), 4.0)
    place_end_labels(page, labels, box.right, box.right + (_LEADER_GAP if led else _gap(panel)))
