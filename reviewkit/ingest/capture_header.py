"""The header of a WAV file, compared with the bytes that are there.

Chunks as in the RIFF form (1991) and its 64-bit relative RF64 (EBU Tech 3306), both from memory: four
letters, a length, as many bytes, padded to an even number.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from typing import BinaryIO

from reviewkit.model.errors import refusal

INTEGER, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
_BITS = {INTEGER: (8, 16, 24, 32), FLOAT: (32, 64)}
# the rest of a subformat that contains a plain format code (KSDATAFORMAT_SUBTYPE)
_SUBFORMAT_TAIL = bytes.fromhex("000000001000800000aa00389b71")
_COMPRESSED = {2: "ADPCM", 6: "A-law", 7: "µ-law", 0x11: "ADPCM", 0x31: "GSM 6.10", 0x50: "MPEG audio", 0x55: "MP3"}
_RATES_HZ = (1_000, 10_000_000)
_LENGTH_LEFT_OPEN = 0xFFFFFFFF
_MOST_CHUNKS = 1000
_SAVE = "save it as WAV, 24-bit PCM or 32-bit float"
_OTHER = (
    (b"fLaC", "a FLAC file"),
    (b"OggS", "an Ogg file"),
    (b"ID3", "an MP3 file"),
    (b"\xff\xfb", "an MP3 file"),
    (b"FORM", "an AIFF file"),
    (b"caff", "a CAF file"),
    (b"riff", "a Wave64 file"),
    (b"PK\x03\x04", "a zip archive or a spreadsheet"),
)


@dataclass(frozen=True)
class Header:
    """A header that matches its file: the samples are all there. `bits`: those of a sample that carry the signal."""

    rate_hz: int
    channels: int
    bits: int
    is_float: bool
    frames: int

    @property
    def format(self) -> str:
        """Return the format as printed: WAV 24-bit."""
        return f"WAV {self.bits}-bit{' float' if self.is_float else ''}"

    @property
    def seconds(self) -> float:
        """Return the length of the capture, s."""
        return self.frames / self.rate_hz


def read_header(file: BinaryIO, length: int, source: str) -> Header:
    """Return the header of a WAV file; only its chunks' heads are read.

    Parameters
    ----------
    file : BinaryIO
        The open file.
    length : int
        Its length in bytes.
    source : str
        Its name in messages.

    Returns
    -------
    Header
        The format, and where the samples are.

    Raises
    ------
    InputError
        If it isn't a WAV file, is compressed, truncated or without samples, or if its header contradicts itself.
    """
    order = _byte_order(file.read(12), length, source)
    form: tuple[Header, int] | None = None
    long_length: int | None = None
    place = 12
    for _ in range(_MOST_CHUNKS):
        file.seek(place)
        head = file.read(8)
        if len(head) < 8:
            break
        name, size = struct.unpack(order + "4sI", head)
        place += 8
        if name == b"ds64":
            parts = file.read(24)
            long_length = struct.unpack("<Q", parts[8:16])[0] if len(parts) == 24 else None
        elif name == b"fmt ":
            form = _form(file.read(min(size, 40)), order, source)
        elif name == b"data":
            if size == _LENGTH_LEFT_OPEN and long_length is not None:
                size = long_length
            if form is None:
                raise refusal(source, "the header does not say how the samples are written; save the capture again")
            return _checked(*form, place, size, length, source)
        place += size + size % 2
    missing = "samples" if form else "format"
    raise refusal(source, f"no {missing} in this WAV file, it breaks off before them; copy or capture it again")


def _byte_order(beginning: bytes, length: int, source: str) -> str:
    if length == 0:
        raise refusal(source, "the file is empty; capture the measurement again")
    if beginning[:4] in (b"RIFF", b"RF64") and beginning[8:12] == b"WAVE":
        return "<"
    if beginning[:4] == b"RIFX" and beginning[8:12] == b"WAVE":
        return ">"
    if beginning[:4] in (b"RIFF", b"RF64", b"RIFX") and len(beginning) < 12:
        raise refusal(source, "the WAV file breaks off in its header; copy or capture it again")
    for sign, what in _OTHER:
        if beginning.startswith(sign):
            raise refusal(source, f"this is {what}, not WAV, whatever its name says; {_SAVE}")
    raise refusal(source, f"this is not a WAV file, whatever its name says; {_SAVE}, or name text files .csv")


def _form(body: bytes, order: str, source: str) -> tuple[Header, int]:
    """Return the header but for the number of frames, and how many bytes one takes."""
    if len(body) < 16:
        raise refusal(source, "the format part of the header is too short; save the capture again")
    code, channels, rate_hz, _, frame_bytes, container = struct.unpack(order + "HHIIHH", body[:16])
    bits = container
    if code == EXTENSIBLE:
        if len(body) < 40 or body[26:] != _SUBFORMAT_TAIL:
            raise refusal(source, f"the extended header names a format that is not known; {_SAVE}")
        valid, _, code = struct.unpack(order + "HIH", body[18:26])
        bits = valid or container
    if code not in _BITS:
        name = f" ({_COMPRESSED[code]})" if code in _COMPRESSED else ""
        raise refusal(source, f"the samples are compressed or in a format that is not read, code {code}{name}; {_SAVE}")
    if container not in _BITS[code] or not 0 < bits <= container:
        raise refusal(source, f"the samples take {container} bits, {bits} of them used, which is not read; {_SAVE}")
    if channels == 0 or frame_bytes != channels * container // 8:
        said = f"{channels} channels of {container} bits in {frame_bytes} bytes"
        raise refusal(source, f"the header contradicts itself: {said}; save the capture again")
    if not _RATES_HZ[0] <= rate_hz <= _RATES_HZ[1]:
        raise refusal(source, f"the header gives a sample rate of {rate_hz} Hz; save the capture again")
    return Header(rate_hz, channels, bits if code == INTEGER else container, code == FLOAT, 0), frame_bytes


def _checked(form: Header, frame_bytes: int, start: int, size: int, length: int, source: str) -> Header:
    there = length - start
    frames, over = divmod(size, frame_bytes)
    if size == 0:
        raise refusal(source, "the capture holds no samples; capture the measurement again")
    if size == _LENGTH_LEFT_OPEN:
        raise refusal(
            source, "the header leaves the length open, so nothing shows whether all is there; save the capture again"
        )
    if size > there:
        claimed, held = frames / form.rate_hz, there // frame_bytes / form.rate_hz
        said = f"the header promises {claimed:.6g} s, the file holds {held:.6g} s"
        raise refusal(source, f"the capture breaks off: {said}; copy or capture it again")
    if over:
        raise refusal(source, "the samples break off inside the last one; copy or capture it again")
    return replace(form, frames=frames)
