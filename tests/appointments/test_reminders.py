"""Reminders of a call: owed with the booking, at the home's own hours, and withdrawn with it."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.appointments import booking, reminders
from jobs.appointments.models import Appointment
from jobs.appointments.times import Wish
from jobs.core import clock, rules
from jobs.notices import outbox, rendering
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, TODAY, TOMORROW, booked, give_hours, ready_job
from tests.make import SYSTEM, user_of

pytestmark = pytest.mark.django_db

FRIDAY = TODAY + dt.timedelta(days=2)
KINDS = (reminders.DAY_BEFORE, reminders.HOURS_BEFORE)


def states() -> dict[str, list[str]]:
    rows = Message.objects.filter(kind__in=KINDS).order_by("pk").values_list("kind", "state")
    return {kind: [state for name, state in rows if name == kind] for kind in KINDS}


def test_a_booking_owes_both_at_the_homes_own_hours(theo, mara):
    call = booked(theo, verifier=user_of(mara), wish=Wish(FRIDAY, dt.time(10)))

    day, hours = (Message.objects.get(kind=kind) for kind in KINDS)

    # 10:00 in Denver is 17:00 UTC in November: the same hour the day before, and over as that day ends.
    assert (day.not_before, day.not_after) == (
        dt.datetime(2026, 11, 19, 17, tzinfo=dt.UTC),
        dt.datetime(2026, 11, 20, 6, 59, tzinfo=dt.UTC),
    )
    assert (hours.not_before, hours.not_after) == (call.starts_at - dt.timedelta(hours=2), call.starts_at - dt.timedelta(minutes=20))
    assert {day.state, hours.state} == {"owed"}


def test_the_day_before_a_change_of_the_clocks_is_the_same_wall_time(theo, mara):
    # Clocks in the United States go back on Sunday 1 November 2026 (15 U.S.C. 260a): 25 hours lie between the two.
    with clock.pretend(dt.datetime(2026, 10, 30, 18, tzinfo=dt.UTC)):
        call = Appointment(local_date=dt.date(2026, 11, 1), local_time=dt.time(10), zone="America/Denver")
        call.starts_at = dt.datetime(2026, 11, 1, 17, tzinfo=dt.UTC)

        assert call.starts_at - reminders.day_before(call) == dt.timedelta(hours=25)


def test_no_reminder_is_owed_whose_time_has_passed_or_lies_in_quiet_hours(theo, mara):
    # Tomorrow at ten is less than a day ahead of noon: the booking itself has said it.
    booked(theo, verifier=user_of(mara), wish=AT_TEN)
    assert states() == {reminders.DAY_BEFORE: [], reminders.HOURS_BEFORE: ["owed"]}

    # Two hours before nine the home may not be written to yet, and at nine the call begins.
    Message.objects.all().delete()
    booked(theo, verifier=user_of(mara), wish=Wish(FRIDAY, dt.time(9)), job=ready_job())
    assert states() == {reminders.DAY_BEFORE: ["owed"], reminders.HOURS_BEFORE: []}


def test_an_offer_owes_none_and_its_confirmation_does(theo, mara):
    call = booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=Wish(FRIDAY, dt.time(10)), by=theo)
    assert states() == {reminders.DAY_BEFORE: [], reminders.HOURS_BEFORE: []}

    booking.record_answer(call, answer="confirmed", by=theo)

    assert states() == {reminders.DAY_BEFORE: ["owed"], reminders.HOURS_BEFORE: ["owed"]}


def test_a_move_withdraws_them_and_owes_new_ones_and_a_cancellation_withdraws_all(theo, mara):
    call = booked(theo, verifier=user_of(mara), wish=Wish(FRIDAY, dt.time(10)))

    booking.move(call, wish=Wish(FRIDAY, dt.time(14)), by=theo)
    assert states() == {kind: ["withdrawn", "owed"] for kind in KINDS}

    booking.cancel(call, why="us", reason="Mara is ill", by=theo)
    assert states() == {kind: ["withdrawn", "withdrawn"] for kind in KINDS}


def test_an_approved_rule_lets_them_wait_released_until_their_time(theo, mara):
    rules.set_rule("notices_by_themselves", value=", ".join(KINDS), valid_from=TODAY, by=SYSTEM)

    booked(theo, verifier=user_of(mara), wish=Wish(FRIDAY, dt.time(10)))

    day = Message.objects.get(kind=reminders.DAY_BEFORE)
    assert (day.state, day.due_at) == ("released", day.not_before)
    assert outbox.claim(day.pk) is None
    # What is frozen days before must still be true then: it names day and hour, and says tomorrow only until midnight.
    assert "tomorrow: Friday, November 20, 10:00 a.m. Mountain Time" in rendering.frozen(day).text


def test_a_home_verified_meanwhile_is_not_reminded(theo, mara):
    call = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))
    message = Message.objects.get(kind=reminders.HOURS_BEFORE)
    Appointment.objects.filter(pk=call.pk).update(state="held")

    with pytest.raises(Exception, match="The call is held"):
        outbox.release(message, by=theo)
