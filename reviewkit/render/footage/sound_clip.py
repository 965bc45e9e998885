"""A sound with a picture: a still, and a cursor that moves across its plot while it sounds."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from reviewkit.model.errors import CannotFinish
from reviewkit.render.footage.clip import OPAQUE_ENCODING, OPAQUE_FILTER, Motion, encode_frames
from reviewkit.render.footage.frames import yuv
from reviewkit.render.footage.sound_files import encode_wav

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.render.cards.png import Bytes
    from reviewkit.render.footage.frames import Planes

_WIDTH = 1 / 480  # of the picture's: 4 pixels of 1920
_AUDIO = ("-c:a", "aac", "-b:a", "256k", "-flags:a", "+bitexact")


class Plot(NamedTuple):
    """The part of a still that a sound's time runs through, in pixels: from its left edge, where the sound begins, to
    its right edge, where it ends.
    """

    left: float
    top: float
    right: float
    bottom: float


def write_sound_clip(
    still: Bytes,
    plot: Plot,
    colour: str,
    samples: NDArray[np.int32],
    rate_hz: int,
    place: Path,
    motion: Motion,
) -> None:
    """Write a sound with its picture as H.264 and AAC in MP4. The same input gives the same bytes.

    Parameters
    ----------
    still : ndarray of uint8, shape (height, width, 4)
        The painted picture; both sizes are even.
    plot : Plot
        Where the cursor moves.
    colour : str
        The cursor's, "#rrggbb".
    samples : ndarray of int32, shape (n, 2)
        The sound, in the upper three bytes of each number.
    rate_hz : int
        Its sample rate.
    place : Path
        File to write.
    motion : Motion
        Frame rate and encoder.

    Raises
    ------
    CannotFinish
        If the encoder fails; no file is left then.
    """
    sound = place.with_suffix(".wav")
    cursor = np.full((2, 2, 4), (*bytes.fromhex(colour[1:]), 255), dtype=np.uint8)
    count = math.ceil(Fraction(len(samples), rate_hz) * motion.rate)
    frames = move_cursor(yuv(still), plot, yuv(cursor), count)
    try:
        sound.write_bytes(encode_wav(samples, rate_hz))
        encoding = (*OPAQUE_ENCODING, *_AUDIO)
        encode_frames(frames, 0, "yuv420p", OPAQUE_FILTER, encoding, place, motion, ("-i", f"file:{sound}"))
    except OSError as error:
        raise CannotFinish(f"{place.parent}: {error.strerror or error}") from error
    finally:
        sound.unlink(missing_ok=True)


def move_cursor(still: Planes, plot: Plot, cursor: Planes, frames: int) -> Iterator[Planes]:
    """Yield a still as often as wanted, each time with the cursor where the sound then is.

    Parameters
    ----------
    still, cursor : tuple of ndarray of uint8
        Luma and chroma of the picture, and of one in the cursor's colour.
    plot : Plot
        Where it moves.
    frames : int
        How many.

    Yields
    ------
    tuple of ndarray of uint8
        A frame's planes, valid until the next is asked for.
    """
    shown = tuple(plane.copy() for plane in still)
    width = shown[0].shape[1]
    # in pairs, since two columns and two rows share their chroma
    wide = max(round(width * _WIDTH / 2), 1)
    top, bottom = round(plot.top / 2), round(plot.bottom / 2)
    for number in range(frames):
        at = plot.left + (plot.right - plot.left) * number / frames
        first = min(max(round(at / 2 - wide / 2), 0), width // 2 - wide)
        covered = []
        for plane, mark in zip(shown, cursor, strict=True):
            pair = 2 * plane.shape[1] // width
            under = plane[top * pair : bottom * pair, first * pair : (first + wide) * pair]
            covered.append((under, under.copy()))
            under[:] = mark[0, 0]
        yield shown
        for under, before in covered:
            under[:] = before
