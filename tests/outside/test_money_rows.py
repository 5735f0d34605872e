"""TRADE.md section 3, rows F1 to F11."""

from datetime import date

import babel.numbers
import pytest

from billing.shares import apportion, split
from billing.terms import bucket, days_past_due, due_on
from jobs.core import money
from jobs.core.money import Rounding


def percent(*shares):
    return [share * 10_000 for share in shares]


# Source: largest remainder (Hamilton) with ties by order, worked out by hand in TRADE.md; credits mirror (F6).
@pytest.mark.parametrize(
    ("row", "total", "shares", "parts"),
    [
        ("F1", "100.00", apportion(1_000_000, [1, 1, 1]), ["33.34", "33.33", "33.33"]),
        ("F2", "31,234.57", percent(50, 30, 20), ["15,617.29", "9,370.37", "6,246.91"]),
        ("F3", "28,750.33", percent(33, 33, 34), ["9,487.61", "9,487.61", "9,775.11"]),
        ("F4", "0.01", percent(50, 50), ["0.01", "0.00"]),
        ("F5", "42,000.01", percent(10, 60, 30), ["4,200.00", "25,200.01", "12,600.00"]),
        ("F6", "-100.01", percent(60, 40), ["-60.01", "-40.00"]),
    ],
)
def test_an_amount_splits_as_worked_out_by_hand(row, total, shares, parts):
    assert split(money.minor(total), shares) == [money.minor(part) for part in parts], row


def test_f2_rounding_each_part_alone_would_lose_a_cent():
    alone = [money.tax(3_123_457, rate_millionths=share, rounding=Rounding.HALF_EVEN) for share in percent(50, 30, 20)]

    assert sum(alone) == money.minor("31,234.56")


def test_f7_half_even_and_half_up_differ():
    # Source: the General Decimal Arithmetic rules of Python's decimal.
    assert money.rounded("2.345", rounding=Rounding.HALF_EVEN) == 234
    assert money.rounded("2.345", rounding=Rounding.HALF_UP) == 235
    assert money.rounded("2.335", rounding=Rounding.HALF_EVEN) == 234


def test_f8_a_float_would_round_wrongly_and_is_refused():
    # Source: IEEE 754 binary64; 2.675 is held as 2.67499999...
    assert round(2.675, 2) == 2.67
    with pytest.raises(ValueError, match="not as float"):
        money.rounded(2.675, rounding=Rounding.HALF_UP)  # type: ignore[arg-type]
    assert money.rounded("2.675", rounding=Rounding.HALF_UP) == 268


@pytest.mark.parametrize(("currency", "decimals"), [("USD", 2), ("JPY", 0), ("BHD", 3)])
def test_f9_minor_units_are_those_of_iso_4217(currency, decimals):
    assert money.exponent(currency) == decimals


@pytest.mark.parametrize("currency", sorted(money._EXPONENTS))
def test_f9_every_currency_has_the_decimals_that_babel_knows(currency):
    # Source: ISO 4217 through Babel's CLDR data.
    assert money.exponent(currency) == babel.numbers.get_currency_precision(currency)


# Source: datetime; as of 2026-07-31.
@pytest.mark.parametrize(
    ("due", "past", "name"),
    [
        (date(2026, 8, 15), -15, "current"),
        (date(2026, 7, 31), 0, "current"),
        (date(2026, 7, 30), 1, "1-30"),
        (date(2026, 7, 1), 30, "1-30"),
        (date(2026, 6, 30), 31, "31-60"),
        (date(2026, 6, 1), 60, "31-60"),
        (date(2026, 5, 31), 61, "61-90"),
        (date(2026, 5, 2), 90, "61-90"),
        (date(2026, 5, 1), 91, "over 90"),
    ],
)
def test_f10_a_debt_stands_in_its_bucket(due, past, name):
    as_of = date(2026, 7, 31)

    assert days_past_due(due, as_of=as_of) == past
    assert bucket(due, as_of=as_of) == name


@pytest.mark.parametrize(
    ("issued", "due"), [(date(2026, 1, 31), date(2026, 3, 2)), (date(2024, 1, 31), date(2024, 3, 1))], ids=["2026", "leap year"]
)
def test_f11_net_30_counts_calendar_days(issued, due):
    assert due_on(issued, net_days=30) == due
