"""Two amounts and the years between them: a dial scale whose ticks are years, an amount at each end."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.render.cards.look import LABEL, READING
from reviewkit.render.cards.scene import Box, Page, Stroke

_LONG, _SHORT = 28.0, 14.0
_UNDER_TICK, _OVER_SCALE = 16.0, 30.0
_NUMBER_GAP = 40.0
_AMOUNT_GAP = 96.0
_LABEL_GAP = 26.0  # between an amount and what it is
_MOST_TICKS = 120
_OVER_AMOUNTS = 40.0

SHORTEN_AMOUNTS = "leave out fair = … in [price]"


def amounts_height(page: Page, years: tuple[int, int] | None, size: float = READING) -> float:
    """Return the height of amounts of a given size, including the years under them."""
    amounts = page.cap(LABEL) + _LABEL_GAP + page.cap(size, True)
    scale = _OVER_SCALE + _LONG + _UNDER_TICK + page.cap(LABEL) if years else 0.0
    return _OVER_AMOUNTS + amounts + scale


def place_amounts(
    page: Page, amounts: Sequence[tuple[str, str]], years: tuple[int, int] | None, region: Box, most: float = READING
) -> float:
    """Place (what, amount) pairs at a region's foot, in the largest size up to `most` that fits.

    Above a scale of years, the first is at its left end and the others at its right; else they are side by side.

    Parameters
    ----------
    page : Page
        The card.
    amounts : sequence of (str, str)
        What each is, and the amount.
    years : tuple of int or None
        First and last year of the scale.
    region : Box
        The room for them.
    most : float
        Largest text size in pixels.

    Returns
    -------
    float
        The top of what was placed, in pixels.

    Raises
    ------
    LayoutFault
        If there is no room.
    """
    look = page.look
    for size in (float(size) for size in range(int(most), int(min(most, 56.0)) - 11, -2)):
        widths = [max(page.width(amount, size, True), page.width(what, LABEL)) for what, amount in amounts]
        if sum(widths) + _AMOUNT_GAP * (len(widths) - 1) <= region.width:
            break
    else:
        raise page.fault(amounts[-1][1], SHORTEN_AMOUNTS)
    baseline = region.bottom
    if years:
        baseline -= _LONG + _UNDER_TICK + page.cap(LABEL) + _OVER_SCALE
        _place_scale(page, region, baseline + _OVER_SCALE, years)
    over = baseline - page.cap(size, True) - _LABEL_GAP
    if years:
        # all but the first are amounts of the last year
        ends = [
            region.right - sum(widths[at + 1 :]) - _AMOUNT_GAP * (len(widths) - 1 - at) for at in range(len(widths))
        ]
        places = [(region.left, "left"), *((end, "right") for end in ends[1:])]
    else:
        places = [(region.left + sum(widths[:at]) + _AMOUNT_GAP * at, "left") for at in range(len(widths))]
    for (what, amount), (x, anchor) in zip(amounts, places, strict=True):
        page.add(page.text(amount, x, baseline, size, look.ink, bold=True, anchor=anchor, remedy=SHORTEN_AMOUNTS))
        page.add(page.text(what, x, over, LABEL, look.soft, anchor=anchor, remedy=SHORTEN_AMOUNTS))
    return over - page.cap(LABEL)


def _place_scale(page: Page, region: Box, line_y: float, years: tuple[int, int]) -> None:
    """Place a tick for each year, a long one for decades and ends, and the years that have room."""
    look, (first, last) = page.look, years
    span = last - first
    step = 1 if abs(span) <= _MOST_TICKS else 10
    low, high = min(years), max(years)
    left, width = region.left + 1.5, region.width - 3
    ticks = sorted({low, high, *(year for year in range(low, high + 1) if year % step == 0)})
    baseline = line_y + _LONG + _UNDER_TICK + page.cap(LABEL)
    occupied: list[tuple[float, float]] = []
    for year in sorted(ticks, key=lambda year: year not in years):
        x = left + width * (year - first) / span
        end, decade = year in years, year % 10 == 0
        long = end or decade
        colour, thick = (look.ink, 3.0) if long else (look.soft, 2.0)
        page.add(Stroke("scale", ((x, line_y), (x, line_y + (_LONG if long else _SHORT))), colour, thick))
        wide = page.width(str(year), LABEL)
        at = min(max(x - wide / 2, region.left), region.right - wide)
        free = all(at + wide + _NUMBER_GAP <= one or other + _NUMBER_GAP <= at for one, other in occupied)
        if end or (decade and free):
            occupied.append((at, at + wide))
            page.add(page.text(str(year), at, baseline, LABEL, look.ink if end else look.soft))
    page.add(Stroke("scale", ((region.left, line_y), (region.right, line_y)), look.ink, 3.0))
