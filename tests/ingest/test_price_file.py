"""prices.csv: four shapes of one table, and one bad file per mistake.

Index values: US Bureau of Labor Statistics, consumer price index CUUR0000SA0 (all urban consumers, all items, US city
average, not seasonally adjusted, 1982-84 = 100), public domain.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.ingest.session.price_file import parse_prices, read_prices
from reviewkit.model.errors import InputError

# CUUR0000SA0 by month.
MONTHS_1966 = (31.8, 32.0, 32.1, 32.3, 32.3, 32.4, 32.5, 32.7, 32.7, 32.9, 32.9, 32.9)
MONTHS_1977 = (58.5, 59.1, 59.5, 60.0, 60.3, 60.7, 61.0, 61.2, 61.4, 61.6, 61.9, 62.1)
# CUUR0000SA0, the published annual averages (period M13).
ANNUAL_1966, ANNUAL_1977 = 32.4, 60.6

BY_MONTH = {1966: MONTHS_1966, 1977: MONTHS_1977}
HEADER = "Year,Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec"


def month_rows():
    return [(year, month, value) for year, values in BY_MONTH.items() for month, value in enumerate(values, 1)]


def faults_of(text):
    with pytest.raises(InputError) as raised:
        parse_prices(text, "prices.csv")
    return [str(fault) for fault in raised.value.faults]


# ------------------------------------------------------------------ shapes


def test_three_shapes_of_monthly_values_give_the_same_table():
    by_month = "month,index\n" + "".join(f"{y}-{m:02d},{v}\n" for y, m, v in month_rows())
    by_date = "date,index\n" + "".join(f"{y}-{m:02d}-01,{v}\n" for y, m, v in month_rows())
    by_row = HEADER + "\n" + "".join(f"{y},{','.join(map(str, v))}\n" for y, v in BY_MONTH.items())
    tables = [parse_prices(text, "prices.csv") for text in (by_month, by_date, by_row)]
    assert tables[0] == tables[1] == tables[2]
    assert tables[0].short == {}
    # the means of the twelve published months; 1966 differs from the published average by rounding
    assert tables[0].by_year == {1966: pytest.approx(32.4583333), 1977: pytest.approx(60.6083333)}


def test_four_shapes_with_the_annual_average_give_the_same_table():
    stated = {1966: ANNUAL_1966, 1977: ANNUAL_1977}
    by_year = "year,index\n1966,32.4\n1977,60.6\n"
    by_month = (
        "month,index\n"
        + "".join(f"{y}-{m:02d},{v}\n" for y, m, v in month_rows())
        + "".join(f"{y}-13,{v}\n" for y, v in stated.items())
    )
    by_row = (
        HEADER
        + ",Annual,HALF1,HALF2\n"
        + "".join(f"{y},{','.join(map(str, v))},{stated[y]},1,2\n" for y, v in BY_MONTH.items())
    )
    by_date = "date,index\n1966-07-01,32.4\n1977-07-01,60.6\n"
    assert parse_prices(by_year, "p").by_year == stated
    assert parse_prices(by_month, "p") == parse_prices(by_row, "p") == parse_prices(by_year, "p")
    # one date a year is one month: the same value, but told to be short of twelve
    assert parse_prices(by_date, "p").by_year == stated
    assert parse_prices(by_date, "p").short == {1966: 1, 1977: 1}


def test_the_stated_average_goes_before_the_mean_of_the_months():
    """BLS publishes 32.4 for 1966, while its twelve months have a mean of 32.458, which rounds to 32.5."""
    months = f"1966,{','.join(map(str, MONTHS_1966))}"
    assert round(parse_prices(f"{HEADER}\n{months}\n", "p").by_year[1966], 1) == 32.5
    assert parse_prices(f"{HEADER},Annual\n{months},32.4\n", "p").by_year[1966] == 32.4


def test_a_year_of_fewer_months_is_told():
    text = f"{HEADER}\n1966,{','.join(map(str, MONTHS_1966))}\n1977,"
    text += "58.5,59.1,59.5,60.0,60.3,60.7,61.0,61.2,61.4,-,61.9,62.1\n"
    table = parse_prices(text, "prices.csv")
    assert table.short == {1977: 11}
    assert table.by_year[1977] == pytest.approx((sum(MONTHS_1977) - 61.6) / 11)


@pytest.mark.parametrize(
    "text",
    [
        "year,index\n1966,32.4\n1977,60.6",
        "# a source\n\nYear;Index\n1966;32,4\n# a footnote\n1977;60,6\n",
        "year\tindex\n1966\t32.4\n1977\t60.6\n",
        '"year","series","index","note"\n"1966","x","32.4","a, b"\n1977,,60.6\n',
        "index,year\r\n60.6,1977\r\n32.4,1966\r\n",
        "YEAR,CPI\n1966,32.4\n1970,\n1971,n/a\n1977,60.6\n",
        "year,index,value\n1966,32.4,7\n1977,60.6,8\n",
        "Year,Annual\n1966,32.4\n1977,60.6\n",
        "month,year,index\n1966-13,1,32.4\n1977-13,2,60.6\n",
    ],
)
def test_separators_comments_other_columns_and_gaps(text):
    table = parse_prices(text, "prices.csv")
    assert dict(table.by_year) == {1966: 32.4, 1977: 60.6}
    assert list(table.by_year) == [1966, 1977]
    assert table.source == "prices.csv"


@pytest.mark.parametrize(
    "header",
    [
        "year,january,february,march,april,may,june,july,august,september,october,november,december",
        "YEAR,JAN,FEB,MAR,APR,MAY,JUN,JUL,AUG,SEPT,OCT,NOV,DEC",
        "Year,Jan.,Febr.,Mar.,Apr.,May,June,July,Aug.,Sept.,Oct.,Nov.,Dec.",
    ],
)
def test_months_in_every_usual_spelling(header):
    table = parse_prices(f"{header}\n1977,{','.join(map(str, MONTHS_1977))}\n", "p")
    assert table.by_year[1977] == pytest.approx(60.6083333)
    assert table.short == {}


@pytest.mark.parametrize("data", ["year,index\n1977,60.6\n".encode("utf-16"), b"year,index,note\n1977,60.6,\xa9\n"])
def test_encodings_that_spreadsheets_save(data, tmp_path):
    (tmp_path / "prices.csv").write_bytes(data)
    assert read_prices(tmp_path / "prices.csv", "prices.csv").by_year == {1977: 60.6}


# ------------------------------------------------------------------ mistakes

SHAPES = "year,index, or month,index with YYYY-MM, or date,index with YYYY-MM-DD, or year,jan,feb … dec"
MISTAKES = {
    "": "prices.csv: the file is empty; begin with a header: year,index",
    "# only this\n": "prices.csv: the file is empty; begin with a header: year,index",
    "year,index\n": f"prices.csv:1: there is no value under this header; the table needs rows: {SHAPES}",
    "1977,60.6\n": f'prices.csv:1: no column is called year, month or date in "1977,60.6"; write {SHAPES}',
    "# x\nyear,rate\n1977,6.5\n": f'prices.csv:2: no column is called index in "year,rate"; write {SHAPES}',
    "date,rate\n1977-01-01,6.5\n": f'prices.csv:1: no column is called index in "date,rate"; write {SHAPES}',
    "year,index,Index\n1977,60.6,1\n": (
        'prices.csv:1: the column "Index" appears twice; keep one, or rename the one to ignore'
    ),
    "year,jan,feb,mar,apr,may,jun,jly,aug,sep,oct,nov,dec\n": (
        "prices.csv:1: months without a column: July; write all twelve, blank where there is no value"
    ),
    "year,index\n1977,60.6\n1978,65.2\n1977,60.7\n": (
        "prices.csv:4: 1977 is in line 2 already; keep one row for each year"
    ),
    "month,index\n1977-01,58.5\n1977-01,58.6\n": ("prices.csv:3: 1977-01 is in line 2 already; keep one of the two"),
    "date,index\n1977-01-01,58.5\n1977-01-15,58.6\n": (
        "prices.csv:3: 1977-01 is in line 2 already; keep one of the two"
    ),
    "year,index\n77,60.6\n": (
        'prices.csv:2: "77" is not a year; write four digits, and begin lines that are no data with #'
    ),
    "year,index\n1977,60.6\nSource: an office\n": (
        'prices.csv:3: "Source: an office" is not a year; write four digits, and begin lines that are no data with #'
    ),
    "month,index\n1977-14,60.6\n": 'prices.csv:2: "1977-14" is not a month; write YYYY-MM, for example 1977-04',
    "year,month,index\n1977,4,60.0\n": 'prices.csv:2: "4" is not a month; write YYYY-MM, for example 1977-04',
    "date,index\n1977-02-30,60.6\n": (
        'prices.csv:2: "1977-02-30" is not a date; write YYYY-MM-DD, for example 1977-04-01'
    ),
    "date,index\n04/01/1977,60.6\n": (
        'prices.csv:2: "04/01/1977" is not a date; write YYYY-MM-DD, for example 1977-04-01'
    ),
    "year,index\n1977,0\n": "prices.csv:2: the index 0 is not above zero; correct it, or leave the cell blank",
    "year,index\n1977,-60.6\n": "prices.csv:2: the index -60.6 is not above zero; correct it, or leave the cell blank",
    "year,index\n1977,sixty\n": (
        'prices.csv:2: "sixty" is not an index; write digits with a decimal point, no thousands mark; '
        "leave the cell blank where there is no value"
    ),
    'year,index\n1977,"1,060.6"\n': ('prices.csv:2: the index "1,060.6" has a mark between thousands; write 1060.6'),
    "year,index\n1977,60,6\n": (
        "prices.csv:2: 3 cells under a header of 2; "
        "write the decimal mark as a point, and put text that holds a comma in quotation marks"
    ),
    'year,index,note\n1977,60.6,"open\n1978,65.2,x\n': (
        "prices.csv:2: quotation marks are not paired in this row; "
        'close them, and write "" for one inside a quoted cell'
    ),
}


@pytest.mark.parametrize("text", MISTAKES, ids=lambda text: text.replace("\n", " / ") or "empty")
def test_one_mistake_gives_one_message(text):
    assert faults_of(text) == [MISTAKES[text]]


def test_all_faults_are_told_at_once_by_line():
    lines = [int(fault.split(":")[1]) for fault in faults_of("year,index\nx,1\n1977,y\n1978,-1\n1979,1,2\n")]
    assert lines == [2, 3, 4, 5]


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"^prices\.csv: there is no file prices\.csv in "):
        read_prices(tmp_path / "prices.csv", "prices.csv")


@given(st.text(alphabet='yearmonthdi,;\t\n"0123456789-.# x\x00é', max_size=80))
def test_any_text_is_read_or_refused(text):
    for beginning in ("", "year,index\n", "month;index\n", f"{HEADER}\n"):
        try:
            table = parse_prices(beginning + text, "prices.csv")
            values, faults = table.by_year.values(), ()
        except InputError as error:
            values, faults = (), error.faults
        assert bool(values) != bool(faults)
        assert all(value > 0 for value in values)
