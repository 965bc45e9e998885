"""Grouped bars on one vertical scale: left next to right, before next to now, each with its figure above it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import isnan

from reviewkit.model.card import Axis, Bar, BarGroup, BarLimit, Bars, Limit
from reviewkit.render.cards.bar_labels import (
    PlacedBar,
    PlacedLabel,
    occupied_boxes,
    position_before_figures,
    position_figures,
    split_around_labels,
)
from reviewkit.render.cards.dial import dial_height, y_labels
from reviewkit.render.cards.free_space import FreeSpace
from reviewkit.render.cards.labels import (
    LIMIT_DASH,
    LIMIT_SAMPLE,
    MARGIN,
    SHORTEN_LABEL,
    SHORTEN_LIMIT,
    place_limit_label,
    place_limit_sample,
)
from reviewkit.render.cards.look import DASH, LABEL, SAFE_LEFT
from reviewkit.render.cards.scene import Area, Box, Page, Stroke, Text
from reviewkit.render.cards.traces import axis_position, clamped_position

# as for a lone panel of curves, so that cards align
_LEFT_OF_PLOT, _LONE_GUTTER, _OVER_PLOT = 20.0, 104.0, 32.0
_BETWEEN_GROUPS = 24.0
_LEAST_GROUP = 60.0  # for each channel
_UNIT_APART = 0.15  # of a group's width: more room where the unit of the figures changes
_NOW, _BEFORE = 0.64, 0.18  # of a channel's share of its group
_WIDEST = 110.0, 30.0  # a lone channel's
_TOUCH = 4.0  # between a bar and the one before it
_LEAST_HEIGHT = 3.0  # of a bar whose value is at the scale's foot
_UNDER_FOOT = 14.0
_LIMIT_REACH = 10.0  # beyond its group, on both sides


@dataclass(frozen=True)
class _Group:
    """A group in its place.

    Attributes
    ----------
    bars
        Each bar with its rectangle, from left to right.
    """

    group: BarGroup
    left: float
    right: float
    bars: tuple[tuple[Bar, Box], ...]


def place_bars(page: Page, body: Bars, region: Box) -> None:
    """Place all groups in a region.

    Raises
    ------
    LayoutFault
        If a text has no room.
    """
    body = replace(body, groups=tuple(_without_missing(group) for group in body.groups))
    groups = [group for group in body.groups if group.bars]
    if not groups:
        return
    kept = {index: place for place, index in enumerate(i for i, group in enumerate(body.groups) if group.bars)}
    gutter = max(
        [page.width(text, LABEL) + _LEFT_OF_PLOT for _, text in y_labels(page, body.y, region)] + [_LONE_GUTTER]
    )
    head = page.cap(LABEL) + 34
    box = Box(region.left + gutter, region.top + head, region.right, region.bottom - dial_height(page))
    placed = _arrange_groups(page, body.y, groups, box)
    _place_scale(page, body.y, box)
    _place_group_labels(page, placed, box)
    limits = _place_limit_lines(page, body, placed, kept, box)
    words = _position_labels(page, placed, box, [line for _, lines in limits for line in lines])
    with page.part_of("curve"):
        for group in placed:
            for bar, where in group.bars:
                _place_bar(page, bar, where, words)
    with page.part_of("label"):
        for each in words:
            each.put(page)
    _label_limits(page, limits, placed, box)


def _without_missing(group: BarGroup) -> BarGroup:
    """Return a group without the bars that have no value."""
    return replace(group, bars=tuple(bar for bar in group.bars if not isnan(bar.value)))


def _arrange_groups(page: Page, axis: Axis, groups: Sequence[BarGroup], box: Box) -> list[_Group]:
    """Place the groups side by side, equally wide, with every channel at the same place in each."""
    channels = list(dict.fromkeys(bar.channel for group in groups for bar in group.bars))
    paired = any(bar.role == "before" for group in groups for bar in group.bars)
    breaks = [one.unit != other.unit for one, other in pairwise(groups)]
    pitch = box.width / (len(groups) + _UNIT_APART * sum(breaks))
    wide = pitch - _BETWEEN_GROUPS
    if wide < _LEAST_GROUP * len(channels):
        longest = max((group.label for group in groups), key=len)
        raise page.fault(longest, SHORTEN_LABEL, "leaves the picture no room")
    slot = wide / len(channels)
    placed = []
    left = box.left + _BETWEEN_GROUPS / 2
    for group, apart in zip(groups, [False, *breaks], strict=True):
        left += _UNIT_APART * pitch if apart else 0.0
        stand = []
        for index, channel in enumerate(channels):
            own = {bar.role: bar for bar in group.bars if bar.channel == channel}
            widths = {"before": min(_BEFORE * slot, _WIDEST[1]), "now": min(_NOW * slot, _WIDEST[0])}
            x = left + (index + 0.5) * slot - ((widths["before"] + _TOUCH if paired else 0) + widths["now"]) / 2
            # before goes outside, so that the current bars are side by side with room above them
            roles = ("before", "now") if index < len(channels) / 2 else ("now", "before")
            for role in roles if paired else ("now",):
                if role in own:
                    top = box.bottom - clamped_position(axis, own[role].value) * box.height
                    top = min(top, box.bottom - _LEAST_HEIGHT)
                    stand.append((own[role], Box(x, top, x + widths[role], box.bottom)))
                x += widths[role] + _TOUCH
        placed.append(_Group(group, left, left + wide, tuple(stand)))
        left += pitch
    return placed


def _place_scale(page: Page, axis: Axis, box: Box) -> None:
    """Place the grid lines, the numbers and unit at the side, and the baseline."""
    look = page.look
    cap = page.cap(LABEL)
    if axis.unit:
        right = max(box.left - _LEFT_OF_PLOT, SAFE_LEFT)
        page.add(page.text(axis.unit, right, box.top - _OVER_PLOT, LABEL, look.soft, anchor="right"))
    for share, text in y_labels(page, axis, box):
        y = box.bottom - share * box.height
        page.add(page.text(text, box.left - _LEFT_OF_PLOT, y + cap / 2, LABEL, look.soft, anchor="right"))
    for value, _ in axis.ticks:
        y = box.bottom - axis_position(axis, value) * box.height
        if y < box.bottom - 1:
            page.add(Stroke("grid", ((box.left, y), (box.right, y)), look.rule, 2.0))
    page.add(Stroke("scale", ((box.left, box.bottom), (box.right, box.bottom)), look.ink, 3.0))


def _place_group_labels(page: Page, placed: Sequence[_Group], box: Box) -> None:
    """Place what is under the bars: each channel's letter, and the group's name with its unit."""
    look = page.look
    letters = box.bottom + _UNDER_FOOT + page.cap(LABEL, True)
    names = box.bottom + dial_height(page)
    reach = box.left - LABEL
    for group in placed:
        for channel in dict.fromkeys(bar.channel for bar, _ in group.bars if bar.channel):
            own = [where for bar, where in group.bars if bar.channel == channel]
            middle = (own[0].left + own[-1].right) / 2
            colour = look.channel(channel)
            page.add(page.text(channel, middle, letters, LABEL, colour, bold=True, anchor="centre"))
        name, unit = group.group.label, group.group.unit
        tail = f" {unit}" if unit else ""
        middle = (group.left + group.right) / 2
        wide = page.width(name, LABEL) + page.width(tail, LABEL)
        if wide > group.right - group.left + _BETWEEN_GROUPS / 2:  # the unit is at the scale too, or is obvious
            tail, wide = "", page.width(name, LABEL)
        left = max(middle - wide / 2, reach + 12)
        first = page.text(name, left, names, LABEL, look.ink, remedy=SHORTEN_LABEL)
        page.add(first)
        if tail:
            page.add(page.text(unit, left + wide - page.width(unit, LABEL), names, LABEL, look.soft))
        reach = left + wide


def _place_bar(page: Page, bar: Bar, where: Box, words: Sequence[PlacedLabel]) -> None:
    """Place one bar: solid for the left channel, dashed for the right as its curve would be, pale for before."""
    colour = page.look.curve(bar.channel, bar.role)
    if bar.role == "before":
        parts = split_around_labels(where, words)
    else:
        parts = _dash_extents(where) if bar.channel[:1] == "R" else iter([(where.top, where.bottom)])
    for top, bottom in parts:
        corners = ((where.left, top), (where.right, top), (where.right, bottom), (where.left, bottom))
        page.add(Area("curve", corners, colour))


def _dash_extents(where: Box) -> Iterator[tuple[float, float]]:
    """Yield the tops and bottoms of a bar's dashes, as many as come closest to the usual length.

    Both ends of the bar are drawn.
    """
    dash, gap = 6.0 * DASH[0], 6.0 * DASH[1]
    count = max(round((where.height + gap) / (dash + gap)), 1)
    pitch = (where.height + gap) / count if count > 1 else where.height + gap
    for index in range(count):
        top = where.top + index * pitch
        yield top, top + pitch - gap


def _place_limit_lines(
    page: Page, body: Bars, placed: Sequence[_Group], kept: dict[int, int], box: Box
) -> list[tuple[BarLimit, list[Box]]]:
    """Place the maker's limits, dashed across the groups they apply to; return where the lines are."""
    found = []
    for limit in body.limits:
        share = axis_position(body.y, limit.value)
        if not 0.0 <= share <= 1.0:
            continue
        y = box.bottom - share * box.height
        lines: list[Box] = []
        for at in sorted(kept[index] for index in limit.groups if index in kept):
            left = max(placed[at].left - _LIMIT_REACH, box.left)
            right = min(placed[at].right + _LIMIT_REACH, box.right)
            if lines and left - lines[-1].right < 2 * _BETWEEN_GROUPS and at and at - 1 in _drawn_groups(limit, kept):
                left = lines.pop().left
            lines.append(Box(left, y - 1.5, right, y + 1.5))
        for line in lines:
            page.add(Stroke("limit", ((line.left, y), (line.right, y)), page.look.soft, 3.0, LIMIT_DASH))
        if lines:
            found.append((limit, lines))
    return found


def _drawn_groups(limit: BarLimit, kept: dict[int, int]) -> set[int]:
    return {kept[index] for index in limit.groups if index in kept}


def _position_labels(page: Page, placed: Sequence[_Group], box: Box, lines: Sequence[Box]) -> list[PlacedLabel]:
    """Find places for all figures above the bars."""
    look = page.look
    standing = []
    for group in placed:
        for bar, where in group.bars:
            now = bar.role == "now"
            twin = next((at for other, at in group.bars if other.channel == bar.channel and other is not bar), None)
            standing.append(PlacedBar(where, bar.text, look.channel(bar.channel) if now else look.soft, now, twin))
    words = position_figures(page, standing, lines, box)
    return words + position_before_figures(page, standing, [*lines, *occupied_boxes(words)], box)


def _label_limits(page: Page, limits: Sequence[tuple[BarLimit, list[Box]]], placed: Sequence[_Group], box: Box) -> None:
    """Place each limit's label at the end of its line, else along it, else in the nearest free place."""
    free = FreeSpace(box)
    for group in placed:
        for _, where in group.bars:
            free.occupy_box(where)
    for item in page.items:
        if isinstance(item, Text):
            free.occupy_box(item.box.grown(MARGIN, MARGIN))
    for limit, lines in limits:
        for line in lines:
            free.occupy_box(line)
        width, rise, drop, _ = page.measure(limit.label, LABEL, False)
        y = (lines[-1].top + lines[-1].bottom) / 2
        for left in (lines[-1].right + 12, lines[0].left - 12 - width):
            beside = Box(left, y - rise / 2, left + width, y + rise / 2 + drop)
            if limit.label and free.is_free(beside.grown(MARGIN / 2, MARGIN / 2), grid=False):
                free.occupy_box(beside.grown(MARGIN, MARGIN))
                page.add(page.text(limit.label, left, y + rise / 2, LABEL, page.look.soft, remedy=SHORTEN_LIMIT))
                break
        else:
            drawn = Limit(None, limit.value, 0.0, 0.0, limit.label)
            if not place_limit_label(page, free, drawn, [y], (lines[0].left, lines[-1].right)):
                _label_over_plot(page, limit.label, box)


def _label_over_plot(page: Page, label: str, box: Box) -> None:
    """Place a limit's label above the picture, after a sample of its line.

    Raises
    ------
    LayoutFault
        If there is no room there either.
    """
    held = [item.box for item in page.items if isinstance(item, Text)]
    right = box.right
    while True:
        text = page.text(
            label, right, box.top - _OVER_PLOT, LABEL, page.look.soft, anchor="right", remedy=SHORTEN_LIMIT
        )
        left = text.box.left - LIMIT_SAMPLE - 12
        room = Box(left, text.box.top, text.box.right, text.box.bottom).grown(MARGIN, 0.0)
        if left < box.left:
            raise page.fault(label, SHORTEN_LIMIT, "has no free place in the picture")
        if not any(room.meets(one) for one in held):
            break
        right -= MARGIN
    page.add(text)
    place_limit_sample(page, text.box.left, text.baseline - page.cap(LABEL) / 2)
