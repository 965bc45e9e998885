"""repair.csv: rows read into one unit each, and one bad file per mistake."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.ingest.session.repair_file import parse_repair, read_repair
from reviewkit.model.errors import InputError
from reviewkit.model.repair import RepairRow
from reviewkit.verdict.repair_points import point_verdict, point_word

HEADER = "point,expected,found,unit,tolerance,action,note\n"


def row_of(line, header=HEADER):
    (row,) = parse_repair(header + line + "\n")
    return row


def faults_of(text):
    with pytest.raises(InputError) as raised:
        parse_repair(text)
    return [str(fault) for fault in raised.value.faults]


def test_a_full_row():
    assert row_of('"Q5, base to emitter",0.65,0.38,V,5 %,"replaced, matched","was ""cooked"""') == RepairRow(
        point="Q5, base to emitter",
        expected=0.65,
        expected_text="0.65 V",
        found=0.38,
        found_text="0.38 V",
        unit="V",
        tolerance=pytest.approx(0.0325),
        tolerance_text="5 %",
        action="replaced, matched",
        note='was "cooked"',
        line=2,
    )


def test_the_reading_after_the_repair_is_in_the_unit_of_the_row():
    header = "point,expected,found,unit,tolerance,action,after\n"
    row = row_of("Bias R,22,0.2,mV,4 mV,set,0.0228 V", header)
    assert (row.after, row.after_text) == (22.8, "0.0228 V")
    assert row_of("R12,220,open,ohm,20 %,replaced,221", header).after_text == "221 Ω"
    assert row_of("F2,,open,,,replaced,short", header).after_text == "short"
    # a file without the column stays valid
    assert row_of("R12,220,open,ohm,20 %,replaced,").after_text == ""
    assert "after" in faults_of(header + "R12,220,open,ohm,20 %,replaced,221 V\n")[0]


def test_only_the_point_is_needed():
    assert row_of("Relay contacts,,,,,,") == RepairRow(
        "Relay contacts", None, "", None, "", "", None, "", "", "", line=2
    )
    assert row_of("Relay contacts", "point\n").point == "Relay contacts"


def test_columns_in_any_order_and_rows_over_two_lines():
    text = 'note,found,POINT\n"two\nlines",12 mV,offset\n\n,open,R12\n'
    first, second = parse_repair(text)
    assert (first.note, first.found, first.unit, first.line) == ("two lines", 12.0, "mV", 2)
    assert (second.point, second.found_text, second.line) == ("R12", "open", 5)


@pytest.mark.parametrize("word", ["open", "short", "Open"])
def test_open_and_short_are_readings(word):
    row = row_of(f"R12,220,{word},ohm,20 %,,")
    assert (row.found, row.found_text, point_verdict(row)) == (None, word.lower(), word.lower())
    assert row.expected_text == "220 Ω"


@pytest.mark.parametrize(
    ("cells", "unit", "expected", "found", "tolerance"),
    [
        # expected, found, unit, tolerance as written; then in the row's unit
        ("650 mV,0.38,V,0.05", "V", 0.65, 0.38, 0.05),
        ("22,20.5,mV,0.004 V", "mV", 22.0, 20.5, 4.0),
        ("22 mV,0.0205 V,,4 mV", "mV", 22.0, 20.5, 4.0),
        ("-38.5,\u221238.8,V,±5 %", "V", -38.5, -38.8, 1.925),
        ("2200,1.48 mF,uF,20 %", "µF", 2200.0, 1480.0, 440.0),
        ("100 nF,0.09,µF,+/-10 %", "µF", 0.1, 0.09, 0.01),
        ("1.2,1.1,Mohm,100 kohm", "MΩ", 1.2, 1.1, 0.1),
        ("0.33,0.34,ohms,5%", "Ω", 0.33, 0.34, 0.0165),
        ("120,115,,10", "", 120.0, 115.0, 10.0),
    ],
)
def test_units_of_one_family_are_converted(cells, unit, expected, found, tolerance):
    row = row_of(f"point,{cells},,")
    assert row.unit == unit
    assert (row.expected, row.found) == (pytest.approx(expected, rel=1e-12), pytest.approx(found, rel=1e-12))
    assert row.tolerance == pytest.approx(tolerance, rel=1e-12)


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("p,650 mV,0.380,V,50 mV,,", ("650 mV", "0.380 V", "50 mV")),
        ("p,-38.50,+38.8,V,5%,,", ("\u221238.50 V", "38.8 V", "5 %")),
        ("p,120,,,10,,", ("120", "", "10")),
        ("p,,1.5e3,ohm,,,", ("", "1.5e3 Ω", "")),
    ],
)
def test_texts_are_the_digits_as_written_with_their_unit(line, shown):
    row = row_of(line)
    assert (row.expected_text, row.found_text, row.tolerance_text) == shown


@pytest.mark.parametrize(
    ("line", "verdict"),
    [
        ("p,10,10.5,V,5 %,,", "OK"),  # exactly on the tolerance
        ("p,0.3,0.33,V,10 %,,", "OK"),  # also where binary numbers are not exact
        ("p,10,10.51,V,5 %,,", "out of tolerance"),
        ("p,-10,-10.51,V,5 %,,", "out of tolerance"),
        ("p,10,10.51,V,,,", ""),
        ("p,,10.51,V,5 %,,", ""),
    ],
)
def test_what_follows_from_a_row(line, verdict):
    assert point_verdict(row_of(line)) == verdict


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("p,10,10.5,V,5 %,,", "OK"),
        ("p,10,11,V,5 %,,", "too high"),
        ("p,10,9,V,5 %,,", "too low"),
        ("p,-10,-9,V,5 %,,", "too low"),  # of a negative rail, less is nearer to zero
        ("p,0,-0.3,V,50 mV,,", "too low"),
        ("p,10,short,V,5 %,,", "shorted"),
        ("p,10,open,V,5 %,,", "open"),
        ("p,10,10.51,V,,,", ""),
    ],
)
def test_what_a_point_is_called_on_a_card(line, word):
    assert point_word(row_of(line)) == word


def test_semicolons_with_decimal_commas_and_western_bytes(tmp_path):
    (tmp_path / "repair.csv").write_bytes("point;found;unit;note\nC4;1480,5;\u00b5F;a, b \u00b1\n".encode("cp1252"))
    (row,) = read_repair(tmp_path / "repair.csv")
    assert (row.found, row.found_text, row.unit, row.note) == (1480.5, "1480.5 µF", "µF", "a, b ±")


def test_a_header_alone_is_no_repair_yet():
    assert parse_repair(HEADER) == ()


MISTAKES = {
    "": "repair.csv: the file is empty; begin with a header: point,expected,found,unit,tolerance,action,after,say,note",
    "pint,found\nx,1\n": [
        'repair.csv:1: unknown column "pint"; did you mean "point"?',
        "repair.csv:1: there is no column called point; "
        "write a header: point,expected,found,unit,tolerance,action,after,say,note",
    ],
    "point,found,found\n": 'repair.csv:1: the column "found" appears twice; keep one',
    "point,,found\n": (
        "repair.csv:1: column 2 has no name; known: point, expected, found, unit, tolerance, action, after, say, note"
    ),
    f"{HEADER},1,1,V,,,\n": "repair.csv:2: the row names no point; write which test point or part it is about",
    f"{HEADER}Q5,1,low,V,,,\n": (
        'repair.csv:2: Q5: found "low" is not a reading; write a number such as 0.38, or "open" or "short"'
    ),
    f'{HEADER}Q5,"0,65",,V,,,\n': 'repair.csv:2: Q5: expected "0,65" has a comma between digits; write 0.65',
    f"{HEADER}Q5,1,1,Vlt,,,\n": (
        'repair.csv:2: Q5: the unit "Vlt" is not known; write for example V, mV, ohm, mA or uF'
    ),
    f"{HEADER}Q5,1 furlong,1,V,,,\n": (
        'repair.csv:2: Q5: expected "1 furlong": the unit "furlong" is not known; write for example V, ohm or uF'
    ),
    f"{HEADER}Q5,1,22 mA,V,,,\n": (
        'repair.csv:2: Q5: found "22 mA" is in mA where the row is in V; write it in V, or correct the unit'
    ),
    f"{HEADER}Q5,1,1,V,1 ohm,,\n": (
        'repair.csv:2: Q5: tolerance "1 ohm" is in Ω where the row is in V; write it in V, or correct the unit'
    ),
    f"{HEADER}Q5,1,1,V,some,,\n": (
        'repair.csv:2: Q5: tolerance "some" is not a reading; write for example "5 %" or "0.3 V"'
    ),
    f"{HEADER}Q5,1,1,V,-5 %,,\n": (
        'repair.csv:2: Q5: tolerance "-5 %" is negative; write how far off is still good, for example "5 %"'
    ),
    f"{HEADER}Q5,0,1,mV,5 %,,\n": (
        'repair.csv:2: Q5: tolerance "5 %" of an expected 0 is nothing; write it in the row\'s unit'
    ),
    f"{HEADER}Q5,1,1,,0.3 V,,\n": (
        'repair.csv:2: Q5: tolerance "0.3 V" has a unit, but the row has none; write the unit in its column'
    ),
    f"{HEADER}Q5,1,1,V,,replaced, matched,hFE 120\n": (
        "repair.csv:2: 8 cells under a header of 7; "
        "write the decimal mark as a point, and put text that holds a comma in quotation marks"
    ),
    f'{HEADER}Q5,1,1,V,,"replaced,\n': (
        "repair.csv:2: quotation marks are not paired in this row; "
        'close them, and write "" for one inside a quoted cell'
    ),
}


@pytest.mark.parametrize("text", MISTAKES, ids=lambda text: text.removeprefix(HEADER).replace("\n", " / ") or "empty")
def test_one_mistake_gives_one_message(text):
    expected = MISTAKES[text]
    assert faults_of(text) == ([expected] if isinstance(expected, str) else expected)


def test_all_faults_are_told_at_once_by_line():
    text = f"{HEADER}Q5,low,high,V,,,\nQ6,1,1,V,1 A,,\nQ7,1,1,V,,a,b,c\n,1,,V,,,\n"
    assert [int(fault.split(":")[1]) for fault in faults_of(text)] == [2, 2, 3, 4, 5]


@given(st.lists(st.text(alphabet='0123456789.,-+ %VmΩµopensht";\n\x00', max_size=12), min_size=4, max_size=4))
def test_any_cells_are_read_or_refused(cells):
    try:
        rows, faults = parse_repair(f"{HEADER}Q5,{','.join(cells)},,\n"), ()
    except InputError as error:
        rows, faults = (), error.faults
    assert bool(rows) != bool(faults)
    assert all(row.tolerance is None or row.tolerance >= 0 for row in rows)


def test_what_a_point_is_called_on_camera():
    first, second = parse_repair("point,say\nBias trimmer R,the right trimmer\nRelay,\n")
    assert (first.say, second.say) == ("the right trimmer", "")
