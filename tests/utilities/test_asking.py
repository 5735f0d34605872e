"""When a desk is asked: each rule against days counted by hand on a calendar of federal holidays."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from utilities.asking import AGAIN, FORECAST, PROMISE, QUIET, UNACKNOWLEDGED, Due, Wait, due, may_ask_from
from utilities.workdays import FEDERAL

D = dt.date
# Counted by hand: Thursday 26 November 2026 is Thanksgiving (5 U.S.C. 6103(a): the fourth Thursday in November).
THANKSGIVING = D(2026, 11, 26)
SENT = Wait(filed_on=D(2026, 10, 1), due_on=D(2026, 12, 20), acknowledged_on=D(2026, 10, 2), heard_on=D(2026, 12, 6))


def asked(wait: Wait, today: dt.date) -> Due | None:
    return due(wait, today=today, calendar=FEDERAL, acknowledge_days=5)


def test_a_request_without_a_word_is_asked_about_on_the_sixth_business_day():
    silent = Wait(filed_on=D(2026, 11, 19), due_on=D(2026, 12, 3))  # a Thursday: 20, 23, 24, 25, 27 November are the five

    assert asked(silent, D(2026, 11, 29)) is None
    assert asked(silent, D(2026, 11, 30)) == Due(UNACKNOWLEDGED, D(2026, 11, 30))
    assert asked(replace(silent, acknowledged_on=D(2026, 11, 20)), D(2026, 11, 30)) is None
    assert asked(replace(silent, asked_on=D(2026, 11, 27), due_on=D(2026, 12, 11)), D(2026, 12, 4)) is None
    assert asked(replace(silent, begin_on=D(2026, 11, 25)), D(2026, 11, 30)) is None, "a home brought in is followed from that day"


def test_a_promise_is_asked_about_the_day_after_it_and_keeps_us_from_asking_before():
    promised = replace(SENT, heard_on=D(2026, 11, 2), promised_by=D(2026, 11, 18), due_on=D(2026, 11, 18))

    assert asked(promised, D(2026, 11, 17)) is None
    assert asked(promised, D(2026, 11, 18)) is None
    assert asked(promised, D(2026, 11, 19)) == Due(PROMISE, D(2026, 11, 19))
    assert asked(replace(promised, half_on=D(2026, 11, 10)), D(2026, 11, 17)) is None
    assert asked(replace(promised, next_on=D(2026, 11, 9), due_on=D(2026, 11, 9)), D(2026, 11, 9)) == Due(AGAIN, D(2026, 11, 9))


def test_nothing_new_begins_the_count_anew():
    quiet = replace(SENT, heard_on=D(2026, 11, 2), due_on=D(2026, 11, 16))
    assert asked(quiet, D(2026, 11, 16)) == Due(QUIET, D(2026, 11, 16))

    assert asked(replace(quiet, heard_on=D(2026, 11, 16), due_on=D(2026, 11, 30)), D(2026, 11, 29)) is None


def test_a_forecast_that_has_passed_is_asked_about_once():
    late = replace(SENT, heard_on=D(2026, 11, 2), half_on=D(2026, 11, 12))

    assert asked(late, D(2026, 11, 12)) is None
    assert asked(late, D(2026, 11, 13)) == Due(FORECAST, D(2026, 11, 13))
    assert asked(replace(late, asked_on=D(2026, 11, 13)), D(2026, 11, 16)) is None


def test_a_desk_is_left_alone_for_its_working_days_and_a_holiday_is_none():
    def may(last: dt.date | None, today: dt.date, gap: int = 3) -> dt.date:
        return may_ask_from(last, today=today, calendar=FEDERAL, gap_days=gap)

    tuesday = D(2026, 11, 24)  # its working days after it: 25, 27, 30 November
    assert may(tuesday, D(2026, 11, 25)) == D(2026, 11, 30)
    assert may(tuesday, D(2026, 11, 30)) == D(2026, 11, 30)
    assert may(tuesday, tuesday) == tuesday, "a call that is being held is not over after its first home"
    assert may(None, THANKSGIVING) == D(2026, 11, 27), "on a holiday nobody is there"
    assert may(tuesday, D(2026, 11, 25), gap=0) == D(2026, 11, 25)
