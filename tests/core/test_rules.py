from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import rules
from jobs.core.models import Rule
from jobs.core.refusals import Refused

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def test_the_newest_rule_that_has_begun_holds(dana):
    rules.set_rule("follow_up_days", value=10, valid_from=TODAY, by=dana)
    rules.set_rule("follow_up_days", value=7, valid_from=dt.date(2026, 12, 1), by=dana)

    assert rules.number("follow_up_days") == 10
    assert rules.number("follow_up_days", on=dt.date(2026, 12, 1)) == 7
    assert rules.number("follow_up_days", on=dt.date(2026, 11, 1)) == rules.RULES["follow_up_days"].default


@pytest.mark.parametrize(
    ("name", "value"),
    [("quiet_opens", 7), ("quiet_closes", 22), ("follow_up_days", "often"), ("office_zone", "Denver"), ("company_phone", "911")],
)
def test_a_value_outside_its_bounds_is_refused(name, value, dana):
    with pytest.raises(Refused):
        rules.set_rule(name, value=value, valid_from=TODAY, by=dana)

    assert not Rule.objects.exists()


def test_a_rule_does_not_begin_in_the_past(dana):
    with pytest.raises(Refused, match="begins today or later"):
        rules.set_rule("follow_up_days", value=10, valid_from=dt.date(2026, 11, 1), by=dana)


def test_each_default_lies_within_its_own_bounds():
    for name, kind in rules.RULES.items():
        if isinstance(kind.default, int) and kind.low is not None and kind.high is not None:
            assert kind.low <= kind.default <= kind.high, name


@pytest.mark.parametrize(
    ("name", "value", "shown", "bounds"),
    [
        ("payment_days", 30, "30 days", "In days, from 0 to 120."),
        ("delay_week_dollars", 20, "$20", "In dollars, from 0 to 1000."),
        ("first_invoice_number", 1001, "1001", "From 1 to 999999999."),
        ("company_phone", "", "none", ""),
    ],
)
def test_a_rule_is_shown_with_its_unit(name, value, shown, bounds):
    assert rules.RULES[name].shown(value) == shown
    assert rules.RULES[name].bounds == bounds
