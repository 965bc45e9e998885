"""The quick way through long files and the plain one agree; and what dress a table wears does not matter."""

from __future__ import annotations

import math
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from accuracy import grid
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_texts import message, read, seen

from reviewkit.ingest.sheet import sheet_rows
from reviewkit.ingest.sheet.sheet_file import as_json, parse_sheet
from reviewkit.model.errors import InputError
from reviewkit.model.sheet import Sheet

CHECKOUT = Path(__file__).resolve().parents[2]


# ------------------------------------------------------------------ the quick path says what the plain one says


@cache
def long_rows() -> str:
    """Rows whose cells are apart by commas, and decimal points."""
    noise = np.random.default_rng(5)
    values = noise.normal(size=15000) * 10.0 ** noise.integers(-9, 3, size=15000)
    return "".join(f"{(n + 1) / 48000:.9f},{v!r},{v / 3:.17g},{n}\n" for n, v in enumerate(values.tolist()))


def long_file(separator: str, decimal: str, end: str, beside: str = "") -> bytes:
    rows = long_rows().translate(str.maketrans({",": separator, ".": decimal, "\n": end}))
    head = separator.join(("Frequency(Hz)", "Left(V)", "Right(V)", "No."))
    return (f"# bench two{end}{head}{end}{rows}{beside}").encode()


@cache
def long_sheet() -> Sheet:
    return read(long_file(",", ".", "\n"))


@pytest.mark.parametrize(
    ("separator", "decimal", "end"),
    grid([(",", "."), (";", ","), ("\t", "."), (" ", "."), (" ", ",")], ["\n", "\r\n"]),
)
def test_both_paths_agree_to_the_last_bit(separator, decimal, end, monkeypatch):
    data = long_file(separator, decimal, end)
    quick_ones = []
    fast = sheet_rows.parse_plain_rows
    monkeypatch.setattr(
        sheet_rows, "parse_plain_rows", lambda *given: quick_ones.append(fast(*given)) or quick_ones[-1]
    )
    quick = read(data)
    assert quick_ones
    assert all(each is not None for each in quick_ones)  # the quick way did it all
    count = len(quick_ones)
    monkeypatch.setattr(sheet_rows, "LONG", math.inf)
    plain = read(data)
    assert len(quick_ones) == count
    assert seen(quick) == seen(plain)
    assert as_json(quick) == as_json(plain)


@pytest.mark.parametrize(
    ("odd", "skipped"),
    [
        ("1,--,2,3", 1), ("1,NaN,2,3", 1), ("1,inf,2,3", 1), ("1,,2,3", 1), ("1,2,3,4,", 0), ("# end", 0), ("", 0),
        ("1,\u22122,3,4", 0), ('"1","2","3","4"', 0), (" 1 , 2 , 3 , 4 ", 0), ("1,2,3,x", 0), ("1,2,3,nan", 0),
        ("1,2.,.3,4", 0), ("1,+2,03,4", 0), ("1,2E0,3e+0,4", 0),
    ],
)  # fmt: skip
def test_one_odd_line_far_down_changes_nothing_else(odd, skipped):
    plain = long_sheet()
    more = read(long_file(",", ".", "\n", odd + "\n\n"))
    assert len(more.skipped) == skipped
    for one, other in zip(plain.columns, more.columns, strict=True):
        assert other.values[:15000].tolist() == one.values.tolist()


@pytest.mark.parametrize(
    "odd",
    [
        "1,2",
        "1,2,3,4,5",
        "1,2x,3,4",
        "1,1e999,3,4",
        "1,0x1A,3,4",
        "1,1_0,3,4",
        "0.3,2,3,4\n0.2,2,3,4",
        "1,true,3,4",
        "[1,2,3,4]",
    ],
)
def test_a_fault_far_down_is_found_with_its_line(odd):
    line = 15003 + odd.count("\n")
    assert f"m/x.csv:{line}: " in message(long_file(",", ".", "\n", odd + "\n"))


def test_a_sweep_that_goes_back_on_the_quick_path_has_its_line():
    data = long_file(",", ".", "\n", "0.000001,1,2,3\n")
    assert message(data).startswith("m/x.csv:15003: frequency goes back from ")


DECIMALS = st.from_regex(r"-?[0-9]{1,22}(\.[0-9]{1,25})?([eE][+-]?[0-9]{1,2})?", fullmatch=True)


@settings(max_examples=60)
@given(st.lists(st.tuples(DECIMALS, DECIMALS), min_size=1, max_size=20), st.sampled_from((",", ";", "\t")))
def test_plain_rows_are_rounded_as_python_rounds_them(rows, separator):
    """Python's float is correctly rounded, to even (IEEE 754)."""
    text = "".join(f"{one}{separator}{other}\n" for one, other in rows)
    values = sheet_rows.parse_plain_rows(text, separator, 2, ".")
    assert values.tolist() == [[float(one), float(other)] for one, other in rows]


def test_a_minus_before_nothing_is_kept():
    values = sheet_rows.parse_plain_rows("-0,-0.0\n-0e3,1e-05\n", ",", 2, ".")
    assert np.signbit(values).tolist() == [[True, True], [True, False]]


@pytest.mark.parametrize(
    "odd", ["1", "1,2,3", "1,2\n3", "1,true", "1,null", "1,NaN", "1,[2]", "[1,2]", "{},1", "1;2", ""]
)
def test_rows_that_are_not_plain_are_refused_whole(odd):
    assert sheet_rows.parse_plain_rows(f"1,2\n{odd}\n3,4\n", ",", 2, ".") is None
    assert sheet_rows.parse_plain_rows("1,2\n3,4\n", ",", 2, ".").tolist() == [[1, 2], [3, 4]]


# ------------------------------------------------------------------ odd lines in some blocks

DRESSES = {
    "comma": (",", ".", "\n"),
    "semicolon, decimal comma": (";", ",", "\n"),
    "tab, carriage returns": ("\t", ".", "\r\n"),
    "tab, decimal comma": ("\t", ",", "\n"),
    "one space": (" ", ".", "\n"),
    "runs of spaces": ("   ", ".", "\n"),
    "runs of spaces, decimal comma": ("  ", ",", "\r\n"),
}
ODD_LINES = (
    "# warm", "* 20 30 40", "; 1; 2; 3", "", "   ", "|--", "NaN|", "OL|", "|", "HEADER", '# 5" away', '"1|2|3"',
    '"0|5"|1|2', "1|2", "1|2|3|4", "1|2|3|", "1|2|x", "|\u22121.5", "|1e3", "|1 000", "|1\u00a0000", "|1,000.5",
    "|1.000,5", "|1,500", "|inf", "|1_0", "|\x1a", "|\u00e9", "-1|2|3", "1|2|3|||", "no row at all", '"a', 'b"',
)  # fmt: skip


def said(data: bytes, **told) -> object:
    """Everything that a file is read as, or every message."""
    try:
        sheet = read(data, **told)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return as_json(sheet), [column.header for column in sheet.columns]


def odd_file(dress: str, odd: list[tuple[int, str]], rows: int = 60) -> bytes:
    """Rising rows of three numbers with odd lines put in. `odd`: (row, line); | stands for the separator there, and a
    line that begins with it keeps the row's own time and level.
    """
    separator, decimal, end = DRESSES[dress]
    header = separator.join(("Frequency(Hz)", "Left(V)", "Right(V)"))
    lines = []
    for n in range(rows):
        time, level = f"{n}.25".replace(".", decimal), f"{n % 7}.5".replace(".", decimal)
        lines.append(separator.join((time, level, level)))
        for place, text in odd:
            if place == n:
                written = header if text == "HEADER" else text
                if text.startswith("|"):
                    written = f"{n}.5|0.5{text}".replace("0.5|0.5|", "0.5|1.5|").replace(".", decimal, 2)
                lines.append(written.replace("|", separator) if text != "HEADER" else written)
    return (header + end + end.join(lines) + end).encode()


def both_ways(data: bytes, part: int = 100, **told) -> tuple[object, object]:
    """What the blocks say and what the plain way says; blocks so small that a short file has several."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sheet_rows, "LONG", 1)
        patch.setattr(sheet_rows, "_STRETCH", part)
        blocks = said(data, **told)
        patch.setattr(sheet_rows, "LONG", math.inf)
        return blocks, said(data, **told)


@pytest.mark.parametrize("dress", DRESSES)
def test_an_odd_line_is_read_the_same_in_blocks(dress):
    for odd in ODD_LINES:
        blocks, plain = both_ways(odd_file(dress, [(41, odd)]))
        assert blocks == plain, odd


@settings(max_examples=60)
@given(
    st.sampled_from(sorted(DRESSES)),
    st.lists(st.tuples(st.integers(0, 59), st.sampled_from(ODD_LINES)), max_size=8),
    st.integers(20, 300),
)
def test_odd_lines_anywhere_are_read_the_same_in_blocks(dress, odd, part):
    blocks, plain = both_ways(odd_file(dress, odd), part)
    assert blocks == plain


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends_are_read_the_same_in_blocks(encoding, end):
    text = odd_file("comma", [(30, "# 20 \u00b0C"), (41, "|--")]).decode()
    blocks, plain = both_ways(text.replace("\n", end).encode(encoding))
    assert blocks == plain
    assert plain[0]["rows"] == 60


def test_a_decimal_mark_that_shows_late_counts_from_the_first_row():
    rows = [f"{n};{n}" for n in range(1, 40)] + ["40;1,500", "41;0,5"]
    blocks, plain = both_ways(("Frequency (Hz);Level (dBV)\n" + "\n".join(rows)).encode())
    assert blocks == plain
    assert plain[0]["columns"][1]["values"][-2:] == [1.5, 0.5]


def test_one_odd_line_sends_one_part_the_long_way(monkeypatch):
    count = []
    read_row = sheet_rows._row
    monkeypatch.setattr(sheet_rows, "_STRETCH", 50_000)
    data = odd_file("comma", [(15_000, "# warm"), (25_000, "|--"), (35_000, "HEADER")], 40_000)
    monkeypatch.setattr(sheet_rows, "_row", lambda *given: count.append(given[0]) or read_row(*given))
    sheet = read(data)
    assert sheet.rows == 40_000
    assert [row.line for row in sheet.skipped] == [25_004]
    assert sheet.warnings == ("line 35005: the header again, skipped",)
    assert 0 < len(count) < 15_000


# ------------------------------------------------------------------ what long files cost

MEMORY = """
import sys
from functools import cache
from pathlib import Path
sys.path[:0] = ["tests/bench", "."]
from read_speed import memory_ratio
print(memory_ratio(Path(sys.argv[1])))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="asks /proc for the memory at its peak")
def test_a_long_file_takes_three_times_its_arrays_at_most(tmp_path):
    rows = b"".join(b"%.9f,1.2345678,-2.3456789\n" % (n / 48_000) for n in range(400_000))
    (tmp_path / "x.csv").write_bytes(b"Time (s),Left (V),Right (V)\n" + rows)
    program = [sys.executable, "-c", MEMORY, tmp_path / "x.csv"]
    ran = subprocess.run(program, capture_output=True, text=True, check=True, cwd=CHECKOUT)
    assert 1.0 < float(ran.stdout) <= 3.0


# ------------------------------------------------------------------ properties

levels = st.lists(st.decimals(-120, 40, places=2), min_size=12, max_size=30)


@settings(max_examples=80, deadline=None)
@given(
    levels,
    st.sampled_from([",", ";", "\t", "  "]),
    st.sampled_from([("Hz", 0), ("kHz", 3)]),
    st.booleans(),
    st.lists(st.tuples(st.integers(0, 40), st.sampled_from(["# warm", "// cold", "* 20 30", "", "   "])), max_size=5),
)
def test_dress_changes_nothing(values, separator, prefix, falling, extra):
    unit, places = prefix
    plain = read("Frequency (Hz),Left (dBV)\n" + "".join(f"{20 + 7 * n},{value}\n" for n, value in enumerate(values)))
    rows = []
    for n, value in enumerate(values):
        hertz = f"{20 + 7 * n:06d}"
        frequency = f"{int(hertz[:3])}.{hertz[3:]}" if places else str(20 + 7 * n)
        rows.append(f"{frequency}{separator}{value}")
    lines = [f"Frequency ({unit}){separator}Left (dBV)", *(reversed(rows) if falling else rows)]
    for place, comment in extra:
        lines.insert(min(place, len(lines)), comment)
    dressed = read("\n".join(lines))
    assert [row[:3] for row in seen(dressed)] == [row[:3] for row in seen(plain)]
    np.testing.assert_allclose(dressed.columns[0].values, plain.columns[0].values, rtol=1e-15)
    assert dressed.columns[1].values.tolist() == plain.columns[1].values.tolist()
    assert plain.columns[1].values.tolist() == [float(value) for value in values]


@settings(max_examples=80, deadline=None)
@given(st.lists(st.floats(0.001, 1e7), min_size=2, max_size=20, unique=True), st.sampled_from("., "))
def test_digits_are_read_whatever_groups_them(frequencies, group):
    """Python's own formatting writes the groups, and its float() tells what the digits are worth."""
    decimal = "," if group == "." else "."
    swap = str.maketrans({",": group, ".": decimal}) if group != "," else str.maketrans({})
    frequencies = sorted({float(f"{value:.4f}") for value in frequencies} - {0.0})
    rows = "".join(f"{value:,.4f}".translate(swap) + f";{decimal.join('05')}\n" for value in frequencies)
    sheet = read("Frequency (Hz);Level (dBV)\n" + rows) if len(frequencies) > 1 else None
    assert sheet is None or sheet.columns[0].values.tolist() == frequencies


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200) | st.text(alphabet='0123456789.,;\t -eHz()dBV"#\n', max_size=200).map(str.encode))
def test_whatever_comes_in_a_sheet_or_a_message_comes_out(data):
    try:
        sheet = read(data)
    except InputError:
        return
    assert sheet.rows == len(sheet.columns[0].values) > 0
    assert all(np.isfinite(column.values).all() for column in sheet.columns)


@pytest.mark.parametrize(
    ("rows", "told"), [("20;-1\n1.000;0\n20.000;-1\n", True), ("20.000;-1.500\n30.000;-2.500\n", False)]
)
def test_a_thousand_or_one_is_asked_in_blocks_too(rows, told):
    """Long files take the way by blocks: the same question, at the same line."""
    beginning = "Frequency (Hz);Level (dBV)\n" + rows
    more = "".join(f"{100 + n};-2\n" if told else f"{100 + n}.000;-2.000\n" for n in range(60_000))
    if told:
        with pytest.raises(InputError, match=r'm\.csv:3: "1\.000" may mean 1\.000 or 1000'):
            parse_sheet((beginning + more).encode(), "m.csv")
    else:
        assert parse_sheet((beginning + more).encode(), "m.csv").columns[1].values[0] == -1.5
