"""Every reader by name, files that it reads, and the one rule for all: read, or refused in words that help."""

from __future__ import annotations

import contextlib
import dataclasses
import io
import json
import math
import re
import struct
import tempfile
import warnings
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from unittest import mock

import numpy as np
import soundfile
from brochure_lines import LINES, Read
from capture_bytes import parse_passage, read_bytes
from cut_on_paper import episode
from odd_files import CASES, Case
from PIL import Image
from session_texts import UNIT, WHOLE

from reviewkit.ingest.plain_text import decode
from reviewkit.ingest.reading_file import parse_readings
from reviewkit.ingest.session.cut_file import parse_cut
from reviewkit.ingest.session.notes_file import parse_notes
from reviewkit.ingest.session.photo_file import check_photo
from reviewkit.ingest.session.price_file import parse_prices
from reviewkit.ingest.session.published_file import parse_published
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.ingest.session.timeline_file import read_edited
from reviewkit.ingest.sheet import sheet_rows
from reviewkit.ingest.sheet.sheet_file import as_json, parse_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.render.footage.timeline import build_timeline

SAMPLE = Path(__file__).resolve().parents[2] / "sample_session"
LONGEST_MESSAGE = 540  # characters: some six lines of a terminal; the longest one names every rating there is
_ROWS_OF_A_SAMPLE = 30  # lines kept of a long file: the rest is more of the same
# how a message tells what to do: a word of command after a pause, an example, or what would have been known
_COMMANDS = (
    "open|write|save|export|bring|delete|keep|copy|capture|give|put|name|leave|begin|list|move|correct|say|close|shorten|cut|"
    "scale|set|add|measure|make|split|rename|lower|end|show"
)
_REMEDY = re.compile(
    rf"[;:,(.] (?:[a-z]+ ){{0,4}}(?:{_COMMANDS})\b|did you mean |known: |for example|as in |looks like|needs rows: |"
    "(numbered|counted) from 1|stands in quotation marks"
)


@dataclasses.dataclass(frozen=True)
class Reader:
    """`read`: bytes → what was read, or InputError. `good`: files it reads. `open_ends`: an infinity has a meaning.
    `passes`: how often it goes through a file.
    """

    name: str
    read: Callable[[bytes], object]
    good: tuple[bytes, ...]
    open_ends: bool = False
    passes: int = 1


def wrong(reader: Reader, data: bytes) -> str:
    """What the reader does with the data that no reader may do; "" where it reads it, or refuses it as it should.

    Whatever else it raises comes through, warnings among it.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = reader.read(data)
        except InputError as error:
            told = [wrong_message(fault.source, fault.message) for fault in error.faults]
            return next(filter(None, told), "") if told else "refused without a word"
    for value in _leaves(found):
        if isinstance(value, str) and not _encodable(value):
            return f"gave a text that cannot be written: {value[:40]!a}"
        if isinstance(value, float) and not (math.isfinite(value) or (reader.open_ends and value == math.inf)):
            return f"gave a number that is none: {value}"
    return ""


def wrong_message(source: str, message: str) -> str:
    """What is wrong with a fault's message: too long, unclear where, no remedy, or not to be shown."""
    if not source:
        return f"names no file: {message[:200]}"
    if len(message) > LONGEST_MESSAGE:
        return f"a message of {len(message)} characters: {message[:200]}"
    if len(message) < 20 or not _REMEDY.search(message):
        return f"names no remedy: {message}"
    return ""


def _encodable(text: str) -> bool:
    return not any("\ud800" <= sign <= "\udfff" for sign in text)


def _leaves(value: object) -> Iterator[object]:
    """Every text and number that was read, however deep it lies."""
    if isinstance(value, np.ndarray):
        yield from (value[~np.isfinite(value)][:1].tolist() if value.dtype.kind == "f" else ())
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from _leaves(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key, held in value.items():
            yield from _leaves(key)
            yield from _leaves(held)
    elif isinstance(value, (tuple, list)):
        for held in value:
            yield from _leaves(held)
    else:
        yield value


# ------------------------------------------------------------------ the readers


def every_reader(folder: Path | None = None) -> dict[str, Reader]:
    """All readers by name. `folder`: where the files lie that some of them must find; made where none is given."""
    there = folder or Path(tempfile.mkdtemp(prefix="readers-"))
    (there / "measurements").mkdir(exist_ok=True)
    named = re.findall(rb'"([a-z0-9/-]+\.(?:csv|wav|flac|txt|jpg))"', b"".join(_sessions()))
    for name in {name.decode() for name in named}:
        (there / name).write_bytes(b"x")
    readers = (
        Reader("session", lambda data: _session(data, there), _sessions(), open_ends=True),
        Reader("notes", lambda data: parse_notes(decode(data, "notes.txt")), _sample("notes.txt")),
        Reader(
            "prices",
            lambda data: parse_prices(decode(data, "prices.csv", western=True), "prices.csv"),
            (*_sample("prices.csv"), *PRICES),
        ),
        Reader("ratings", lambda data: _ratings(data, there), RATINGS),
        Reader("repair", lambda data: parse_repair(decode(data, "repair.csv", western=True)), _sample("repair.csv")),
        Reader(
            "readings",
            lambda data: parse_readings(decode(data, "m/r.csv", western=True), "m/r.csv"),
            _sample("measurements/readings.csv"),
        ),
        Reader(
            "cut", lambda data: parse_cut(decode(data, "final.txt")), (b"0:00 front\n6:12 before\n1:09:40.5 after\n",)
        ),
        Reader("published", lambda data: parse_published(decode(data, "published.json")), PUBLISHED),
        Reader("sheet", lambda data: parse_sheet(data, "m/x.csv"), _sheets()),
        Reader("sheet told", _told_sheet, tuple(filter(_is_told_enough, _sheets()))),
        Reader("sheet in blocks", _sheet_in_blocks, _sheets(), passes=3),
        Reader("capture", lambda data: read_bytes(data, "m/x.wav", full_scale_v=10.0), CAPTURES),
        Reader("sound", lambda data: parse_passage(data, "m/x.flac", 0.0, None, {}), SOUNDS),
        Reader("photo", lambda data: check_photo(data, "front.jpg"), PHOTOS),
    )
    known = {reader.name: reader for reader in readers}
    if find_spec("opentimelineio"):
        known["timeline"] = Reader("timeline", lambda data: _timeline(data, there), timelines())
    return known


def _session(data: bytes, folder: Path) -> object:
    session = parse_session(decode(data, "session.toml"), folder, kinds=KINDS)
    return dataclasses.replace(session, folder=Path())


def _ratings(data: bytes, folder: Path) -> object:
    brochure = decode(data, "ratings.txt", western=True)
    session = parse_session(UNIT, folder, kinds=KINDS, brochure=brochure)
    return session.ratings, session.printed


def _told_sheet(data: bytes) -> object:
    """With what a session file may say of it: `columns` and `units`, one of them by the first line's own words."""
    word = data.split(b"\n", 1)[0].decode("latin-1")[:200].partition(",")[2]
    columns: dict[str, str | int] = {"frequency": 1, "left": word or 2}
    return parse_sheet(data, "m/x.csv", columns=columns, units={"frequency": "kHz", "left": "dBFS"}, full_scale_v=1e3)


def _is_told_enough(data: bytes) -> bool:
    with contextlib.suppress(InputError):
        return bool(_told_sheet(data))
    return False


def _sheet_in_blocks(data: bytes) -> object:
    """The way of long files, taken by short ones: the same result, or the same refusal."""
    whole = _said(data)
    with mock.patch.multiple(sheet_rows, LONG=0, _STRETCH=60 if len(data) < 20_000 else 100_000):
        blocks = _said(data)
    assert blocks == whole, f"in blocks {str(blocks)[:200]}, as a whole {str(whole)[:200]}"
    return parse_sheet(data, "m/x.csv")


def _said(data: bytes) -> object:
    try:
        return json.dumps(as_json(parse_sheet(data, "m/x.csv")))
    except InputError as error:
        return [str(fault) for fault in error.faults]


def _timeline(data: bytes, folder: Path) -> object:
    (folder / "final.otio").write_bytes(data)
    return read_edited(folder / "final.otio")


# ------------------------------------------------------------------ files that they read


def _sample(name: str, lines: int = _ROWS_OF_A_SAMPLE) -> tuple[bytes, ...]:
    whole = (SAMPLE / name).read_bytes()
    return (b"\n".join(whole.split(b"\n")[:lines]) + b"\n",)


def _sessions() -> tuple[bytes, ...]:
    sample = (SAMPLE / "session.toml").read_bytes()
    tables = sample.split(b"\n[[")
    return (WHOLE.encode(), b"\n[[".join(tables[:4]), b"\n[[".join([tables[0], *tables[-4:]]))


def _sheets() -> tuple[bytes, ...]:
    """The sample's exports, their first lines, and some of the odd ones."""
    exports = [path for path in sorted((SAMPLE / "measurements").glob("*.[ct][sx][vt]")) if path.stem != "readings"]
    odd = [case.data for case in CASES if isinstance(case, Case) and not case.messages]
    return (*(_sample(f"measurements/{path.name}", 16)[0] for path in exports), *odd[::7])


_READ = [line for line, wanted in LINES.items() if isinstance(wanted, Read)]
RATINGS = tuple("\n".join(["Source: leaflet", *_READ[at::7]]).encode() for at in range(7))
PRICES = (
    b"date,cpi\n1977-01-01,58.5\n1977-02-01,59.1\n",
    b"Month;Index\n1977-01;58,5\n1977-13;60,6\n",
    b"Year," + b",".join(b"Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec Annual".split()) + b"\n1977" + b",58.5" * 13,
)
PUBLISHED = (
    b'{"said": {"tone: THD, L": "0.02 %, meets"}, "corrected": {"tone: THD, R": "1.4 %"}}',
    b'{"corrected": {}, "said": {}}',
)


def wave(
    form: bytes, samples: bytes, *, claimed: int | None = None, name: bytes = b"RIFF", before: bytes = b""
) -> bytes:
    """A WAV file; `claimed`: the length that the header gives the samples, bytes."""
    size = len(samples) if claimed is None else claimed
    head = b"WAVE" + before + b"fmt " + struct.pack("<I", len(form)) + form + b"data" + struct.pack("<I", size)
    return name + struct.pack("<I", min(len(head) + len(samples), 0xFFFFFFFF)) + head + samples


def pcm(channels: int = 1, rate_hz: int = 48_000, bits: int = 16, code: int = 1, frame: int | None = None) -> bytes:
    """The format part of a WAV header."""
    frame = channels * bits // 8 if frame is None else frame
    return struct.pack("<HHIIHH", code, channels, rate_hz, rate_hz * frame % 2**32, frame, bits)


def _captures() -> tuple[bytes, ...]:
    sine = np.sin(np.arange(120) / 7.0)
    long_length = b"ds64" + struct.pack("<IQQQI", 28, 400, 240, 120, 0)
    return (
        wave(pcm(), (sine * 9000).astype("<i2").tobytes()),
        wave(pcm(2, bits=32, code=3), np.repeat(sine * 0.5, 2).astype("<f4").tobytes()),
        wave(pcm(bits=64, code=3), (sine * 0.5).astype("<f8").tobytes()),
        wave(pcm(), (sine * 9000).astype("<i2").tobytes(), claimed=0xFFFFFFFF, name=b"RF64", before=long_length),
    )


CAPTURES = _captures()


def _sounds() -> tuple[bytes, ...]:
    """Half a second at 8 kHz, as WAV of one channel and as FLAC of two."""
    sine = 0.3 * np.sin(np.arange(4000) / 7.0)
    file = io.BytesIO()
    soundfile.write(file, np.stack([sine, sine / 2], axis=1), 8000, format="FLAC", subtype="PCM_16")
    return wave(pcm(rate_hz=8000), (sine * 9000).astype("<i2").tobytes()), file.getvalue()


SOUNDS = _sounds()


def _photos() -> tuple[bytes, ...]:
    made = []
    for kind, mode in (("JPEG", "RGB"), ("PNG", "RGB"), ("PNG", "P"), ("JPEG", "L")):
        file = io.BytesIO()
        Image.effect_noise((24, 16), 60).convert(mode).save(file, kind)
        made.append(file.getvalue())
    return tuple(made)


PHOTOS = _photos()


def timelines() -> tuple[bytes, ...]:
    """Timelines as the program writes them; one with all that an editor may add."""
    import opentimelineio as otio

    notes = "clip A.mp4 for 2:00\n0:00 opening: Bought.\n0:20 before: Look.\nclip B.mp4 for 1:00\n0:10 after: Gone.\n"
    plain = build_timeline(otio, episode(notes, {"title": None}, Fraction(25)), ())
    clocked = build_timeline(
        otio,
        episode(
            notes.replace("2:00", "2:00 at 21:00:00").replace("0:00 o", "21:00:00 o").replace("0:20 b", "21:00:20 b"),
            {"title": None},
            Fraction(30000, 1001),
        ),
        (),
    )
    return plain.encode(), clocked.encode()
