"""The needle: a short dial scale with a tall notch at the maker's limit and a pointer for the measured figure."""

from __future__ import annotations

import math

from reviewkit.render.cards.scene import Area, Page, Stroke

_TICKS = 8  # intervals along the scale; the notch is in the middle


def place_needle(
    page: Page, left: float, line_y: float, width: float, position: float | None, word: str, weight: float = 1.0
) -> None:
    """Place a needle.

    Parameters
    ----------
    page : Page
        The card.
    left, line_y, width : float
        Place and length of the scale's line, in pixels.
    position : float or None
        The pointer, −1 … 1 with 0 at the limit; None for a paler scale without one.
    word : str
        The verdict, which colours the pointer.
    weight : float
        Factor on the line widths.
    """
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
    """Return the height of the notch above the scale's line."""
    return 26 * _relative_size(width)


def pointer_depth(width: float) -> float:
    """Return the depth of the pointer below the scale's line."""
    return 4 + 21 * _relative_size(width)


def pointer_overhang(width: float) -> float:
    """Return how far the pointer extends beyond either end of the scale."""
    return 12.5 * _relative_size(width)


def _relative_size(width: float) -> float:
    """Return the size of the parts relative to a 150 px scale; short scales get relatively larger parts."""
    return math.pow(width / 150, 0.6)
