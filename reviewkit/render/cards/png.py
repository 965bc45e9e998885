"""Pixels as PNG, made for cards: flat grounds, few colours, many rows that are as the one above.

Only what changes from one row to the next is looked at, and rows that change nothing are not compressed again. Where
256 colours hold every colour of the picture within two levels a channel, the picture has a palette; else it is in full
colour. PNG is ISO/IEC 15948:2004, deflate RFC 1951, its wrapping and Adler-32 RFC 1950.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Collection
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bytes = NDArray[np.uint8]
    Whole = NDArray[Any]  # of some integer type
    Packed = NDArray[np.uint32]  # a pixel in each: red in the lowest byte, then green, blue

NEAR = 2  # levels that a palette may be off by in a channel
_MOST = 256
_TOO_MANY = 1000  # colours: with more, looking for a palette costs more time than it saves
_UP = 2  # the filter type: bytes are differences to the row above
_LEVEL = 1
_STILL = 16  # rows that change nothing are put in by so many
_RGB, _PALETTE, _RGB_ALPHA = 2, 3, 6  # colour types


def png(pixels: Bytes, flat: Collection[str] = ()) -> bytes:
    """An opaque picture as PNG. Same pixels, same bytes; no time, text or resolution in it.

    `pixels`: shape (height, width, 4), red, green, blue and a fourth that is not written. `flat`: "#rrggbb" of the
    colours that are drawn with; a palette holds them exactly, and all others within NEAR levels in each channel.
    """
    height, width = pixels.shape[:2]
    packed: Packed = np.ascontiguousarray(pixels).view("<u4")[..., 0]
    change = np.flatnonzero(packed[1:] != packed[:-1])  # where the row above has another colour
    at = change + width
    top, here, above = (_opaque(some) for some in (packed[0], packed.ravel()[at], packed.ravel()[change]))
    row = at // width
    colours = np.unique(np.concatenate((top, here)))
    numbered = _palette(colours, flat)
    if numbered is None:
        rows = np.zeros((height, 1 + 3 * width), dtype=np.uint8)
        rows[0, 1:] = _channels(top).ravel()
        where = 3 * at + row + 1
        for channel, difference in enumerate((_channels(here) - _channels(above)).T):
            rows.reshape(-1)[where + channel] = difference
        chunks = _chunk(b"IHDR", _header(width, height, _RGB))
    else:
        palette, numbers = numbered
        number = np.zeros(1 << 24, dtype=np.uint8)  # only the pages that are touched cost anything
        number[colours] = numbers
        rows = np.zeros((height, 1 + width), dtype=np.uint8)
        rows[0, 1:] = number[top]
        rows.reshape(-1)[at + row + 1] = number[here] - number[above]
        chunks = _chunk(b"IHDR", _header(width, height, _PALETTE)) + _chunk(b"PLTE", palette.tobytes())
    rows[:, 0] = _UP
    still = np.ones(height, dtype=bool)
    still[0] = still[row] = False
    data = _chunk(b"IDAT", _deflated(rows, still))
    return b"\x89PNG\r\n\x1a\n" + chunks + data + _chunk(b"IEND", b"")


def png_with_alpha(pixels: Bytes, clear_rows: int = 0) -> bytes:
    """A picture with straight alpha as PNG, every value kept. Same pixels, same bytes; nothing else in it.

    `pixels`: shape (height, width, 4). `clear_rows`: how many rows above those have the first pixel's colour, clear.
    """
    height, width = pixels.shape[:2]
    values = pixels.reshape(height, 4 * width)
    rows = np.zeros((clear_rows + height, 1 + 4 * width), dtype=np.uint8)
    rows[:, 0] = _UP
    above = np.tile(np.append(pixels[0, 0, :3], np.uint8(0)), width) if clear_rows else np.zeros_like(values[0])
    rows[0, 1:] = above
    np.subtract(values[0], above, out=rows[clear_rows, 1:])
    np.subtract(values[1:], values[:-1], out=rows[clear_rows + 1 :, 1:])
    still = np.ones(len(rows), dtype=bool)
    still[0] = False
    still[clear_rows:] &= ~rows[clear_rows:, 1:].any(axis=1)
    chunks = _chunk(b"IHDR", _header(width, len(rows), _RGB_ALPHA)) + _chunk(b"IDAT", _deflated(rows, still))
    return b"\x89PNG\r\n\x1a\n" + chunks + _chunk(b"IEND", b"")


def smaller(pixels: Bytes, width: int) -> bytes:
    """A picture reduced to a `width` that divides its own, as rows of red, green and blue; each pixel is the mean of
    those it stands for.
    """
    from PIL import Image

    # the fourth is told to be nothing: as alpha it would be weighed with, for nothing and at four times the cost
    picture = Image.frombuffer("RGBX", (pixels.shape[1], pixels.shape[0]), pixels, "raw", "RGBX", 0, 1)
    return picture.reduce(pixels.shape[1] // width).convert("RGB").tobytes()


def _opaque(packed: Packed) -> Packed:
    return packed & np.uint32(0xFFFFFF)


def _channels(packed: Packed) -> Bytes:
    """Red, green, blue; shape (n, 3)."""
    return packed.astype("<u4").view(np.uint8).reshape(-1, 4)[:, :3]


def _palette(colours: Packed, flat: Collection[str]) -> tuple[Bytes, Bytes] | None:
    """A palette, shape (k, 3), and each colour's number in it; None where 256 do not hold them all within NEAR.

    The drawn colours first, as they are. Then greedily: from the first colour that is not held yet towards the middle
    of those near it, so that one entry holds five levels of a blend.
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
    for reach in (0, NEAR):  # what is exactly one of them first, then what lies near one
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
    if np.abs(table[numbers] - wanted).max() > NEAR:  # the promise, kept whatever was done above
        return None
    return table.astype(np.uint8), numbers


# ------------------------------------------------------------------ the file


def _header(width: int, height: int, colour_type: int) -> bytes:
    return struct.pack(">IIBBBBB", width, height, 8, colour_type, 0, 0, 0)


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _deflated(rows: Bytes, still: NDArray[np.bool_]) -> bytes:
    """Rows as a zlib stream; `still`: shape (height,), the rows that are a filter type and zeros.

    Long stretches of those are one block, compressed once and put in as often as needed. What follows it must not
    refer to what stood before, so the dictionary is emptied there (a full flush).
    """
    height, length = rows.shape
    block, block_sum = _still_block(length)
    deflate = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    parts, total = [b"\x78\x01"], 1
    edges = [0, *(np.flatnonzero(still[1:] != still[:-1]) + 1), height]
    start = 0  # of the rows that are not written yet
    for first, end in pairwise(edges):
        blocks = (end - first) // _STILL
        if not still[first] or not blocks:
            continue
        parts += [deflate.compress(rows[start:first].data), deflate.flush(zlib.Z_FULL_FLUSH), block * blocks]
        total = zlib.adler32(rows[start:first].data, total)
        for _ in range(blocks):
            total = _joined(total, block_sum, _STILL * length)
        start = first + blocks * _STILL
    parts += [deflate.compress(rows[start:].data), deflate.flush()]
    total = zlib.adler32(rows[start:].data, total)
    return b"".join([*parts, struct.pack(">I", total)])


@cache
def _still_block(length: int) -> tuple[bytes, int]:
    """_STILL rows that change nothing, compressed to stand anywhere in a stream, and their Adler-32."""
    rows = np.zeros((_STILL, length), dtype=np.uint8)
    rows[:, 0] = _UP
    deflate = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    return deflate.compress(rows.data) + deflate.flush(zlib.Z_FULL_FLUSH), zlib.adler32(rows.data)


def _joined(first: int, second: int, length: int) -> int:
    """The Adler-32 of two pieces from that of each (RFC 1950, section 8.2); `length`: bytes of the second."""
    prime = 65521
    low = ((first & 0xFFFF) + (second & 0xFFFF) - 1) % prime
    high = ((first >> 16) + (second >> 16) + length * ((first & 0xFFFF) - 1)) % prime
    return high << 16 | low
