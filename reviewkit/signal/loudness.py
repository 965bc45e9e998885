"""Loudness of a passage and its true peak: ITU-R BS.1770-4, Annexes 1 and 2, for one or two channels.

The K weighting is printed there as two filters for 48 kHz, to be given the same response at other rates. So it is the
spectrum that is weighted, by the response of those two filters: the same at any rate, and no filter to convert.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

TABLES_RATE_HZ = 48_000
# tables 1 and 2, from memory: the head's shelf and the high-pass; b then a of b(z) / a(z)
_FILTERS = (
    ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585)),
    ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)),
)
_OFFSET_DB = -0.691  # the weighting's gain at 997 Hz, so that a sine there reads its own level
BLOCK_S = 0.4
_STEPS = 4  # to a block: blocks overlap by three quarters
ABSOLUTE_GATE_LUFS, RELATIVE_GATE_LU = -70.0, -10.0
_DECAY_S = 0.15  # after which nothing is left of the high-pass
_OVERSAMPLED = 4
_RINGING = 1 << 10  # samples after which nothing is left of an interpolated one


def k_weighting(frequency_hz: Any) -> Any:
    """Return the K weighting as a complex ratio.

    Parameters
    ----------
    frequency_hz : Any
        A scalar or an array of any shape. Above 24 kHz the printed filters say nothing: as at 24 kHz.

    Returns
    -------
    Any
        The ratio, same shape.
    """
    turn = np.exp(-2j * np.pi * np.minimum(frequency_hz, TABLES_RATE_HZ / 2) / TABLES_RATE_HZ)
    gain = np.ones_like(turn)
    for above, below in _FILTERS:
        gain = gain * np.polyval(above[::-1], turn) / np.polyval(below[::-1], turn)
    return gain


def measure_loudness(samples: Array, rate_hz: float) -> float:
    """Return the gated loudness of a passage.

    Parameters
    ----------
    samples : Array
        Shape (n, channels), fractions of full scale; two channels are left and right.
    rate_hz : float
        The sample rate.

    Returns
    -------
    float
        In LUFS; minus infinity if no block of 0.4 s is louder than -70 LUFS.
    """
    powers = _block_powers(samples, rate_hz)
    powers = powers[powers > _power(ABSOLUTE_GATE_LUFS)]
    if powers.size:
        powers = powers[powers > powers.mean() * 10 ** (RELATIVE_GATE_LU / 10)]
    return float(_OFFSET_DB + 10 * np.log10(powers.mean())) if powers.size else -np.inf


def measure_true_peak(samples: Array) -> float:
    """Return the highest peak of the waveform between its samples, interpolated to four times the rate for that.

    Parameters
    ----------
    samples : Array
        Shape (n, channels), fractions of full scale.

    Returns
    -------
    float
        In dBTP; minus infinity for silence.
    """
    peak = 0.0
    for channel in samples.T:
        for part in _parts(channel, _RINGING):
            dense = np.fft.irfft(np.fft.rfft(part), _OVERSAMPLED * len(part)) * _OVERSAMPLED
            peak = max(peak, float(np.abs(dense[_OVERSAMPLED * _RINGING : -_OVERSAMPLED * _RINGING]).max()))
    return float(20 * np.log10(peak)) if peak else -np.inf


def _power(lufs: float) -> float:
    return float(10 ** ((lufs - _OFFSET_DB) / 10))


def _block_powers(samples: Array, rate_hz: float) -> Array:
    """Return the weighted power of each whole block, summed over the channels."""
    steps = np.rint(np.arange(int(len(samples) / rate_hz * _STEPS / BLOCK_S + 1e-9) + 1) * rate_hz * BLOCK_S / _STEPS)
    edges = steps.astype(int)
    total = np.zeros(max(len(edges) - _STEPS, 0))
    for channel in samples.T:
        running = np.concatenate(([0.0], np.cumsum(_weighted(channel, rate_hz) ** 2)))[edges]
        total += running[_STEPS:] - running[:-_STEPS]
    return np.asarray(total / (edges[_STEPS:] - edges[:-_STEPS]))


def _weighted(channel: Array, rate_hz: float) -> Array:
    """Return a channel after the K weighting, shape (n,)."""
    margin = round(_DECAY_S * rate_hz)
    done = [
        np.fft.irfft(np.fft.rfft(part) * _weights(len(part), rate_hz))[margin:-margin]
        for part in _parts(channel, margin)
    ]
    return np.concatenate(done)[: len(channel)]


@cache
def _weights(length: int, rate_hz: float) -> NDArray[np.complex128]:
    """Return the K weighting of every line of a transform, shape (length / 2 + 1,)."""
    weights: NDArray[np.complex128] = k_weighting(np.arange(length // 2 + 1) * rate_hz / length)
    weights.flags.writeable = False
    return weights


def _parts(channel: Array, margin: int) -> Iterator[Array]:
    """Yield a channel in parts of one length, each with the `margin` samples before and after it, or zeros."""
    length = 1 << (4 * margin).bit_length()  # for a quick transform
    step = length - 2 * margin
    padded = np.pad(channel, (margin, margin + step))
    for start in range(0, len(channel), step):
        yield padded[start : start + length]
