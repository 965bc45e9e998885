"""A mark between thousands in the small tables: asked for wherever it may be a decimal mark, never a thousandth."""

from __future__ import annotations

import pytest

from reviewkit.ingest.reading_file import parse_readings
from reviewkit.ingest.session.price_file import parse_prices
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.model.errors import InputError


def faults(read, text: str, *source: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(text, *source)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_prices(separator):
    text = "year,index\n1977,1|313\n2024,2|140\n".replace(",", separator).replace("|", ",")
    assert faults(parse_prices, text, "x.csv") == [
        'x.csv:2: the index "1,313" may have a mark between thousands; write 1.313 or 1313, whichever is meant',
        'x.csv:3: the index "2,140" may have a mark between thousands; write 2.140 or 2140, whichever is meant',
    ]
    shown = text.replace("2,140", "313,6")  # a cell that shows the comma to be the decimal mark
    assert parse_prices(shown, "x.csv").by_year == {1977: 1.313, 2024: 313.6}


def test_prices_with_points_between_thousands():
    assert faults(parse_prices, "year;index\n1977;60,6\n2024;1.313\n", "x.csv") == [
        'x.csv:3: the index "1.313" may have a mark between thousands; write 1.313 or 1313, whichever is meant'
    ]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_readings(separator):
    text = f"name{separator}value\nbias{separator}1,100 mV\n"
    assert faults(parse_readings, text, "x.csv") == [
        'x.csv:2: bias: value "1,100 mV" may have a mark between thousands; write 1.100 mV or 1100 mV, whichever is '
        "meant"
    ]
    sheet = parse_readings(text + f"dc offset{separator}0,5 mV\n", "x.csv")
    assert [reading.value for reading in sheet.readings] == [0.0011, 0.0005]


def test_conditions_of_a_reading():
    said = faults(parse_readings, 'name,value,at\nhum,-80 dB,"1,000 Hz"\n', "x.csv")
    assert said == [
        'x.csv:2: hum: at "1,000 Hz" may have a mark between thousands; write 1.000 Hz or 1000 Hz, whichever is meant'
    ]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_repair(separator):
    text = f"point{separator}expected\nR12{separator}1,000 ohm\n"
    assert faults(parse_repair, text) == [
        'repair.csv:2: R12: expected "1,000 ohm" may have a mark between thousands; write 1.000 ohm or 1000 ohm, '
        "whichever is meant"
    ]
    (row, _) = parse_repair(text + f"Q5{separator}0,65 V\n")
    assert row.expected == 1.0


def test_more_than_one_mark_is_always_between_thousands():
    assert faults(parse_repair, "point;expected\nR12;1,000,000 ohm\n") == [
        'repair.csv:2: R12: expected "1,000,000 ohm" has marks between thousands; write 1000000 ohm'
    ]
