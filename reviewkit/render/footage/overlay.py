"""A card without its ground, to be laid over footage: straight alpha, and a soft plate under what must be read.

The plate is no more opaque than the contrasts need over the brightest and the darkest footage there can be. Editing
programs mix code by code, so that is how it is reckoned here.
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
_ROOM = 36.0  # of plate around what stands on it
_SOFT = 20.0  # half of how wide its edge is
_ROUND = 48.0  # radius of its corners
_HEAD_GAP = 36.0  # what parts head, picture and foot is wider; what parts the lines of a head is not
_CORNER_GAP = 220.0  # between a title and the name in the corner: footage is seen there
_BODY_GAP = 160.0  # parts of a picture no further apart than this have one plate
_FOOT_TOP = 930.0
_COLUMN = ("reading", "needle")
_IN_LINE = 120.0  # edges no further apart than this are brought in line


# ------------------------------------------------------------------ colours


@dataclass(frozen=True)
class _OnFootage(Look):
    """A look whose palest colours are seen on its plate, too."""

    @property
    def bench(self) -> str:
        return _palest(self, self.soft, 0.6)

    def curve(self, channel: str, role: str) -> str:
        if role == "before":
            return _palest(self, self.channel(channel), 0.5)
        return super().curve(channel, role)


def footage_look(look: Look) -> Look:
    """A look as it is drawn over footage: what is as pale as its ground allows is as pale as its plate allows."""
    return _OnFootage(*(getattr(look, field.name) for field in fields(Look)))


@cache
def plate_opacity(look: Look) -> int:
    """The plate's alpha, 0 … 255: the least with which every colour of a look keeps its contrast over any footage.

    Ink 7:1 on the plate; all other texts 4.5:1, on the maker's band, too; curves 3:1 follow, being drawn in those.
    """
    wanted = {
        look.ink: INK_CONTRAST,
        **dict.fromkeys((look.soft, look.left, look.right, look.meets, look.falls_short), TEXT_CONTRAST),
    }
    on_bands = (look.ink, look.soft, look.left, look.right)  # what stands in a picture: marks, limits, names of curves
    for alpha in range(_OPAQUE):
        plates = _composite(look.ground, alpha)
        bands = _composite(look.band, alpha)
        if all(contrast(colour, plate) >= least for colour, least in wanted.items() for plate in plates) and all(
            contrast(colour, band) >= wanted[colour] for colour in on_bands for band in bands
        ):
            return alpha
    return _OPAQUE


def composite_over_footage(look: Look) -> Callable[[str], tuple[str, ...]]:
    """What a colour of the plate, or of an area on it, becomes over the brightest and the darkest footage."""
    return partial(_composite, alpha=plate_opacity(look))


def _composite(colour: str, alpha: int) -> tuple[str, ...]:
    """A colour of some alpha over the brightest and the darkest footage."""
    return tuple(mix(colour, footage, 1 - alpha / _OPAQUE) for footage in FOOTAGE)


@cache
def _palest(look: Look, colour: str, most: float) -> str:
    """A colour with as much ground mixed in as leaves a curve's contrast on plate and band."""
    alpha = plate_opacity(look)
    under = [*_composite(look.ground, alpha), *_composite(look.band, alpha)]
    for percent in range(round(most * 100), 0, -1):
        paler = mix(colour, look.ground, percent / 100)
        if all(contrast(paler, plate) >= CURVE_CONTRAST for plate in under):
            return paler
    return colour


# ------------------------------------------------------------------ the plate


def draw_plate(boxes: Iterable[Box], look: Look, width: int, rows: tuple[int, int]) -> Bytes:
    """The plate under some boxes, in a frame of `width`: its pixels from one row to another, shape (rows, width, 4).

    Red, green and blue are the ground's everywhere, also where nothing is seen of it: a picture that is scaled later
    mixes in the colour of what is clear.
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
    """A box of this alpha with round corners and soft edges, shape (height, width)."""
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
    """The upper left corner of a plate, as far as it is not whole."""
    at = (np.arange(math.ceil((_ROUND + _SOFT) * scale)) + 0.5) / scale
    off = np.maximum(_ROUND + _SOFT - at, 0)  # from the middle of its rounding, one way
    share = ((_ROUND + _SOFT - np.hypot(off[:, np.newaxis], off)) / (2 * _SOFT)).clip(0, 1)
    corner: Bytes = np.rint(share * share * (3 - 2 * share) * alpha).astype(np.uint8)
    return corner


def plate_regions(items: Sequence[Item]) -> tuple[Box, ...]:
    """The boxes that stand on the plate: title, the name in the corner, picture, readings, foot."""
    column = [box for item in items if item.part in _COLUMN and (box := _extent(item))]
    bands = _split_at_gaps([box for item in items if item.part not in _COLUMN and (box := _extent(item))])
    if not bands:
        return (_union(column),) if column else ()
    head, *middle = bands
    foot = [_union(middle.pop())] if len(middle) > 1 and min(box.top for box in middle[-1]) > _FOOT_TOP else []
    body = _join_near([_union(band) for band in middle] + ([_union(column)] if column else []))
    if body and body[0].top - _union(head).bottom <= 2 * _ROOM:
        # nothing is worth showing between them: one plate, with readings and head across it
        picture, *beside = sorted(_align_edges(body), key=lambda box: box.left)
        upper = _union([*head, *beside])
        left = min(picture.left, upper.left)
        return tuple(_align_edges([replace(picture, left=left, top=upper.top), replace(upper, left=left), *foot]))
    return tuple(_align_edges(_split_head(head) + body + foot))


def _extent(item: Item) -> Box | None:
    """What an item takes; of a text from its capitals to its baseline, so that lines are told from gaps."""
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
    """Boxes over each other made one where no footage is worth showing between them; the readings stay beside."""
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
    """Boxes whose edges lie near each other brought in line with the outermost of them."""
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
    """Boxes from the top down, parted wherever a wide gap goes all the way across."""
    bands: list[list[Box]] = []
    bottom = -np.inf
    for box in sorted(boxes, key=lambda box: box.top):
        if box.top - bottom > _HEAD_GAP:
            bands.append([])
        bands[-1].append(box)
        bottom = max(bottom, box.bottom)
    return bands


def _split_head(boxes: Sequence[Box]) -> list[Box]:
    """A head's boxes: one, or title and corner apart where there is much between them."""
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
    """Shapes on their plate and nothing else: shape (height, width, 4), straight alpha.

    `items`: in the colours of `on_footage(look)`. The pixels are good until the next picture of this size is painted.
    """
    ground = draw_plate(plate_regions(items), look, width, (0, round(width * FRAME_HEIGHT / FRAME_WIDTH)))
    return paint_on_plate(items, ground, width, fonts)


def paint_on_plate(items: Sequence[Item], ground: Bytes, width: int, fonts: Fonts, first_row: int = 0) -> Bytes:
    """Shapes on a plate, or on a part of it that begins at `first_row`. What a card has as its ground, such as the
    maker's band, only colours the plate.
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
    """`draw_overlay` as PNG."""
    return encode_png_with_alpha(draw_overlay(items, look, width, fonts))
