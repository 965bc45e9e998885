"""A PNG encoder for cards: flat grounds, few colours, many rows equal to the one above.

Only what changes from one row to the next is examined. If 256 colours represent every colour of the picture within two
levels a channel, the picture has a palette; else it is in full colour. PNG is ISO/IEC 15948:2004.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Collection
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from zlib_ng import zlib_ng

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL.Image import Image

    Bytes = NDArray[np.uint8]
    Packed = NDArray[np.uint32]  # a pixel in each: red in the lowest byte, then green, blue

NEAR = 2  # levels that a palette may be off by in a channel
_MOST = 256
_TOO_MANY = 1000  # colours: with more, the search for a palette costs more time than it saves
_FEW = 32  # colours of a small picture
_UP = 2  # the filter type: bytes are differences to the row above
_LEVEL = 2
_OPAQUE = np.uint32(0xFFFFFF)  # a packed pixel without its fourth byte
_RGB, _PALETTE, _RGB_ALPHA = 2, 3, 6  # colour types


def encode_png(pixels: Bytes, flat: Collection[str] = ()) -> bytes:
    """Encode an opaque picture as a PNG without time, text or resolution. The same pixels give the same bytes.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 4)
        Red, green, blue, and a fourth that is ignored.
    flat : collection of str
        "#rrggbb" of the colours drawn with; a palette has them exactly, and all others within NEAR levels in each
        channel.

    Returns
    -------
    bytes
        The file.
    """
    height, width = pixels.shape[:2]
    packed: Packed = np.ascontiguousarray(pixels).view("<u4")[..., 0]
    change = np.flatnonzero(packed[1:] != packed[:-1])  # pixels whose colour differs from the one above
    at = change + width
    top, here, above = (some & _OPAQUE for some in (packed[0], packed.ravel()[at], packed.ravel()[change]))
    row = at // width
    colours = np.unique(np.concatenate((top, here)))
    numbered = _palette(colours, flat)
    if numbered is None:
        rows = np.zeros((height, 1 + 3 * width), dtype=np.uint8)
        rows[0, 1:] = _channels(top).ravel()
        where = 3 * at + row + 1
        for channel, difference in enumerate((_channels(here) - _channels(above)).T):
            rows.reshape(-1)[where + channel] = difference
        rows[:, 0] = _UP
        return _assemble(width, _RGB, rows)
    palette, numbers = numbered
    number = np.zeros(1 << 24, dtype=np.uint8)  # memory is allocated only for the pages that are touched
    number[colours] = numbers
    rows = np.zeros((height, 1 + width), dtype=np.uint8)
    rows[:, 0] = _UP
    rows[0, 1:] = number[top]
    rows.reshape(-1)[at + row + 1] = number[here] - number[above]
    return _assemble(width, _PALETTE, rows, palette.tobytes())


def encode_png_with_alpha(pixels: Bytes, clear_rows: int = 0) -> bytes:
    """Encode a picture with straight alpha as a PNG, losslessly. The same pixels give the same bytes.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 4)
        Red, green, blue, alpha.
    clear_rows : int
        Number of transparent rows to add at the top, in the first pixel's colour.

    Returns
    -------
    bytes
        The file.
    """
    height, width = pixels.shape[:2]
    values = pixels.reshape(height, 4 * width)
    rows = np.zeros((clear_rows + height, 1 + 4 * width), dtype=np.uint8)
    rows[:, 0] = _UP
    above = np.tile(np.append(pixels[0, 0, :3], np.uint8(0)), width) if clear_rows else np.zeros_like(values[0])
    rows[0, 1:] = above
    np.subtract(values[0], above, out=rows[clear_rows, 1:])
    np.subtract(values[1:], values[:-1], out=rows[clear_rows + 1 :, 1:])
    return _assemble(width, _RGB_ALPHA, rows)


def downscale(pixels: Bytes, width: int) -> bytes:
    """Reduce a picture by averaging whole blocks of pixels.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, n · width, 4)
        The picture.
    width : int
        Width of the result in pixels.

    Returns
    -------
    bytes
        Rows of red, green and blue.
    """
    return _reduce(pixels, width).tobytes()


def encode_small_png(pixels: Bytes, width: int) -> bytes:
    """Encode a reduced picture as a PNG of few colours.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, n · width, 4)
        The picture.
    width : int
        Width of the result in pixels.

    Returns
    -------
    bytes
        The file.
    """
    file = BytesIO()
    _reduce(pixels, width).quantize(_FEW).save(file, "PNG", optimize=True)
    return file.getvalue()


def _reduce(pixels: Bytes, width: int) -> Image:
    from PIL import Image

    # the fourth byte is declared as padding: as alpha it would be averaged too, at four times the cost
    picture = Image.frombuffer("RGBX", (pixels.shape[1], pixels.shape[0]), pixels, "raw", "RGBX", 0, 1)
    return picture.reduce(pixels.shape[1] // width).convert("RGB")


def _channels(packed: Packed) -> Bytes:
    """Return red, green and blue, shape (n, 3)."""
    return packed.astype("<u4").view(np.uint8).reshape(-1, 4)[:, :3]


def _palette(colours: Packed, flat: Collection[str]) -> tuple[Bytes, Bytes] | None:
    """Return a palette, shape (k, 3), and each colour's index in it; None if 256 entries aren't enough.

    The colours drawn with come first, exactly. The others are covered greedily: each entry is placed within NEAR of the
    first uncovered colour, towards the mean of those close to it, so that one entry covers five levels of a blend.
    """
    if len(colours) > _TOO_MANY:
        return None
    wanted = _channels(colours).astype(np.int16)
    numbers = np.zeros(len(colours), dtype=np.uint8)
    exact = np.array([tuple(bytes.fromhex(colour[1:])) for colour in dict.fromkeys(flat)], dtype=np.int16)
    palette = [entry for entry in exact.reshape(-1, 3) if (wanted == entry).all(axis=1).any()]
    if len(palette) > _MOST:
        return None
    held = np.zeros(len(colours), dtype=bool)
    for reach in (0, NEAR):  # first the exact matches, then those nearby
        for number, entry in enumerate(palette):
            new = ~held & (np.abs(wanted - entry).max(axis=1) <= reach)
            numbers[new], held[new] = number, True
    left = np.flatnonzero(~held)
    while len(left):
        if len(palette) == _MOST:
            return None
        away = wanted[left] - wanted[left[0]]
        near = away[np.abs(away).max(axis=1) <= 2 * NEAR]
        step = np.rint(near.sum(axis=0) / len(near)).clip(-NEAR, NEAR).astype(np.int16)
        new = np.abs(away - step).max(axis=1) <= NEAR
        numbers[left[new]] = len(palette)
        palette.append(wanted[left[0]] + step)
        left = left[~new]
    table = np.array(palette).clip(0, 255)
    if np.abs(table[numbers] - wanted).max() > NEAR:  # guarantees the tolerance whatever happened above
        return None
    return table.astype(np.uint8), numbers


# ------------------------------------------------------------------ the file


def _assemble(width: int, colour_type: int, rows: Bytes, palette: bytes = b"") -> bytes:
    """Return the file. `rows`: shape (height, 1 + bytes in a row), filter type first."""
    header = struct.pack(">IIBBBBB", width, len(rows), 8, colour_type, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"PLTE", palette), (b"IDAT", zlib_ng.compress(rows.data, _LEVEL)), (b"IEND", b"")]
    parts = [b"\x89PNG\r\n\x1a\n"]
    for name, data in chunks:
        if data or name == b"IEND":
            check = zlib_ng.crc32(data, zlib.crc32(name))
            parts += [struct.pack(">I", len(data)), name, data, struct.pack(">I", check)]
    return b"".join(parts)
