"""Every picture of a card that an order asks for: stills, overlays, strips and clips, in each shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from zlib_ng import zlib_ng

from reviewkit.model.card import Card, Rows, TitlePage
from reviewkit.model.card_files import is_on_page, kind_of
from reviewkit.model.timecode import exact
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.card import lay_out_in_roles
from reviewkit.render.cards.colours import Look, find_look
from reviewkit.render.cards.contact_sheet import sheet_size
from reviewkit.render.cards.paint import NO_FONTS, Fonts, make_measure, paint
from reviewkit.render.cards.png import downscale, encode_png, encode_small_png
from reviewkit.render.cards.roles import ROLES, apply_look
from reviewkit.render.cards.scene import Item, LayoutFault, Page, Stroke
from reviewkit.render.cards.shape import SHAPES, SQUARE, WIDE, Shape
from reviewkit.render.cards.sizes import FRAME_WIDTH, WIDTHS
from reviewkit.render.cards.vector import encode_svg

if TYPE_CHECKING:
    from reviewkit.render.cards.colour_check import Seen
    from reviewkit.render.cards.png import Bytes
    from reviewkit.render.footage.clip import Motion

PAGE_SHAPES = (WIDE, SQUARE)  # of the page's pictures: for a wide window, for a phone
PAGE_PNG_WIDTH = 1280
PROMPTER_DIVISOR = 6  # of a shape's width, for the prompter's pictures; every width that a card is drawn at allows it


@dataclass(frozen=True)
class Order:
    """The pictures to draw of each card.

    Attributes
    ----------
    width
        Of a wide card in pixels; other shapes are drawn at the same scale.
    page
        The look of the pictures on the published page; None without a page.
    page_png
        Whether they are wanted as PNG too, as templates of earlier versions embed them.
    small
        Whether small pictures for the contact sheet and the prompter are wanted, in the first of the shapes.
    shapes
        Names of shapes.
    motion
        Settings of the clips, with alpha too if `overlay` is set; None for no clips.
    """

    look: Look
    width: int = FRAME_WIDTH
    page: Look | None = None
    page_png: bool = False
    small: bool = False
    fonts: Fonts = NO_FONTS
    overlay: bool = False
    strip: bool = False
    motion: Motion | None = None
    shapes: tuple[str, ...] = (WIDE.name,)

    def __post_init__(self) -> None:
        if self.width not in WIDTHS:
            raise ValueError(f"a card is drawn {', '.join(map(str, WIDTHS))} pixels wide, not {self.width}")

    def width_of(self, shape: Shape) -> int:
        """Return the width of a shape's pictures in pixels."""
        return shape.width * self.width // FRAME_WIDTH


def draw(card: Card, look: str, width: int = FRAME_WIDTH, shape: str = WIDE.name) -> bytes:
    """Draw a card as a PNG. The same card gives the same bytes.

    Parameters
    ----------
    card : Card
        The card.
    look : str
        Name of a look.
    width : int
        Of a wide card: 1280, 1920 or 3840 pixels; other shapes are drawn at the same scale.
    shape : str
        Name of a shape.

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
    drawn = draw_pictures(card, Order(find_look(look), width, shapes=(shape,)))[kind_of("cards", shape)]
    assert isinstance(drawn, bytes)
    return drawn


def draw_pictures(card: Card, order: Order) -> dict[str, bytes | Path]:
    """Draw every picture of a card that an order asks for; of a card that isn't for filming, only a still.

    In each shape the card is laid out and checked once, since looks differ only in colour.

    Parameters
    ----------
    card : Card
        The card.
    order : Order
        What to draw.

    Returns
    -------
    dict of str to bytes or Path
        By kind: PNG files for "cards", "prompter", "overlays" and "strips"; SVG files for "page"; deflated RGB rows for
        "small"; paths for the clips, "mp4" and "mov". Kinds of other shapes begin with the shape: "tall-cards". A card
        with no figure has no strip. One that can't be laid out as a square has no "square-page".

    Raises
    ------
    LayoutFault
        If the card can't be laid out, or something on it can't be seen.
    """
    drawn: dict[str, bytes | Path] = {}
    wanted = order.shapes if card.on_film else order.shapes[:1]
    for name, shape in SHAPES.items():
        on_page = order.page if shape in PAGE_SHAPES and is_on_page(card) else None
        png = order.page if shape is WIDE and order.page_png else None
        if name not in wanted and on_page is None and png is None:
            continue
        try:
            items = lay_out_in_roles(card, order.fonts, shape)
        except LayoutFault:
            if name in wanted or shape is WIDE:
                raise
            continue  # a phone shows the wide picture
        if on_page is not None:
            coloured = _colour(card.id, items, on_page)
            drawn[kind_of("page", name)] = encode_svg(coloured, on_page.ground, shape, order.fonts)
        if png is not None:
            coloured = _colour(card.id, items, png)
            pixels = paint(coloured, png.ground, PAGE_PNG_WIDTH, order.fonts, shape=shape)
            drawn["page-png"] = encode_png(pixels, [png.ground, *(item.colour for item in coloured)])
        if name in wanted:
            coloured = _colour(card.id, items, order.look)
            pixels = paint(coloured, order.look.ground, order.width_of(shape), order.fonts, shape=shape)
            drawn[kind_of("cards", name)] = encode_png(pixels, [order.look.ground, *(item.colour for item in coloured)])
            if order.small and name == order.shapes[0]:
                drawn["small"] = zlib_ng.compress(downscale(pixels, sheet_size(shape)[0]), 1)
                if card.on_film:
                    drawn["prompter"] = encode_small_png(pixels, shape.width // PROMPTER_DIVISOR)
            if card.on_film and order.motion and not isinstance(card.body, TitlePage | Rows):
                drawn |= _write_clips(card, items, shape, order, order.motion)
            if card.on_film and (order.overlay or order.strip):
                drawn |= _draw_over_footage(card, items, shape, order)
    return drawn


def draw_lead(card: Card, look: Look, fonts: Fonts, shape: Shape) -> bytes:
    """Draw a chart as SVG to lead the page, without what the page itself says; b"" if it has no place for all of it.

    `shape`: LEAD or NARROW_LEAD.
    """
    try:
        items = _colour(card.id, lay_out_in_roles(card, fonts, shape), look)
    except LayoutFault:
        return b""
    return encode_svg(items, look.ground, shape, fonts)


def _colour(card_id: str, items: Sequence[Item], look: Look, over: Seen | None = None) -> tuple[Item, ...]:
    """Return shapes in a look's colours, if each can be seen against what is under it; `over`: on footage.

    Raises
    ------
    LayoutFault
        For the first that can't.
    """
    from reviewkit.render.cards.colour_check import find_colour_problems

    coloured = apply_look(items, look)
    for problem in find_colour_problems(coloured, look, over):
        raise LayoutFault(card_id, problem.text, problem.message, problem.remedy)
    return coloured


def _draw_over_footage(card: Card, items: Sequence[Item], shape: Shape, order: Order) -> dict[str, bytes]:
    """Draw the pictures of a card that go over footage."""
    from reviewkit.render.footage.overlay import composite_over_footage, encode_overlay, footage_look
    from reviewkit.render.footage.strip import choose_content, encode_strip, lay_out_strip

    look, seen, width = footage_look(order.look), composite_over_footage(order.look), order.width_of(shape)
    drawn = {}
    if order.overlay:
        coloured = _colour(card.id, items, look, seen)
        drawn[kind_of("overlays", shape.name)] = encode_overlay(coloured, order.look, width, order.fonts, shape)
    if order.strip and (what := choose_content(card)):
        page = Page(card.id, ROLES, make_measure(card.id, order.fonts), shape)
        coloured = _colour(card.id, lay_out_strip(page, what), look, seen)
        drawn[kind_of("strips", shape.name)] = encode_strip(coloured, order.look, width, order.fonts, shape)
    return drawn


def draw_for_sound(card: Card, order: Order) -> tuple[Bytes, Box]:
    """Draw a chart for a clip in which it does not move: its pixels, and where its plot is in them.

    Raises
    ------
    LayoutFault
        If the card can't be laid out, or something on it can't be seen.
    """
    coloured = _colour(card.id, lay_out_in_roles(card, order.fonts, WIDE), order.look)
    heights = [y for item in coloured if isinstance(item, Stroke) and item.kind == "grid" for _, y in item.points]
    scale, (left, right) = order.width / FRAME_WIDTH, WIDE.curves
    plot = Box(scale * left, scale * min(heights), scale * right, scale * WIDE.chart[1])
    return paint(coloured, order.look.ground, order.width, order.fonts, shape=WIDE).copy(), plot


def _write_clips(card: Card, items: Sequence[Item], shape: Shape, order: Order, motion: Motion) -> dict[str, Path]:
    """Write a card's clips and return their paths by kind."""
    from reviewkit.render.footage.clip import write_clear_clip, write_opaque_clip
    from reviewkit.render.footage.overlay import draw_plate, footage_look, paint_on_plate, plate_regions
    from reviewkit.render.footage.steps import plan_steps

    look, width, fonts, seconds = order.look, order.width_of(shape), order.fonts, card.hold_s or motion.seconds
    found = lay_out_in_roles(card.found, fonts, shape) if card.found else ()
    steps, scale = plan_steps(card, items, found, exact(seconds)), width / shape.width
    solid = (paint(apply_look(step.items, look), look.ground, width, fonts, shape=shape) for step in steps)
    mp4, mov = kind_of("mp4", shape.name), kind_of("mov", shape.name)
    clips = {mp4: motion.file(card.id, f".{mp4}")}
    write_opaque_clip(solid, steps, scale, clips[mp4], motion, seconds)
    if order.overlay:
        over = footage_look(look)
        rows = (0, shape.height * width // shape.width)
        ground = draw_plate(plate_regions((*items, *found), shape), look, width, rows, shape)  # from the start
        clear = (paint_on_plate(apply_look(step.items, over), ground, width, fonts, shape=shape) for step in steps)
        clips[mov] = motion.file(card.id, f".{mov}")
        write_clear_clip(clear, steps, scale, clips[mov], motion, seconds)
    return clips
