"""The dial scale under a panel, and the numbers at its side."""

from __future__ import annotations

from itertools import pairwise

from reviewkit.model.card import Axis
from reviewkit.render.cards.look import LABEL
from reviewkit.render.cards.scene import Box, Page, Stroke
from reviewkit.render.cards.traces import axis_position

_UNDER_PLOT = 30.0  # from the plot's foot to the scale's line
_MAJOR, _MINOR = 24.0, 12.0
_UNDER_TICK = 14.0
_NUMBER_GAP = 16.0  # the least room between two numbers
_MOST_NUMBERS = 7


def dial_height(page: Page) -> float:
    """Return the distance from a plot's foot to the baseline of the scale's numbers."""
    return _UNDER_PLOT + _MAJOR + _UNDER_TICK + page.cap(LABEL)


def unit_reach(page: Page, axis: Axis) -> float:
    """Return how far the last number and its unit extend beyond the plot's right edge."""
    last = axis.ticks[-1] if axis.ticks else (axis.high, "")
    reach = page.width(strip_unit(last[1], axis), LABEL) / 2
    return reach + 14 + page.width(axis.unit, LABEL) if axis.unit else reach


def place_dial(page: Page, axis: Axis, box: Box) -> None:
    """Place the scale of an x axis under a panel: short minor ticks, long numbered ones, the unit last."""
    look = page.look
    line_y = box.bottom + _UNDER_PLOT
    for value in axis.minor:
        at = axis_position(axis, value)
        if 0.0 <= at <= 1.0:
            x = box.left + at * box.width
            page.add(Stroke("scale", ((x, line_y), (x, line_y + _MINOR)), look.soft, 2.0))
    baseline = box.bottom + dial_height(page)
    reach = box.left - LABEL
    for at, text in _numbers(page, axis, box):
        x = box.left + at * box.width
        number = page.text(text, x, baseline, LABEL, look.ink, anchor="centre")
        page.add(number)
        reach = max(reach, number.box.right)
    for value, _ in axis.ticks:
        at = axis_position(axis, value)
        if -1e-6 <= at <= 1 + 1e-6:
            x = box.left + at * box.width
            page.add(Stroke("scale", ((x, line_y), (x, line_y + _MAJOR)), look.ink, 3.0))
    page.add(Stroke("scale", ((box.left - 1.5, line_y), (box.right + 1.5, line_y)), look.ink, 3.0))
    if axis.unit:
        page.add(page.text(axis.unit, reach + 12, baseline, LABEL, look.soft))


def _numbers(page: Page, axis: Axis, box: Box) -> list[tuple[float, str]]:
    """Return the numbers that have room as (share of the width, text): the ends first, then from left to right."""
    ticks = [(axis_position(axis, value), strip_unit(text, axis)) for value, text in axis.ticks if text]
    ticks = [(at, text) for at, text in ticks if -1e-6 <= at <= 1 + 1e-6]
    order = ticks[:1] + ticks[-1:] + ticks[1:-1] if len(ticks) > 1 else ticks
    kept: list[tuple[float, str, float, float]] = []
    for at, text in order:
        half = page.width(text, LABEL) / 2 + _NUMBER_GAP / 2
        left, right = at * box.width - half, at * box.width + half
        if len(kept) < _MOST_NUMBERS and all(right <= other[2] or left >= other[3] for other in kept):
            kept.append((at, text, left, right))
    return [(at, text) for at, text, _, _ in sorted(kept)]


def strip_unit(text: str, axis: Axis) -> str:
    """Return a number without the axis's unit, which is written once for all of them."""
    return text.removesuffix(f" {axis.unit}") if axis.unit else text


def y_labels(page: Page, axis: Axis, box: Box) -> list[tuple[float, str]]:
    """Return the numbers at a panel's side as (share of the height, text), at most seven.

    If they are close together, only every second, third … is given, counted from zero if it is there, else the lowest.
    """
    ticks = [(axis_position(axis, value), strip_unit(text, axis), value) for value, text in axis.ticks if text]
    ticks = sorted(tick for tick in ticks if -1e-6 <= tick[0] <= 1 + 1e-6)
    least = page.cap(LABEL) + 14
    anchor = next((index for index, tick in enumerate(ticks) if tick[2] == 0), 0)
    for step in range(1, len(ticks) + 1):
        kept = [tick for index, tick in enumerate(ticks) if (index - anchor) % step == 0]
        gaps = [(high[0] - low[0]) * box.height for low, high in pairwise(kept)]
        if len(kept) <= _MOST_NUMBERS and all(gap >= least for gap in gaps):
            return [(at, text) for at, text, _ in kept]
    return []
