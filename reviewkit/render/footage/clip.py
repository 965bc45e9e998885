"""Clips of cards: frames made from layers that are painted once, encoded in one pass.

The encoder repeats the last frame, which is the still.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.model.timecode import exact
from reviewkit.render.footage.ffmpeg import ENCODER, Encoder, encode
from reviewkit.render.footage.frames import animate, mix, mix_with_alpha, to_yuv

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes
    from reviewkit.render.footage.frames import Planes
    from reviewkit.render.footage.steps import ClipStep

    Layers = Iterator[Bytes]  # pixels, shape (height, width, 4), each valid until the next is asked for

# a fixed number of threads gives the same bytes; without motion or cuts, lookahead gains nothing
QUALITY = (
    *("-preset", "veryfast", "-crf", "16", "-bf", "0", "-threads", "4"),
    *("-x264-params", "ref=1:rc-lookahead=0:mbtree=0:weightp=0:scenecut=0"),
)
_COLOURS = {"range": "tv", "color_primaries": "bt709", "color_trc": "bt709", "colorspace": "bt709"}
OPAQUE_FILTER = "setparams=" + ":".join(f"{name}={value}" for name, value in _COLOURS.items())
OPAQUE_ENCODING = (
    *("-c:v", ENCODER, *QUALITY, "-movflags", "+faststart", "-color_range", "tv", "-colorspace", "bt709"),
    *("-color_primaries", "bt709", "-color_trc", "bt709", "-f", "mp4"),
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


def count_frames(seconds: float, rate: Fraction) -> int:
    """Return the number of frames of a clip, at least two."""
    return max(round(exact(seconds) * rate), 2)


def write_opaque_clip(
    layers: Layers, steps: Sequence[ClipStep], scale: float, place: Path, motion: Motion, seconds: float
) -> None:
    """Write a clip as H.264 in MP4: BT.709, 4:2:0. The same pictures give the same bytes.

    Parameters
    ----------
    layers : iterator of ndarray of uint8, shape (height, width, 4)
        One picture for each step.
    steps : sequence of ClipStep
        How each appears.
    scale : float
        Pixels of a picture in a pixel of the frame.
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
    drawing = _count_drawn(steps, seconds, motion.rate)
    frames = animate(to_yuv(layers), steps, drawing, scale, mix)
    hold = count_frames(seconds, motion.rate) - 1 - drawing
    encode_frames(frames, hold, "yuv420p", OPAQUE_FILTER, OPAQUE_ENCODING, place, motion)


def write_clear_clip(
    layers: Layers, steps: Sequence[ClipStep], scale: float, place: Path, motion: Motion, seconds: float
) -> None:
    """Write a clip as run-length coded MOV with straight alpha, losslessly; else as `write_opaque_clip` does."""
    drawing = _count_drawn(steps, seconds, motion.rate)
    frames = animate(((some,) for some in layers), steps, drawing, scale, mix_with_alpha)
    hold = count_frames(seconds, motion.rate) - 1 - drawing
    encoding = ["-c:v", "qtrle", "-pix_fmt", "argb", "-f", "mov"]
    encode_frames(frames, hold, "rgba", "null", encoding, place, motion)


def _count_drawn(steps: Sequence[ClipStep], seconds: float, rate: Fraction) -> int:
    """Return how many frames after the first show something new."""
    whole = sum((step.seconds + step.pause for step in steps), Fraction(0))
    return min(max(math.ceil(whole * rate), 1), count_frames(seconds, rate) - 1)


def encode_frames(
    frames: Iterator[Planes],
    hold: int,
    pixel_format: str,
    filters: str,
    encoding: Sequence[str],
    place: Path,
    motion: Motion,
    inputs: Sequence[str] = (),
) -> None:
    """Encode a clip, repeating its last frame `hold` times; remove the file if that fails. `inputs`: the options of
    what else goes into it.
    """
    first = next(frames)
    height, width = first[0].shape[:2]
    options = ["-f", "rawvideo", "-pixel_format", pixel_format, "-video_size", f"{width}x{height}"]
    options += ["-framerate", str(motion.rate), "-i", "pipe:0", *inputs]
    options += ["-vf", f"{filters},tpad=stop={hold}:stop_mode=clone" if hold else filters]
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
