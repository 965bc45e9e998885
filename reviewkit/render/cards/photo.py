"""The user's own photograph behind the title card: cropped to the frame, and dimmed as far as the texts on it need."""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.contrast import luminance
from reviewkit.render.cards.look import FRAME_HEIGHT, FRAME_WIDTH, INK_CONTRAST, TEXT_CONTRAST, Look
from reviewkit.render.cards.scene import Item, Text

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array
    from reviewkit.render.cards.png import Bytes

_ALL = 255  # dimmed to the ground alone
_BESIDE = 8.0  # what surrounds a text's ink is looked at, too

_ORIENTATION = 0x0112  # of EXIF
# its values, and what turns the picture upright (Exif 2.3, 4.6.4, from memory)
_TURNS = {
    2: "FLIP_LEFT_RIGHT",
    3: "ROTATE_180",
    4: "FLIP_TOP_BOTTOM",
    5: "TRANSPOSE",
    6: "ROTATE_270",
    7: "TRANSVERSE",
    8: "ROTATE_90",
}


def backdrop(photo: bytes, items: Sequence[Item], look: Look, width: int) -> Bytes:
    """The photograph in a frame of `width`, shape (height, width, 4), opaque: filled about its middle, mixed with the
    look's ground until every text has its contrast on every pixel under it, and no further.
    """
    high = round(width * FRAME_HEIGHT / FRAME_WIDTH)
    colours = filled(photo, width, high)
    share = dimming(colours, [item for item in items if isinstance(item, Text)], look)
    pixels = np.full((high, width, 4), _ALL, dtype=np.uint8)
    pixels[..., :3] = _mixed(look.ground, share)[np.arange(3), colours]
    return pixels


def filled(photo: bytes, width: int, height: int) -> Bytes:
    """A photograph turned as its camera was held, scaled to fill a frame, shape (height, width, 3)."""
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # large, or with damaged EXIF
        with Image.open(io.BytesIO(photo), formats=("JPEG", "PNG")) as opened:
            opened.draft("RGB", (width, width))  # a JPEG is decoded no finer than it can be seen, turned or not
            opened.load()
            # the one tag alone: the library's own turning writes all others anew, and stumbles over what cameras write
            orientation = opened.getexif().get(_ORIENTATION)
            turn = _TURNS.get(orientation) if isinstance(orientation, int) else None
            turned = opened.transpose(Image.Transpose[turn]) if turn else opened.copy()
    if turned.mode.startswith("I"):  # grey of 16 bits
        turned = turned.convert("I").point(lambda level: level * (1 / 256)).convert("L")
    turned = turned.convert("RGB")
    # the box that is scaled is the largest of the frame's shape, about the middle
    scale = min(turned.width / width, turned.height / height)
    left, top = max(turned.width - width * scale, 0) / 2, max(turned.height - height * scale, 0) / 2
    box = (left, top, turned.width - left, turned.height - top)
    return np.asarray(turned.resize((width, height), Image.Resampling.LANCZOS, box=box))


def dimming(colours: Bytes, texts: Sequence[Text], look: Look) -> int:
    """How much of the ground must be mixed in, 0 … 255: the least with which each text's contrast is reached."""
    scale = colours.shape[1] / FRAME_WIDTH
    under = []
    for text in texts:
        box = text.box.grown(_BESIDE, _BESIDE)
        rows = slice(max(int(box.top * scale), 0), max(int(box.bottom * scale) + 1, 0))
        columns = slice(max(int(box.left * scale), 0), max(int(box.right * scale) + 1, 0))
        seen = np.unique(
            colours[rows, columns].reshape(-1, 3).astype(np.uint32) @ np.array((1 << 16, 1 << 8, 1), np.uint32)
        )
        under.append((text.colour, INK_CONTRAST if text.colour == look.ink else TEXT_CONTRAST, seen))
    low, high = 0, _ALL
    while low < high:
        middle = (low + high) // 2
        weights = _weighted(look.ground, middle)
        if all(_least(colour, seen, weights) >= least for colour, least, seen in under):
            high = middle
        else:
            low = middle + 1
    return high


def _mixed(ground: str, share: int) -> Bytes:
    """For each channel, what its codes 0 … 255 become with that share of the ground, shape (3, 256)."""
    codes = np.arange(256)[np.newaxis]
    towards = np.array(tuple(bytes.fromhex(ground[1:])))[:, np.newaxis]
    return np.rint(codes + (towards - codes) * (share / _ALL)).astype(np.uint8)


def _weighted(ground: str, share: int) -> Array:
    """For each channel, what its codes add to the luminance once dimmed, shape (3, 256)."""
    alone = [[luminance("#" + "00" * at + f"{code:02x}" + "00" * (2 - at)) for code in range(256)] for at in range(3)]
    return np.take_along_axis(np.array(alone), _mixed(ground, share).astype(np.intp), axis=1)


def _least(colour: str, seen: NDArray[np.uint32], weights: Array) -> float:
    """The least contrast of a colour on any of the colours seen under it (WCAG 2.x)."""
    if not len(seen):
        return np.inf
    under = weights[0, seen >> 16] + weights[1, seen >> 8 & 255] + weights[2, seen & 255]
    own = luminance(colour)
    return float(((np.maximum(under, own) + 0.05) / (np.minimum(under, own) + 0.05)).min())
