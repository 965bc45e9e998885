"""The original price, and its equivalent in the money of another year."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Context, Decimal

from reviewkit.model.errors import Fault, InputError
from reviewkit.model.prices import IndexTable, PriceLine
from reviewkit.model.session import PriceTag

_SOURCE = "session.toml"
_SYMBOLS = {"USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}
_WIDE = Context(prec=60)  # enough digits for any amount that a table of prices can give


def work_out_price(tag: PriceTag, table: IndexTable, unit_year: int | None) -> PriceLine:
    """Convert a price by the ratio of two years' indexes: now = paid × index[to] / index[from].

    Parameters
    ----------
    tag : PriceTag
        The [price] table.
    table : IndexTable
        A consumer price index by year.
    unit_year : int or None
        Year to use if the tag has none.

    Returns
    -------
    PriceLine
        Both prices; `now` is unrounded, in the currency that was paid.

    Raises
    ------
    InputError
        At the [price] table's line, if a year is missing or isn't in the table: nothing is extrapolated.

    Notes
    -----
    This is the adjustment that the US Bureau of Labor Statistics describes for its consumer price index.
    """
    from_year = tag.year if tag.year is not None else unit_year
    if from_year is None:
        message = (
            "[price] has no year, and [unit] has none either; write the year it was paid in, for example year = 1977"
        )
        raise InputError(Fault(_SOURCE, tag.line, message))
    to_year = tag.to if tag.to is not None else max(table.by_year)
    lacking = [
        f"[price] {key} = {year} is not in {table.source}, which has {format_years(table.by_year)}; {remedy}"
        for key, year, remedy in (
            ("year", from_year, "add that year to the table, or write another year"),
            ("to", to_year, "write one of these years, or leave it out for the latest"),
        )
        if year not in table.by_year
    ]
    if lacking:
        raise InputError(Fault(_SOURCE, tag.line, message) for message in lacking)
    factor = table.by_year[to_year] / table.by_year[from_year]
    now = tag.paid * factor
    paid_shown, now_shown = format_exact_price(tag.paid, tag.currency), format_rounded_price(now, tag.currency)
    if from_year == to_year:
        line = f"{paid_shown} in {from_year} money."
    else:
        basis = _basis(table.short, from_year, to_year)
        line = f"{paid_shown} in {from_year} is about {now_shown} in {to_year} money ({basis})."
    return PriceLine(
        paid=tag.paid,
        currency=tag.currency,
        from_year=from_year,
        to_year=to_year,
        factor=factor,
        now=now,
        paid_shown=paid_shown,
        now_shown=now_shown,
        line=line,
        fair_shown="" if tag.fair is None else format_exact_price(tag.fair, tag.currency),
    )


def _basis(short: Mapping[int, int], *years: int) -> str:
    partial = [f"{year} over {short[year]} month{'s' if short[year] > 1 else ''}" for year in years if year in short]
    return "; ".join(["consumer prices, annual averages", *partial])


def format_exact_price(amount: float, currency: str) -> str:
    """Format an amount as it was paid: "$329", "$329.95", "£1,250", "SEK 1,995"."""
    exact = Decimal(repr(amount))
    if exact == exact.to_integral_value():
        return _add_currency(f"{exact:,.0f}", currency)
    # two decimals, as prices have them; more only where more were written
    decimals = max(2, -int(exact.normalize().as_tuple().exponent))
    return _add_currency(f"{exact:,.{decimals}f}", currency)


def format_rounded_price(amount: float, currency: str) -> str:
    """Format a converted amount, rounded to 10 below 10,000 and to 100 above; ties to even.

    Below 10 it is rounded to 1, so that a small amount doesn't become nothing.
    """
    step = Decimal(1) if amount < 10 else Decimal(10) if amount < 10_000 else Decimal(100)
    rounded = (Decimal(repr(amount)) / step).quantize(Decimal(1), rounding=ROUND_HALF_EVEN, context=_WIDE) * step
    return _add_currency(f"{rounded:,.0f}", currency)


def _add_currency(digits: str, currency: str) -> str:
    return f"{_SYMBOLS[currency]}{digits}" if currency in _SYMBOLS else f"{currency} {digits}"


def format_years(years: Mapping[int, float]) -> str:
    """Format the years of a table as runs: "1955 – 1970, 1972 – 2025"."""
    runs: list[list[int]] = []
    for year in sorted(years):
        if runs and year == runs[-1][1] + 1:
            runs[-1][1] = year
        else:
            runs.append([year, year])
    return ", ".join(str(low) if low == high else f"{low} – {high}" for low, high in runs)
