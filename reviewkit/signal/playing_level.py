"""Two passages made ready to be played one after the other: faded, their levels matched or not, and set."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.spectrum import NotOneTone, TooShort, analyse
from reviewkit.signal.windows import kaiser

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

# no peak may pass -1 dBTP (EBU R 128, from memory) by any meter, and meters differ by a tenth
CEILING_DBTP, _BETWEEN_METERS_DB = -1.0, 0.1
# levels are matched by a tone between these (common practice, no source)
MIDBAND_HZ = (200.0, 5000.0)
_SAME_TONE = 0.01  # of its frequency
_TONE_S = 5.0  # of a passage are looked at for its tone
_WINDOW_S = 0.05
_BETA = 12.0  # side lobes 90 dB down
_LARGEST = 2**23  # of 24 bits


class NoLevel(ValueError):
    """Error for passages whose levels can't be set. The message says why, and what to do."""


@dataclass(frozen=True)
class Levels:
    """The levels of passages, in their order.

    Attributes
    ----------
    gains_db
        What each is to be raised by, dB.
    loudness_lufs, peaks_dbtp
        Of each after that; minus infinity for silence.
    lowered_db
        How far the louder one is below its target, to leave room for peaks.
    """

    gains_db: tuple[float, ...]
    loudness_lufs: tuple[float, ...]
    peaks_dbtp: tuple[float, ...]
    lowered_db: float


def fade(samples: Array, count: int) -> Array:
    """Fade a passage in and out, each over half a cosine.

    Parameters
    ----------
    samples : Array
        Shape (n, channels), fractions of full scale; n ≥ 2 count.
    count : int
        How many samples each fade takes.

    Returns
    -------
    Array
        The same shape and unit.
    """
    envelope = np.ones(len(samples))
    envelope[:count] = (1 - np.cos(np.pi * (np.arange(count) + 0.5) / count)) / 2
    envelope[len(samples) - count :] = envelope[:count][::-1]
    return samples * envelope[:, np.newaxis]


def set_levels(
    loudness_lufs: Sequence[float],
    peaks_dbtp: Sequence[float],
    target_lufs: float,
    match: Sequence[float] | None = None,
) -> Levels:
    """Choose gains by which the louder passage has a given loudness, and no peak is too high.

    All have one gain, or if they are to be matched, one that makes them equal.

    Parameters
    ----------
    loudness_lufs, peaks_dbtp : sequence of float
        Of each passage as it was recorded.
    target_lufs : float
        The loudness of the louder one.
    match : sequence of float, optional
        The levels that are to become equal, dB; default: the gains are equal.

    Returns
    -------
    Levels
        The gains, and what they lead to.

    Raises
    ------
    NoLevel
        If all are silent, or one that is to be matched.
    """
    if max(loudness_lufs) == -math.inf:
        raise NoLevel("holds nothing louder than -70 LUFS; record it at a higher level")
    gains = [-level for level in match] if match else [0.0] * len(loudness_lufs)
    if math.inf in gains:
        raise NoLevel("match = true, but one of the two is silent; leave match out")
    to_target = target_lufs - max(map(sum, zip(loudness_lufs, gains, strict=True)))
    to_ceiling = CEILING_DBTP - _BETWEEN_METERS_DB - max(map(sum, zip(peaks_dbtp, gains, strict=True)))
    gains = [gain + min(to_target, to_ceiling) for gain in gains]
    return Levels(
        tuple(gains),
        tuple(map(sum, zip(loudness_lufs, gains, strict=True))),
        tuple(map(sum, zip(peaks_dbtp, gains, strict=True))),
        max(0.0, to_target - to_ceiling),
    )


def find_tone_levels(passages: Sequence[Array], rate_hz: float) -> tuple[float, list[float]]:
    """Measure the tone by which the levels of passages can be matched.

    Parameters
    ----------
    passages : Sequence[Array]
        Each of shape (n, channels), fractions of full scale. Their first seconds are read.
    rate_hz : float
        The sample rate.

    Returns
    -------
    tuple[float, list[float]]
        The tone's frequency in Hz, and its level in each passage: its mean square in all channels together, in dB
        relative to 1.

    Raises
    ------
    NoLevel
        If a passage isn't one tone, if the tones differ, or if they aren't in the middle of the audio band.
    """
    tones, levels = [], []
    for samples in (each[: round(_TONE_S * rate_hz)] for each in passages):
        strongest = samples[:, int(np.argmax(np.sum(samples**2, axis=0)))]
        try:
            tones.append(analyse(strongest, rate_hz).frequency_hz)
        except (NotOneTone, TooShort) as error:
            raise NoLevel(f"no tone to match levels by: {error}; leave match out") from error
        window = kaiser(len(samples), _BETA)
        turn = np.exp(-2j * np.pi * tones[-1] / rate_hz * np.arange(len(samples))) * window / np.sum(window)
        levels.append(float(10 * np.log10(2 * np.sum(np.abs(turn @ samples) ** 2))))
    lowest, highest = min(tones), max(tones)
    if not (MIDBAND_HZ[0] <= lowest and highest <= MIDBAND_HZ[1]):
        at = lowest if lowest < MIDBAND_HZ[0] else highest
        raise NoLevel(f"levels are matched by a tone between 200 Hz and 5 kHz, and here it is at {at:.4g} Hz")
    if highest - lowest > _SAME_TONE * lowest:
        raise NoLevel(f"the tone is at {tones[0]:.5g} Hz before and at {tones[-1]:.5g} Hz after; play the same one")
    return tones[-1], levels


def level_over_time(samples: Array, rate_hz: float, points: int) -> tuple[Array, Array]:
    """Return the course of a passage's level.

    Parameters
    ----------
    samples : Array
        Shape (n, channels), fractions of full scale.
    rate_hz : float
        The sample rate.
    points : int
        How many to return, from the first sample to the last.

    Returns
    -------
    tuple[Array, Array]
        Times in s, shape (points,); levels in dBFS, r.m.s. of 50 ms about each, shape (points, channels).
    """
    running = np.concatenate((np.zeros((1, samples.shape[1])), np.cumsum(samples**2, axis=0)))
    at = np.linspace(0, len(samples), points)
    half = _WINDOW_S * rate_hz / 2
    first = np.clip(np.rint(at - half), 0, len(samples) - 1).astype(int)
    last = np.clip(np.rint(at + half), 1, len(samples)).astype(int)
    power = (running[last] - running[first]) / (last - first)[:, np.newaxis]
    # 0 dBFS is the r.m.s. value of a sine whose peak just reaches full scale (AES17, from memory)
    return at / rate_hz, 10 * np.log10(np.maximum(2 * power, 1e-20))


def quantise(samples: Array, gain_db: float) -> NDArray[np.int32]:
    """Apply a gain to samples and round them to 24 bits.

    Parameters
    ----------
    samples : Array
        Any shape, fractions of full scale.
    gain_db : float
        The gain, dB. It must leave every sample below full scale.

    Returns
    -------
    ndarray of int32, same shape
        24 bits in the upper three bytes of each number.
    """
    steps = np.rint(samples * (10 ** (gain_db / 20) * _LARGEST)).astype(np.int32)
    return np.left_shift(steps, 8)
