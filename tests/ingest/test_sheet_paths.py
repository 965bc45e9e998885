"""The quick way through long files and the plain one agree; and what dress a table wears does not matter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit.errors import InputError
from reviewkit.ingest import sheet_file
from reviewkit.ingest.sheet_file import as_json, parse_sheet
from reviewkit.model import Sheet


def seen(sheet: Sheet) -> list[tuple[str, str, str, list[float]]]:
    return [(c.role, c.channel, c.unit, c.values.tolist()) for c in sheet.columns]


def read(text: str | bytes, **told) -> Sheet:
    return parse_sheet(text.encode() if isinstance(text, str) else text, "m/x.csv", **told)


def message(text: str | bytes, **told) -> str:
    with pytest.raises(InputError) as caught:
        read(text, **told)
    return str(caught.value)


# ------------------------------------------------------------------ the quick path says what the plain one says


def long_file(separator: str, decimal: str, end: str, beside: str = "") -> bytes:
    noise = np.random.default_rng(5)
    values = noise.normal(size=15000) * 10.0 ** noise.integers(-9, 3, size=15000)
    rows = [
        f"{n / 48000:.9f}{separator}{value!r}{separator}{value / 3:.17g}{separator}{n}".replace(".", decimal)
        for n, value in enumerate(values.tolist())
    ]
    head = separator.join(("Time(s)", "Left(V)", "Right(V)", "No."))
    return (f"# bench two{end}{head}{end}" + end.join(rows) + end + beside).encode()


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", ","), ("\t", "."), (" ", "."), (" ", ",")])
def test_both_paths_agree_to_the_last_bit(separator, decimal, end, monkeypatch):
    data = long_file(separator, decimal, end)
    quick_ones = []
    bulk = sheet_file.read_bulk
    monkeypatch.setattr(sheet_file, "read_bulk", lambda *given: quick_ones.append(bulk(*given)) or quick_ones[-1])
    quick = read(data)
    assert len(quick_ones) == 1
    assert quick_ones[0] is not None  # the quick path did it
    monkeypatch.setattr(sheet_file, "_BULK", math.inf)
    plain = read(data)
    assert len(quick_ones) == 1
    assert seen(quick) == seen(plain)
    assert as_json(quick) == as_json(plain)


@pytest.mark.parametrize(
    ("odd", "skipped"),
    [
        ("1,--,2,3", 1), ("1,NaN,2,3", 1), ("1,inf,2,3", 1), ("1,,2,3", 1), ("1,2,3,4,", 0), ("# end", 0), ("", 0),
        ("1,\u22122,3,4", 0), ('"1","2","3","4"', 0), (" 1 , 2 , 3 , 4 ", 0), ("1,2,3,x", 0), ("1,2,3,nan", 0),
    ],
)  # fmt: skip
def test_one_odd_line_far_down_changes_nothing_else(odd, skipped):
    plain = read(long_file(",", ".", "\n"))
    more = read(long_file(",", ".", "\n", odd + "\n\n"))
    assert len(more.skipped) == skipped
    for one, other in zip(plain.columns, more.columns, strict=True):
        assert other.values[:15000].tolist() == one.values.tolist()


@pytest.mark.parametrize(
    "odd", ["1,2", "1,2,3,4,5", "1,2x,3,4", "1,1e999,3,4", "1,0x1A,3,4", "1,1_0,3,4", "0.3,2,3,4\n0.2,2,3,4"]
)
def test_a_fault_far_down_is_found_with_its_line(odd):
    line = 15003 + odd.count("\n")
    assert f"m/x.csv:{line}: " in message(long_file(",", ".", "\n", odd + "\n"))


def test_a_sweep_that_goes_back_on_the_quick_path_has_its_line():
    data = long_file(",", ".", "\n", "0.000001,1,2,3\n")
    assert message(data).startswith("m/x.csv:15003: time goes back from ")


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
