"""What a design paper shows otherwise than what is there; and when a warranty began. Pure: no database."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import kinds as k
from jobs.core.drawn import Equipment, differences
from jobs.core.states import Facts, Known
from jobs.core.warranties import after_months, start

D = dt.date
THERE = Equipment(battery_wh=27_000, inverter_w=11_400, pv=True, service="120/240", collar_revision="C")


def test_equipment_that_differs_from_the_paper_is_named_with_both_figures():
    shown = Equipment(battery_wh=13_500, inverter_w=11_400, pv=True, service="120/208", collar_revision="b")

    assert [one.words for one in differences(shown, THERE)] == [
        "battery: 13.5 kWh on the paper, 27 kWh on record",
        "service: 120/208 V on the paper, 120/240 V on record",
        "collar: revision b on the paper, revision C on record",
    ]
    assert [one.words for one in differences(Equipment(battery_wh=0, inverter_w=7_600, pv=False), THERE)] == [
        "battery: none on the paper, 27 kWh on record",
        "inverter: 7,600 W on the paper, 11,400 W on record",
        "solar: none on the paper, yes on record",
    ]


def test_silence_is_no_difference_and_what_is_kept_comes_back():
    assert differences(Equipment(), THERE) == []
    assert differences(THERE, Equipment()) == []
    assert Equipment.from_kept(THERE.kept()) == THERE
    assert Equipment.from_kept(Equipment(battery_wh=0, pv=False).kept()) == Equipment(battery_wh=0, pv=False)


def facts(*rows: tuple[str, dt.date, dict]) -> Facts:
    return Facts(Known(kind, day, order, value) for order, (kind, day, value) in enumerate(rows))


HOME = facts(
    (k.INSTALLED, D(2026, 5, 4), {}),
    (k.COMMISSIONED, D(2026, 5, 5), {}),
    (k.PERMISSION_TO_OPERATE, D(2026, 6, 19), {}),
    (k.COLLAR_FITTED, D(2026, 9, 14), {}),
    (k.VERIFICATION, D(2026, 9, 20), {"result": "not passed", "record": "a"}),
    (k.VERIFICATION, D(2026, 9, 21), {"result": "passed", "record": "b"}),
)


@pytest.mark.parametrize(
    ("event", "begins", "ends"),
    [
        ("installation", D(2026, 5, 4), D(2036, 5, 3)),
        ("commissioning", D(2026, 5, 5), D(2036, 5, 4)),
        ("permission", D(2026, 6, 19), D(2036, 6, 18)),
        ("fitting", D(2026, 9, 14), D(2036, 9, 13)),
        ("verification", D(2026, 9, 21), D(2036, 9, 20)),
    ],
)
def test_a_warranty_begins_on_the_day_of_the_event_that_its_terms_name(event, begins, ends):
    # TRADE.md D15: the terms differ, the start is derived from the named event. Ten years by hand.
    told = start(event, months=120, facts=HOME)

    assert (told.begins_on, told.ends_on) == (begins, ends)


def test_an_event_that_has_not_happened_begins_nothing_and_a_voided_verification_is_none():
    assert start("verification", months=12, facts=facts((k.INSTALLED, D(2026, 5, 4), {}))).begins_on is None
    voided = Facts([*HOME.rows, Known(k.VERIFICATION_VOIDED, D(2026, 9, 22), 9, {"record": "b"})])
    assert start("verification", months=12, facts=voided).begins_on is None


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (D(2026, 1, 31), 1, D(2026, 2, 28)),
        (D(2028, 2, 29), 12, D(2029, 2, 28)),
        (D(2026, 12, 15), 1, D(2027, 1, 15)),
        (D(2026, 5, 4), 0, D(2026, 5, 4)),
    ],
)
def test_months_are_counted_by_the_calendar(day, months, then):
    assert after_months(day, months) == then


@given(st.integers(D(2000, 1, 1).toordinal(), D(2100, 1, 1).toordinal()).map(dt.date.fromordinal), st.integers(0, 600))
def test_so_many_months_later_is_that_many_months_later(day, months):
    then = after_months(day, months)

    assert (then.year * 12 + then.month) - (day.year * 12 + day.month) == months
    assert then.day == day.day or (then.day < day.day and (then + dt.timedelta(days=1)).day == 1)
