from __future__ import annotations

import datetime as dt

import pytest

from jobs.appointments.worth import Part, Rates, worth_of_a_day

TODAY = dt.date(2026, 11, 18)


def test_a_day_is_worth_a_thirtieth_of_the_final_milestone_and_twenty_dollars_a_week():
    # By hand: 8,640.00 / 30 = 288.00; 9 weeks and 2 days since 14 September are 9 full weeks, 9 * 20.00 = 180.00; together 468.00.
    worth = worth_of_a_day(864_000, energized_on=dt.date(2026, 9, 14), today=TODAY, rates=Rates())

    assert worth.parts == (Part("final milestone divided by 30", 28_800), Part("9 weeks since the collar", 18_000))
    assert worth.total_minor == 46_800


def test_each_paper_that_expires_within_thirty_days_adds_a_hundredth_of_the_contract():
    # By hand: of 38,500.00 one in a hundred is 385.00; today's and the thirtieth day's count, not yesterday's nor the 31st's.
    ends = [TODAY, TODAY + dt.timedelta(days=30), TODAY - dt.timedelta(days=1), TODAY + dt.timedelta(days=31)]

    worth = worth_of_a_day(0, energized_on=None, today=TODAY, rates=Rates(), contract_minor=3_850_000, papers_end=ends)

    assert worth.parts == (Part("2 papers that expire within 30 days", 77_000),)


def test_half_a_cent_goes_up_and_parts_of_nothing_are_left_out():
    # 45 / 30 = 1.5 cents.
    assert worth_of_a_day(45, energized_on=TODAY, today=TODAY, rates=Rates()).parts == (Part("final milestone divided by 30", 2),)


def test_the_rates_are_rules():
    worth = worth_of_a_day(864_000, energized_on=dt.date(2026, 11, 11), today=TODAY, rates=Rates(milestone_days=60, week_minor=500))

    assert worth.parts == (Part("final milestone divided by 60", 14_400), Part("1 week since the collar", 500))


def test_a_negative_milestone_is_refused():
    with pytest.raises(ValueError, match="less than nothing"):
        worth_of_a_day(-1, energized_on=None, today=TODAY, rates=Rates())
