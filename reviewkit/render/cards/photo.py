"""The user's own pictures: a photograph cropped to fill its place, a mark scaled to fit into it."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from PIL.Image import Image

    from reviewkit.render.cards.png import Bytes

_QUALITY = 82  # of a JPEG: no artefacts to be seen, at a third of the size of 95
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
    ndarray of uint8, shape (height, width, 4)
        Opaque.
    """
    from PIL import Image

    upright = _upright(photo, max(width, height)).convert("RGB").convert("RGBA")
    # scale the largest central box with the frame's shape
    scale = min(upright.width / width, upright.height / height)
    left, top = max(upright.width - width * scale, 0) / 2, max(upright.height - height * scale, 0) / 2
    box = (left, top, upright.width - left, upright.height - top)
    return np.asarray(upright.resize((width, height), Image.Resampling.LANCZOS, box=box))


def reduce_photo(photo: bytes, most: int) -> bytes:
    """Reduce a photograph to a JPEG for a page, turned upright and without what a camera writes into a file.

    Parameters
    ----------
    photo : bytes
        A JPEG or PNG file.
    most : int
        The largest side in pixels.

    Returns
    -------
    bytes
        The file.
    """
    from PIL import Image

    upright = _upright(photo, most).convert("RGB")
    upright.thumbnail((most, most), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    upright.save(file, "JPEG", quality=_QUALITY, optimize=True, progressive=True)
    return file.getvalue()


def fit_frame(mark: bytes, width: int, height: int) -> Bytes:
    """Scale a mark into the left of a frame, in the middle of its height, with its own transparency.

    Parameters
    ----------
    mark : bytes
        A JPEG or PNG file.
    width, height : int
        Size of the frame in pixels.

    Returns
    -------
    ndarray of uint8, shape (height, width, 4)
        Transparent around the mark.
    """
    from PIL import Image

    upright = _upright(mark, max(width, height)).convert("RGBA")
    wide, high = fitted_size((upright.width, upright.height), width, height)
    framed = np.zeros((height, width, 4), dtype=np.uint8)
    top = (height - high) // 2
    # alpha is applied before scaling, or the colour of transparent pixels would show at the edges
    scaled = upright.convert("RGBa").resize((wide, high), Image.Resampling.LANCZOS).convert("RGBA")
    framed[top : top + high, :wide] = np.asarray(scaled)
    return framed


def fitted_size(size: tuple[int, int], width: int, height: int) -> tuple[int, int]:
    """Return the size in whole pixels of a picture scaled into a frame."""
    scale = min(width / size[0], height / size[1])
    return max(min(round(size[0] * scale), width), 1), max(min(round(size[1] * scale), height), 1)


def aspect(picture: bytes) -> float:
    """Return a picture's width over its height, as it is seen upright."""
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(io.BytesIO(picture), formats=("JPEG", "PNG")) as opened:
            wide, high = opened.size
            orientation = opened.getexif().get(_ORIENTATION)
    return high / wide if orientation in (5, 6, 7, 8) else wide / high


def _upright(picture: bytes, most: int) -> Image:
    """Decode a picture and turn it as its Exif orientation says. `most`: its largest side on the card, in pixels."""
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # large, or with damaged EXIF
        with Image.open(io.BytesIO(picture), formats=("JPEG", "PNG")) as opened:
            opened.draft("RGB", (most, most))  # a JPEG is decoded no finer than it can be seen, turned or not
            opened.load()
            # the one tag alone: the library's own turning writes all others again, and stumbles over what cameras write
            orientation = opened.getexif().get(_ORIENTATION)
            turn = _TURNS.get(orientation) if isinstance(orientation, int) else None
            upright = opened.transpose(Image.Transpose[turn]) if turn else opened.copy()
    if upright.mode.startswith("I"):  # grey of 16 bits
        return upright.convert("I").point(lambda level: level * (1 / 256)).convert("L")
    return upright
