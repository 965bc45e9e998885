"""Files as nobody would write them, for hypothesis: noise, good files mutilated, and files built of wild values."""

from __future__ import annotations

import json
import re
import struct
import zlib
from collections.abc import Callable
from typing import Any

from brochure_lines import LINES
from every_reader import Reader, pcm, wave
from hypothesis import strategies as st

from reviewkit.ingest.reading_file import BY_METER, COLUMNS
from reviewkit.ingest.session.price_file import MONTHS
from reviewkit.ingest.session.repair_file import COLUMNS as REPAIR_COLUMNS
from reviewkit.ingest.session.session_file import TABLES
from reviewkit.ingest.session.session_schema import schema_of
from reviewkit.ingest.sheet.sheet_remedies import KEYS
from reviewkit.model.ratings import RULES
from reviewkit.model.units import UNITS

Files = st.SearchStrategy[bytes]

# ------------------------------------------------------------------ what is put where it does not belong

NUMBERS = (
    "0", "-0", "-0.0", "1", "-1", "7", "1e5", "1e15", "1e150", "1e154", "1e200", "1e307", "1e308", "-1e308", "1e309",
    "1e999", "1e-400", "5e-324", "1e99999999", "nan", "NaN", "-nan", "inf", "-inf", "Infinity", "9" * 30, "9" * 400,
    "9" * 5000, "0." + "0" * 400 + "1", "1" + "0" * 300, "0x1A", "1_000", "1,5", "1.000,5", "1,500", "1 000",
    "1\u00a0000", "1'000", "\u22125", "\u2013 5", "\u0663", "\uff11\uff19", "\u00bd", "\u00b2", "--", "OL", "1.#INF",
    "+-1", "1e", ".", "1..2", "0b1", "0x" + "F" * 5000, "1d5", "1E+3",
)  # fmt: skip
SIGNS = (
    "", "\x00", "\x01", "\x1a", "\x1b[2J", "\x1c", "\x7f", "\x85", "\r", "\n", "\r\n", "\n\n\n", "\t", "\v", "\f",
    " ", "   ", "\u00a0", "\u2007", "\u2009", "\u200b", "\u2028", "\u202e", "\u2066", "\ufeff", "\ufffd", "\uffff",
    "\U0001f39b", "e\u0301", "\ufb01", "\u0130", "\u0131", "\u00df", "\u1e9e", "\u03bc", "\u2126", "\u2192", '"', "'",
    '""', '"""', "'''", ";", ",", "|", "#", "//", "*", "---", "====", "\\", "\\u0000", "\\ud800", "\\x", "/", "..",
    "=", ".", "[", "]", "[[", "]]", "{", "}", "(", ")", "<", ">", "%s", "{0}", "{{ x }}", "<script>", "=1+1", "@",
    "$", ":", "0:00", "9999:59", "25:61", "true", "null", "None", "a" * 300, "\u00e9" * 300, " " * 300, "." * 300,
    '"' * 300, "1979-05-27T07:32:00Z", "../../etc", "C:\\x",
)  # fmt: skip
_RAW = (b"\xff", b"\xfe\xff", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\xc0\x80", b"\x81", b"\xff\xff\xff\xff",
        b"\x00\x00\x00\x00", b"\x80\x00\x00\x00", b"RIFF", b"PK\x03\x04", b"%PDF")  # fmt: skip
PIECES: tuple[bytes, ...] = (*(text.encode("utf-8", "surrogatepass") for text in (*NUMBERS, *SIGNS)), *_RAW)
_SEPARATORS = (b",", b";", b"\t", b" ", b"  ", b"|", b"=", b":", b"\n", b"\r", b"\r\n", b".")
_NUMBER = re.compile(rb"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_WHERE = st.integers(0, 2**16 - 1)  # a place in a file, as a share of its length

wild_number = st.one_of(
    st.sampled_from(NUMBERS),
    st.floats(allow_subnormal=False).map(repr),
    st.integers(-(10**6), 10**6).map(str),
    st.floats(-1e3, 1e3).map(lambda value: f"{value:.4g}"),
)
wild_text = st.one_of(st.sampled_from(SIGNS), st.text(max_size=12), wild_number)


def _place(data: bytes, share: int) -> int:
    return share * (len(data) + 1) >> 16


def _deleted(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at = _place(data, a)
    return data[:at] + data[at + max(1, b >> 10) :]


def _inserted(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at = _place(data, a)
    return data[:at] + piece + data[at:]


def _replaced(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at = _place(data, a)
    return data[:at] + piece + data[at + len(piece) :]


def _flipped(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at = min(_place(data, a), len(data) - 1)
    return data[:at] + bytes([data[at] ^ (1 << b % 8)]) + data[at + 1 :] if data else b""


def _truncated(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    return data[: _place(data, a)]


def _line_repeated(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    lines = data.split(b"\n")
    at = min(a * len(lines) >> 16, len(lines) - 1)
    return b"\n".join([*lines[:at], *[lines[at]] * (b % 40), *lines[at:]])


def _line_moved(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    lines = data.split(b"\n")
    line = lines.pop(a * len(lines) >> 16)
    lines.insert(b * (len(lines) + 1) >> 16, line)
    return b"\n".join(lines)


def _stretch_repeated(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at = _place(data, a)
    return data[:at] + data[at : at + (b >> 8)] * (b % 7) + data[at:]


def _separator_swapped(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    return data.replace(_SEPARATORS[a % len(_SEPARATORS)], _SEPARATORS[b % len(_SEPARATORS)])


def _sign_swapped(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at = _place(data, a)
    return data.replace(data[at : at + 1], piece, 1 + b % 60) if data[at : at + 1] else data


def _number_replaced(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data + piece
    match = found[a * len(found) >> 16]
    number = NUMBERS[b % len(NUMBERS)].encode()
    return data[: match.start()] + number + data[match.end() :]


def _all_numbers_replaced(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    number = NUMBERS[b % len(NUMBERS)].encode()
    return _NUMBER.sub(lambda match: number, data, count=1 + a % 40)


def _quoted(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    at, end = sorted((_place(data, a), _place(data, b)))
    return data[:at] + b'"' + data[at:end] + b'"' + data[end:]


def _recoded(data: bytes, a: int, b: int, piece: bytes) -> bytes:
    encoding = ("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "cp1252", "utf-32")[b % 6]
    return data.decode("utf-8", "replace").encode(encoding, "replace")


EDITS: tuple[Callable[[bytes, int, int, bytes], bytes], ...] = (
    _inserted,
    _deleted,
    _replaced,
    _number_replaced,
    _line_repeated,
    _truncated,
    _flipped,
    _line_moved,
    _stretch_repeated,
    _separator_swapped,
    _sign_swapped,
    _all_numbers_replaced,
    _quoted,
    _recoded,
)


@st.composite
def mutilated(draw: st.DrawFn, good: tuple[bytes, ...]) -> bytes:
    """A good file, or the beginning of one and the end of another, after one to six edits."""
    data = draw(st.sampled_from(good))
    if draw(st.integers(0, 7)) == 7:
        other = draw(st.sampled_from(good))
        data = data[: _place(data, draw(_WHERE))] + other[_place(other, draw(_WHERE)) :]
    edit = st.tuples(st.sampled_from(EDITS), _WHERE, _WHERE, st.sampled_from(PIECES))
    for change, a, b, piece in draw(st.lists(edit, min_size=1, max_size=6)):
        data = change(data, a, b, piece)
    return data


noise: Files = st.one_of(
    st.binary(max_size=200),
    st.text(max_size=120).map(lambda text: text.encode("utf-8", "surrogatepass")),
    st.lists(st.sampled_from(PIECES), max_size=30).map(b"".join),
)


# ------------------------------------------------------------------ built as such a file is, of wild values


def _rows(header: st.SearchStrategy[list[str]], cell: st.SearchStrategy[str]) -> Files:
    """A table: header, rows of about as many cells, any separator and line end."""

    @st.composite
    def table(draw: st.DrawFn) -> bytes:
        names = draw(header)
        separator, end = draw(st.sampled_from([",", ";", "\t", "  ", " "])), draw(st.sampled_from(["\n", "\r\n"]))
        width = st.integers(max(0, len(names) - 1), len(names) + 1) if draw(st.booleans()) else st.just(len(names))
        rows = [names, *(draw(st.lists(cell, min_size=n, max_size=n)) for n in draw(st.lists(width, max_size=12)))]
        return end.join(separator.join(row) for row in rows).encode("utf-8", "surrogatepass")

    return table()


_units = st.sampled_from([*UNITS, "V/Hz", "uF", "°C", "", "?"])
_amount = st.tuples(wild_number, st.sampled_from(["", " ", "\u00a0"]), _units).map("".join)
_header_words = st.sampled_from(
    [
        "Time",
        "Frequency",
        "Left",
        "Right",
        "L to R",
        "Level",
        "THD+N",
        "Power",
        "Impedance",
        "Ch1",
        "Ch2",
        "Phase",
        "No.",
        "A",
        "",
    ]
)
_header_cell = st.one_of(
    st.tuples(_header_words, _units).map(lambda pair: f"{pair[0]} ({pair[1]})"),
    st.tuples(_header_words, wild_text, _units).map(" ".join),
    wild_text,
)
_rising = st.integers(0, 10**6).map(str)
_sheet = _rows(
    st.lists(_header_cell, min_size=1, max_size=5),
    st.one_of(_rising, _rising, st.floats(-1e3, 1e3).map(lambda value: f"{value:.4g}"), wild_number),
)


@st.composite
def _sweep(draw: st.DrawFn) -> bytes:
    """A sheet that is right but for one to three of its cells."""
    names = [f"Frequency ({draw(st.sampled_from(['Hz', 'kHz', 'MHz']))})"]
    names += [f"{side} ({draw(_units)})" for side in ("L", "R")[: draw(st.integers(1, 2))]]
    rows = [[str(10 * (n + 1)), *(f"{n / 7:.3f}" for _ in names[1:])] for n in range(draw(st.integers(1, 14)))]
    for _ in range(draw(st.integers(1, 3))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        row[draw(st.integers(0, len(names) - 1))] = draw(wild_number)
    return "\n".join(",".join(row) for row in [names, *rows]).encode()


_toml_value = st.recursive(
    st.one_of(
        wild_number,
        st.sampled_from(["true", "1979-05-27", "07:32:00", "1979-05-27T07:32:00", "''", '""']),
        st.one_of(_amount, wild_text).map(json.dumps),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.lists(st.tuples(st.sampled_from([*KEYS, "L", "R", "", "a.b"]), inner), max_size=4).map(
            lambda pairs: "{" + ", ".join(f"{json.dumps(key)} = {value}" for key, value in pairs) + "}"
        ),
    ),
    max_leaves=5,
)


@st.composite
def _toml_table(draw: st.DrawFn) -> str:
    name = draw(st.sampled_from([*TABLES, "x"]))
    repeated = name in ("rated", "measurement") if draw(st.integers(0, 9)) else draw(st.booleans())
    keys = [*schema_of(TABLES[name]).examples()] if name in TABLES else ["a"]
    lines = [f"[[{name}]]" if repeated else f"[{name}]"]
    if name == "rated" and draw(st.booleans()):
        lines.append(f"quantity = {json.dumps(draw(st.sampled_from([*RULES])))}")
    for key in draw(st.lists(st.sampled_from(keys), unique=True, max_size=8)):
        shown = key if draw(st.integers(0, 19)) else draw(st.sampled_from([f'"{key}x"', f"{key}.{key}", "'é'", '""']))
        lines.append(f"{shown} = {draw(_toml_value)}")
    return "\n".join(lines)


_session = st.lists(_toml_table(), min_size=1, max_size=6).map(
    lambda tables: b'[unit]\nmaker = "N"\nmodel = "F"\n' + "\n".join(tables).encode("utf-8", "surrogatepass")
)

_time = st.one_of(st.sampled_from(["0:00", "0:41", "1:02:03", "21:10:32", "6:60", "9999:59:59.999999999"]), wild_text)
_note_line = st.one_of(
    st.tuples(_time, wild_text).map(" ".join),
    st.tuples(_time, st.sampled_from(["front:", "before:", "Über:", "[card tone]", "[cut]", "[card", "[CUT x]"])).map(
        " ".join
    ),
    st.tuples(st.sampled_from(["clip", "clip A", "clip A at", "clip B for"]), _time).map(" ".join),
    wild_text.map(lambda text: f"  {text}"),
)
_lines = st.lists(_note_line, max_size=12).map(lambda lines: "\n".join(lines).encode("utf-8", "surrogatepass"))

_rating_words = sorted({word for line in LINES for word in re.split(r"(?<=\s)|(?<=[(/,])", line)})
_rating_line = st.tuples(
    st.sampled_from([line.partition(":")[0] + ":" for line in LINES]),
    st.lists(st.one_of(st.sampled_from(_rating_words), st.sampled_from(_rating_words), _amount, wild_text), max_size=9),
).map(lambda parts: " ".join((parts[0], *parts[1])))
_ratings = st.lists(_rating_line, max_size=6).map(lambda lines: "\n".join(lines).encode("utf-8", "surrogatepass"))

_json_value = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), wild_text, st.just("\ud800"), st.just(10**400)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(wild_text, inner, max_size=3)),
    max_leaves=5,
)
_texts = st.dictionaries(wild_text, st.one_of(wild_text, st.just("\ud800"), _json_value), max_size=3)
_published = st.one_of(
    st.fixed_dictionaries({"said": _texts, "corrected": _texts}).map(lambda held: json.dumps(held).encode()),
    _json_value.map(lambda held: json.dumps(held).encode()),
)


@st.composite
def _timeline(draw: st.DrawFn, good: tuple[bytes, ...]) -> bytes:
    """A timeline in which one to four values are others, or another part of the same file."""
    whole = json.loads(draw(st.sampled_from(good)))
    for _ in range(draw(st.integers(1, 4))):
        places = list(_places(whole))
        held, key = places[draw(_WHERE) * len(places) >> 16]
        if draw(st.booleans()):
            other, name = places[draw(_WHERE) * len(places) >> 16]
            held[key] = json.loads(json.dumps(other[name]))
        elif draw(st.integers(0, 4)) == 4:
            del held[key]
        else:
            held[key] = draw(_json_value)
    return json.dumps(whole).encode()


def _places(held: Any) -> list[tuple[Any, Any]]:
    """Every (container, key or index) of a JSON value."""
    found: list[tuple[Any, Any]] = []
    inside = held.items() if isinstance(held, dict) else enumerate(held) if isinstance(held, list) else ()
    for key, value in inside:
        found += [(held, key), *_places(value)]
    return found


@st.composite
def _capture(draw: st.DrawFn) -> bytes:
    """A WAV file whose header says what it likes."""
    short = st.one_of(st.integers(0, 4), st.sampled_from([0xFFFF, 0x8000, 6, 18]))
    long = st.one_of(
        st.sampled_from([0, 1, 999, 1000, 48_000, 10_000_000, 2**31, 2**32 - 1]), st.integers(0, 2**32 - 1)
    )
    bits = draw(st.sampled_from([0, 1, 8, 16, 24, 32, 64, 0xFFFF]))
    channels = draw(short)
    code = draw(st.sampled_from([1, 1, 1, 3, 3, 2, 6, 0xFFFE, 0]))
    fitting = channels * bits // 8 % 2**16
    form = pcm(channels, draw(long), bits, code, fitting if draw(st.integers(0, 3)) else draw(short))
    if code == 0xFFFE or draw(st.integers(0, 5)) == 5:
        form += struct.pack("<HHIH", 22, draw(short), 0, draw(st.sampled_from([1, 3, 7])))
        form += bytes.fromhex("000000001000800000aa00389b71")
    if draw(st.integers(0, 9)) == 9:
        form = form[: draw(st.integers(0, 40))]
    special = st.sampled_from([float("nan"), float("inf"), -float("inf"), 1e308, 1e38, 1.0, -1.0, 0.0, 5e-324, 101.0])
    value = st.one_of(special, st.floats(-1, 1), st.floats(width=32))
    values = draw(st.lists(value, max_size=24))
    samples = draw(
        st.sampled_from(
            [
                struct.pack(f"<{len(values)}d", *values),
                struct.pack(
                    f"<{len(values)}f",
                    *(
                        max(-3e38, min(3e38, v)) if abs(v) < 1e300 else v
                        for v in values
                        if abs(v) < 3e38 or v != v or abs(v) == float("inf")
                    ),
                )
                if all(abs(v) < 3e38 or v != v or abs(v) == float("inf") for v in values)
                else b"\x00" * 8,
                b"\x00\x80\xff\x7f" * len(values),
                draw(st.binary(max_size=60)),
            ]
        )
    )
    claimed = draw(st.one_of(st.none(), st.integers(0, len(samples) + 3), long))
    name = draw(st.sampled_from([b"RIFF", b"RIFF", b"RF64", b"RIFX"]))
    before = draw(
        st.sampled_from(
            [
                b"",
                b"LIST\x05\0\0\0abcde\0",
                b"JUNK\xff\xff\xff\xff",
                b"ds64" + struct.pack("<IQQQI", 28, 10**10, 10**10, 10**9, 0),
                b"ds64\0\0\0\0",
            ]
        )
    )
    return wave(form, samples, claimed=claimed, name=name, before=before)


def png_chunk(name: bytes, body: bytes, claimed: int | None = None) -> bytes:
    """A chunk of a PNG with its checksum; `claimed`: the length that it gives."""
    size = len(body) if claimed is None else claimed
    return struct.pack(">I", size) + name + body + struct.pack(">I", zlib.crc32(name + body))


@st.composite
def _png(draw: st.DrawFn) -> bytes:
    side = st.one_of(st.integers(0, 40), st.sampled_from([9999, 65_500, 100_000, 2**31 - 1, 2**31, 2**32 - 1]))
    head = struct.pack(
        ">IIBBBBB", draw(side), draw(side), *(draw(st.sampled_from([8, 0, 1, 2, 3, 6, 16])) for _ in range(5))
    )
    chunks = [png_chunk(b"IHDR", head)]
    for _ in range(draw(st.integers(0, 4))):
        name = draw(
            st.sampled_from(
                [
                    b"IDAT",
                    b"PLTE",
                    b"tRNS",
                    b"iCCP",
                    b"zTXt",
                    b"iTXt",
                    b"tEXt",
                    b"acTL",
                    b"fcTL",
                    b"eXIf",
                    b"gAMA",
                    b"cHRM",
                    b"pHYs",
                    b"sRGB",
                    b"IEND",
                    b"fdAT",
                    b"\xff\xff\xff\xff",
                ]
            )
        )
        body = draw(
            st.one_of(
                st.binary(max_size=40),
                st.binary(max_size=200).map(zlib.compress),
                st.binary(max_size=30).map(lambda held: b"a\0\0" + zlib.compress(held)),
            )
        )
        chunks.append(png_chunk(name, body, draw(st.one_of(st.none(), st.sampled_from([0, 2**31, 2**32 - 1])))))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


_prices_header = st.lists(
    st.sampled_from(
        ["year", "month", "date", "index", "cpi", "value", "annual", "Ave.", *MONTHS, *(m[:3] for m in MONTHS)]
    ),
    min_size=1,
    max_size=14,
)
_price_cell = st.one_of(
    st.integers(1840, 2210).map(str), st.sampled_from(["1977-04", "1977-04-31", "1977-14"]), wild_number
)
_reading_cell = st.one_of(
    st.sampled_from([name.replace("_", " ") for name in BY_METER]),
    st.sampled_from(
        ["L", "R", "both", "1 kHz", "40 W into 8 ohm", "20 Hz to 20 kHz", "60 Hz + 7 kHz", "A-weighted", "re 40 W"]
    ),
    _amount,
    wild_text,
)
_repair_cell = st.one_of(st.sampled_from(["open", "short", "TP1", "±5 %", "none", "replaced"]), _amount, wild_text)

_BUILT: dict[str, Files] = {
    "session": _session,
    "notes": _lines,
    "cut": _lines,
    "prices": _rows(_prices_header, _price_cell),
    "readings": _rows(st.permutations(COLUMNS).map(list), _reading_cell),
    "ratings": _ratings,
    "repair": _rows(st.permutations(REPAIR_COLUMNS).map(list), _repair_cell),
    "published": _published,
    "sheet": st.one_of(_sheet, _sweep()),
    "sheet told": st.one_of(_sheet, _sweep()),
    "sheet in blocks": st.one_of(_sheet, _sweep()),
    "capture": _capture(),
    "sound": _capture(),
    "photo": _png(),
}


def wild(reader: Reader) -> Files:
    """Everything that a reader is fed: noise, good files mutilated, files built of wild values."""
    built = _timeline(reader.good) if reader.name == "timeline" else _BUILT[reader.name]
    return st.one_of(mutilated(reader.good), built, mutilated(reader.good), built, noise)


@st.composite
def swollen(draw: st.DrawFn, reader: Reader) -> bytes:
    """One of them in which a stretch stands so often that it takes up to a megabyte."""
    data = draw(wild(reader))
    first, second = sorted((_place(data, draw(_WHERE)), _place(data, draw(_WHERE))))
    stretch = (
        data[first : first + 1 + draw(st.integers(0, max(0, second - first)))] or draw(st.sampled_from(PIECES)) or b"0"
    )
    size = draw(st.sampled_from([50_000, 200_000, 1_000_000]))
    return data[:first] + (stretch * (size // len(stretch) + 1))[:size] + data[first:]
