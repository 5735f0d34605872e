"""Due days and ageing."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.terms import Bucket, bucket, days_past_due, due_on


def test_the_day_of_issue_is_day_zero():
    assert due_on(date(2026, 11, 25), net_days=0) == date(2026, 11, 25)
    assert due_on(date(2026, 11, 25), net_days=1) == date(2026, 11, 26)


def test_negative_terms_are_refused():
    with pytest.raises(ValueError, match="cannot be negative: net -1 days"):
        due_on(date(2026, 11, 25), net_days=-1)


@given(st.dates(date(2000, 1, 1), date(2090, 1, 1)), st.integers(0, 400), st.integers(-400, 400))
def test_an_invoice_is_past_due_by_the_days_beyond_its_terms(issued, net, more):
    due = due_on(issued, net_days=net)

    assert days_past_due(due, as_of=issued + timedelta(days=net + more)) == more


@given(st.lists(st.integers(-200, 400), min_size=2).map(sorted))
def test_an_older_debt_never_stands_in_a_younger_bucket(ages):
    as_of = date(2026, 7, 31)
    places = [list(Bucket).index(bucket(as_of - timedelta(days=age), as_of=as_of)) for age in ages]

    assert places == sorted(places)
