"""The dial line, which crosses every card at one height, and the numbers of a chart's rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from reviewkit.model.arrays import Array
from reviewkit.model.card import Axis
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.scene import Measure, Page, Stroke, Text
from reviewkit.render.cards.sizes import AXIS
from reviewkit.render.cards.traces import axis_position

_Number = tuple[float, str, bool]  # its share of the dial's width, its text, whether it is heavy

_MAJOR, _MINOR = 30.0, 16.0
_LINE = 4.0
_NUMBER_GAP = 20.0  # the least room between two numbers
_OVER_DIAL = 18.0  # from the dial line to its name
_MOST_NUMBERS = 7
_MOST_RULES = 4  # whoever reads a card in seconds reads the figure, not the scale
_OVER_RULE = 12.0  # from a rule to the number on it
_STUB = 40.0  # pixels: less of a rule looks like a mark


def place_dial(page: Page, axis: Axis | None, loud: Sequence[float] = ()) -> None:
    """Place the dial line across the whole frame, with ticks and numbers of an axis if there is one.

    `loud`: values whose numbers are in the heaviest weight.
    """
    shape, look = page.shape, page.look
    left, right = shape.curves
    with page.part_of("line"):
        page.add(Stroke("dial", ((0.0, shape.dial), (float(shape.width), shape.dial)), look.ink, _LINE))
    if axis is None:
        return
    numbers = _choose_numbers(page.measure, axis, loud, right - left, shape.safe.right - left)
    with page.part_of("scale"):
        for value in axis.minor:
            at = axis_position(axis, value)
            if 0.0 <= at <= 1.0 and all(abs(at - other) > 1e-6 for other, _, _ in numbers):
                x = left + at * (right - left)
                page.add(Stroke("scale", ((x, shape.dial), (x, shape.dial + _MINOR)), look.soft, 2.5))
        reach = 0.0
        for at, text, heavy in numbers:
            x = left + at * (right - left)
            page.add(Stroke("scale", ((x, shape.dial), (x, shape.dial + _MAJOR)), look.ink, _LINE))
            weight = "black" if heavy else "regular"
            start, stop = _extent(page, at, text, heavy=heavy)
            number = page.text(text, (start + stop) / 2, shape.numbers, AXIS, look.ink, weight=weight, anchor="centre")
            page.add(number)
            reach = max(reach, number.box.right)
        if axis.name:
            page.add(page.text(axis.name, shape.safe.right, shape.dial - _OVER_DIAL, AXIS, look.soft, anchor="right"))
        if axis.unit and not any(text.endswith(f" {axis.unit}") for _, text, _ in numbers):
            width = page.width(axis.unit, AXIS)
            if reach + 14 + width <= shape.safe.right:
                page.add(page.text(axis.unit, reach + 14, shape.numbers, AXIS, look.soft))


def _extent(page: Page, at: float, text: str, *, heavy: bool) -> tuple[float, float]:
    """Return the ends of a number centred under its tick, as far as the frame lets it."""
    (left, right), safe = page.shape.curves, page.shape.safe
    half = page.width(text, AXIS, "black" if heavy else "regular") / 2
    centre = min(max(left + at * (right - left), safe.left + half), safe.right - half)
    return centre - half, centre + half


def _choose_numbers(measure: Measure, axis: Axis, loud: Sequence[float], width: float, most: float) -> list[_Number]:
    """Return the numbers that have room as (share of the width, text, heavy): loud ones and the ends first.

    `most`: how far from the left end of the width they and the unit may reach.
    """
    ticks = [
        (axis_position(axis, value), text.removesuffix(f" {axis.unit}"), value in loud)
        for value, text in axis.ticks
        if text
    ]
    ticks = [tick for tick in ticks if -1e-6 <= tick[0] <= 1 + 1e-6]
    last = ticks[-1][0] if ticks else 1.0
    order = [t for t in ticks if t[2]] + ticks[:1] + ticks[-1:] + ticks[1:-1]
    kept: list[tuple[float, str, bool, float, float]] = []
    for at, text, heavy in dict.fromkeys(order):
        half = measure(text, AXIS, "black" if heavy else "regular").width / 2 + _NUMBER_GAP / 2
        # the last one needs room for the unit after it
        room = measure(axis.unit, AXIS, "regular").width + 14 if axis.unit and at == last else 0.0
        start, stop = at * width - half, at * width + half
        if room and stop + room > most:
            text, stop = f"{text} {axis.unit}", stop + room
            start -= room
        if len(kept) < _MOST_NUMBERS and all(stop <= other[3] or start >= other[4] for other in kept):
            kept.append((at, text, heavy, start, stop))
    return [(at, text, heavy) for at, text, heavy, _, _ in sorted(kept)]


def _choose_rules(axis: Axis, height: float, least: float) -> list[tuple[float, str]]:
    """Return the horizontal rules of a panel as (share of the height, number), at most four, the unit at the top.

    If there are more, or if they are closer together than `least`, only every second, third … is given, counted from
    zero if it is there, else the lowest.
    """
    ticks = [
        (axis_position(axis, value), text.removesuffix(f" {axis.unit}"), value) for value, text in axis.ticks if text
    ]
    ticks = sorted(tick for tick in ticks if -1e-6 <= tick[0] <= 1 + 1e-6)
    anchor = next((index for index, tick in enumerate(ticks) if tick[2] == 0), 0)
    for step in range(1, len(ticks) + 1):
        kept = [tick for index, tick in enumerate(ticks) if (index - anchor) % step == 0]
        gaps = [(high[0] - low[0]) * height for low, high in pairwise(kept)]
        if len(kept) <= _MOST_RULES and all(gap >= least for gap in gaps):
            found = [(at, text) for at, text, _ in kept]
            return [*found[:-1], (found[-1][0], f"{found[-1][1]} {axis.unit}".rstrip())] if found else []
    return []


def place_rules(page: Page, axis: Axis, box: Box, between: tuple[Array, Array, Array] | None = None) -> None:
    """Place the horizontal rules across the frame, their numbers on them at the left.

    Parameters
    ----------
    page : Page
        Where they are placed.
    axis : Axis
        Their scale.
    box : Box
        The panel's place, in pixels.
    between : tuple[Array, Array, Array], optional
        x, upper and lower edge of the room between two curves, each of shape (n,), in pixels; no rule crosses it.
    """
    look, safe = page.look, page.shape.safe
    for at, text in _choose_rules(axis, box.height, page.cap(AXIS) + _OVER_RULE + 14):
        y = box.bottom - at * box.height
        spans = [(safe.left, safe.right)]
        if between and len(inside := between[0][(between[1] < y) & (y < between[2])]):
            spans = [(safe.left, float(inside[0])), (float(inside[-1]), safe.right)]
        for left, right in spans:
            if right - left > _STUB:
                page.add(Stroke("grid", ((left, y), (right, y)), look.rule, 2.0))
        number = text.removesuffix(f" {axis.unit}") if axis.unit else text
        room = page.shape.curves[0] - safe.left  # what is wider would run into the curves: 0.000000001
        if page.width(text, AXIS) <= room:
            page.add(page.text(text, safe.left, y - _OVER_RULE, AXIS, look.soft))
        elif number != text and page.width(number, AXIS) <= room:
            page.add(page.text(number, safe.left, y - _OVER_RULE, AXIS, look.soft))
            unit = page.text(axis.unit, safe.left, y - _OVER_RULE - page.cap(AXIS) - 14, AXIS, look.soft)
            if not any(isinstance(item, Text) and item.box.grown(6, 6).meets(unit.box) for item in page.items):
                page.add(unit)


def open_rules(page: Page, boxes: Sequence[Box]) -> None:
    """Interrupt the horizontal rules where texts stand; what would be left of one as a stub goes too."""
    items = list(page.items)
    page.items.clear()
    for item in items:
        if not (isinstance(item, Stroke) and item.kind == "grid"):
            page.items.append(item)
            continue
        (left, y), (right, _) = item.points
        spans = [(left, right)]
        for box in (box for box in boxes if box.top < y < box.bottom):
            spans = [
                span for start, stop in spans for span in ((start, min(box.left, stop)), (max(box.right, start), stop))
            ]
        page.items += [replace(item, points=((a, y), (b, y))) for a, b in spans if b - a > _STUB]
