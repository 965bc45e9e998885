"""A card that moves: its frame, the curve drawn from left to right, names and readings, the needle last, then held.

Each layer is painted once; a frame is columns copied from one layer to the next. The encoder repeats the last frame.
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

    Planes = tuple[Bytes, ...]  # of one picture: luma and two of chroma, or one of shape (height, width, 4)
    Layers = Iterator[Bytes]  # pixels, shape (height, width, 4), each good until the next is asked for

_STEPS = (("frame",), ("curve",), ("label", "reading"), ("needle",))
# how much of the drawing each step takes, after the frame
_SWEPT, _NAMED = Fraction(7, 10), Fraction(17, 20)
_SHARE, _MOST_S = Fraction(1, 3), 2  # of the clip's length, and at most so long, until all is there
# one number of threads: the same bytes; nothing moves and nothing is cut, so nothing is to be foreseen
QUALITY = (
    *("-preset", "veryfast", "-crf", "16", "-bf", "0", "-threads", "4"),
    *("-x264-params", "ref=1:rc-lookahead=0:mbtree=0:weightp=0:scenecut=0"),
)
_COLOURS = {"range": "tv", "color_primaries": "bt709", "color_trc": "bt709", "colorspace": "bt709"}
_NO_TRACES = ("-map_metadata", "-1", "-fflags", "+bitexact", "-flags:v", "+bitexact")


@dataclass(frozen=True)
class Motion:
    """What is asked of clips. `rate`: frames a second; `seconds`: a clip's length if its card names none; `folder`:
    where finished clips are put.
    """

    rate: Fraction
    seconds: float
    encoder: Encoder
    folder: Path

    def file(self, card_id: str, ending: str) -> Path:
        """Where a card's clip is put."""
        return self.folder / f"{card_id}{ending}"


@dataclass(frozen=True)
class Lengths:
    """A clip in frames: the first, without a curve; then `drawing`, the last of which is the still; then `held`."""

    drawing: int
    held: int

    @property
    def frames(self) -> int:
        """All of them."""
        return 1 + self.drawing + self.held


def lengths(seconds: float, rate: Fraction) -> Lengths:
    """How a clip of some length is parted; two frames at least."""
    exact = Fraction(str(seconds))  # as it is written, not as it is held
    frames = max(round(exact * rate), 2)
    drawing = min(max(round(min(exact * _SHARE, Fraction(_MOST_S)) * rate), 1), frames - 1)
    return Lengths(drawing, frames - 1 - drawing)


def layers(items: Sequence[Item]) -> list[list[Item]]:
    """A card's shapes, in as many layers as it comes in, each with all before it; the last is the card."""
    made = []
    shown: set[str] = set()
    for step in _STEPS:
        shown.update(step)
        made.append([item for item in items if item.part in shown])
    return made


def opaque_clip(pixels: Layers, place: Path, motion: Motion, seconds: float) -> None:
    """Write H.264 in MP4: BT.709, 4:2:0, as many frames as `seconds` have. `pixels`: one picture for each of `layers`.

    The same pictures give the same bytes. Raises CannotFinish; `place` is then not there.
    """
    colours = ":".join(f"{name}={value}" for name, value in _COLOURS.items())
    encoding = ["-c:v", ENCODER, *QUALITY, "-movflags", "+faststart"]
    encoding += ["-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"]
    planes = (_yuv(some) for some in pixels)
    _encode_clip(planes, _mixed, "yuv420p", f"setparams={colours}", encoding, place, motion, seconds)


def clear_clip(pixels: Layers, place: Path, motion: Motion, seconds: float) -> None:
    """Write run-length coded pixels in MOV with straight alpha, every value kept, as `opaque_clip` does otherwise."""
    planes = ((some,) for some in pixels)
    encoding = ["-c:v", "qtrle", "-pix_fmt", "argb"]
    _encode_clip(planes, _mixed_clear, "rgba", "null", encoding, place, motion, seconds)


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
    """Encode the frames of a clip, the last one held to its end; `place` is left empty if that fails."""
    length = lengths(seconds, motion.rate)
    frames = drawn(planes, length.drawing, mixed)
    first = next(frames)
    height, width = first[0].shape[:2]
    options = ["-f", "rawvideo", "-pixel_format", pixel_format, "-video_size", f"{width}x{height}"]
    options += ["-framerate", str(motion.rate), "-i", "pipe:0"]
    options += ["-vf", f"{filters},tpad=stop={length.held}:stop_mode=clone" if length.held else filters]
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
    """Ticks a second of which a frame takes a whole number; at least some hundreds, so that durations are exact too."""
    return rate.numerator * math.ceil(600 / rate.numerator)


# ------------------------------------------------------------------ frames


def drawn(pictures: Iterator[Planes], frames: int, mixed: Callable[[Bytes, Bytes, float], Bytes]) -> Iterator[Planes]:
    """The first picture, then `frames` frames until the last one stands whole: the second is swept in from left to
    right, the others are faded in. Each frame is good until the next is asked for.
    """
    shown = tuple(plane.copy() for plane in next(pictures))
    yield shown
    number, begin = 1, Fraction(0)
    for end, reveal in zip((_SWEPT, _NAMED, Fraction(1)), (_swept, _faded, _faded), strict=True):
        show = reveal(shown, next(pictures), mixed)
        while number <= end * frames:
            show(float((Fraction(number, frames) - begin) / (end - begin)))
            yield shown
            number += 1
        show(1.0)
        begin = end


def _swept(shown: Planes, after: Planes, mixed: object) -> Callable[[float], None]:
    """Copies all columns up to a share of those that differ; two at a time, since two share their colour."""
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


def _faded(shown: Planes, after: Planes, mixed: Callable[[Bytes, Bytes, float], Bytes]) -> Callable[[float], None]:
    """Mixes what differs with what it becomes."""
    parts = []
    for old, new in zip(shown, after, strict=True):
        samples = old.reshape(-1, *old.shape[2:])  # the same memory, a sample or a pixel in each
        wanted = new.reshape(samples.shape)
        where = np.flatnonzero((samples != wanted).reshape(len(samples), -1).any(axis=1))
        parts.append((samples, where, samples[where], wanted[where]))

    def show(share: float) -> None:
        for samples, where, before, then in parts:
            samples[where] = mixed(before, then, share)

    return show


def _mixed(before: Bytes, after: Bytes, share: float) -> Bytes:
    """Between two, by a share of the second."""
    return np.rint(before + (after.astype(np.float32) - before) * np.float32(share)).astype(np.uint8)


def _mixed_clear(before: Bytes, after: Bytes, share: float) -> Bytes:
    """Between two with straight alpha, shape (n, 4): a colour counts by how opaque it is."""
    first, second = before.astype(np.float32), after.astype(np.float32)
    weights = first[:, 3:] * np.float32(1 - share), second[:, 3:] * np.float32(share)
    alpha = weights[0] + weights[1]
    mixed = second.copy()
    seen = alpha[:, 0] > 0
    mixed[seen, :3] = ((first * weights[0] + second * weights[1])[seen] / alpha[seen])[:, :3]
    mixed[:, 3:] = alpha
    return np.rint(mixed).astype(np.uint8)


def _yuv(pixels: Bytes) -> Planes:
    """Red, green, blue as luma and chroma of ITU-R BT.709, 8 bit, 16 … 235 and 16 … 240; chroma of two rows and two
    columns in one sample, which sits on the left column (as H.264 has it where nothing else is said).
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
