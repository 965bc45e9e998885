"""The opening card: the unit's name as large as fits, a dial scale under it, then what it cost."""

from __future__ import annotations

import math

from reviewkit.render.cards.year_scale import place_amounts

from reviewkit.model.card import TitlePage
from reviewkit.render.cards.frame import SHORTEN_NAME
from reviewkit.render.cards.look import KEY, LABEL, LEAST, READING
from reviewkit.render.cards.scene import Box, Page, Stroke
from reviewkit.render.cards.typeset import fit_text

_NAME_SIZES = (150.0, 140.0, 130.0, 120.0, 110.0, 100.0, 92.0, 84.0, 76.0)
_TICKS, _TICKS_PER_LONG = 72, 12
_LINE_PITCH = 64.0
_SMALL_PITCH = 48.0
_AMOUNT_GAP = 96.0

SHORTEN_LINES = "shorten what = … in [unit], or the title in [episode]"
SHORTEN_AMOUNTS = "leave out fair = … in [price]"


def place_title_page(page: Page, body: TitlePage, region: Box) -> None:
    """Place the opening card in a region.

    Raises
    ------
    LayoutFault
        If its lines don't fit.
    """
    look = page.look
    name = fit_text(page, body.name, _NAME_SIZES, region.width, bold=True, most=3, anywhere=True)
    if name is None:
        raise page.fault(body.name, SHORTEN_NAME)
    pitch = name.size * 1.08
    baseline = region.top + 40 + page.cap(name.size, True)
    if len(name.lines) == 1:
        baseline += 30
    for index, line in enumerate(name.lines):
        if index:
            baseline += pitch
        page.add(page.text(line, region.left, baseline, name.size, look.ink, bold=True, remedy=SHORTEN_NAME))
    baseline += 34
    if not body.years:  # otherwise the scale is below the amounts, and its ticks are the years between them
        baseline += 28
        _place_scale(page, region, baseline)
        baseline += 40
    foot = _place_amounts(page, body, region)
    for index, line in enumerate(body.lines):
        sizes = (READING, 46.0, 42.0, 38.0, LEAST)
        made = fit_text(page, line, sizes, region.width, most=2)
        if made is None:
            raise page.fault(line, SHORTEN_LINES)
        for text in made.lines:
            baseline += _LINE_PITCH if made.size > 42 else _SMALL_PITCH
            colour = look.ink if index == 0 else look.soft
            page.add(page.text(text, region.left, baseline, made.size, colour, remedy=SHORTEN_LINES))
    if baseline + 24 > foot:
        raise page.fault(body.lines[-1] if body.lines else body.name, SHORTEN_LINES, "leaves the page no room")


def _place_scale(page: Page, region: Box, line_y: float) -> None:
    """Place the dial scale across the page."""
    look = page.look
    for tick in range(_TICKS + 1):
        x = region.left + 1.5 + (region.width - 3) * tick / _TICKS
        long = tick % _TICKS_PER_LONG == 0
        end = line_y + (28 if long else 14)
        page.add(Stroke("scale", ((x, line_y), (x, end)), look.ink if long else look.soft, 3.0 if long else 2.0))
    page.add(Stroke("scale", ((region.left, line_y), (region.right, line_y)), look.ink, 3.0))


def _place_amounts(page: Page, body: TitlePage, region: Box) -> float:
    """Place the amounts side by side at the region's foot; return where they begin."""
    if not body.amounts:
        return region.bottom
    if body.years:
        return place_amounts(page, body.amounts, body.years, region, KEY)
    look = page.look
    sizes = [float(size) for size in range(int(KEY), 55, -2)]
    for size in sizes:
        widths = [
            max(page.width(amount, size, True), page.width(what, LABEL) if what else 0.0)
            for what, amount in body.amounts
        ]
        if sum(widths) + _AMOUNT_GAP * (len(widths) - 1) <= region.width:
            break
    else:
        raise page.fault(body.amounts[-1][1], SHORTEN_AMOUNTS)
    baseline = region.bottom - 28
    over = baseline - page.cap(size, True) - 30
    for (what, amount), x in zip(body.amounts, _starts(region, widths), strict=True):
        page.add(page.text(amount, x, baseline, size, look.ink, bold=True, remedy=SHORTEN_AMOUNTS))
        if what:
            page.add(page.text(what, x, over, LABEL, look.soft, remedy=SHORTEN_AMOUNTS))
    return over - page.cap(LABEL)


def _starts(region: Box, widths: list[float]) -> list[float]:
    """Return the amounts' left edges: under long ticks of the scale, or close together if that is too wide."""
    step = region.width * _TICKS_PER_LONG / _TICKS
    on_ticks, close = [region.left], [region.left]
    for width in widths[:-1]:
        end = on_ticks[-1] + width + _AMOUNT_GAP * 0.6
        on_ticks.append(region.left + step * math.ceil((end - region.left) / step))
        close.append(close[-1] + width + _AMOUNT_GAP)
    return on_ticks if on_ticks[-1] + widths[-1] <= region.right else close
