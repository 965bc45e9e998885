"""Any card as a picture: shapes are laid out, checked, and only then painted. The only file that needs matplotlib."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from reviewkit.model import Card, Curves, Rows
from reviewkit.render.look import FALLBACK_FAMILY, FAMILY, FRAME_HEIGHT, FRAME_WIDTH, LOOKS, WIDTHS, look_named
from reviewkit.render.scene import Area, Box, Extent, Item, LayoutFault, Measure, Page, Stroke, Text

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

__all__ = ["LayoutFault", "draw", "fit", "lay_out"]

_PICTURE_BOTTOM = 948.0  # pictures end here whether or not a card has a foot
_DPI = 72  # at which a point is a pixel


def draw(card: Card, look: str, width: int = FRAME_WIDTH) -> bytes:
    """A card as the bytes of a PNG, `width` 1280, 1920 or 3840 and 16:9. Same card, same bytes.

    Raises LayoutFault where it cannot be laid out without a text leaving its place, KeyError for an unknown look.
    """
    if width not in WIDTHS:
        raise ValueError(f"a card is drawn {', '.join(map(str, WIDTHS))} pixels wide, not {width}")
    chosen = look_named(look)
    from reviewkit.render.layout_check import problems

    items = lay_out(card, look)
    for problem in problems(items):
        raise LayoutFault(card.id, problem.text, problem.message, problem.remedy or "draw less on this card")
    return _painted(items, chosen.ground, width / FRAME_WIDTH)


def lay_out(card: Card, look: str) -> tuple[Item, ...]:
    """What is drawn on a card, in the order it is drawn, with the extents the renderer gives. Raises LayoutFault."""
    with _settled():
        page = Page(card.id, look_named(look), _measuring(card.id))
        _compose(page, card)
        return tuple(page.items)


def fit(card: Card) -> tuple[Card, ...]:
    """The card, or several where its table has more rows than one can hold: ids table, table-2 …, "1 of 2" under it.

    Raises LayoutFault where even a single row does not fit.
    """
    body = card.body
    if not isinstance(body, Rows) or not body.rows:
        return (card,)
    with _settled():
        for pages in range(1, len(body.rows) + 1):
            parts = tuple(_part(card, body, number, pages) for number in range(pages))
            if all(_holds(part) for part in parts):
                return parts
        lay_out(parts[0], next(iter(LOOKS)))  # raises the fault that names what is too long
    return parts


def _part(card: Card, body: Rows, number: int, pages: int) -> Card:
    """One of `pages` cards with the rows spread evenly."""
    if pages == 1:
        return card
    start, stop = (len(body.rows) * at // pages for at in (number, number + 1))
    return replace(
        card,
        id=f"{card.id}-{number + 1}" if number else card.id,
        conditions=" · ".join(filter(None, (card.conditions, f"{number + 1} of {pages}"))),
        body=replace(body, rows=body.rows[start:stop]),
    )


def _holds(card: Card) -> bool:
    from reviewkit.render.rows import fits

    page = Page(card.id, LOOKS[next(iter(LOOKS))], _measuring(card.id))
    region = _column_placed(page, card)
    return isinstance(card.body, Rows) and fits(page, card.body, region)


def _compose(page: Page, card: Card) -> None:
    """Place everything: the frame, the readings, and the body in what is left."""
    from reviewkit.render.plot import plot
    from reviewkit.render.rows import table
    from reviewkit.render.title_page import title_page

    region = _column_placed(page, card)
    if isinstance(card.body, Curves):
        plot(page, card.body, region)
    elif isinstance(card.body, Rows):
        table(page, card.body, region)
    else:
        title_page(page, card.body, region)


def _column_placed(page: Page, card: Card) -> Box:
    """Place frame and readings; returns the room for the body."""
    from reviewkit.render.frame import frame
    from reviewkit.render.readings import readings

    name = getattr(card.body, "name", None)
    shown = card if name is None or card.corner != name else replace(card, corner="")
    region = frame(page, shown, title=card.title != name)
    if isinstance(card.body, Curves):
        region = replace(region, bottom=min(region.bottom, _PICTURE_BOTTOM))
    return readings(page, region, card.readings, card.verdicts)


# ------------------------------------------------------------------ type


@contextmanager
def _settled() -> Iterator[None]:
    """Matplotlib's settings that touch what is drawn, whatever the user's own are.

    Without hinting a text's width grows with its size exactly, so one layout holds for every size of card.
    """
    import matplotlib as mpl

    with mpl.rc_context({"text.hinting": "no_hinting", "path.sketch": None, "path.effects": []}):
        yield


@cache
def _family() -> tuple[str, ...]:
    """The families to draw with, best first: the package's font where it is installed, then the one always there."""
    from matplotlib.font_manager import fontManager

    try:
        import font_source_sans_pro  # type: ignore[import-untyped]
    except ImportError:
        return (FALLBACK_FAMILY,)
    for name in ("SourceSansPro", "SourceSansProBold"):
        fontManager.addfont(font_source_sans_pro.font_files_ttf[name])
    return FAMILY, FALLBACK_FAMILY


@lru_cache(maxsize=512)
def _font(size: float, bold: bool) -> FontProperties:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=list(_family()), size=size, weight="bold" if bold else "normal")


@cache
def _files(bold: bool) -> tuple[str, ...]:
    """The font files to draw with, best first."""
    from matplotlib.font_manager import FontProperties, findfont

    weight = "bold" if bold else "normal"
    return tuple(str(findfont(FontProperties(family=[family], weight=weight))) for family in _family())


@cache
def _known_characters(bold: bool) -> frozenset[str]:
    """Every character that one of the fonts can draw."""
    from matplotlib.font_manager import get_font

    return frozenset(chr(code) for path in _files(bold) for code in get_font(path).get_charmap())


@cache
def _ruler() -> Any:
    """A renderer to measure with; nothing is drawn on it."""
    from matplotlib.backends.backend_agg import RendererAgg

    return RendererAgg(8, 8, _DPI)  # type: ignore[no-untyped-call]


def _measuring(card_id: str) -> Measure:
    """A Measure that refuses characters no font has, naming the card."""

    def measure(text: str, size: float, bold: bool) -> Extent:
        extent = _extent(text, size, bold)
        if isinstance(extent, str):
            named = ", ".join(f"U+{ord(sign):04X}" + (f" {sign}" if sign.isprintable() else "") for sign in extent)
            problem = f"has characters that no font here can draw: {named}"
            raise LayoutFault(card_id, text, problem, "write it without them")
        return extent

    return measure


@lru_cache(maxsize=8192)
def _extent(text: str, size: float, bold: bool) -> Extent | str:
    """A text's extent in pixels; or the characters in it that cannot be drawn."""
    unknown = "".join(sorted(set(text) - _known_characters(bold)))
    if unknown:
        return unknown
    width, height, descent = _ruler().get_text_width_height_descent(text, _font(size, bold), ismath=False)
    return Extent(float(width), float(height - descent), float(descent), _bearing(text[:1], size, bold))


@lru_cache(maxsize=2048)
def _bearing(letter: str, size: float, bold: bool) -> float:
    """The gap between where a letter begins and its ink, negative where the ink reaches out."""
    from matplotlib.font_manager import get_font

    for path in _files(bold):
        font = get_font(path)
        if letter and ord(letter) in font.get_charmap():
            font.set_size(size, _DPI)
            return float(font.load_char(ord(letter)).horiBearingX) / 64
    return 0.0


# ------------------------------------------------------------------ paint


def _painted(items: tuple[Item, ...], ground: str, scale: float) -> bytes:
    """The shapes on a ground of one colour, as PNG."""
    from matplotlib.backends.backend_agg import RendererAgg
    from PIL import Image

    width, height = round(FRAME_WIDTH * scale), round(FRAME_HEIGHT * scale)
    renderer: Any = RendererAgg(width, height, _DPI)  # type: ignore[no-untyped-call]
    corners = ((0, 0), (FRAME_WIDTH, 0), (FRAME_WIDTH, FRAME_HEIGHT), (0, FRAME_HEIGHT))
    _paint_shape(renderer, Area("ground", corners, ground), scale)
    with _settled():
        for item in items:
            if isinstance(item, Text):
                _paint_text(renderer, item, scale)
            else:
                _paint_shape(renderer, item, scale)
    picture = Image.frombuffer("RGBA", (width, height), renderer.buffer_rgba(), "raw", "RGBA", 0, 1)
    target = io.BytesIO()
    picture.convert("RGB").save(target, "PNG", compress_level=3)
    return target.getvalue()


def _paint_text(renderer: Any, text: Text, scale: float) -> None:
    gc = renderer.new_gc()
    gc.set_foreground(text.colour)
    renderer.draw_text(gc, text.x * scale, text.baseline * scale, text.text, _font(text.size * scale, text.bold), 0.0)
    gc.restore()


def _paint_shape(renderer: Any, shape: Stroke | Area, scale: float) -> None:
    import numpy as np
    from matplotlib.colors import to_rgb
    from matplotlib.path import Path
    from matplotlib.transforms import Affine2D

    path = Path(np.asarray(shape.points, dtype=np.float64), closed=False)
    path.should_simplify = False  # it was reduced to what can be seen already
    gc = renderer.new_gc()
    # straight rules sit on whole pixels; curves must not, or they would step
    gc.set_snap(len(shape.points) == 2 if isinstance(shape, Stroke) else False)
    face = None
    if isinstance(shape, Area):
        gc.set_linewidth(0.0)
        face = to_rgb(shape.colour)
    else:
        gc.set_foreground(shape.colour)
        gc.set_linewidth(shape.width * scale)
        gc.set_joinstyle("round")
        gc.set_capstyle("round" if shape.kind == "curve" and shape.dash is None else "butt")
        if shape.dash is not None:
            gc.set_dashes(0.0, [part * scale for part in shape.dash])
    down = Affine2D().scale(scale, -scale).translate(0.0, renderer.height)
    renderer.draw_path(gc, path, down, face)
    gc.restore()
