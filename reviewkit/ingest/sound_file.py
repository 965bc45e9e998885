"""A passage of a WAV or FLAC file, to be played: always two channels, nothing that clipped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from reviewkit.ingest.capture_file import check_samples, choose_channels, read_samples
from reviewkit.ingest.capture_header import Header, read_header
from reviewkit.ingest.plain_text import refuse_devices
from reviewkit.model.arrays import Array
from reviewkit.model.errors import refusal

_FLAC = b"fLaC"
_BITS = {"PCM_S8": 8, "PCM_16": 16, "PCM_24": 24}
LEAST_S, MOST_S = 0.4, 60.0  # a block of the loudness meter; more than anybody listens to twice
_RATES_HZ = (8_000, 192_000)


@dataclass(frozen=True, eq=False)
class Passage:
    """A passage as it was recorded. `samples`: shape (n, 2), fractions of full scale."""

    rate_hz: int
    samples: Array


def read_passage(
    path: Path, source: str, start_s: float, end_s: float | None, columns: Mapping[str, str | int]
) -> Passage:
    """Return a passage of a recording. One channel is played on both sides.

    Parameters
    ----------
    path : Path
        The file.
    source : str
        Its name in messages.
    start_s, end_s : float
        Where the passage begins and ends; None: at the file's end.
    columns : Mapping[str, str | int]
        Which channels are meant, as for a capture.

    Returns
    -------
    Passage
        The passage.

    Raises
    ------
    InputError
        If the file isn't complete, the passage isn't in it, lasts too long or too short, or clipped.
    """
    refuse_devices(path, source)
    try:
        with path.open("rb") as file:
            return _read(file, path.stat().st_size, source, (start_s, end_s), columns)
    except OSError as error:
        raise refusal(source, f"cannot be read: {error.strerror or error}; make it a readable file") from error


def _read(
    file: BinaryIO, length: int, source: str, between_s: tuple[float, float | None], columns: Mapping[str, str | int]
) -> Passage:
    is_flac = file.read(len(_FLAC)) == _FLAC
    file.seek(0)
    header = _read_flac_header(file, source) if is_flac else read_header(file, length, source)
    rate_hz = header.rate_hz
    if not _RATES_HZ[0] <= rate_hz <= _RATES_HZ[1]:
        raise refusal(source, f"has {rate_hz} samples a second, which nothing plays; save it at 48 kHz")
    numbers = [number for _, number in choose_channels(header, columns, source)]
    end_s = header.seconds if between_s[1] is None else between_s[1]
    if end_s > header.seconds + 0.5 / rate_hz:
        message = f"lasts {header.seconds:.4g} s, and the passage would end at {end_s:.6g} s"
        raise refusal(source, f'{message}; correct "to" in its [[sound]]')
    start, stop = round(between_s[0] * rate_hz), round(end_s * rate_hz)
    lasts = max(stop - start, 0) / rate_hz
    if not LEAST_S <= lasts <= MOST_S:
        message = f"the passage lasts {lasts:.4g} s, and may last {LEAST_S:g} s to {MOST_S:g} s"
        raise refusal(source, f'{message}; write "from" and "to" in its [[sound]]')
    read = read_samples(file, header, numbers, source, start, stop)
    check_samples(read, numbers, header, source, start)
    return Passage(rate_hz, np.stack([read[0], read[-1]], axis=1))


def _read_flac_header(file: BinaryIO, source: str) -> Header:
    import soundfile  # type: ignore[import-untyped]

    try:
        with soundfile.SoundFile(file) as sound:
            header = Header(sound.samplerate, sound.channels, _BITS.get(sound.subtype, 24), False, sound.frames)
    except (soundfile.SoundFileError, RuntimeError, ValueError) as error:
        why = str(error).rstrip(".")
        raise refusal(source, f"the FLAC file cannot be read ({why}); save it again") from error
    if not 0 < header.frames < 1 << 36:  # the most that the format can count
        raise refusal(source, "the FLAC file does not say how long it is; save it again")
    return header
