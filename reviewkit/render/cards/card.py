"""Cards as pictures: shapes are laid out, checked, and only then painted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from zlib_ng import zlib_ng

from reviewkit.model.card import Card, Chart, Ending, Fix, Hunt, Number, Price, Row, Rows, Score, TitlePage
from reviewkit.render.cards.colour_roles import ROLES, apply_look
from reviewkit.render.cards.contact_sheet import SMALL
from reviewkit.render.cards.look import FRAME_HEIGHT, FRAME_WIDTH, WIDTHS, Look, find_look
from reviewkit.render.cards.paint import NO_FONTS, Fonts, make_measure, paint
from reviewkit.render.cards.png import downscale, encode_png
from reviewkit.render.cards.scene import Item, LayoutFault, Page
from reviewkit.render.cards.shape import WIDE, Shape

if TYPE_CHECKING:
    from reviewkit.render.cards.colour_check import Seen
    from reviewkit.render.cards.png import Bytes
    from reviewkit.render.footage.clip import Motion

__all__ = ["LayoutFault", "Order", "draw", "draw_pictures", "fit", "lay_out"]

_PICTURE_BOTTOM = 948.0  # pictures end here, with or without a foot line
_TOGETHER = 3  # rows by which a page's end may move


PAGE_WIDTH = 1280  # of the page's pictures


@dataclass(frozen=True)
class Order:
    """The pictures to draw of each card.

    Attributes
    ----------
    page
        The look of the pictures on the published page; None without a page.
    motion
        Settings of the clips, with alpha too if `overlay` is set; None for no clips.
    """

    look: Look
    width: int = FRAME_WIDTH
    page: Look | None = None
    small: bool = False
    fonts: Fonts = NO_FONTS
    overlay: bool = False
    strip: bool = False
    motion: Motion | None = None  # with `overlay`, clips with alpha as well

    def __post_init__(self) -> None:
        if self.width not in WIDTHS:
            raise ValueError(f"a card is drawn {', '.join(map(str, WIDTHS))} pixels wide, not {self.width}")


def draw(card: Card, look: str, width: int = FRAME_WIDTH) -> bytes:
    """Draw a card as a PNG. The same card gives the same bytes.

    Parameters
    ----------
    card : Card
        The card.
    look : str
        Name of a look.
    width : int
        1280, 1920 or 3840 pixels; the picture is 16:9.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    LayoutFault
        If a text can't be kept in its place.
    KeyError
        If there is no such look.
    """
    drawn = draw_pictures(card, Order(find_look(look), width))["cards"]
    assert isinstance(drawn, bytes)
    return drawn


def draw_pictures(card: Card, order: Order) -> dict[str, bytes | Path]:
    """Draw every picture of a card that an order asks for.

    The card is laid out and checked once, since looks differ only in colour.

    Parameters
    ----------
    card : Card
        The card.
    order : Order
        What to draw.

    Returns
    -------
    dict of str to bytes or Path
        By kind: PNG files for "cards", "page", "overlays" and "strips"; deflated RGB rows for "small"; paths for the
        clips, "mp4" and "mov". A card with no key figure has no strip.

    Raises
    ------
    LayoutFault
        If the card can't be laid out, or something on it can't be seen.
    """
    items = _check_layout(card.id, _lay_out_in_roles(card, order.fonts))
    drawn: dict[str, bytes | Path] = {}
    for kind, look, width in (("cards", order.look, order.width), ("page", order.page, PAGE_WIDTH)):
        if look is not None:
            shapes = _check_colours(card.id, apply_look(items, look), look)
            pixels = paint(shapes, _background(card, shapes, look, width), width, order.fonts)
            flat = dict.fromkeys((look.ground, *(shape.colour for shape in shapes)))
            drawn[kind] = encode_png(pixels, tuple(flat))
            if order.small and kind == "cards":
                drawn["small"] = zlib_ng.compress(downscale(pixels, SMALL), 1)
    if order.motion and isinstance(card.body, Chart):
        drawn |= _write_clips(card, items, order, order.motion)
    return drawn | _draw_for_footage(card, items, order)


def _write_clips(card: Card, items: Sequence[Item], order: Order, motion: Motion) -> dict[str, Path]:
    """Write a card's clips and return their paths by kind."""
    from reviewkit.render.footage.clip import split_layers, write_clear_clip, write_opaque_clip
    from reviewkit.render.footage.overlay import draw_plate, footage_look, paint_on_plate, plate_regions

    look, width, fonts, seconds = order.look, order.width, order.fonts, card.hold_s or motion.seconds
    solid = (paint(part, look.ground, width, fonts) for part in split_layers(apply_look(items, look)))
    clips = {"mp4": motion.file(card.id, ".mp4")}
    write_opaque_clip(solid, clips["mp4"], motion, seconds)
    if order.overlay:
        shapes = apply_look(items, footage_look(look))
        ground = draw_plate(
            plate_regions(shapes), look, width, (0, width * FRAME_HEIGHT // FRAME_WIDTH)
        )  # of all shapes, from the start
        clear = (paint_on_plate(part, ground, width, fonts) for part in split_layers(shapes))
        clips["mov"] = motion.file(card.id, ".mov")
        write_clear_clip(clear, clips["mov"], motion, seconds)
    return clips


def _check_colours(card_id: str, items: tuple[Item, ...], look: Look, over: Seen | None = None) -> tuple[Item, ...]:
    """Return coloured shapes if each can be seen against what is under it; `over`: on footage.

    Raises
    ------
    LayoutFault
        For the first that can't.
    """
    from reviewkit.render.cards.colour_check import find_colour_problems

    for problem in find_colour_problems(items, look, over):
        raise LayoutFault(card_id, problem.text, problem.message, problem.remedy)
    return items


def _check_layout(card_id: str, items: tuple[Item, ...]) -> tuple[Item, ...]:
    """Return shapes if nothing is wrong with them.

    Raises
    ------
    LayoutFault
        For the first problem.
    """
    from reviewkit.render.cards.layout_check import find_problems

    for problem in find_problems(items):
        raise LayoutFault(card_id, problem.text, problem.message, problem.remedy or "draw less on this card")
    return items


def _background(card: Card, shapes: Sequence[Item], look: Look, width: int) -> str | Bytes:
    """Return what a card is painted on: the look's ground, or the user's photograph dimmed towards it."""
    if not isinstance(card.body, TitlePage) or not card.body.photo:
        return look.ground
    from reviewkit.render.cards.photo import draw_backdrop

    return draw_backdrop(card.body.photo, shapes, look, width)


def _draw_for_footage(card: Card, items: Sequence[Item], order: Order) -> dict[str, bytes]:
    """Draw the pictures of a card that go over footage."""
    if not (order.overlay or order.strip):
        return {}
    from reviewkit.render.footage.overlay import composite_over_footage, encode_overlay, footage_look
    from reviewkit.render.footage.strip import choose_content, encode_strip, lay_out_strip

    drawn = {}
    look = footage_look(order.look)
    if order.overlay:
        shapes = _check_colours(card.id, apply_look(items, look), look, composite_over_footage(order.look))
        drawn["overlays"] = encode_overlay(shapes, order.look, order.width, order.fonts)
    if order.strip and (what := choose_content(card)):
        page = Page(card.id, ROLES, make_measure(card.id, order.fonts))
        lay_out_strip(page, what)
        laid = apply_look(_check_layout(card.id, tuple(page.items)), look)
        shapes = _check_colours(card.id, laid, look, composite_over_footage(order.look))
        drawn["strips"] = encode_strip(shapes, order.look, order.width, order.fonts)
    return drawn


def lay_out(card: Card, look: str) -> tuple[Item, ...]:
    """Return the shapes of a card in drawing order, with the extents that the renderer gives.

    Parameters
    ----------
    card : Card
        The card.
    look : str
        Name of a look.

    Returns
    -------
    tuple of Text, Stroke and Area
        The shapes, in pixels of a 1920 × 1080 frame.

    Raises
    ------
    LayoutFault
        If the card can't be laid out.
    """
    return apply_look(_check_layout(card.id, _lay_out_in_roles(card)), find_look(look))


def _lay_out_in_roles(card: Card, fonts: Fonts = NO_FONTS, shape: Shape = WIDE) -> tuple[Item, ...]:
    """Lay out a card with roles in place of colours."""
    page = Page(card.id, ROLES, make_measure(card.id, fonts), shape)
    _compose(page, card)
    return tuple(page.items)


def fit(card: Card, fonts: Fonts = NO_FONTS) -> tuple[Card, ...]:
    """Split a card whose table has more rows than one card can hold.

    Parameters
    ----------
    card : Card
        Any card.
    fonts : Fonts
        The user's fonts, if any.

    Returns
    -------
    tuple of Card
        The card itself, or several with ids "table", "table-2" … and "1 of 2" in their conditions.

    Raises
    ------
    LayoutFault
        If even a single row doesn't fit.
    """
    return _split_table(card, fonts) if isinstance(card.body, Rows) and card.body.rows else (card,)


def _split_table(card: Card, fonts: Fonts) -> tuple[Card, ...]:
    """Split a table over as few cards as hold it.

    Raises
    ------
    LayoutFault
        If a row doesn't fit.
    """
    body = card.body
    assert isinstance(body, Rows)
    for pages in range(1, len(body.rows) + 1):
        parts = _table_cards(card, body, pages)
        if _table_fits(parts[0], fonts):  # either all pages fit or none does: they are set alike
            return parts
    _lay_out_in_roles(parts[0], fonts)  # raises the fault that names the text that is too long
    return parts


def _table_cards(card: Card, body: Rows, pages: int) -> tuple[Card, ...]:
    """Return several cards with the rows spread evenly; each carries all rows, so that all are set alike."""
    if pages == 1:
        return (card,)
    reach = min(_TOGETHER, len(body.rows) // pages // 2)
    ends = [_page_end(body.rows, len(body.rows) * at // pages, reach) for at in range(pages + 1)]
    split = tuple(body.rows[start:stop] for start, stop in pairwise(ends))
    return tuple(
        replace(
            card,
            id=f"{card.id}-{number}" if number > 1 else card.id,
            conditions=" · ".join(filter(None, (card.conditions, f"{number} of {pages}"))),
            body=replace(body, rows=rows, pages=split),
        )
        for number, rows in enumerate(split, start=1)
    )


def _page_end(rows: Sequence[Row], end: int, reach: int) -> int:
    """Return the row at which a page ends, at most `reach` rows early.

    Loud rows in succession belong together, like a fault and its cause, and aren't separated.
    """
    for earlier in range(end, max(end - reach - 1, 0), -1):
        if earlier == len(rows) or not (rows[earlier - 1].loud and rows[earlier].loud):
            return earlier
    return end


def _table_fits(card: Card, fonts: Fonts) -> bool:
    from reviewkit.render.cards.frame import place_frame
    from reviewkit.render.cards.table import fits

    page = Page(card.id, ROLES, make_measure(card.id, fonts), WIDE)
    return isinstance(card.body, Rows) and fits(page, card.body, place_frame(page, card, card.title))


def _compose(page: Page, card: Card) -> None:
    """Place everything on a page: the frame, then the body with the hero."""
    from reviewkit.render.cards.frame import place_frame

    body = card.body
    if isinstance(body, Chart):
        _place_chart(page, card, body, place_frame(page, card, card.title))
    elif isinstance(body, Rows):
        from reviewkit.render.cards.table import place_table

        place_table(page, body, place_frame(page, card, card.title))
    elif isinstance(body, Number):
        from reviewkit.render.cards.number_card import place_number

        place_number(page, body, place_frame(page, card, ""))
    elif isinstance(body, Score):
        from reviewkit.render.cards.score_card import place_score

        place_score(page, body, place_frame(page, card, card.title))
    elif isinstance(body, Hunt | Fix):
        from reviewkit.render.cards.hunt_card import place_fix, place_hunt

        lower = place_frame(page, card, card.title)
        place_hunt(page, body, lower) if isinstance(body, Hunt) else place_fix(page, body, lower)
    elif isinstance(body, Ending):
        from reviewkit.render.cards.ending_card import place_ending

        place_ending(page, body, place_frame(page, card, ""))
    elif isinstance(body, Price):
        from reviewkit.render.cards.price_card import place_price

        place_price(page, body, place_frame(page, card, card.title))
    else:
        from reviewkit.render.cards.title_page import place_title_page

        place_title_page(page, body, card.mark)


def _place_chart(page: Page, card: Card, chart: Chart, lower: float) -> None:
    """Place a chart: with the hero in its free space if there is room and no verdict, else under the strip."""
    from reviewkit.render.cards.chart import place_chart
    from reviewkit.render.cards.hero import place_strip

    shape, before = page.shape, len(page.items)
    top, bottom = shape.chart
    if card.verdict is None and place_chart(page, chart, top + lower, bottom, card.hero):
        return
    del page.items[before:]
    assert card.hero is not None
    place_strip(page, card.hero, card.verdict, lower)
    top, bottom = shape.strip_chart
    place_chart(page, chart, top + lower, bottom, None)
