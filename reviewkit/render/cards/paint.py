"""The renderer: text extents, and shapes as pixels. The only module that imports matplotlib."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from reviewkit.render.cards.scene import Area, Extent, Item, LayoutFault, Measure, Picture, Stroke, Text
from reviewkit.render.cards.settings_file import refuse_settings
from reviewkit.render.cards.shape import WIDE, Shape

if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font
    from matplotlib.path import Path as MplPath
    from numpy.typing import NDArray

    from reviewkit.render.cards.png import Bytes

refuse_settings()  # before any of the imports below
_DPI = 72  # at which a point is a pixel
_FACES = {
    "light": "SourceSansProLight",
    "regular": "SourceSansPro",
    "bold": "SourceSansProBold",
    "black": "SourceSansProBlack",
}
SCALE = 100.0  # pixels; the size at which type is measured and its outlines are taken
Fonts = tuple[str, str]  # the user's own font files, regular and bold; "" for none
NO_FONTS: Fonts = ("", "")


# ------------------------------------------------------------------ type


def font_file(fonts: Fonts = NO_FONTS) -> str:
    """Return the path of the regular font."""
    return _files("regular", fonts)[0]


def find_font_fault(path: str) -> str:
    """Return what is wrong with a font file; "" if nothing is."""
    from matplotlib.font_manager import get_font

    try:
        font = get_font(path)
        known = font.get_charmap()
    except (OSError, RuntimeError, ValueError):
        return "is not a readable font; name a .ttf or .otf file"
    missing = "".join(sign for sign in "0123456789ABCLRabc.,%" if ord(sign) not in known)
    if missing:
        return f"has no {missing[:1]}; name a font with Latin letters and digits"
    font.set_size(SCALE, _DPI)
    signs = [chr(code) for code in range(0x21, 0x7F) if code in known]
    # the contact sheet's names are drawn with hinting, all else without
    damaged = _damaged(font, signs) or _damaged(font, signs, hinted=True)
    return f"is damaged: its {damaged} cannot be drawn; copy it from where it came from again" if damaged else ""


def _damaged(font: FT2Font, text: Iterable[str], *, hinted: bool = False) -> str:
    """Return the first character whose glyph can't be loaded, or ""."""
    flags = type(_unhinted())(0) if hinted else _unhinted()
    for sign in text:
        try:
            with warnings.catch_warnings(action="error"):  # a code that leads to no glyph
                font.load_char(ord(sign), flags=flags)
        except (RuntimeError, ValueError, UserWarning):
            return sign
    return ""


@cache
def _files(weight: str, fonts: Fonts) -> tuple[str, ...]:
    """Return the font files in order of preference: the user's, the package's if installed, the renderer's own.

    The last two have fewer weights: light is regular there, black is bold.
    """
    from matplotlib import get_data_path

    heavy = weight in ("bold", "black")
    files = [fonts[heavy]] if any(fonts) else []
    try:
        import font_source_sans_pro  # type: ignore[import-untyped]
    except ImportError:
        pass
    else:
        files.append(str(font_source_sans_pro.font_files_ttf[_FACES[weight]]))
    files.append(str(Path(get_data_path(), "fonts", "ttf", "DejaVuSans-Bold.ttf" if heavy else "DejaVuSans.ttf")))
    return tuple(files)


def _font(weight: str, fonts: Fonts) -> FT2Font:
    """Return the font at a size of SCALE, with the other files as fallbacks for missing characters."""
    from matplotlib.font_manager import get_font

    font = get_font(_files(weight, fonts))
    font.set_size(SCALE, _DPI)
    return font


@cache
def _unhinted() -> Any:
    """Return the flag that loads letters without hinting.

    Unhinted widths are proportional to the size, so one layout holds for every size of card.
    """
    from matplotlib import ft2font

    flags = getattr(ft2font, "LoadFlags", None)  # before matplotlib 3.10 they were module constants
    return flags.NO_HINTING if flags else vars(ft2font)["LOAD_NO_HINTING"]


@cache
def _is_known(sign: str, weight: str, fonts: Fonts) -> bool:
    """Return whether any of the fonts can draw a character."""
    from matplotlib.font_manager import get_font

    return any(get_font(path).get_char_index(ord(sign)) for path in _files(weight, fonts))


def make_measure(card_id: str, fonts: Fonts = NO_FONTS) -> Measure:
    """Return a Measure that refuses characters no font can draw.

    Parameters
    ----------
    card_id : str
        The card that a fault names.
    fonts : Fonts
        The user's fonts, if any.

    Returns
    -------
    Measure
        It reports such characters as a LayoutFault.
    """

    def measure(text: str, size: float, weight: str) -> Extent:
        extent = _extent(text, size, weight, fonts)
        if isinstance(extent, str):
            named = ", ".join(f"U+{ord(sign):04X}" + (f" {sign}" if sign.isprintable() else "") for sign in extent)
            problem = f"has characters that no font here can draw: {named}"
            raise LayoutFault(card_id, text, problem, "write it without them")
        return extent

    return measure


@lru_cache(maxsize=8192)
def _extent(text: str, size: float, weight: str, fonts: Fonts) -> Extent | str:
    """Return a text's extent in pixels, or the characters in it that can't be drawn."""
    found = _extent_at_scale(text, weight, fonts)
    if isinstance(found, str):
        return found
    advance, rise, drop = (size / SCALE * part for part in found)
    # the ink of a final "f" extends beyond its advance
    width = advance - min(_bearing(text[-1:], size, weight, fonts, right=True), 0.0)
    return Extent(width, rise, drop, _bearing(text[:1], size, weight, fonts))


@lru_cache(maxsize=8192)
def _extent_at_scale(text: str, weight: str, fonts: Fonts) -> tuple[float, float, float] | str:
    """Return a text's width, rise and drop at a size of SCALE, from which every size follows."""
    unknown = "".join(sorted(sign for sign in set(text) if not _is_known(sign, weight, fonts)))
    if unknown:
        return unknown
    font = _font(weight, fonts)
    try:
        with warnings.catch_warnings(action="error"):
            font.set_text(text, 0.0, flags=_unhinted())
    except (RuntimeError, ValueError, UserWarning):  # a font of the user's own, with a damaged glyph
        return _damaged(font, text) or text[:1]
    (width, height), descent = font.get_width_height(), font.get_descent()
    return width / 64, (height - descent) / 64, descent / 64


@lru_cache(maxsize=2048)
def _bearing(letter: str, size: float, weight: str, fonts: Fonts, right: bool = False) -> float:
    """Return the gap between a letter's origin and its ink (`right`: at its far side); negative for overhang."""
    from matplotlib.font_manager import get_font

    for path in _files(weight, fonts):
        font = get_font(path)
        if letter and font.get_char_index(ord(letter)):
            font.set_size(size, _DPI)
            glyph = font.load_char(ord(letter), flags=_unhinted())
            if not right:
                return glyph.horiBearingX / 64
            # not horiAdvance: before matplotlib 3.11 it is eight times too wide
            return glyph.linearHoriAdvance / 65536 - (glyph.horiBearingX + glyph.width) / 64
    return 0.0


# ------------------------------------------------------------------ paint


def paint(
    items: Sequence[Item],
    ground: str | Bytes,
    width: int,
    fonts: Fonts = NO_FONTS,
    first_row: int = 0,
    shape: Shape = WIDE,
) -> Bytes:
    """Paint shapes on a ground.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        Shapes in drawing order, in pixels of the frame.
    ground : str or ndarray
        A colour; or a picture of shape (height, width, 4) with straight alpha.
    width : int
        Width of the picture in pixels.
    fonts : Fonts
        The user's fonts, if any.
    first_row : int
        Row of the frame, in pixels of the picture, that is the picture's first.
    shape : Shape
        The frame.

    Returns
    -------
    ndarray of uint8, shape (height, width, 4)
        Red, green, blue, alpha (255 on a colour).

    Notes
    -----
    The pixels are valid until the next picture of this size is painted: one canvas of each size is kept, since creating
    one costs more than painting on it.
    """
    from matplotlib.colors import to_rgb
    from matplotlib.transforms import Affine2D

    scale = width / shape.width
    renderer = _canvas(width, round(shape.height * scale) if isinstance(ground, str) else len(ground))
    pixels: Bytes = np.asarray(renderer.buffer_rgba())
    if isinstance(ground, str):
        pixels.view("<u4")[...] = int.from_bytes(bytes.fromhex(ground[1:]) + b"\xff", "little")
    else:
        pixels[...] = ground
    bottom = renderer.height + first_row
    down = Affine2D().scale(scale, -scale).translate(0.0, bottom)
    filled = renderer.new_gc()  # without an outline, and not moved to whole pixels
    filled.set_linewidth(0.0)
    filled.set_snap(False)
    for item in items:
        if isinstance(item, Text):
            larger = item.size * scale / SCALE
            at = Affine2D.from_values(larger, 0.0, 0.0, larger, item.x * scale, bottom - item.baseline * scale)
            renderer.draw_path(filled, _outline(item.text, item.weight, fonts), at, to_rgb(item.colour))
        elif isinstance(item, Picture):
            _paint_picture(pixels, item, scale, first_row)
        elif isinstance(item, Area):
            renderer.draw_path(filled, _path(item), down, to_rgb(item.colour))
        else:
            # straight rules are on whole pixels; curves must not be, or they would show steps
            snap, rounded = len(item.points) == 2, item.kind == "curve" and item.dash is None
            pen = _pen(item.colour, item.width, item.dash, scale, snap=snap, rounded=rounded)
            renderer.draw_path(pen, _path(item), down)
    return pixels


@lru_cache(maxsize=8)
def _canvas(width: int, height: int) -> Any:
    from matplotlib.backends.backend_agg import RendererAgg

    return RendererAgg(width, height, _DPI)  # type: ignore[no-untyped-call]


@lru_cache(maxsize=2048)
def _outline(text: str, weight: str, fonts: Fonts) -> MplPath:
    """Return a text's letters as a path at a size of SCALE, y upwards from the baseline.

    A filled outline is identical at every size, and quicker than letter by letter.
    """
    from matplotlib.path import Path as MplPath

    letters = place_letters(text, weight, fonts)
    drawn = [(np.add(letter.outline, (letter.x, letter.y)), letter.codes) for letter in letters]
    points, codes = zip(*drawn, strict=True) if drawn else (np.empty((1, 0, 2)), np.empty((1, 0)))
    return MplPath(np.concatenate(points), np.concatenate(codes))


class Letter(NamedTuple):
    """A letter's place in a text and its outline, at a size of SCALE, y upwards from the baseline.

    Attributes
    ----------
    name
        The same for the same outline.
    outline, codes
        Shape (n, 2), and what each point is in matplotlib's paths.
    """

    name: str
    x: float
    y: float
    outline: NDArray[np.float64]
    codes: NDArray[np.uint8]


@lru_cache(maxsize=2048)
def place_letters(text: str, weight: str, fonts: Fonts) -> tuple[Letter, ...]:
    """Return a text's letters at a size of SCALE."""
    from matplotlib.textpath import text_to_path

    placed, letters, _ = text_to_path.get_glyphs_with_font(_font(weight, fonts), text, _letters(weight, fonts))
    # the same outline for every text it is in: they are kept
    sized = ((name, x, y, letters[name][0] if size == 1 else letters[name][0] * size) for name, x, y, size in placed)
    return tuple(Letter(name, x, y, outline, letters[name][1]) for name, x, y, outline in sized)


@cache
def _letters(weight: str, fonts: Fonts) -> dict[str, Any]:
    """Return the cache of letter outlines that the renderer reads and extends."""
    return {}


def _paint_picture(pixels: Bytes, picture: Picture, scale: float, first_row: int) -> None:
    from reviewkit.render.cards.photo import fill_frame, fit_frame

    places = np.rint(np.asarray(picture.points, dtype=np.float64) * scale).astype(int)
    (left, top), (right, bottom) = places.min(axis=0), places.max(axis=0)
    fill = fill_frame if picture.kind == "photo" else fit_frame
    drawn = fill(picture.data, int(right - left), int(bottom - top))
    rows = slice(max(first_row - top, 0), max(min(first_row + len(pixels) - top, len(drawn)), 0))
    under = pixels[top + rows.start - first_row : top + rows.stop - first_row, left : left + drawn.shape[1]]
    drawn = drawn[rows]
    opacity = drawn[..., 3:].astype(np.uint16)
    mixed = (drawn[..., :3] * opacity + under[..., :3] * (255 - opacity) + 127) // 255
    under[..., :3], under[..., 3] = mixed, np.maximum(under[..., 3], drawn[..., 3])


def _path(shape: Stroke | Area) -> MplPath:
    from matplotlib.path import Path as MplPath

    path = MplPath(np.asarray(shape.points, dtype=np.float64), closed=False)
    path.should_simplify = False  # the points are already reduced to what can be seen
    return path


@lru_cache(maxsize=256)
def _pen(
    colour: str, width: float, dash: tuple[float, float] | None, scale: float, *, snap: bool, rounded: bool
) -> Any:
    """Return how lines are drawn; many are drawn alike."""
    from matplotlib.backend_bases import GraphicsContextBase

    pen = GraphicsContextBase()
    pen.set_snap(snap)
    pen.set_foreground(colour)
    pen.set_linewidth(width * scale)
    pen.set_joinstyle("round")
    pen.set_capstyle("round" if rounded else "butt")
    if dash is not None:
        pen.set_dashes(0.0, [part * scale for part in dash])
    return pen
