"""The frames of a clip: each layer is painted once, and a frame is made by copying or mixing pixels of two layers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.footage.steps import ClipStep

if TYPE_CHECKING:
    from reviewkit.render.cards.png import Bytes

    Planes = tuple[Bytes, ...]  # of one picture: luma and two chroma planes, or one plane of shape (height, width, 4)
    Mix = Callable[[Bytes, Bytes, float], Bytes]  # mixes samples before and after by a share of the latter
    Show = Callable[[float], None]  # makes a share, 0 … 1, of what is new to be seen


def animate(
    pictures: Iterator[Planes], steps: Sequence[ClipStep], frames: int, scale: float, mixed: Mix
) -> Iterator[Planes]:
    """Yield the first picture, then `frames` frames that end with the last picture.

    Parameters
    ----------
    pictures : iterator of tuple of ndarray of uint8
        The planes of each step's picture.
    steps : sequence of ClipStep
        How each appears on the one before.
    frames : int
        Frames after the first.
    scale : float
        Pixels of a picture in a pixel of the frame.
    mixed : callable
        Mixes samples.

    Yields
    ------
    tuple of ndarray of uint8
        A frame's planes, valid until the next is asked for.
    """
    shown = tuple(plane.copy() for plane in next(pictures))
    yield shown
    whole = sum(step.seconds + step.pause for step in steps) or Fraction(1)
    number, begin = 1, Fraction(0)
    for step in steps[1:]:
        after = next(pictures)
        show = _WAYS[step.way](Transition(shown, after, mixed, 2 * round(step.reach * scale / 2)))
        end = begin + step.seconds / whole
        while Fraction(number, frames) < end:
            show(float((Fraction(number, frames) - begin) / (end - begin)))
            yield shown
            number += 1
        show(1.0)
        begin = end + step.pause / whole
        while Fraction(number, frames) < begin:
            yield shown
            number += 1
    for _ in range(number, frames + 1):
        yield shown


@dataclass(frozen=True, eq=False)
class Transition:
    """From the planes that are shown, which change, to others. `reach`: of a swing, in pixels, even."""

    shown: Planes
    after: Planes
    mixed: Mix
    reach: int

    def bounds(self) -> tuple[slice, slice]:
        """Return rows and columns of what differs, in pixels, whole pairs of each, which share their chroma."""
        height, width = self.shown[0].shape[:2]
        ends = []
        for axis, size in ((1, height), (0, width)):
            touched = []
            for old, new in zip(self.shown, self.after, strict=True):
                differs = (old != new).any(axis=(axis, *range(2, old.ndim)))
                touched.append(np.flatnonzero(differs) * (size // len(differs)))
            some = np.concatenate(touched)
            ends.append(slice(int(some.min()) // 2 * 2, int(some.max()) // 2 * 2 + 2) if len(some) else slice(0, 0))
        return ends[0], ends[1]

    def planes(self) -> Iterator[tuple[Bytes, Bytes, int]]:
        """Yield each plane before and after, with how many pixels of the picture one of its samples covers."""
        for old, new in zip(self.shown, self.after, strict=True):
            yield old, new, self.shown[0].shape[1] // old.shape[1]


def _cover(transition: Transition, axis: int) -> Show:
    """Return a function that copies what is new from one end to the other."""
    span = transition.bounds()[axis]
    at = span.start

    def show(share: float) -> None:
        nonlocal at
        edge = span.start + 2 * round((span.stop - span.start) / 2 * share)
        for old, new, each in transition.planes():
            part = slice(at // each, edge // each)
            if axis:
                old[:, part] = new[:, part]
            else:
                old[part] = new[part]
        at = edge

    return show


def _sweep(transition: Transition) -> Show:
    return _cover(transition, 1)


def _fall(transition: Transition) -> Show:
    return _cover(transition, 0)


def _fade(transition: Transition) -> Show:
    """Return a function that mixes whatever differs with what it becomes."""
    parts = []
    for old, new, _ in transition.planes():
        samples = old.reshape(-1, *old.shape[2:])  # a view with a sample or a pixel in each row
        wanted = new.reshape(samples.shape)
        where = np.flatnonzero((samples != wanted).reshape(len(samples), -1).any(axis=1))
        parts.append((samples, where, samples[where], wanted[where]))

    def show(share: float) -> None:
        for samples, where, before, then in parts:
            samples[where] = transition.mixed(before, then, share)

    return show


def _slide(transition: Transition) -> Show:
    """Return a function that moves rows in from the right edge, slower and slower."""
    rows, _ = transition.bounds()
    width = transition.shown[0].shape[1]

    def show(share: float) -> None:
        shift = 2 * round(width / 2 * (1 - share) ** 3)
        for old, new, each in transition.planes():
            part = slice(rows.start // each, rows.stop // each)
            there = old.shape[1] - shift // each
            old[part, shift // each :] = new[part, :there]

    return show


def _swing(transition: Transition) -> Show:
    """Return a function that moves what is new to its place from the left."""
    rows, columns = transition.bounds()
    reach = min(transition.reach, columns.start)
    left, right = min(columns.start, columns.start - reach), max(columns.stop, columns.stop - reach)
    parts = []
    for old, new, each in transition.planes():
        high, wide = slice(rows.start // each, rows.stop // each), slice(columns.start // each, columns.stop // each)
        touched = high, slice(left // each, right // each)
        seen = (
            (old[high, wide] != new[high, wide]).reshape(high.stop - high.start, wide.stop - wide.start, -1).any(axis=2)
        )
        parts.append((old, touched, old[touched].copy(), high, wide, seen, new[high, wide].copy(), each))

    def show(share: float) -> None:
        shift = 2 * round(reach / 2 * (1 - share * share * (3 - 2 * share)))
        for old, touched, before, high, wide, seen, wedge, each in parts:
            old[touched] = before
            old[high, wide.start - shift // each : wide.stop - shift // each][seen] = wedge[seen]

    return show


def _cut(transition: Transition) -> Show:
    """Return a function that copies everything."""

    def show(share: float) -> None:
        for old, new in zip(transition.shown, transition.after, strict=True):
            old[...] = new

    return show


_WAYS: dict[str, Callable[[Transition], Show]] = {
    "slide": _slide,
    "fade": _fade,
    "sweep": _sweep,
    "fall": _fall,
    "swing": _swing,
    "cut": _cut,
}


# ------------------------------------------------------------------ samples


def mix(before: Bytes, after: Bytes, share: float) -> Bytes:
    """Mix two sets of samples by a share of the second."""
    return np.rint(before + (after.astype(np.float32) - before) * np.float32(share)).astype(np.uint8)


def mix_with_alpha(before: Bytes, after: Bytes, share: float) -> Bytes:
    """Mix two sets of pixels with straight alpha, shape (n, 4), weighting colours by their opacity."""
    first, second = before.astype(np.float32), after.astype(np.float32)
    weights = first[:, 3:] * np.float32(1 - share), second[:, 3:] * np.float32(share)
    alpha = weights[0] + weights[1]
    mixed = second.copy()
    seen = alpha[:, 0] > 0
    mixed[seen, :3] = ((first * weights[0] + second * weights[1])[seen] / alpha[seen])[:, :3]
    mixed[:, 3:] = alpha
    return np.rint(mixed).astype(np.uint8)


def to_yuv(pictures: Iterator[Bytes]) -> Iterator[Planes]:
    """Convert pictures to luma and chroma, each only where it differs from the one before.

    Parameters
    ----------
    pictures : iterator of ndarray of uint8, shape (height, width, 4)
        Each valid until the next is asked for.

    Yields
    ------
    tuple of ndarray of uint8
        See `yuv`. Valid until the next is asked for.
    """
    before: Bytes | None = None
    planes: Planes = ()
    for pixels in pictures:
        if before is None:
            before, planes = pixels.copy(), yuv(pixels)
        else:
            packed = (np.ascontiguousarray(each).view("<u4")[..., 0] for each in (pixels, before))
            rows = np.flatnonzero(np.not_equal(*packed).any(axis=1))
            if len(rows):
                changed = slice(int(rows[0]) // 2 * 2, int(rows[-1]) // 2 * 2 + 2)
                before[changed] = pixels[changed]
                for plane, part in zip(planes, yuv(pixels[changed]), strict=True):
                    each = len(before) // len(plane)
                    plane[changed.start // each : changed.stop // each] = part
        yield planes


def yuv(pixels: Bytes) -> Planes:
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
