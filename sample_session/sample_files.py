"""How the sample's files are written: delimited text in several layouts, WAV captures, FLAC recordings. Same numbers,
same bytes.
"""

from __future__ import annotations

import io
import wave
from collections.abc import Sequence

import numpy as np
import soundfile
from norrvale import RATE_HZ, Array

WAV_BYTES = 3  # of a sample


def lines_of(head: Sequence[str], columns: Sequence[Sequence[str]], separator: str, end: str = "\n") -> str:
    """A delimited file: head lines, then one row for each index of the columns."""
    return end.join([*head, *(separator.join(row) for row in zip(*columns, strict=True))]) + end


def cells(values: Array, form: str, decimal: str = ".") -> list[str]:
    """Numbers as text, with the decimal mark wanted."""
    return [format(value, form).replace(".", decimal) for value in values.tolist()]


def flac_of(channels: Sequence[Array], full_scale_v: float) -> bytes:
    """A 24-bit FLAC of volts, one array of shape (samples,) a channel. Its bytes are the encoder's: another version of
    it may pack the same samples otherwise.
    """
    made = io.BytesIO()
    samples = np.stack(channels, axis=1) / full_scale_v
    soundfile.write(made, samples, RATE_HZ, format="FLAC", subtype="PCM_24")
    return made.getvalue()


def samples_of(flac: bytes) -> list[object]:
    """What a FLAC holds: its rate and its samples."""
    samples, rate_hz = soundfile.read(io.BytesIO(flac), dtype="int32", always_2d=True)
    return [rate_hz, samples.tolist()]


def wav_of(channels: Sequence[Array], full_scale_v: float) -> bytes:
    """A 24-bit WAV of volts, one array of shape (samples,) a channel. Holds no time of day, so that bytes repeat."""
    largest = 2 ** (8 * WAV_BYTES - 1) - 1
    samples = np.rint(np.stack(channels, axis=1) / full_scale_v * (largest + 1)).astype(np.int32)
    if abs(samples).max() > largest:
        raise ValueError(f"full scale of {full_scale_v} V is too small")
    made = io.BytesIO()
    with wave.open(made, "wb") as file:
        file.setnchannels(len(channels))
        file.setsampwidth(WAV_BYTES)
        file.setframerate(RATE_HZ)
        # the three lower bytes of each little-endian integer
        file.writeframes(samples.astype("<i4").reshape(-1, 1).view(np.uint8)[:, :WAV_BYTES].tobytes())
    return made.getvalue()
