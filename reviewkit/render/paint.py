"""The renderer: how large it draws a text, and shapes as pixels. The only file that needs matplotlib."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from reviewkit.render.look import FALLBACK_FAMILY, FAMILY, FRAME_HEIGHT, FRAME_WIDTH
from reviewkit.render.scene import Area, Extent, Item, LayoutFault, Measure, Stroke, Text

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

    from reviewkit.render.png import Bytes

_DPI = 72  # at which a point is a pixel
Fonts = tuple[str, str]  # the user's own font files, regular and bold; "" for none
NO_FONTS: Fonts = ("", "")


@contextmanager
def settled() -> Iterator[None]:
    """Matplotlib's settings that touch what is drawn, whatever the user's own are.

    Without hinting a text's width grows with its size exactly, so one layout holds for every size of card.
    """
    import matplotlib as mpl

    with mpl.rc_context({"text.hinting": "no_hinting", "path.sketch": None, "path.effects": []}):
        yield


def load() -> None:
    """Import what drawing needs. Touches no setting, so it may run beside anything else."""
    import matplotlib.backends.backend_agg
    import matplotlib.font_manager  # noqa: F401


def get_ready(fonts: Fonts = NO_FONTS) -> None:
    """Import and load what every card needs, fonts included, so that the first one need not wait for it."""
    with settled():
        for bold in (False, True):
            _extent("H", 36.0, bold, fonts)


# ------------------------------------------------------------------ type


@cache
def _family(bold: bool, fonts: Fonts) -> tuple[str, ...]:
    """The families to draw with, best first: the user's own, the package's font where it is installed, then the one
    always there.
    """
    from matplotlib.font_manager import fontManager, get_font

    families = [FALLBACK_FAMILY]
    try:
        import font_source_sans_pro  # type: ignore[import-untyped]
    except ImportError:
        pass
    else:
        for name in ("SourceSansPro", "SourceSansProBold"):
            fontManager.addfont(font_source_sans_pro.font_files_ttf[name])
        families.insert(0, FAMILY)
    if any(fonts):
        for path in fonts:
            fontManager.addfont(path)
        families.insert(0, str(get_font(fonts[bold]).family_name))
    return tuple(families)


def font_file(fonts: Fonts = NO_FONTS) -> str:
    """The file of the regular type that is drawn with."""
    return _files(False, fonts)[0]


def font_fault(path: str) -> str:
    """What is wrong with a font file, or ""."""
    from matplotlib.font_manager import get_font

    try:
        known = get_font(path).get_charmap()
    except (OSError, RuntimeError):
        return "is no font that can be read; name a .ttf or .otf file"
    missing = "".join(sign for sign in "0123456789ABCLRabc.,%" if ord(sign) not in known)
    return f"has no {missing[:1]}; name a font with Latin letters and digits" if missing else ""


@lru_cache(maxsize=512)
def _font(size: float, bold: bool, fonts: Fonts) -> FontProperties:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=list(_family(bold, fonts)), size=size, weight="bold" if bold else "normal")


@cache
def _files(bold: bool, fonts: Fonts) -> tuple[str, ...]:
    """The font files to draw with, best first."""
    from matplotlib.font_manager import FontProperties, findfont

    weight = "bold" if bold else "normal"
    return tuple(str(findfont(FontProperties(family=[family], weight=weight))) for family in _family(bold, fonts))


@cache
def _known_characters(bold: bool, fonts: Fonts) -> frozenset[str]:
    """Every character that one of the fonts can draw."""
    from matplotlib.font_manager import get_font

    return frozenset(chr(code) for path in _files(bold, fonts) for code in get_font(path).get_charmap())


@cache
def _ruler() -> Any:
    """A renderer to measure with; nothing is drawn on it."""
    from matplotlib.backends.backend_agg import RendererAgg

    return RendererAgg(8, 8, _DPI)  # type: ignore[no-untyped-call]


def measuring(card_id: str, fonts: Fonts = NO_FONTS) -> Measure:
    """A Measure that refuses characters no font has, naming the card. To be used within `settled`."""

    def measure(text: str, size: float, bold: bool) -> Extent:
        extent = _extent(text, size, bold, fonts)
        if isinstance(extent, str):
            named = ", ".join(f"U+{ord(sign):04X}" + (f" {sign}" if sign.isprintable() else "") for sign in extent)
            problem = f"has characters that no font here can draw: {named}"
            raise LayoutFault(card_id, text, problem, "write it without them")
        return extent

    return measure


@lru_cache(maxsize=8192)
def _extent(text: str, size: float, bold: bool, fonts: Fonts) -> Extent | str:
    """A text's extent in pixels; or the characters in it that cannot be drawn."""
    unknown = "".join(sorted(set(text) - _known_characters(bold, fonts)))
    if unknown:
        return unknown
    width, height, descent = _ruler().get_text_width_height_descent(text, _font(size, bold, fonts), ismath=False)
    return Extent(float(width), float(height - descent), float(descent), _bearing(text[:1], size, bold, fonts))


@lru_cache(maxsize=2048)
def _bearing(letter: str, size: float, bold: bool, fonts: Fonts) -> float:
    """The gap between where a letter begins and its ink, negative where the ink reaches out."""
    from matplotlib.font_manager import get_font

    for path in _files(bold, fonts):
        font = get_font(path)
        if letter and ord(letter) in font.get_charmap():
            font.set_size(size, _DPI)
            return float(font.load_char(ord(letter)).horiBearingX) / 64
    return 0.0


# ------------------------------------------------------------------ paint


def painted(items: Sequence[Item], ground: str, width: int, fonts: Fonts = NO_FONTS) -> Bytes:
    """Shapes on a ground of one colour; `width` in pixels. Shape (height, width, 4): red, green, blue, 255.

    The pixels are good until the next picture is painted: one canvas of each size is kept, since a new one costs
    more than what is painted on it.
    """
    scale = width / FRAME_WIDTH
    renderer = _canvas(width, round(FRAME_HEIGHT * scale))
    pixels: Bytes = np.asarray(renderer.buffer_rgba())
    pixels.view("<u4")[...] = int.from_bytes(bytes.fromhex(ground[1:]) + b"\xff", "little")
    with settled():
        for item in items:
            if isinstance(item, Text):
                _paint_text(renderer, item, scale, fonts)
            else:
                _paint_shape(renderer, item, scale)
    return pixels


@lru_cache(maxsize=2)
def _canvas(width: int, height: int) -> Any:
    from matplotlib.backends.backend_agg import RendererAgg

    return RendererAgg(width, height, _DPI)  # type: ignore[no-untyped-call]


def _paint_text(renderer: Any, text: Text, scale: float, fonts: Fonts) -> None:
    gc = renderer.new_gc()
    gc.set_foreground(text.colour)
    renderer.draw_text(
        gc, text.x * scale, text.baseline * scale, text.text, _font(text.size * scale, text.bold, fonts), 0.0
    )
    gc.restore()


def _paint_shape(renderer: Any, shape: Stroke | Area, scale: float) -> None:
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
