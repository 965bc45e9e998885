"""The price new and in the money of another year, on the dial of years; next to it an opinion of its worth."""

from __future__ import annotations

from itertools import pairwise

from reviewkit.model.card import Axis, Price
from reviewkit.render.cards.dial import place_dial
from reviewkit.render.cards.needle import wedge_at
from reviewkit.render.cards.scene import Page, Stroke
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import fit_block, fit_text

_PAID = (92.0, 84.0, 76.0, 68.0, 60.0, 52.0, NOTE)
_WORTH = tuple(float(size) for size in range(400, 51, -6))
_TALL, _SMALL = (92.0, 15.0), (66.0, 10.0)  # height and half the width of the needles

SHORTEN_PRICE = "leave out fair = … in [price]"


def place_price(page: Page, body: Price, lower: float) -> None:
    """Place the opinion of its worth above the dial of years with both prices; without one, the prices larger.

    Raises
    ------
    LayoutFault
        If an amount doesn't fit.
    """
    shape, look = page.shape, page.look
    safe = shape.safe
    top = {"wide": 262.0, "tall": 600.0, "square": 250.0}[shape.name] + lower
    bottom = place_years(page, body, with_now=bool(body.worth))
    caption, figure = "fair today, an opinion", body.worth
    if not body.worth:
        caption, figure = f"the same money in {body.years[1]}", f"about {body.now}" if body.now else ""
    if not figure:
        return
    worth = fit_block(page, figure, _WORTH, safe.width, bottom - top - 110.0, most=1)
    if worth is None:
        raise page.fault(figure, SHORTEN_PRICE)
    _, rise, drop, _ = page.measure(figure, worth.size, "black")
    first = top + (bottom - top - rise - drop - 70.0) / 2
    with page.part_of("reading"):
        page.add(page.text(caption, safe.left, first + page.cap(NOTE), 48.0, look.soft))
        baseline = first + 70.0 + rise
        page.add(page.text(figure, safe.left, baseline, worth.size, look.ink, weight="black", remedy=SHORTEN_PRICE))


def place_years(page: Page, body: Price, *, with_now: bool = True) -> float:
    """Place the dial of years with the prices at the years they belong to; return what is left above them.

    `with_now`: with what it is in the money of the last year.

    Raises
    ------
    LayoutFault
        If an amount doesn't fit.
    """
    shape, look = page.shape, page.look
    left, right = shape.curves
    baseline = shape.dial - 38.0
    first, last = body.years
    if first == last:
        page.add(Stroke("dial", ((0.0, shape.dial), (float(shape.width), shape.dial)), look.ink, 4.0))
    else:
        place_dial(page, year_axis(first, last))
    now = f"equals about {body.now} in {last} money" if body.now and with_now else ""
    with page.part_of("needle"):
        x = left if first != last else shape.safe.left + _TALL[1]
        page.add(wedge_at(page, x, shape.dial, "too close to call", -_TALL[0], _TALL[1]))
        paid = _place_paid(page, body, x + _TALL[1] + 18, shape.safe.right, baseline)
        if not body.now or first == last:
            return shape.dial - _TALL[0] - 50.0
        page.add(wedge_at(page, right, shape.dial, "before", -_SMALL[0], _SMALL[1]))
        end = right - _SMALL[1] - 18
        if not now:
            return shape.dial - _TALL[0] - 50.0
        setting = fit_text(page, now, (48.0, NOTE, AXIS, LEAST), end - paid - 40.0)
        if setting is not None:
            page.add(page.text(now, end, baseline, setting.size, look.ink, anchor="right"))
            return shape.dial - _TALL[0] - 50.0
        setting = fit_text(page, now, (NOTE, AXIS, LEAST), shape.safe.width)
        if setting is None:
            raise page.fault(now, SHORTEN_PRICE)
        above = shape.dial - _TALL[0] - 28.0
        page.add(page.text(now, shape.safe.right, above, setting.size, look.ink, anchor="right"))
    return above - page.cap(setting.size) - 40.0


def _place_paid(page: Page, body: Price, left: float, most: float, baseline: float) -> float:
    """Place what was paid, and "new" after it; return where that ends."""
    look = page.look
    room = most - left - page.width("new", NOTE) - 24.0
    setting = fit_text(page, body.paid, _PAID, room, weight="black")
    if setting is None:
        raise page.fault(body.paid, SHORTEN_PRICE)
    paid = page.text(body.paid, left, baseline, setting.size, look.ink, weight="black")
    new = page.text("new", paid.box.right + 22, baseline, NOTE, look.soft)
    page.add(paid, new)
    return new.box.right


def year_axis(first: int, last: int) -> Axis:
    """Return a dial of years: its ends and the rounder years between them numbered, a tick for each year."""
    span = last - first
    step = next((step for step in (1, 2, 5, 10, 20, 25, 50) if span / step <= 6), 100)
    close = max(span / 9, 0.6)
    between = [year for year in range(first + 1, last) if year % step == 0]
    kept = [year for year in between if year - first >= close and last - year >= close]
    years = [first, *kept, last]
    fine = next(fine for fine in (1, 2, 5, 10, 20, 50, 100) if span / fine <= 60)
    minor = [year for low, high in pairwise(years) for year in range(low + 1, high) if year % fine == 0]
    return Axis(first, last, "linear", tuple((year, str(year)) for year in years), minor=tuple(map(float, minor)))
