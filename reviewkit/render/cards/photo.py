"""The user's photograph behind the title card: cropped to the frame, dimmed as far as the texts on it need."""

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

_ALL = 255  # nothing but ground is left
_BESIDE = 8.0  # pixels around a text's ink that are checked as well

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


def draw_backdrop(photo: bytes, items: Sequence[Item], look: Look, width: int) -> Bytes:
    """Crop a photograph to a frame and dim it until every text on it has its contrast.

    Parameters
    ----------
    photo : bytes
        A JPEG or PNG file.
    items : sequence of Text, Stroke and Area
        The card's shapes.
    look : Look
        Its ground is mixed in.
    width : int
        Width of the frame in pixels.

    Returns
    -------
    ndarray of uint8, shape (height, width, 4)
        Opaque.
    """
    high = round(width * FRAME_HEIGHT / FRAME_WIDTH)
    colours = fill_frame(photo, width, high)
    share = least_dimming(colours, [item for item in items if isinstance(item, Text)], look)
    pixels = np.full((high, width, 4), _ALL, dtype=np.uint8)
    pixels[..., :3] = _mix_codes(look.ground, share)[np.arange(3), colours]
    return pixels


def fill_frame(photo: bytes, width: int, height: int) -> Bytes:
    """Scale and crop a photograph around its middle, turned as its Exif orientation says.

    Parameters
    ----------
    photo : bytes
        A JPEG or PNG file.
    width, height : int
        Size of the frame in pixels.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        Red, green, blue.
    """
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
    # scale the largest central box with the frame's shape
    scale = min(turned.width / width, turned.height / height)
    left, top = max(turned.width - width * scale, 0) / 2, max(turned.height - height * scale, 0) / 2
    box = (left, top, turned.width - left, turned.height - top)
    return np.asarray(turned.resize((width, height), Image.Resampling.LANCZOS, box=box))


def least_dimming(colours: Bytes, texts: Sequence[Text], look: Look) -> int:
    """Return the least share of ground, 0 … 255, with which every text reaches its contrast.

    Parameters
    ----------
    colours : ndarray of uint8, shape (height, width, 3)
        The photograph.
    texts : sequence of Text
        The texts on it.
    look : Look
        Its ground is mixed in.

    Returns
    -------
    int
        The share.
    """
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
        weights = _dimmed_luminances(look.ground, middle)
        if all(_least_contrast(colour, seen, weights) >= least for colour, least, seen in under):
            high = middle
        else:
            low = middle + 1
    return high


def _mix_codes(ground: str, share: int) -> Bytes:
    """Return what each channel's codes 0 … 255 become with a share of the ground, shape (3, 256)."""
    codes = np.arange(256)[np.newaxis]
    towards = np.array(tuple(bytes.fromhex(ground[1:])))[:, np.newaxis]
    return np.rint(codes + (towards - codes) * (share / _ALL)).astype(np.uint8)


def _dimmed_luminances(ground: str, share: int) -> Array:
    """Return what each channel's codes add to the luminance after dimming, shape (3, 256)."""
    alone = [[luminance("#" + "00" * at + f"{code:02x}" + "00" * (2 - at)) for code in range(256)] for at in range(3)]
    return np.take_along_axis(np.array(alone), _mix_codes(ground, share).astype(np.intp), axis=1)


def _least_contrast(colour: str, seen: NDArray[np.uint32], weights: Array) -> float:
    """Return the least contrast of a colour with any of the colours under it (WCAG 2.x)."""
    if not len(seen):
        return np.inf
    under = weights[0, seen >> 16] + weights[1, seen >> 8 & 255] + weights[2, seen & 255]
    own = luminance(colour)
    return float(((np.maximum(under, own) + 0.05) / (np.minimum(under, own) + 0.05)).min())
