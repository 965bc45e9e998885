"""Sounds as files: 24-bit WAV, and a compressed copy for the page. The same samples give the same bytes."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from reviewkit.model.sound import BOTH, PAUSE_S, PlayedSound, sound_path

if TYPE_CHECKING:
    from numpy.typing import NDArray

_FULL_SCALE = 2.0**31
# the sample rates of MPEG audio layer III (ISO/IEC 11172-3 and 13818-3, from memory), and the one for all others
_MP3_RATES_HZ, _MP3_RATE_HZ = (48_000, 44_100, 32_000, 24_000, 22_050, 16_000), 48_000


def write_sounds(sounds: tuple[PlayedSound, ...]) -> dict[str, bytes]:
    """Return the WAV files of sounds by their path in out/: each side, and both with a pause between them."""
    files: dict[str, bytes] = {}
    for each in sounds:
        one, other = (side.samples for side in each.sides)
        pause = np.zeros((round(PAUSE_S * each.rate_hz), 2), dtype=np.int32)
        parts = {side.name: side.samples for side in each.sides} | {BOTH: np.concatenate((one, pause, other))}
        files |= {sound_path(each.stem(part)): encode_wav(samples, each.rate_hz) for part, samples in parts.items()}
    return files


def encode_wav(samples: NDArray[np.int32], rate_hz: int) -> bytes:
    """Encode samples as a WAV file of 24 bits.

    Parameters
    ----------
    samples : ndarray of int32, shape (n, channels)
        24 bits in the upper three bytes of each number.
    rate_hz : int
        The sample rate.

    Returns
    -------
    bytes
        The file. Its header has no time of day, so equal samples give equal files.
    """
    return _encode(samples, rate_hz, "WAV", "PCM_24")


def can_encode_mp3() -> bool:
    """Tell whether the sound library of this machine writes MP3."""
    import soundfile  # type: ignore[import-untyped]

    return "MP3" in soundfile.available_formats()


def encode_mp3(samples: NDArray[np.int32], rate_hz: int) -> bytes:
    """Encode samples as an MP3 file.

    Parameters
    ----------
    samples : ndarray of int32, shape (n, channels)
        24 bits in the upper three bytes of each number.
    rate_hz : int
        The sample rate. Samples at a rate that the format doesn't have are resampled to 48 kHz.

    Returns
    -------
    bytes
        The file.
    """
    if rate_hz in _MP3_RATES_HZ:
        return _encode(samples, rate_hz, "MP3", "MPEG_LAYER_III")
    count = round(len(samples) * _MP3_RATE_HZ / rate_hz)
    lines = np.fft.rfft(samples / _FULL_SCALE, axis=0)
    converted = np.fft.irfft(lines, count, axis=0) * (count / len(samples))
    return _encode(converted, _MP3_RATE_HZ, "MP3", "MPEG_LAYER_III")


def _encode(samples: NDArray[Any], rate_hz: int, container: str, subtype: str) -> bytes:
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, samples, rate_hz, format=container, subtype=subtype)
    return file.getvalue()
