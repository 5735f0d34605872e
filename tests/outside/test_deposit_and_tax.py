"""TRADE.md row F15, and taxes worked out by hand."""

from __future__ import annotations

import babel.numbers
import pytest

from billing.deposits import BUILT_IN, Cap, most
from jobs.core import money
from jobs.core.money import Rounding


def test_f15_californias_cap_on_31_234_57_is_1_000():
    # Source: California Business and Professions Code 7159.5(a)(3): $1,000 or 10 percent of the contract price, whichever is less.
    assert most(money.minor("31,234.57"), BUILT_IN["CA"]) == money.minor("1,000.00")
    assert most(money.minor("9,999.99"), BUILT_IN["CA"]) == money.minor("999.99"), "10 % of it, never rounded above the law's share"


@pytest.mark.parametrize(("amount", "share", "expected"), [(None, None, None), (5_000, None, 5_000), (None, 333_333, 33_333), (0, None, 0)])
def test_a_cap_has_an_amount_a_share_both_or_neither(amount, share, expected):
    assert most(100_000, Cap("XX", amount, share, "a statute")) == expected


@pytest.mark.parametrize(
    ("net", "rate", "even", "up"),
    [
        # By hand: 30.00 x 8.75 % = 2.625; 100.10 x 2.5 % = 2.5025; 0.10 x 5 % = 0.005.
        ("30.00", 87_500, "2.62", "2.63"),
        ("100.10", 25_000, "2.50", "2.50"),
        ("0.10", 50_000, "0.00", "0.01"),
    ],
)
def test_the_tax_says_which_rounding_it_uses_because_they_differ(net, rate, even, up):
    assert money.tax(money.minor(net), rate_millionths=rate, rounding=Rounding.HALF_EVEN) == money.minor(even)
    assert money.tax(money.minor(net), rate_millionths=rate, rounding=Rounding.HALF_UP) == money.minor(up)


@pytest.mark.parametrize(
    ("currency", "typed", "minor", "shown"), [("JPY", "8640", 8_640, "JPY\u00a08,640"), ("BHD", "1.250", 1_250, "BHD\u00a01.250")]
)
def test_f9_an_installation_counts_in_the_minor_units_of_its_own_currency(currency, typed, minor, shown):
    # Source: ISO 4217 minor units, through Babel's CLDR data.
    money.use(currency)
    try:
        assert money.exponent() == babel.numbers.get_currency_precision(currency)
        assert money.minor(typed) == minor
        assert money.shown(minor) == shown
    finally:
        money.use("USD")
