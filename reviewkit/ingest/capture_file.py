"""WAV captures → Sheet: a column of time and one of level for each channel, in volts if full scale is known."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO

import numpy as np

from reviewkit.ingest.capture_header import Header, read_header
from reviewkit.model.arrays import Array
from reviewkit.model.errors import Faults, refusal
from reviewkit.model.sheet import Column, Sheet

_CHANNEL_OF = {"left": "L", "right": "R", "level": ""}
_BLOCK = 1 << 16  # frames
MOST_VALUES = 40_000_000  # samples kept, over all channels: 100 s of stereo at 192 kHz
_LARGEST = 100.0  # of full scale: a float recorder's headroom ends long before
# A ceiling lower than a 16-bit converter's largest code isn't the converter's.
_CEILING = 1 - 2.0**-15
_FINEST_BITS = 24  # no converter resolves more, whatever the size of the file's samples
_DEPTH = 16  # steps below the extreme within which samples are counted
_MOST_AT_EXTREME = 1 / 3
_MANY_SINGLES = 8


def read_capture(
    path: Path,
    source: str,
    *,
    columns: Mapping[str, str | int] | None = None,
    full_scale_v: float | None = None,
) -> Sheet:
    """Return a WAV file's channels over time: integer samples of 8 to 32 bits or floats of 32 or 64.

    Parameters
    ----------
    path : Path
        The file.
    source : str
        Its name in messages.
    columns : Mapping[str, str | int] | None
        left, right or level -> number of a channel, from 1; without it one channel is the level, and two are left and
        right.
    full_scale_v : float | None
        The peak voltage of a full-scale sine, V; without it levels are in fractions of full scale, unit "ratio", with a
        warning.

    Returns
    -------
    Sheet
        The columns of time and level, with warnings.

    Raises
    ------
    InputError
        If the file isn't a complete WAV file, or if the capture is clipped.
    """
    try:
        with path.open("rb") as file:
            return _read(file, path.stat().st_size, source, columns or {}, full_scale_v)
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise refusal(source, f"{reason}; write the file's name as it is in the session folder") from error


def _read(
    file: BinaryIO, length: int, source: str, columns: Mapping[str, str | int], full_scale_v: float | None
) -> Sheet:
    header = read_header(file, length, source)
    chosen = choose_channels(header, columns, source)
    if header.frames * len(chosen) > MOST_VALUES:
        longest = MOST_VALUES // len(chosen) / header.rate_hz
        raise refusal(source, f"the capture is {header.seconds:.4g} s long; cut it to {longest:.3g} s or less")
    read = read_samples(file, header, [number for _, number in chosen], source)
    check_samples(read, [number for _, number in chosen], header, source)
    warnings = []
    if full_scale_v is None:
        warnings.append(
            "levels are fractions of full scale; for volts add the peak voltage of a full-scale sine, for example "
            'full_scale = "10 V"'
        )
    time = np.arange(header.frames, dtype=np.float64)
    time /= header.rate_hz
    made = [Column("time", "", "s", time, f"{header.rate_hz} Hz")]
    for (channel, number), values in zip(chosen, read, strict=True):
        if full_scale_v is not None:
            values *= full_scale_v
        made.append(Column("level", channel, "ratio" if full_scale_v is None else "V", values, f"channel {number}"))
    for column in made:
        column.values.flags.writeable = False
    return Sheet(
        source,
        tuple(made),
        header.frames,
        encoding=f"{header.format}, {header.rate_hz / 1000:g} kHz",
        separator="",
        decimal="",
        warnings=tuple(warnings),
    )


def choose_channels(header: Header, columns: Mapping[str, str | int], source: str) -> list[tuple[str, int]]:
    """Return (channel, number from 1) of the channels to read, in the order L, R.

    Raises
    ------
    InputError
        If the file has no such channels, or if it isn't clear which are meant.
    """
    faults, count = Faults(source), header.channels
    here = f"this capture has {count} channel{'s' if count > 1 else ''}, counted from 1"
    if not columns:
        if count > 2:
            meant = "say in session.toml which are meant, for example columns = { left = 1, right = 2 }"
            raise refusal(source, f"the capture has {count} channels; {meant}")
        return [("", 1)] if count == 1 else [("L", 1), ("R", 2)]
    for key, value in columns.items():
        if key not in _CHANNEL_OF:
            faults.add(0, f'columns names "{key}"; of a WAV capture only left, right or level can be chosen')
        elif isinstance(value, bool) or not isinstance(value, int):
            faults.add(0, f'columns: {key} = "{value}": give the number of the channel; {here}')
        elif not 1 <= value <= count:
            faults.add(0, f"columns: {key} = {value} is not a channel of this file; {here}")
    if "level" in columns and len(columns) > 1:
        faults.add(0, "columns: level means the only channel; with two write left and right")
    faults.stop_if_any()
    chosen = [(_CHANNEL_OF[key], int(columns[key])) for key in ("left", "right", "level") if key in columns]
    if len({number for _, number in chosen}) < len(chosen):
        raise refusal(source, f"columns gives channel {chosen[0][1]} to both left and right; give each its own")
    return chosen


def read_samples(
    file: BinaryIO, header: Header, numbers: list[int], source: str, start: int = 0, stop: int | None = None
) -> list[Array]:
    """Return the chosen channels as fractions of full scale, shape (frames,) each.

    They are read in blocks, so that no second copy of a long capture is in memory.

    Parameters
    ----------
    file : BinaryIO
        The open file.
    header : Header
        Its header.
    numbers : list[int]
        The channels, from 1.
    source : str
        Its name in messages.
    start, stop : int
        The first frame, and the one after the last; default: all of them.

    Returns
    -------
    list[Array]
        The channels.

    Raises
    ------
    InputError
        If the file can't be read, or not to its end.
    """
    import soundfile  # type: ignore[import-untyped]

    frames = (header.frames if stop is None else stop) - start
    read = [np.empty(frames) for _ in numbers]
    file.seek(0)
    try:
        with soundfile.SoundFile(file) as sound:
            sound.seek(start)
            done = 0
            while done < frames and len(got := sound.read(min(_BLOCK, frames - done), always_2d=True)):
                for values, number in zip(read, numbers, strict=True):
                    values[done : done + len(got)] = got[:, number - 1]
                done += len(got)
    except (soundfile.SoundFileError, RuntimeError, ValueError) as error:
        why = str(error).rstrip(".")
        raise refusal(source, f"the file cannot be read ({why}); save it as WAV, 24-bit PCM") from error
    if done < frames:
        said = f"of {frames} samples a channel only {done} can be read"
        raise refusal(source, f"the capture breaks off: {said}; copy or capture it again")
    return read


def check_samples(read: list[Array], numbers: list[int], header: Header, source: str, start: int = 0) -> None:
    """Check that samples are numbers and fractions of full scale, and that they aren't clipped.

    Parameters
    ----------
    read : list of Array
        The samples of each channel, shape (n,), fractions of full scale.
    numbers : list of int
        The channels' numbers, from 1.
    header : Header
        The file's header.
    source : str
        The file's name, for messages.
    start : int
        The frame with which the samples begin.

    Raises
    ------
    InputError
        With one fault for each channel that fails, and where it first does.
    """
    faults = Faults(source)
    for values, number in zip(read, numbers, strict=True):
        where = f"channel {number}" if header.channels > 1 else "the capture"
        finite = np.isfinite(values)
        if not finite.all():
            at = (start + int(np.argmin(finite))) / header.rate_hz
            faults.add(0, f"{where} has samples that aren't numbers, the first at {at:.6g} s; export it again")
            continue
        high, low = float(values.max()), float(values.min())
        if max(high, -low) > _LARGEST:
            faults.add(
                0,
                f"{where} has samples up to {max(high, -low):.4g}; full scale is 1.0 in a float WAV file: "
                "export it that way, or as 24-bit PCM",
            )
            continue
        step = 2.0 ** (1 - min(header.bits, _FINEST_BITS))
        places = [_clipped(values, high, step), _clipped(values, low, step)]
        first = min((place for place in places if place is not None), default=None)
        if first is not None:
            faults.add(
                0,
                f"{where} is clipped, or too close to full scale to tell, first at "
                f"{(start + first) / header.rate_hz:.6g} s; lower the capture level and capture again",
            )
    faults.stop_if_any()


def _clipped(values: Array, extreme: float, step: float) -> int | None:
    """Return where the capture is first flat at its extreme (the largest or the smallest sample), or None.

    A sine spends √d of its time within d of its crest, so if it just touches its extreme, a quarter of the samples
    within sixteen steps are there; if its crest is cut off, most are. Below a converter's ceiling nothing is clipped.
    """
    if abs(extreme) < _CEILING:
        return None
    at = np.flatnonzero(values == extreme)
    near = np.count_nonzero(values >= extreme - _DEPTH * step if extreme > 0 else values <= extreme + _DEPTH * step)
    if len(at) <= _MOST_AT_EXTREME * near:
        return None
    breaks = np.flatnonzero(np.diff(at) != 1)
    runs = np.diff(np.concatenate(([-1], breaks, [len(at) - 1])))
    # floats may exceed 1.0 unharmed: then only a top that is flat over three samples isn't a sine's
    above = abs(extreme) > 1
    flat = int(np.max(runs)) >= (3 if above else 2)
    # a clipped high tone may leave one sample per crest: one proves nothing, many do
    return int(at[0]) if flat or (not above and len(at) >= _MANY_SINGLES) else None
