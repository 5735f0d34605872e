"""Amounts in minor units, read and shown."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import money
from jobs.core.money import Rounding


@pytest.mark.parametrize(
    ("typed", "cents"),
    [
        ("8640", 864000),
        ("$8,640.00", 864000),
        (" 8640.5 ", 864050),
        (".5", 50),
        ("5.", 500),
        ("-12.50", -1250),
        ("\u2212$12.50", -1250),
        ("+1", 100),
        ("0", 0),
        ("1,234,567.89", 123456789),
        (Decimal("31234.57"), 3123457),
        (Decimal("10.5000"), 1050),
        (Decimal("1E+3"), 100000),
    ],
)
def test_an_amount_is_read_as_people_and_files_write_it(typed, cents):
    assert money.minor(typed) == cents


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("1.005", "has too many decimals: USD has two"),
        ("1.500", "has too many decimals"),
        (Decimal("1.005"), "has too many decimals"),
        ("", "An empty field is not an amount"),
        ("  ", "An empty field is not an amount"),
        (".", "is not an amount"),
        ("$", "is not an amount"),
        ("twelve", "is not an amount"),
        ("12 34", "is not an amount"),
        ("8,64", "is not an amount"),
        ("8.640,00", "is not an amount"),
        ("1e3", "is not an amount"),
        ("nan", "is not an amount"),
        ("(12.00)", "is not an amount"),
        ("٣", "is not an amount"),
        (Decimal("NaN"), "is not an amount"),
        (Decimal("Infinity"), "is not an amount"),
        (Decimal("1E+999999"), "too large or too small"),
        ("92233720368547758.08", "is too large"),
        ("9" * 5000, "is too large"),
        (12.5, "not as float"),
        (12, "not as int"),
        (None, "not as NoneType"),
    ],
)
def test_what_is_not_an_amount_is_refused_with_a_sentence(value, sentence):
    with pytest.raises(ValueError, match=sentence) as refusal:
        money.minor(value)

    assert str(refusal.value).endswith(".")


def test_the_largest_amount_a_column_holds_is_read():
    assert money.minor("92233720368547758.07") == 2**63 - 1


def test_a_currency_has_its_own_decimals():
    assert money.minor("1250", currency="JPY") == 1250
    assert money.minor("1.250", currency="BHD") == 1250
    assert money.decimal_text(1250, currency="JPY") == "1250"
    assert money.shown(1250, currency="BHD") == "BHD\u00a01.250"
    with pytest.raises(ValueError, match="JPY has none"):
        money.minor("12.5", currency="JPY")
    with pytest.raises(ValueError, match="is not an amount"):
        money.minor("$12", currency="JPY")
    with pytest.raises(ValueError, match="'XYZ' is not known"):
        money.minor("12", currency="XYZ")


@pytest.mark.parametrize(
    ("cents", "text", "shown"),
    [
        (864000, "8640.00", "$8,640.00"),
        (-1250, "-12.50", "\u2212$12.50"),
        (5, "0.05", "$0.05"),
        (-5, "-0.05", "\u2212$0.05"),
        (0, "0.00", "$0.00"),
        (123456789, "1234567.89", "$1,234,567.89"),
    ],
)
def test_an_amount_is_written_for_files_and_shown_to_people(cents, text, shown):
    assert money.decimal_text(cents) == text
    assert money.shown(cents) == shown


@given(st.integers(-(2**63) + 1, 2**63 - 1), st.sampled_from(["USD", "JPY", "BHD"]))
def test_what_is_written_is_read_back_unchanged(amount, currency):
    assert money.minor(money.decimal_text(amount, currency=currency), currency=currency) == amount
    if currency == "USD":
        assert money.minor(money.shown(amount)) == amount


def test_a_float_is_not_shown_as_money():
    with pytest.raises(ValueError, match="whole number"):
        money.shown(12.5)  # type: ignore[arg-type]


def test_large_figures_are_shown_whole_or_to_a_step():
    assert money.shown_whole(13125449) == "$131,254"
    assert money.shown_whole(13125449, step=1000) == "$131,000"
    assert money.shown_whole(-13165449, step=1000) == "\u2212$132,000"
    assert money.shown_whole(-10) == "$0"


def test_a_tax_says_how_it_rounds_half_a_cent():
    # 8.25 % of $0.20 is 1.65 cents; 2.5 % of $1.00 is 2.5 cents, half a cent.
    assert money.tax(20, rate_millionths=82_500, rounding=Rounding.HALF_EVEN) == 2
    assert money.tax(100, rate_millionths=25_000, rounding=Rounding.HALF_EVEN) == 2
    assert money.tax(100, rate_millionths=25_000, rounding=Rounding.HALF_UP) == 3
    assert money.tax(-100, rate_millionths=25_000, rounding=Rounding.HALF_UP) == -3
    with pytest.raises(ValueError, match="cannot be negative"):
        money.tax(100, rate_millionths=-1, rounding=Rounding.HALF_UP)


@given(st.integers(-(2**63), 2**63 - 1), st.integers(0, 1_000_000), st.sampled_from(list(Rounding)))
def test_a_tax_is_the_nearest_minor_unit(base, rate, rounding):
    # Twice the distance in millionths, in whole numbers: never more than one half.
    assert abs(2 * (money.tax(base, rate_millionths=rate, rounding=rounding) * 1_000_000 - base * rate)) <= 1_000_000
