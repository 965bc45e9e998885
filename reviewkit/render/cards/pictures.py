"""Every picture of a card that an order asks for: stills, overlays, strips and clips, in each shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from zlib_ng import zlib_ng

from reviewkit.model.card import Card
from reviewkit.model.card_files import kind_of
from reviewkit.render.cards.card import lay_out_in_roles
from reviewkit.render.cards.colour_roles import apply_look
from reviewkit.render.cards.contact_sheet import sheet_size
from reviewkit.render.cards.look import FRAME_WIDTH, WIDTHS, Look, find_look
from reviewkit.render.cards.paint import NO_FONTS, Fonts, paint
from reviewkit.render.cards.png import downscale, encode_png
from reviewkit.render.cards.scene import Item, LayoutFault
from reviewkit.render.cards.shape import SHAPES, WIDE, Shape

if TYPE_CHECKING:
    from reviewkit.render.cards.colour_check import Seen
    from reviewkit.render.cards.png import Bytes
    from reviewkit.render.footage.clip import Motion

PAGE_WIDTH = 1280  # of the page's pictures


@dataclass(frozen=True)
class Order:
    """The pictures to draw of each card.

    Attributes
    ----------
    width
        Of a wide card in pixels; other shapes are drawn at the same scale.
    page
        The look of the pictures on the published page; None without a page.
    small
        Whether a small picture for the contact sheet is wanted, in the first of the shapes.
    shapes
        Names of shapes.
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
    """Draw every picture of a card that an order asks for.

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
        By kind: PNG files for "cards", "page", "overlays" and "strips"; deflated RGB rows for "small"; paths for the
        clips, "mp4" and "mov". Kinds of other shapes begin with the shape: "tall-cards". A card with no figure has no
        strip.

    Raises
    ------
    LayoutFault
        If the card can't be laid out, or something on it can't be seen.
    """
    drawn: dict[str, bytes | Path] = {}
    for name, shape in SHAPES.items():
        on_page = order.page if shape is WIDE else None
        if name not in order.shapes and on_page is None:
            continue
        items = lay_out_in_roles(card, order.fonts, shape)
        if on_page is not None:
            drawn["page"], _ = _draw_still(card, items, shape, on_page, PAGE_WIDTH, order.fonts)
        if name in order.shapes:
            still, pixels = _draw_still(card, items, shape, order.look, order.width_of(shape), order.fonts)
            drawn[kind_of("cards", name)] = still
            if order.small and name == order.shapes[0]:
                drawn["small"] = zlib_ng.compress(downscale(pixels, sheet_size(shape)[0]), 1)
            drawn |= {kind_of(kind, name): made for kind, made in _draw_for_film(card, items, shape, order).items()}
    return drawn


def _draw_still(
    card: Card, items: Sequence[Item], shape: Shape, look: Look, width: int, fonts: Fonts
) -> tuple[bytes, Bytes]:
    """Draw a card; return its file, and its pixels, which are valid until the next picture is painted."""
    coloured = _check_colours(card.id, apply_look(items, look), look)
    pixels = paint(coloured, look.ground, width, fonts, shape=shape)
    flat = dict.fromkeys((look.ground, *(item.colour for item in coloured)))
    return encode_png(pixels, tuple(flat)), pixels


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


def _draw_for_film(card: Card, items: Sequence[Item], shape: Shape, order: Order) -> dict[str, bytes | Path]:
    """Draw the pictures of a card that move or go over footage."""
    return {}
