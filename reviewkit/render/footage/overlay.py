"""Overlays: a card without its ground, with straight alpha and a soft plate under what must be legible.

The plate is no more opaque than the contrasts need over the brightest and the darkest footage. Editing programs mix
sRGB codes, so they are mixed here too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.contrast import contrast, mix
from reviewkit.render.cards.look import (
    CURVE_CONTRAST,
    FRAME_HEIGHT,
    FRAME_WIDTH,
    INK_CONTRAST,
    TEXT_CONTRAST,
    Look,
)
from reviewkit.render.cards.paint import NO_FONTS, Fonts, paint
from reviewkit.render.cards.png import encode_png_with_alpha
from reviewkit.render.cards.scene import Area, Box, Item, Stroke, Text

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

FOOTAGE = ("#ffffff", "#000000")  # the brightest and the darkest
_OPAQUE = 255
_ROOM = 36.0  # margin of the plate around its contents
_SOFT = 20.0  # half the width of its soft edge
_ROUND = 48.0  # radius of its corners
_HEAD_GAP = 36.0  # gaps between head, picture and foot are wider; gaps between the lines of a head aren't
_CORNER_GAP = 220.0  # between a title and the name in the corner: wide enough to show footage
_BODY_GAP = 160.0  # parts of a picture closer than this share a plate
_FOOT_TOP = 930.0
_COLUMN = ("reading", "needle")
_IN_LINE = 120.0  # edges closer than this are aligned


# ------------------------------------------------------------------ colours


@dataclass(frozen=True)
class _OnFootage(Look):
    """A look whose palest colours can be seen on its plate as well."""

    @property
    def bench(self) -> str:
        return _palest(self, self.soft, 0.6)

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
    """Return a colour with as much ground mixed in as leaves a curve's contrast on plate and band."""
    alpha = plate_opacity(look)
    under = [*_composite(look.ground, alpha), *_composite(look.band, alpha)]
    for percent in range(round(most * 100), 0, -1):
        paler = mix(colour, look.ground, percent / 100)
        if all(contrast(paler, plate) >= CURVE_CONTRAST for plate in under):
            return paler
    return colour


# ------------------------------------------------------------------ the plate


def draw_plate(boxes: Iterable[Box], look: Look, width: int, rows: tuple[int, int]) -> Bytes:
    """Draw the plate under some boxes.

    The colour is the ground's everywhere, even where alpha is 0: a picture that is scaled later mixes in the colour of
    transparent pixels.

    Parameters
    ----------
    boxes : iterable of Box
        In pixels of a 1920 × 1080 frame.
    look : Look
        Its ground is the plate's colour.
    width : int
        Width of the frame in pixels.
    rows : tuple of int
        First row of the picture, and the row after its last.

    Returns
    -------
    ndarray of uint8, shape (rows, width, 4)
        Straight alpha.
    """
    scale = width / FRAME_WIDTH
    top, bottom = rows
    pixels = np.empty((bottom - top, width, 4), dtype=np.uint8)
    pixels.view("<u4")[...] = int.from_bytes(bytes.fromhex(look.ground[1:]), "little")
    alpha = pixels[..., 3]
    for box in boxes:
        room = (_ROOM + _SOFT) * scale
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


def plate_regions(items: Sequence[Item]) -> tuple[Box, ...]:
    """Return the boxes that need a plate: title, the name in the corner, picture, readouts, foot."""
    column = [box for item in items if item.part in _COLUMN and (box := _extent(item))]
    bands = _split_at_gaps([box for item in items if item.part not in _COLUMN and (box := _extent(item))])
    if not bands:
        return (_union(column),) if column else ()
    head, *middle = bands
    foot = [_union(middle.pop())] if len(middle) > 1 and min(box.top for box in middle[-1]) > _FOOT_TOP else []
    body = _join_near([_union(band) for band in middle] + ([_union(column)] if column else []))
    if body and body[0].top - _union(head).bottom <= 2 * _ROOM:
        # the gap isn't worth showing footage in: one plate, with readouts and head across it
        picture, *beside = sorted(_align_edges(body), key=lambda box: box.left)
        upper = _union([*head, *beside])
        left = min(picture.left, upper.left)
        return tuple(_align_edges([replace(picture, left=left, top=upper.top), replace(upper, left=left), *foot]))
    return tuple(_align_edges(_split_head(head) + body + foot))


def _extent(item: Item) -> Box | None:
    """Return an item's box; for a text from capitals to baseline, so that lines differ from gaps."""
    if isinstance(item, Text):
        return Box(item.box.left, item.box.top, item.box.right, item.baseline)
    points = np.asarray(item.points, dtype=np.float64).reshape(-1, 2)
    points = points[np.isfinite(points).all(axis=1)]
    if not len(points):
        return None
    margin = item.width / 2 if isinstance(item, Stroke) else 0.0
    left, top = points.min(axis=0)
    right, bottom = points.max(axis=0)
    return Box(float(left), float(top), float(right), float(bottom)).grown(margin, margin)


def _union(boxes: Sequence[Box]) -> Box:
    return Box(
        min(box.left for box in boxes),
        min(box.top for box in boxes),
        max(box.right for box in boxes),
        max(box.bottom for box in boxes),
    )


def _join_near(boxes: Sequence[Box]) -> list[Box]:
    """Join boxes above each other if the gap isn't worth showing footage in."""
    joined: list[Box] = []
    for box in sorted(boxes, key=lambda box: box.top):
        for index, other in enumerate(joined):
            if box.grown(0, _BODY_GAP).meets(other):
                box = _union((joined[index], box))
                joined.pop(index)
                break
        joined.append(box)
    return joined


def _align_edges(boxes: Sequence[Box]) -> list[Box]:
    """Align edges that are close together with the outermost of them."""
    lefts, rights = [box.left for box in boxes], [box.right for box in boxes]
    tops, bottoms = [box.top for box in boxes], [box.bottom for box in boxes]
    return [
        Box(
            min(left for left in lefts if abs(left - box.left) <= _IN_LINE),
            min(top for top in tops if abs(top - box.top) <= _IN_LINE),
            max(right for right in rights if abs(right - box.right) <= _IN_LINE),
            max(bottom for bottom in bottoms if abs(bottom - box.bottom) <= _IN_LINE),
        )
        for box in boxes
    ]


def _split_at_gaps(boxes: Iterable[Box]) -> list[list[Box]]:
    """Group boxes from the top down, separated at each wide gap across the full width."""
    bands: list[list[Box]] = []
    bottom = -np.inf
    for box in sorted(boxes, key=lambda box: box.top):
        if box.top - bottom > _HEAD_GAP:
            bands.append([])
        bands[-1].append(box)
        bottom = max(bottom, box.bottom)
    return bands


def _split_head(boxes: Sequence[Box]) -> list[Box]:
    """Return a head's boxes: one, or title and corner separately if they are far apart."""
    ordered = sorted(boxes, key=lambda box: box.left)
    reach = ordered[0].right
    for box in ordered:
        if box.left - reach > _CORNER_GAP:
            whole = _union(ordered)
            return [replace(whole, right=reach), replace(whole, left=box.left)]
        reach = max(reach, box.right)
    return [_union(ordered)]


# ------------------------------------------------------------------ the picture


def draw_overlay(items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS) -> Bytes:
    """Draw shapes on their plate with nothing behind it.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        In the colours of `footage_look(look)`.
    look : Look
        Its ground is the plate's colour.
    width : int
        Width of the frame in pixels.
    fonts : Fonts
        The user's fonts, if any.

    Returns
    -------
    ndarray of uint8, shape (height, width, 4)
        Straight alpha; valid until the next picture of this size is painted.
    """
    ground = draw_plate(plate_regions(items), look, width, (0, round(width * FRAME_HEIGHT / FRAME_WIDTH)))
    return paint_on_plate(items, ground, width, fonts)


def paint_on_plate(items: Sequence[Item], ground: Bytes, width: int, fonts: Fonts, first_row: int = 0) -> Bytes:
    """Paint shapes on a plate, or on a part of it that begins at `first_row`.

    A card's own ground, such as the maker's band, colours the plate without changing its alpha.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        Shapes in drawing order.
    ground : ndarray of uint8, shape (rows, width, 4)
        The plate.
    width : int
        Width of the frame in pixels.
    fonts : Fonts
        The user's fonts, if any.
    first_row : int
        Row of the frame that is the plate's first.

    Returns
    -------
    ndarray of uint8, shape (rows, width, 4)
        Straight alpha; valid until the next picture of this size is painted.
    """
    bands = [item for item in items if isinstance(item, Area) and item.kind == "band"]
    if bands:
        alpha = ground[..., 3].copy()
        ground = paint(bands, ground, width, fonts, first_row)
        ground[..., 3] = alpha
    return paint(
        [item for item in items if not (isinstance(item, Area) and item.kind == "band")],
        ground,
        width,
        fonts,
        first_row,
    )


def encode_overlay(items: Sequence[Item], look: Look, width: int, fonts: Fonts = NO_FONTS) -> bytes:
    """Draw an overlay and encode it as a PNG; see `draw_overlay`."""
    return encode_png_with_alpha(draw_overlay(items, look, width, fonts))
