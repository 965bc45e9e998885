"""A count, the large figure of a card: "9 of 10", with what is counted next to it, in a tall frame below it."""

from __future__ import annotations

from reviewkit.render.cards.scene import Page
from reviewkit.render.cards.sizes import NOTE, SENTENCE
from reviewkit.render.cards.typeset import fit_block, fit_text, line_pitch, place_lines

_COUNTS = tuple(float(size) for size in range(320, 91, -12))
_LABELS = (120.0, 104.0, SENTENCE, 80.0, 72.0, 64.0, 56.0, 52.0, NOTE)
_LEAST_LABEL = 0.3  # of the width, next to the count
_LARGE_LETTER = 12.0  # a large text whose first letter hangs to the left moves right by less than this
_GAP = 40.0  # from the count to what is counted
_MOST_ABOVE = 70.0  # above the count, where there is room


def place_count(page: Page, count: str, what: str, colour: str, top: float, bottom: float, remedy: str) -> float:
    """Place a count as large as fits, with what is counted; return the last baseline, in pixels.

    Raises
    ------
    LayoutFault
        If it doesn't fit at any size.
    """
    shape = page.shape
    for size in _COUNTS:
        cap, width = page.cap(size, "black"), page.width(count, size, "black")
        if shape.is_tall:
            label = fit_text(page, what, _LABELS, shape.safe.width - _LARGE_LETTER, weight="bold")
            beside, needed = 0.0, cap + (1.4 * label.size if label else 0.0)
        else:
            beside = width + _GAP
            room = shape.safe.width - beside - _LARGE_LETTER
            enough = room >= _LEAST_LABEL * shape.safe.width
            label = fit_block(page, what, _LABELS, room, cap, weight="bold", most=2) if enough else None
            needed = cap
        if label is not None and width <= shape.safe.width and top + needed <= bottom:
            break
    else:
        raise page.fault(f"{count} {what}", remedy)
    y = top + cap + min((bottom - top - needed) / 3, _MOST_ABOVE)
    page.add(page.text(count, shape.safe.left, y, size, colour, weight="black"))
    pitch = line_pitch(page, label, "bold", 1.0)
    first = y + 1.4 * label.size if shape.is_tall else y - pitch * (len(label.lines) - 1)
    return place_lines(page, label, shape.safe.left + beside, first, pitch, page.look.ink, weight="bold")
