"""Animated cards: the frame, the curve drawn from left to right, names and readouts, the needle last, then a hold.

Each layer is painted once; a frame is made by copying columns from one layer to the next. The encoder repeats the
last frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.scene import Item
from reviewkit.render.footage.ffmpeg import ENCODER, Encoder, encode

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

    Planes = tuple[Bytes, ...]  # of one picture: luma and two chroma planes, or one plane of shape (height, width, 4)
    Layers = Iterator[Bytes]  # pixels, shape (height, width, 4), each valid until the next is asked for

_STEPS = (("frame",), ("curve",), ("label", "reading"), ("needle",))
# share of the drawing at which each step ends
_SWEPT, _NAMED = Fraction(7, 10), Fraction(17, 20)
_SHARE, _MOST_S = Fraction(1, 3), 2  # of the clip's length, and the longest time, until everything is drawn
# a fixed number of threads gives the same bytes; without motion or cuts, lookahead gains nothing
QUALITY = (
    *("-preset", "veryfast", "-crf", "16", "-bf", "0", "-threads", "4"),
    *("-x264-params", "ref=1:rc-lookahead=0:mbtree=0:weightp=0:scenecut=0"),
)
_COLOURS = {"range": "tv", "color_primaries": "bt709", "color_trc": "bt709", "colorspace": "bt709"}
OPAQUE_FILTER = "setparams=" + ":".join(f"{name}={value}" for name, value in _COLOURS.items())
OPAQUE_ENCODING = (
    *("-c:v", ENCODER, *QUALITY, "-movflags", "+faststart"),
    *("-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"),
)
_NO_TRACES = ("-map_metadata", "-1", "-fflags", "+bitexact", "-flags:v", "+bitexact")


@dataclass(frozen=True)
class Motion:
    """Settings of clips.

    Attributes
    ----------
    rate
        Frames per second.
    seconds
        Length of a clip whose card names none.
    encoder
        The encoder.
    folder
        Folder for finished clips.
    """

    rate: Fraction
    seconds: float
    encoder: Encoder
    folder: Path

    def file(self, card_id: str, ending: str) -> Path:
        """Return the path of a card's clip."""
        return self.folder / f"{card_id}{ending}"


@dataclass(frozen=True)
class ClipLength:
    """A clip in frames: the first, without a curve; then `drawing`, which ends with the still; then `hold`."""

    drawing: int
    hold: int

    @property
    def frames(self) -> int:
        """Return the total number of frames."""
        return 1 + self.drawing + self.hold


def plan_length(seconds: float, rate: Fraction) -> ClipLength:
    """Divide a clip of some seconds into drawing and hold; it has at least two frames."""
    exact = Fraction(str(seconds))  # the decimal number as written, not its binary neighbour
    frames = max(round(exact * rate), 2)
    drawing = min(max(round(min(exact * _SHARE, Fraction(_MOST_S)) * rate), 1), frames - 1)
    return ClipLength(drawing, frames - 1 - drawing)


def split_layers(items: Sequence[Item]) -> list[list[Item]]:
    """Return a card's shapes as layers in the order they appear, each with everything before it."""
    made = []
    shown: set[str] = set()
    for step in _STEPS:
        shown.update(step)
        made.append([item for item in items if item.part in shown])
    return made


def write_opaque_clip(pixels: Layers, place: Path, motion: Motion, seconds: float) -> None:
    """Write a clip as H.264 in MP4: BT.709, 4:2:0. The same pictures give the same bytes.

    Parameters
    ----------
    pixels : iterator of ndarray of uint8, shape (height, width, 4)
        One picture for each of `split_layers`.
    place : Path
        File to write.
    motion : Motion
        Rate and encoder.
    seconds : float
        Length of the clip.

    Raises
    ------
    CannotFinish
        If the encoder fails; the file is then removed.
    """
    planes = (to_yuv(some) for some in pixels)
    _encode_clip(planes, _mix, "yuv420p", OPAQUE_FILTER, OPAQUE_ENCODING, place, motion, seconds)


def write_clear_clip(pixels: Layers, place: Path, motion: Motion, seconds: float) -> None:
    """Write a clip as run-length coded MOV with straight alpha, losslessly; else as `write_opaque_clip` does."""
    planes = ((some,) for some in pixels)
    encoding = ["-c:v", "qtrle", "-pix_fmt", "argb"]
    _encode_clip(planes, _mix_with_alpha, "rgba", "null", encoding, place, motion, seconds)


def _encode_clip(
    planes: Iterator[Planes],
    mixed: Callable[[Bytes, Bytes, float], Bytes],
    pixel_format: str,
    filters: str,
    encoding: Sequence[str],
    place: Path,
    motion: Motion,
    seconds: float,
) -> None:
    """Encode a clip, repeating its last frame until its end; remove the file if that fails."""
    length = plan_length(seconds, motion.rate)
    filters = f"{filters},tpad=stop={length.hold}:stop_mode=clone" if length.hold else filters
    encode_frames(animate(planes, length.drawing, mixed), pixel_format, filters, encoding, place, motion)


def encode_frames(
    frames: Iterator[Planes],
    pixel_format: str,
    filters: str,
    encoding: Sequence[str],
    place: Path,
    motion: Motion,
    inputs: Sequence[str] = (),
) -> None:
    """Encode frames as a video; remove the file if that fails. `inputs`: options for what else goes into it."""
    first = next(frames)
    height, width = first[0].shape[:2]
    options = ["-f", "rawvideo", "-pixel_format", pixel_format, "-video_size", f"{width}x{height}"]
    options += ["-framerate", str(motion.rate), "-i", "pipe:0", *inputs, "-vf", filters]
    options += [*encoding, "-video_track_timescale", str(_timescale(motion.rate)), *_NO_TRACES]
    pieces = (plane for frame in chain((first,), frames) for plane in frame)
    done = False
    try:
        encode(motion.encoder.ffmpeg, [*options, f"file:{place}"], pieces)  # a folder may be called tcp:x
        done = True
    finally:
        if not done:
            place.unlink(missing_ok=True)


def _timescale(rate: Fraction) -> int:
    """Return ticks per second such that a frame takes a whole number; at least several hundred."""
    return rate.numerator * math.ceil(600 / rate.numerator)


# ------------------------------------------------------------------ frames


def animate(pictures: Iterator[Planes], frames: int, mixed: Callable[[Bytes, Bytes, float], Bytes]) -> Iterator[Planes]:
    """Yield the first picture, then `frames` frames that end with the last picture.

    The second picture is swept in from left to right, the others are faded in.

    Parameters
    ----------
    pictures : iterator of tuple of ndarray of uint8
        The planes of each layer's picture.
    frames : int
        Frames after the first.
    mixed : callable
        Mixes samples before and after by a share of the latter.

    Yields
    ------
    tuple of ndarray of uint8
        A frame's planes, valid until the next is asked for.
    """
    shown = tuple(plane.copy() for plane in next(pictures))
    yield shown
    number, begin = 1, Fraction(0)
    for end, reveal in zip((_SWEPT, _NAMED, Fraction(1)), (_sweep, _fade, _fade), strict=True):
        show = reveal(shown, next(pictures), mixed)
        while number <= end * frames:
            show(float((Fraction(number, frames) - begin) / (end - begin)))
            yield shown
            number += 1
        show(1.0)
        begin = end


def _sweep(shown: Planes, after: Planes, mixed: object) -> Callable[[float], None]:
    """Return a function that copies all columns up to a share of those that differ.

    Columns are copied in pairs, since two share their chroma.
    """
    width = shown[0].shape[1]
    columns = [
        np.flatnonzero((old != new).any(axis=(0, *range(2, old.ndim)))) * (width // old.shape[1])
        for old, new in zip(shown, after, strict=True)
    ]
    touched = np.concatenate(columns) // 2
    left, right = (int(touched.min()), int(touched.max()) + 1) if len(touched) else (0, 0)
    at = left

    def show(share: float) -> None:
        nonlocal at
        edge = left + round((right - left) * share)
        for old, new in zip(shown, after, strict=True):
            pair = 2 * old.shape[1] // width
            old[:, at * pair : edge * pair] = new[:, at * pair : edge * pair]
        at = edge

    return show


def _fade(shown: Planes, after: Planes, mixed: Callable[[Bytes, Bytes, float], Bytes]) -> Callable[[float], None]:
    """Return a function that mixes whatever differs with what it becomes."""
    parts = []
    for old, new in zip(shown, after, strict=True):
        samples = old.reshape(-1, *old.shape[2:])  # a view with a sample or a pixel in each row
        wanted = new.reshape(samples.shape)
        where = np.flatnonzero((samples != wanted).reshape(len(samples), -1).any(axis=1))
        parts.append((samples, where, samples[where], wanted[where]))

    def show(share: float) -> None:
        for samples, where, before, then in parts:
            samples[where] = mixed(before, then, share)

    return show


def _mix(before: Bytes, after: Bytes, share: float) -> Bytes:
    """Mix two sets of samples by a share of the second."""
    return np.rint(before + (after.astype(np.float32) - before) * np.float32(share)).astype(np.uint8)


def _mix_with_alpha(before: Bytes, after: Bytes, share: float) -> Bytes:
    """Mix two sets of pixels with straight alpha, shape (n, 4), weighting colours by their opacity."""
    first, second = before.astype(np.float32), after.astype(np.float32)
    weights = first[:, 3:] * np.float32(1 - share), second[:, 3:] * np.float32(share)
    alpha = weights[0] + weights[1]
    mixed = second.copy()
    seen = alpha[:, 0] > 0
    mixed[seen, :3] = ((first * weights[0] + second * weights[1])[seen] / alpha[seen])[:, :3]
    mixed[:, 3:] = alpha
    return np.rint(mixed).astype(np.uint8)


def to_yuv(pixels: Bytes) -> Planes:
    """Convert red, green, blue to 8-bit luma and chroma of ITU-R BT.709, 16 … 235 and 16 … 240.

    Chroma is subsampled 4:2:0, co-sited with the left column, as H.264 assumes by default.
    """
    red, green, blue = (pixels[..., channel].astype(np.float32) for channel in range(3))
    luma = np.float32(0.2126) * red + np.float32(0.7152) * green + np.float32(0.0722) * blue
    planes = [luma * np.float32(219 / 255) + np.float32(16.5)]
    for colour, most in ((blue, 1.8556), (red, 1.5748)):
        difference = colour - luma
        rows = difference[0::2] + difference[1::2]
        on, right = rows[:, 0::2], rows[:, 1::2]
        left = np.concatenate((right[:, :1], right[:, :-1]), axis=1)
        planes.append((left + 2 * on + right) * np.float32(224 / 255 / most / 8) + np.float32(128.5))
    return tuple(plane.astype(np.uint8) for plane in planes)
