"""Files of about a megabyte made to hang a reader or to fill the memory: read, or refused at once, in words that help.

Each within two seconds of processor time for a megabyte, and with at most twenty times its size of memory above a base
of 8 MB (what a few thousand Python objects take). Memory is what tracemalloc sees: Python's own, with numpy's arrays;
what the libraries for pictures, sound and timelines take is measured by tests/bench/fuzz_readers.py.
"""

from __future__ import annotations

import contextlib
import io
import json
import signal
import struct
import sys
import time
import tracemalloc
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from every_reader import every_reader, pcm, wave, wrong_message
from PIL import Image
from wild_files import png_chunk

from reviewkit.ingest.measurement_file import read_any
from reviewkit.ingest.session.notes_file import MOST_NOTES, parse_notes, read_notes
from reviewkit.ingest.session.photo_file import read_photo
from reviewkit.ingest.session.price_file import read_prices
from reviewkit.ingest.session.session_file import read_document
from reviewkit.model.errors import MOST_KEPT, InputError, listed

READERS = every_reader()
MB = 1_000_000
MOST_S, MOST_TIMES, BASE_BYTES = 2.0, 20, 8_000_000
STOPPED_S = 60.0  # a hang ends the test, not the run


@dataclass(frozen=True)
class Bomb:
    """`says`: the beginning of the first message, or a part of it; "" where the file is read."""

    reader: str
    make: Callable[[], bytes]
    says: str


def filled(text: str, size: int = MB) -> bytes:
    return (text * (size // len(text) + 1))[:size].encode()


def numbered(text: str, size: int = MB) -> bytes:
    """As many lines with a number each as make the size."""
    lines, length = [], 0
    while length < size:
        lines.append(text.replace("%", str(len(lines))))
        length += len(lines[-1])
    return "".join(lines).encode()


UNIT = b'[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
SWEEP = b"Frequency (Hz),Level (dBV)\n"
LONG_LINE = "this line has 1000"
LONG_SESSION = "characters, and no session needs over 200000"
NO_ROWS = "no row holds two numbers or more"
UNPAIRED = "quotation marks are not paired in this row"


def session(text: bytes) -> Callable[[], bytes]:
    return lambda: UNIT + text


def short(text: str, most: int = 190_000) -> Callable[[], bytes]:
    """A session under the limits, so that what follows them is tried too."""
    return lambda: b"\n".join((UNIT + numbered(text, most)).split(b"\n")[:3900]) + b"\n"


SESSIONS = {
    "arrays in arrays": Bomb("session", lambda: UNIT + b"what = " + b"[" * 499_000, "has 499"),
    "tables in tables": Bomb("session", lambda: UNIT + b"what = " + b"{a=" * 300_000, "has 900"),
    "a dotted key of half a million parts": Bomb(
        "session", lambda: UNIT + b"a" + b".a" * 499_000 + b" = 1", LONG_SESSION
    ),
    "a dotted header of half a million parts": Bomb(
        "session", lambda: UNIT + b"[a" + b".a" * 499_000 + b"]", LONG_SESSION
    ),
    "a hundred thousand keys": Bomb("session", lambda: UNIT + numbered("a% = 1\n"), LONG_SESSION),
    "a hundred thousand tables": Bomb("session", lambda: UNIT + numbered("[a%]\n"), LONG_SESSION),
    "a text of a megabyte": Bomb("session", lambda: UNIT + b'what = "' + b"a" * MB, LONG_SESSION),
    "blank lines": Bomb("session", lambda: UNIT + b"\n" * MB, LONG_SESSION),
    "brackets nested in one line": Bomb("session", session(b"what = " + b"[" * 1900), "brackets are nested too deeply"),
    "brackets nested over lines": Bomb(
        "session", session(b"what = " + b"[\n" * 3900), "brackets are nested too deeply"
    ),
    "dotted keys as long as may be": Bomb("session", short(f"a%{'.a' * 900} = 1\n"), "a key of 901 parts"),
    "dotted headers as long as may be": Bomb("session", short(f"[a%{'.a' * 900}]\n"), "a key of 901 parts"),
    "dotted keys of as many parts as may be": Bomb("session", short(f"a%{'.a' * 19} = 1\n", 60_000), "[unit] has 1"),
    "dotted keys, many": Bomb("session", short("a%.b.c.d.e.f = 1\n"), "[unit] has 3"),
    "unknown keys, as many as may be": Bomb("session", short("k% = 1\n"), "[unit] has 3"),
    "unknown tables, as many as may be": Bomb("session", short("[a%]\n"), "[a0]: unknown table"),
    "measurements, as many as may be": Bomb(
        "session", short('[[measurement]]\nid = "m%"\nagainst = "n%"\n'), "[[measurement]] appears 1299 times"
    ),
    "measurements that name no other": Bomb(
        "session", short('[[measurement]]\nid = "m%"\nagainst = "n%"\n', 17_000), "[[measurement]] m0: has no kind"
    ),
    "an array of empty arrays": Bomb(
        "session", session(b"what = [\n" + (b"[]," * 600 + b"\n") * 100 + b"]\n"), "[unit] what: a list of"
    ),
    "an array of numbers": Bomb(
        "session",
        session(b"[bench]\nequipment = [\n" + (b"1," * 900 + b"\n") * 100 + b"]"),
        "[bench] equipment: a list of 90000 values",
    ),
    "an array of texts": Bomb(
        "session",
        session(b"[bench]\nequipment = [\n" + (b'"a",' * 450 + b"\n") * 100 + b"]"),
        "[bench] equipment: a list of",
    ),
    "blanks in a value": Bomb(
        "session", session(b'[bench]\nload = "8' + b" " * 900 + b"x" + b" " * 900 + b'y"'), "load = "
    ),
    "a value over many lines": Bomb(
        "session", session(b'[bench]\nload = """8' + (b" " * 1900 + b"\\\n") * 90 + b'"""'), "load = "
    ),
    "a text over many lines": Bomb(
        "session", session(b'what = """' + (b"a" * 1900 + b"\\\n") * 90 + b'"""'), "what = "
    ),
    "a path of a thousand folders": Bomb(
        "session", session(b'[[measurement]]\nfile = "' + b"a/" * 490 + b'x"'), "has no kind"
    ),
    "blanks before a quotation mark": Bomb(
        "session", session(b"what = a" + b" " * 1900 + b'"'), "what = a needs quotation marks"
    ),
}

BY_HAND = {
    "100,000 notes": Bomb(
        "notes",
        lambda: b"0:00 front: Five knobs and two rows of buttons. [card rated]\n" * 100_000,
        "this is note 10001, and",
    ),
    "as many notes as are read": Bomb("notes", lambda: b"0:00 front: Five knobs. [card rated]\n" * MOST_NOTES, ""),
    "clips without end": Bomb("notes", lambda: numbered("clip a%\n"), "this is clip 10001, and 10000"),
    "one clip again and again": Bomb("notes", lambda: filled("clip a\n"), "clip a has begun in line 1 already"),
    "lines that are no notes": Bomb("notes", lambda: filled("x\n"), '"x" cannot be read'),
    "tags that do not end": Bomb("notes", lambda: b"0:00 " + filled("[card a ") + b"]", ""),
    "brackets that open": Bomb("notes", lambda: b"0:00 " + b"[" * MB, ""),
    "one note going on for ever": Bomb("notes", lambda: b"0:00 a\n" + filled(" b\n"), ""),
    "a word of a megabyte": Bomb("notes", lambda: b"0:00 " + b"a" * MB, ""),
    "a time of a megabyte": Bomb("notes", lambda: b"1" * MB + b":00", '"1111'),
    "blank lines in notes": Bomb("notes", lambda: b"\n" * MB, ""),
    "ratings without end": Bomb("ratings", lambda: filled("x\n"), "has over 200 ratings"),
    "one rating again and again": Bomb(
        "ratings", lambda: b"Damping factor: 60\n" * 200, '"Damping factor: 60": read as'
    ),
    "a rating of a megabyte": Bomb("ratings", lambda: b"S/N: " + filled("8 dB "), '"S/N: 8 dB'),
    "a rating of as many figures as may be": Bomb(
        "ratings", lambda: filled("S/N:" + " 8 dB" * 70 + "\n", 70_000), '"S/N'
    ),
    "a number of a megabyte": Bomb("ratings", lambda: b"S/N: " + b"1," * (MB // 2), '"S/N: 1,1'),
    "brackets in a rating": Bomb("ratings", lambda: (b"S/N " + b"(" * 390 + b"\n") * 200, '"S/N ((('),
    "points in a rating": Bomb("ratings", lambda: (b"S/N " + b". " * 190 + b"\n") * 200, '"S/N . . '),
    "blank lines among ratings": Bomb("ratings", lambda: b"\n" * MB, ""),
    "a cut without end": Bomb("cut", lambda: numbered("%:00 a\n"), '"10000:00" is not a time'),
    "a cut of lines that are none": Bomb("cut", lambda: filled("x\n"), '"x" is not a time'),
    "a header of columns": Bomb("prices", lambda: b"year,index" + filled(",x"), LONG_LINE),
    "a header of unknown columns": Bomb("repair", lambda: b"point" + numbered(",a%", 19_000), "this row has 3"),
    "as many unknown columns as may be": Bomb("repair", lambda: b"point" + numbered(",a%", 4_000), "unknown column"),
    "a row of a million cells": Bomb("prices", lambda: b"year,index\n1977" + filled(",1"), LONG_LINE),
    "rows without end": Bomb("prices", lambda: b"year,index\n" + filled("x,y\n"), "the table has more than 5000 rows"),
    "one year again and again": Bomb(
        "prices", lambda: b"year,index\n" + b"1977,5\n" * 4000, "1977 is in line 2 already"
    ),
    "separators alone": Bomb("repair", lambda: b"," * MB, LONG_LINE),
    "quotation marks alone": Bomb("readings", lambda: b'"' * MB, LONG_LINE),
    "a quotation mark that is not closed": Bomb("prices", lambda: b'year,index\n"' + filled("1,2\n"), UNPAIRED),
    "blank lines in a table": Bomb("repair", lambda: b"\n" * MB, "the file is empty"),
    "readings under names of their own": Bomb(
        "readings", lambda: b"name,value,unit\n" + numbered("TP%,1,V\n", 44_000), ""
    ),
    "readings misspelled": Bomb(
        "readings", lambda: b"name,value,unit\n" + numbered("damping factur%,1,V\n", 100_000), "damping factur0: "
    ),
    "one reading again and again": Bomb(
        "readings", lambda: b"name,value,unit\n" + numbered("bias,%,V\n", 50_000), "bias: has anoth"
    ),
    "conditions without end": Bomb(
        "readings", lambda: b'name,value,unit,at\nbias,1,V,"' + b"1 W into " * 200 + b'"', ""
    ),
}

SHEETS = {
    "a header of a million cells": Bomb(
        "sheet", lambda: b"Frequency (Hz)" + filled(",L") + b"\n1" + b",2" * 10, "the file has no header"
    ),
    "a row of a million cells": Bomb(
        "sheet", lambda: SWEEP + filled("1,"), "the rows have over 1000 cells; export one"
    ),
    "a row of cells of two digits": Bomb(
        "sheet", lambda: SWEEP + filled("19 "), "the rows have over 1000 cells; export one"
    ),
    "header and rows of many cells": Bomb(
        "sheet",
        lambda: b"Hz" + numbered(",L% (V)", MB // 2) + b"\n" + filled("1,", 80_000) + b"1\n",
        "the rows have over 1000 cells",
    ),
    "as many cells as are read": Bomb(
        "sheet", lambda: b"Hz,V" + b",phase" * 998 + b"\n" + (b"1" + b",2" * 999 + b"\n") * 400, ""
    ),
    "a line without a separator": Bomb("sheet", lambda: b"a" * MB, NO_ROWS),
    "digits alone": Bomb("sheet", lambda: b"9" * MB, NO_ROWS),
    "a number of a megabyte": Bomb("sheet", lambda: SWEEP + b"20,1\n30," + b"9" * MB, '"99999'),
    "blank lines": Bomb("sheet", lambda: b"\n" * MB + SWEEP + b"20,1\n30,1\n", ""),
    "separators alone": Bomb("sheet", lambda: b";" * MB, NO_ROWS),
    "quotation marks alone": Bomb("sheet", lambda: filled('"\n'), NO_ROWS),
    "a quotation mark that is not closed": Bomb("sheet", lambda: SWEEP + b'20,1\n30,"1\n' + numbered("4%,1\n"), ""),
    "nothing but NaN": Bomb("sheet", lambda: SWEEP + filled("nan,nan\n"), NO_ROWS),
    "NaN in every row": Bomb("sheet", lambda: SWEEP + numbered("1%,nan\n"), "rows hold no reading, more than a tenth"),
    "Inf here and there": Bomb(
        "sheet", lambda: SWEEP + b"".join(b"%d,%s\n" % (n + 1, b"1" if n % 20 else b"-inf") for n in range(99_000)), ""
    ),
    "rows without a header": Bomb("sheet", lambda: filled("20,1\n"), "the file has no header"),
    "one row again and again": Bomb("sheet", lambda: SWEEP + filled("1,2\n"), ""),
    "a sweep to and fro": Bomb("sheet", lambda: SWEEP + filled("2,2\n1,2\n"), "frequency goes back from "),
    "rows that are none": Bomb("sheet", lambda: SWEEP + b"1,2\n" + filled("a,b\n"), '"a" in column 1'),
    "remarks without end": Bomb("sheet", lambda: filled("#\n") + SWEEP + b"20,1\n30,1\n", NO_ROWS),
    "0 Hz in every row": Bomb("sheet", lambda: SWEEP + filled("0,1\n"), "0 Hz in a sweep"),
    "nothing but negative frequencies": Bomb("sheet", lambda: SWEEP + numbered("-1%,1\n"), " is a negative frequency"),
    "rows that are faulty in another encoding": Bomb(
        "sheet", lambda: b"# \xe9\n" + SWEEP + b"1,2\n" * 99 + filled("1,x\n"), '"x" in c'
    ),
    "lone carriage returns": Bomb("sheet", lambda: SWEEP + filled("1,2\r"), ""),
    "a ruled line": Bomb("sheet", lambda: b"-" * MB + b"x\n" + SWEEP + b"20,1\n30,1\n", ""),
    "a name of a megabyte": Bomb("sheet", lambda: b"Hz," + filled("a ") + b"\n1,2\n2,3\n", "the file has no header"),
    "a name of blanks": Bomb(
        "sheet", lambda: b"Hz,(5" + b" " * 15_000 + b"x)\n1,2\n2,3\n", "cannot be identified from the header"
    ),
    "a name of slashes": Bomb(
        "sheet", lambda: b"Hz," + filled("a/", 15_000) + b"\n1,2\n2,3\n", "cannot be identified from the header"
    ),
    "words without brackets": Bomb(
        "sheet", lambda: filled("a b c d ", 19_000) + b"(\n20 1\n30 1\n", "the file has no header"
    ),
    "digits in groups": Bomb("sheet", lambda: b"f;l\n1" + b" 000" * (MB // 4) + b"x;2\n1;2\n", "over 1000 cells"),
    "numbers in doubt": Bomb(
        "sheet", lambda: SWEEP.replace(b",", b";") + b"1,500;2,500\n" * 80_000, '"1,500" may mean'
    ),
    "zero bytes": Bomb("sheet", lambda: bytes(MB), "binary content"),
}


def lying(name: bytes = b"RIFF", before: bytes = b"", **claims) -> Callable[[], bytes]:
    form = claims.pop("form", pcm())
    return lambda: wave(form, b"\x00\x00\x10\x20" * (MB // 4), name=name, before=before, **claims)


def long_length(size: int) -> bytes:
    return b"ds64" + struct.pack("<IQQQI", 28, size, size, size // 2, 0)


def chunks(count: int, size: int) -> bytes:
    return b"RIFF\xff\xff\xff\xffWAVE" + (b"LIST" + struct.pack("<I", size) + b"\0" * min(size, 2)) * count


BREAKS_OFF = "the capture breaks off: the header promises"
CAPTURES = {
    "a header that claims two samples more": Bomb("capture", lying(claimed=MB + 4), BREAKS_OFF),
    "a header that claims less": Bomb("capture", lying(claimed=10_000), ""),
    "a header that claims 4 GB": Bomb(
        "capture", lying(claimed=0xFFFFFFFE), f"{BREAKS_OFF} 44739.2 s, the file holds 10.4167 s"
    ),
    "a header that claims 10 GB": Bomb(
        "capture",
        lying(b"RF64", long_length(10**10), claimed=0xFFFFFFFF),
        f"{BREAKS_OFF} 104167 s, the file holds 10.4167 s",
    ),
    "a header that claims all there is": Bomb(
        "capture", lying(b"RF64", long_length(2**64 - 2), claimed=0xFFFFFFFF), BREAKS_OFF
    ),
    "a length left open": Bomb("capture", lying(claimed=0xFFFFFFFF), "the header leaves the length open"),
    "half a sample": Bomb("capture", lying(claimed=10_001), "the samples break off inside the last one"),
    "no channels": Bomb("capture", lying(form=pcm(0)), "the header contradicts itself: 0 channels"),
    "65535 channels": Bomb(
        "capture",
        lambda: wave(pcm(65_535, bits=8, frame=65_535), b"\x80" * 65_535 * 15),
        "the capture has 65535 channels; say",
    ),
    "0 Hz": Bomb("capture", lying(form=pcm(rate_hz=0)), "the header gives a sample rate of 0 Hz"),
    "4 GHz": Bomb("capture", lying(form=pcm(rate_hz=4_000_000_000)), "the header gives a sample rate of 4000000000 Hz"),
    "three bytes for two": Bomb(
        "capture", lying(form=pcm(frame=3)), "the header contradicts itself: 1 channels of 16 bits in 3"
    ),
    "chunks without end": Bomb("capture", lambda: chunks(120_000, 0), "no format in this WAV file"),
    "odd chunks without end": Bomb("capture", lambda: chunks(99_000, 1), "no format in this WAV file"),
    "a chunk of 4 GB": Bomb("capture", lambda: chunks(1, 0xFFFFFFFF) + bytes(MB), "no format in this WAV file"),
    "samples that are no numbers": Bomb(
        "capture",
        lambda: wave(pcm(bits=32, code=3), b"\0\0\xc0\x7f" * (MB // 4)),
        "the capture has samples that aren't numbers",
    ),
    "samples of eight bits": Bomb("capture", lambda: wave(pcm(bits=8), b"\x70\x90" * (MB // 2)), ""),
}


def png(width: int, height: int, *more: bytes) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", head) + b"".join(more)


def zeros(size: int) -> bytes:
    packer = zlib.compressobj(9)
    return b"".join(packer.compress(bytes(MB)) for _ in range(size // MB)) + packer.flush()


def of_one_colour(width: int, height: int, **how: object) -> bytes:
    file = io.BytesIO()
    Image.new("L", (width, height), 90).save(file, "JPEG", **how)
    return file.getvalue()


PHOTOS = {
    "100,000 × 100,000 pixels": Bomb(
        "photo",
        lambda: png(100_000, 100_000, png_chunk(b"IDAT", zlib.compress(b""))),
        "the photo has far more pixels than can",
    ),
    "two thousand million pixels a side": Bomb(
        "photo", lambda: png(2**31 - 1, 2**31 - 1), "the photo is neither JPEG nor PNG"
    ),
    "pixels that a few bytes unpack to": Bomb(
        "photo",
        lambda: png(9000, 9000, png_chunk(b"IDAT", zeros(9000 * 27_001))),
        "the photo has 9000 × 9000 pixels in 0.2 MB",
    ),
    "a chunk that claims 2 GB": Bomb(
        "photo", lambda: png(10, 10, png_chunk(b"IDAT", bytes(MB), 2**31 - 1)), "the photo cannot be op"
    ),
    "a remark that unpacks to 100 MB": Bomb(
        "photo",
        lambda: png(9, 9, png_chunk(b"zTXt", b"a\0\0" + zeros(100 * MB))),
        "the photo cannot be opened (Decompressed",
    ),
    "remarks without end": Bomb(
        "photo", lambda: png(9, 9, png_chunk(b"tEXt", b"a\0b") * 60_000), "the photo is neither JPEG nor PNG"
    ),
    "a JPEG of fillers": Bomb("photo", lambda: b"\xff\xd8" + b"\xff" * MB, "the photo is neither JPEG nor PNG"),
    "a JPEG of empty segments": Bomb(
        "photo", lambda: b"\xff\xd8" + b"\xff\xfe\0\2" * (MB // 4), "the photo is neither JPEG nor PNG"
    ),
    "a large JPEG of one colour": Bomb("photo", lambda: of_one_colour(9000, 9000), ""),
}

NO_JSON = "this is not what reviewkit wrote there"
JSON = {
    "arrays 100,000 deep": Bomb("published", lambda: b"[" * 100_000 + b"]" * 100_000, NO_JSON),
    "objects 100,000 deep": Bomb("published", lambda: b'{"said":' * 100_000 + b"1" + b"}" * 100_000, NO_JSON),
    "a number of a megabyte": Bomb("published", lambda: b'{"said":' + b"9" * MB + b"}", NO_JSON),
    "NaN without end": Bomb("published", lambda: b"[" + filled("NaN,") + b"1]", NO_JSON),
    "empty arrays": Bomb("published", lambda: b"[" + filled("[],") + b"1]", NO_JSON),
    "figures without end": Bomb(
        "published", lambda: b'{"corrected":{},"said":{' + numbered('"%":"",')[:-1] + b"}}", ""
    ),
    "a timeline 100,000 deep": Bomb(
        "timeline", lambda: b"[" * 100_000 + b"]" * 100_000, "is not an OpenTimelineIO file"
    ),
    "stacks in stacks": Bomb("timeline", lambda: stacks(450), "no marker in the cut names a segment"),
    "a timeline of digits": Bomb("timeline", lambda: b"9" * MB, "is not an OpenTimelineIO file"),
    "one marker again and again": Bomb("timeline", lambda: many_markers(), ""),
}


def stacks(depth: int) -> bytes:
    inner: dict[str, object] = {"OTIO_SCHEMA": "Gap.1"}
    for _ in range(depth):
        inner = {"OTIO_SCHEMA": "Stack.1", "children": [inner]}
    return json.dumps({"OTIO_SCHEMA": "Timeline.1", "tracks": inner}).encode()


def many_markers() -> bytes:
    whole = json.loads(READERS["timeline"].good[0])
    clip = next(track for track in whole["tracks"]["children"] if track["name"] == "clips")["children"][0]
    marker = clip["markers"][0]
    clip["markers"] = [marker] * (MB // len(json.dumps(marker)))
    return json.dumps(whole).encode()


BOMBS = {
    f"{bomb.reader}: {name}": bomb
    for family in (SESSIONS, BY_HAND, SHEETS, CAPTURES, PHOTOS, JSON)
    for name, bomb in family.items()
    if bomb.reader in READERS
}


# those that take half a second or more, most of it for tracing the memory
SLOW = {
    "cut: a cut of lines that are none",
    "cut: a cut without end",
    "notes: 100,000 notes",
    "notes: as many notes as are read",
    "notes: blank lines in notes",
    "notes: lines that are no notes",
    "notes: one clip again and again",
    "notes: one note going on for ever",
    "photo: a JPEG of empty segments",
    "photo: a JPEG of fillers",
    "photo: a large JPEG of one colour",
    "photo: a remark that unpacks to 100 MB",
    "photo: pixels that a few bytes unpack to",
    "photo: remarks without end",
    "published: empty arrays",
    "published: figures without end",
    "ratings: a rating of as many figures as may be",
    "ratings: blank lines among ratings",
    "ratings: brackets in a rating",
    "ratings: one rating again and again",
    "ratings: points in a rating",
    "readings: one reading again and again",
    "readings: readings misspelled",
    "readings: readings under names of their own",
    "repair: blank lines in a table",
    "session: an array of empty arrays",
    "session: an array of numbers",
    "session: an array of texts",
    "session: dotted keys of as many parts as may be",
    "session: dotted keys, many",
    "session: measurements that name no other",
    "session: measurements, as many as may be",
    "session: unknown keys, as many as may be",
    "session: unknown tables, as many as may be",
    "sheet: 0 Hz in every row",
    "sheet: Inf here and there",
    "sheet: NaN in every row",
    "sheet: a header of a million cells",
    "sheet: a name of a megabyte",
    "sheet: a quotation mark that is not closed",
    "sheet: a row of a million cells",
    "sheet: a sweep to and fro",
    "sheet: as many cells as are read",
    "sheet: blank lines",
    "sheet: digits in groups",
    "sheet: header and rows of many cells",
    "sheet: lone carriage returns",
    "sheet: nothing but NaN",
    "sheet: nothing but negative frequencies",
    "sheet: numbers in doubt",
    "sheet: one row again and again",
    "sheet: quotation marks alone",
    "sheet: remarks without end",
    "sheet: rows that are faulty in another encoding",
    "sheet: rows that are none",
    "sheet: rows without a header",
    "sheet: separators alone",
    "sheet: words without brackets",
    "timeline: one marker again and again",
}


@contextlib.contextmanager
def stopped_in_time():
    """Ends a hang, where the system has the signal for it."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def stop(*_: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, STOPPED_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


@dataclass
class Outcome:
    """What came of one reading, run twice: processor time in s, memory at its peak in bytes, and the first fault."""

    seconds: float
    peak: int
    refused: InputError | None


def outcome(read: Callable[[], object]) -> Outcome:
    refused = None
    with stopped_in_time():
        begun = time.process_time()
        try:
            read()
        except InputError as error:
            refused = error
        seconds = time.process_time() - begun
        tracemalloc.start()
        try:
            with contextlib.suppress(InputError):
                read()
            return Outcome(seconds, tracemalloc.get_traced_memory()[1], refused)
        finally:
            tracemalloc.stop()


@pytest.fixture(scope="module", autouse=True)
def _everything_imported():
    for reader in READERS.values():
        reader.read(reader.good[0])


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.long] if name in SLOW else []) for name in BOMBS]
)
def test_a_bomb(name: str):
    bomb = BOMBS[name]
    reader, data = READERS[bomb.reader], bomb.make()
    came = outcome(lambda: reader.read(data))
    assert came.seconds < MOST_S * max(1.0, len(data) / MB)
    assert came.peak < MOST_TIMES * len(data) + BASE_BYTES
    faults = came.refused.faults if came.refused else ()
    assert bomb.says in (faults[0].message if faults else "")
    assert bool(bomb.says) == bool(faults)
    assert len(faults) <= MOST_KEPT
    assert [wrong_message(fault.source, fault.message) for fault in faults[:20]] == [""] * len(faults[:20])


def test_the_slow_ones_are_named_rightly():
    assert {name for name in SLOW if name.partition(":")[0] in READERS} <= BOMBS.keys()


def test_of_very_many_faults_the_first_are_told():
    with pytest.raises(InputError) as refused:
        parse_notes("0:00 a\n" + "x\n" * 5000)
    assert [fault.line for fault in refused.value.faults] == list(range(2, MOST_KEPT + 2))
    told = listed(refused.value.faults)
    assert len(told) == 21
    assert told[-1] == "notes.txt: and over 980 more"


# ------------------------------------------------------------------ a file that only seems to hold so much


def hollow(path: Path, size: int = 10**10, beginning: bytes = b"") -> Path:
    """A file of that many zero bytes, none of which is stored."""
    with path.open("wb") as file:
        file.write(beginning)
        file.truncate(size)
    return path


WHOLE_FILES: dict[str, tuple[Callable[[Path], object], bytes, str]] = {
    "notes.txt": (read_notes, b"0:00 a\n", "holds over 20 MB, so it is some other file"),
    "prices.csv": (
        lambda path: read_prices(path, path.name),
        b"year,index\n",
        "holds over 20 MB, so it is some other file",
    ),
    "session.toml": (
        lambda path: read_document(path.parent),
        UNIT,
        "holds over 20 MB, so it is some other",
    ),
    "sweep.csv": (
        lambda path: read_any(path, path.name),
        SWEEP,
        "the file holds 10 GB, and 1 are the most that are read",
    ),
    "readings.csv": (
        lambda path: read_any(path, path.name),
        b"name,value\n",
        "holds over 20 MB, so it is some other file",
    ),
    "tone.wav": (
        lambda path: read_any(path, path.name),
        wave(pcm(), b"", claimed=4 * 10**9),
        "the capture is 4.167e+04 s long; cut it to 833 s or less",
    ),
    "front.jpg": (lambda path: read_photo(path.parent, path.name), b"\xff\xd8", "the photo holds 10000 MB"),
}


@pytest.mark.skipif(sys.platform == "win32", reason="a hollow file takes its room there")
@pytest.mark.parametrize("name", WHOLE_FILES)
def test_ten_gigabytes_are_refused_unread(name: str, tmp_path: Path):
    read, beginning, says = WHOLE_FILES[name]
    path = hollow(tmp_path / name, beginning=beginning)

    came = outcome(lambda: read(path))
    assert says in str(came.refused)
    assert came.seconds < MOST_S
    assert came.peak < 60 * MB
