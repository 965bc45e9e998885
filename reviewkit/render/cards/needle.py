"""The needle: a short dial scale whose tall notch is the maker's limit, and a pointer that says how far off it is."""

from __future__ import annotations

import math

from reviewkit.render.cards.scene import Area, Page, Stroke

_TICKS = 8  # intervals along the scale; the notch stands in the middle


def place_needle(
    page: Page, left: float, line_y: float, width: float, position: float | None, word: str, weight: float = 1.0
) -> None:
    """Place a needle. `position`: −1 … 1, 0 on the limit; None: no pointer, a paler scale. `weight`: of its lines."""
    look = page.look
    size = _relative_size(width)
    colour, notch_colour = (look.soft, look.ink) if position is not None else (look.scale, look.scale)
    for tick in range(_TICKS + 1):
        x = left + width * tick / _TICKS
        if tick == _TICKS // 2:
            continue
        end = tick in (0, _TICKS)
        page.add(Stroke("needle", ((x, line_y), (x, line_y - (15 if end else 10) * size)), colour, 2.0 * weight))
    page.add(Stroke("needle", ((left - 1, line_y), (left + width + 1, line_y)), colour, 2.5 * weight))
    middle = left + width / 2
    page.add(Stroke("needle", ((middle, line_y), (middle, line_y - notch_height(width))), notch_colour, 4.0 * weight))
    if position is not None:
        x = middle + width / 2 * min(max(position, -1.0), 1.0)
        half, top, bottom = pointer_overhang(width), line_y + 4, line_y + pointer_depth(width)
        page.add(Area("needle", ((x, top), (x + half, bottom), (x - half, bottom)), look.status(word)))


def notch_height(width: float) -> float:
    """How far the notch stands above the scale's line."""
    return 26 * _relative_size(width)


def pointer_depth(width: float) -> float:
    """How far the pointer hangs below the scale's line."""
    return 4 + 21 * _relative_size(width)


def pointer_overhang(width: float) -> float:
    """How far the pointer reaches beyond either end of the scale."""
    return 12.5 * _relative_size(width)


def _relative_size(width: float) -> float:
    """How much larger the parts are than on a scale of 150 px; they grow slower, so that short ones are seen."""
    return math.pow(width / 150, 0.6)
