"""Frames and timecode labels after SMPTE ST 12-1, drop-frame at 29.97 and 59.94."""

from __future__ import annotations

import math
from fractions import Fraction

RATES = (
    Fraction(24000, 1001),
    Fraction(24),
    Fraction(25),
    Fraction(30000, 1001),
    Fraction(30),
    Fraction(50),
    Fraction(60000, 1001),
    Fraction(60),
)
# labels dropped at the start of every minute but each tenth, so that an hour of labels is an hour
_DROPPED = {Fraction(30000, 1001): 2, Fraction(60000, 1001): 4}
_WRITTEN_APART = Fraction(1, 200)  # 23.98 for 24000/1001 is still the same rate; 29.97 for 30 is not


def exact(written: float) -> Fraction:
    """Return seconds or a rate as the decimal number that was written, not as its binary neighbour."""
    return Fraction(repr(float(written)))


def exact_rate(written: float) -> Fraction:
    """Return the exact frame rate: what is written as 29.97 or 29.97003 is 30000/1001."""
    near = min(RATES, key=lambda rate: abs(rate - Fraction(written)))
    return near if abs(near - Fraction(written)) <= _WRITTEN_APART else Fraction(written).limit_denominator(1001)


def nearest_frame(seconds: Fraction, rate: Fraction) -> int:
    """Return the frame that begins nearest to a time, within half a frame however long the time."""
    return math.floor(seconds * rate + Fraction(1, 2))


def nominal_rate(rate: Fraction) -> int:
    """Return the number of frames that labels count to a second: 30 at 29.97."""
    return math.ceil(rate)


def frames_a_day(rate: Fraction) -> int:
    """Return the number of labels in a day."""
    return nominal_rate(rate) * 86_400 - _DROPPED.get(rate, 0) * 24 * 54


def timecode_label(frame: int, rate: Fraction) -> str:
    """Return the label of a frame counted from 0, modulo a day; drop-frame, with `;`, if the rate has it."""
    count, dropped = nominal_rate(rate), _DROPPED.get(rate, 0)
    frame %= frames_a_day(rate)
    # a tenth minute has all its labels, the nine after it don't: add the dropped ones before this frame
    tens, rest = divmod(frame, count * 600 - dropped * 9)
    minutes = max((rest - dropped) // (count * 60 - dropped), 0)
    number = frame + dropped * (tens * 9 + minutes)
    seconds, frames = divmod(number, count)
    sign, width = (";" if dropped else ":"), max(len(str(count - 1)), 2)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{sign}{frames:0{width}d}"


def frame_of_clock(seconds: Fraction, rate: Fraction) -> int:
    """Return the frame whose label reads a time of day; if that label is dropped, the next frame."""
    whole, dropped = math.floor(seconds), _DROPPED.get(rate, 0)
    frames = math.floor((seconds - whole) * nominal_rate(rate))
    minutes, second = divmod(whole % 86_400, 60)
    if minutes % 10 and second == 0:
        frames = max(frames, dropped)
    return (minutes * 60 + second) * nominal_rate(rate) + frames - dropped * (minutes - minutes // 10)
