"""Overlays: a card without its ground, with straight alpha and a soft plate under what must be legible.

The plate is no more opaque than the contrasts need over the brightest and the darkest footage. Editing programs mix
sRGB codes, so they are mixed here too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.box import Box
from reviewkit.render.cards.colours import CURVE_CONTRAST, INK_CONTRAST, TEXT_CONTRAST, TEXTS, Look
from reviewkit.render.cards.contrast import contrast, mix
from reviewkit.render.cards.layout_check import FILLS, bounds
from reviewkit.render.cards.paint import NO_FONTS, Fonts, paint
from reviewkit.render.cards.png import encode_png_with_alpha
from reviewkit.render.cards.scene import Area, Item, Text
from reviewkit.render.cards.shape import WIDE, Shape

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

FOOTAGE = ("#ffffff", "#000000")  # the brightest and the darkest
_OPAQUE = 255
_ROOM = 36.0  # margin of the plate around its contents
_SOFT = 20.0  # half the width of its soft edge
MARGIN = _ROOM + _SOFT  # how far it reaches around its contents
_ROUND = 48.0  # radius of its corners
_GAP = 160.0  # parts of a card closer than this share a plate
_NEAR_EDGE = 130.0  # an edge of the frame closer than this would leave a mere strip of footage


# ------------------------------------------------------------------ colours


@dataclass(frozen=True)
class _OnFootage(Look):
    """A look whose palest colours can be seen on its plate as well, and whose fills leave texts legible there."""

    @property
    def bench(self) -> str:
        return _palest(self, self.soft, 0.6)

    @property
    def room(self) -> str:
        return _weaken_fill(self, super().room, ("ink", "soft"))

    @property
    def fault_room(self) -> str:
        return _weaken_fill(self, super().fault_room, ("ink", "soft", "falls_short"))

    def channel_on(self, channel: str, fill: str) -> str:
        colour, under = self.channel(channel), getattr(self, fill)
        seen = min(contrast(colour, plate) for plate in _composite(under, plate_opacity(self)))
        return colour if seen >= TEXT_CONTRAST else self.ink

    def curve(self, channel: str, role: str) -> str:
        if role == "before":
            return _palest(self, self.channel(channel), 0.5)
        return super().curve(channel, role)


def footage_look(look: Look) -> Look:
    """Return a look as drawn over footage, its pale colours limited by the plate instead of the ground."""
    return _OnFootage(*(getattr(look, field.name) for field in fields(Look)))


@cache
def plate_opacity(look: Look) -> int:
    """Return the plate's alpha, 0 … 255: the least with which every colour keeps its contrast.

    Ink needs 7:1 on the plate; other texts need 4.5:1, on the maker's band too. Curves need 3:1 and follow, since they
    are drawn in the same colours.
    """
    wanted = {
        look.ink: INK_CONTRAST,
        **dict.fromkeys((look.soft, look.left, look.right, look.meets, look.falls_short), TEXT_CONTRAST),
    }
    on_bands = (look.ink, look.soft, look.left, look.right)  # the contents of a picture: marks, limits, names of curves
    for alpha in range(_OPAQUE):
        plates = _composite(look.ground, alpha)
        bands = _composite(look.band, alpha)
        if all(contrast(colour, plate) >= least for colour, least in wanted.items() for plate in plates) and all(
            contrast(colour, band) >= wanted[colour] for colour in on_bands for band in bands
        ):
            return alpha
    return _OPAQUE


def composite_over_footage(look: Look) -> Callable[[str], tuple[str, ...]]:
    """Return a function from a colour of plate or area to what it becomes over extreme footage."""
    return partial(_composite, alpha=plate_opacity(look))


def _composite(colour: str, alpha: int) -> tuple[str, ...]:
    """Composite a colour of some alpha over the brightest and the darkest footage."""
    return tuple(mix(colour, footage, 1 - alpha / _OPAQUE) for footage in FOOTAGE)


@cache
def _palest(look: Look, colour: str, most: float) -> str:
    """Return a colour with as much ground mixed in as leaves a curve's contrast on plate, band and room."""
    alpha = plate_opacity(look)
    under = [plate for fill in (look.ground, look.band, look.room) for plate in _composite(fill, alpha)]
    for percent in range(round(most * 100), 0, -1):
        paler = mix(colour, look.ground, percent / 100)
        if all(contrast(paler, plate) >= CURVE_CONTRAST for plate in under):
            return paler
    return colour


@cache
def _weaken_fill(look: Look, fill: str, texts: tuple[str, ...]) -> str:
    """Return a fill with as little ground mixed in as leaves the contrast of texts on it."""
    for percent in range(101):
        weaker = mix(fill, look.ground, percent / 100)
        plates = _composite(weaker, plate_opacity(look))
        if all(contrast(getattr(look, name), plate) >= TEXTS[name] for name in texts for plate in plates):
            return weaker
    return look.ground


# ------------------------------------------------------------------ the plate


def draw_plate(boxes: Iterable[Box], look: Look, width: int, rows: tuple[int, int], shape: Shape = WIDE) -> Bytes:
    """Draw the plate under some boxes.

    The colour is the ground's everywhere, even where alpha is 0: a picture that is scaled later mixes in the colour of
    transparent pixels.

    Parameters
    ----------
    boxes : iterable of Box
        In pixels of the frame.
    look : Look
        Its ground is the plate's colour.
    width : int
        Width of the picture in pixels.
    rows : tuple of int
        First row of the picture, and the row after its last.
    shape : Shape
        The frame.

    Returns
    -------
    ndarray of uint8, shape (rows, width, 4)
        Straight alpha.
    """
    scale = width / shape.width
    top, bottom = rows
    pixels = np.empty((bottom - top, width, 4), dtype=np.uint8)
    pixels.view("<u4")[...] = int.from_bytes(bytes.fromhex(look.ground[1:]), "little")
    alpha = pixels[..., 3]
    for box in boxes:
        room = MARGIN * scale
        left, right = round(box.left * scale - room), round(box.right * scale + room)
        over, under = round(box.top * scale - room) - top, round(box.bottom * scale + room) - top
        shown = slice(max(over, 0), max(min(under, bottom - top), 0)), slice(max(left, 0), min(right, width))
        cut = slice(shown[0].start - over, shown[0].stop - over), slice(shown[1].start - left, shown[1].stop - left)
        np.maximum(
            alpha[shown], _rounded_box(under - over, right - left, scale, plate_opacity(look))[cut], out=alpha[shown]
        )
    return pixels


def _rounded_box(height: int, width: int, scale: float, alpha: int) -> Bytes:
    """Return the alpha of a box with rounded corners and soft edges, shape (height, width)."""
    corner = _corner(scale, alpha)
    end = min(len(corner), height // 2, width // 2)
    corner = corner[:end, :end]
    box = np.full((height, width), alpha, dtype=np.uint8)
    box[:end], box[height - end :] = corner[:, -1:], corner[::-1, -1:]
    box[:, :end], box[:, width - end :] = corner[-1], corner[-1, ::-1]
    box[:end, :end], box[:end, width - end :] = corner, corner[:, ::-1]
    box[height - end :, :end], box[height - end :, width - end :] = corner[::-1], corner[::-1, ::-1]
    return box


@cache
def _corner(scale: float, alpha: int) -> Bytes:
    """Return the alpha of a plate's upper left corner, as far as it isn't uniform."""
    at = (np.arange(math.ceil((_ROUND + _SOFT) * scale)) + 0.5) / scale
    off = np.maximum(_ROUND + _SOFT - at, 0)  # from the middle of its rounding, one way
    share = ((_ROUND + _SOFT - np.hypot(off[:, np.newaxis], off)) / (2 * _SOFT)).clip(0, 1)
    corner: Bytes = np.rint(share * share * (3 - 2 * share) * alpha).astype(np.uint8)
    return corner


def plate_regions(items: Sequence[Item], shape: Shape = WIDE) -> tuple[Box, ...]:
    """Return the boxes that need a plate: what is close together has one, and none ends just before the frame does."""
    regions: list[Box] = []
    for box in sorted((box for item in items if (box := _extent(item))), key=lambda box: box.top):
        if regions and box.top - regions[-1].bottom <= _GAP:
            last = regions[-1]
            regions[-1] = Box(
                min(last.left, box.left), last.top, max(last.right, box.right), max(last.bottom, box.bottom)
            )
        else:
            regions.append(box)
    return tuple(_reach_edges(region, shape.frame) for region in regions)


def _reach_edges(region: Box, frame: Box) -> Box:
    """Return a box that goes beyond every edge of the frame it is near."""
    return Box(
        -2 * MARGIN if region.left - frame.left < _NEAR_EDGE else region.left,
        -2 * MARGIN if region.top - frame.top < _NEAR_EDGE else region.top,
        frame.right + 2 * MARGIN if frame.right - region.right < _NEAR_EDGE else region.right,
        frame.bottom + 2 * MARGIN if frame.bottom - region.bottom < _NEAR_EDGE else region.bottom,
    )


def _extent(item: Item) -> Box | None:
    """Return an item's box; for a text from capitals to baseline, so that lines differ from gaps."""
    if isinstance(item, Text):
        return Box(item.box.left, item.box.top, item.box.right, item.baseline)
    return bounds(item)


# ------------------------------------------------------------------ the picture


def draw_overlay(items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS, shape: Shape = WIDE) -> Bytes:
    """Draw shapes on their plate with nothing behind it.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        In the colours of `footage_look(look)`.
    look : Look
        Its ground is the plate's colour.
    width : int
        Width of the picture in pixels.
    fonts : Fonts
        The user's fonts, if any.
    shape : Shape
        The frame.

    Returns
    -------
    ndarray of uint8, shape (height, width, 4)
        Straight alpha; valid until the next picture of this size is painted.
    """
    height = shape.height * width // shape.width
    ground = draw_plate(plate_regions(items, shape), look, width, (0, height), shape)
    return paint_on_plate(items, ground, width, fonts, shape=shape)


def paint_on_plate(
    items: Sequence[Item], ground: Bytes, width: int, fonts: Fonts, first_row: int = 0, shape: Shape = WIDE
) -> Bytes:
    """Paint shapes on a plate, or on a part of it that begins at `first_row`.

    A card's own fills, such as the maker's band, colour the plate without changing its alpha.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        Shapes in drawing order.
    ground : ndarray of uint8, shape (rows, width, 4)
        The plate.
    width : int
        Width of the picture in pixels.
    fonts : Fonts
        The user's fonts, if any.
    first_row : int
        Row of the frame that is the plate's first.
    shape : Shape
        The frame.

    Returns
    -------
    ndarray of uint8, shape (rows, width, 4)
        Straight alpha; valid until the next picture of this size is painted.
    """
    fills = [item for item in items if isinstance(item, Area) and item.kind in FILLS]
    if fills:
        alpha = ground[..., 3].copy()
        ground = paint(fills, ground, width, fonts, first_row, shape)
        ground[..., 3] = alpha
    others = [item for item in items if not (isinstance(item, Area) and item.kind in FILLS)]
    return paint(others, ground, width, fonts, first_row, shape)


def encode_overlay(
    items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS, shape: Shape = WIDE
) -> bytes:
    """Draw an overlay and encode it as a PNG; see `draw_overlay`."""
    return encode_png_with_alpha(draw_overlay(items, look, width, fonts, shape))
