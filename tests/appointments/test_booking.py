"""Booking: only ready homes, only inside everybody's hours, never twice the same place."""

from __future__ import annotations

import datetime as dt
import threading

import pytest
import time_machine
from django.db import IntegrityError, connections, transaction

from jobs.appointments import booking, hours, readiness, times
from jobs.appointments.models import Appointment, AppointmentState
from jobs.appointments.times import Wish
from jobs.core import homefacts
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Person
from jobs.core.refusals import NotAllowed, OutOfSight, Refused
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, READY, TODAY, TOMORROW, add, booked, give_hours, person_of, ready_job
from tests.make import SYSTEM, make_job, make_user, put, user_of

pytestmark = pytest.mark.django_db


def test_a_booked_call_keeps_the_promise_at_the_home_and_writes_its_fact(theo, mara):
    job = ready_job(zone="America/New_York")

    call = booking.book(job, verifier=give_hours(user_of(mara)), wish=Wish(TOMORROW, dt.time(12)), by=theo)

    # Noon in New York is 17:00 UTC in November; 45 minutes of call, 15 of buffer.
    assert (call.local_date, call.local_time, call.zone) == (TOMORROW, dt.time(12), "America/New_York")
    assert call.starts_at == dt.datetime(2026, 11, 19, 17, tzinfo=dt.UTC)
    assert call.call_ends_at - call.starts_at == dt.timedelta(minutes=45)
    assert call.ends_at - call.starts_at == dt.timedelta(minutes=60)
    fact = job.facts.of_kind(k.CALL_BOOKED).get()
    assert fact.value == {"appointment": str(call.uid), "on": "2026-11-19", "time": "12:00"}
    assert call.state == AppointmentState.BOOKED
    job.refresh_from_db()
    assert (job.next_act, job.next_due_on) == ("Hold the verification call", TOMORROW)
    told = Message.objects.order_by("pk").values_list("kind", "to_name")
    assert list(told) == [("call_booked", person_of(job).name), ("call_reminder_hours", person_of(job).name)]


@pytest.mark.parametrize("left_out", READY)
def test_each_fact_that_is_missing_refuses_the_booking(left_out, theo, mara):
    job = ready_job(without=left_out)
    verifier = give_hours(user_of(mara))

    with pytest.raises(readiness.NotReady, match="not ready for a call"):
        booking.book(job, verifier=verifier, wish=AT_TEN, by=theo)
    with pytest.raises(readiness.NotReady):
        booking.offer(job, verifier=verifier, wish=AT_TEN, by=theo)

    assert not Appointment.objects.exists()
    assert not Message.objects.exists()


def test_without_the_utilitys_emergency_line_no_call_is_booked(theo, mara):
    job = ready_job(line="")

    with pytest.raises(Refused, match="the utility's emergency line"):
        booking.book(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)


@pytest.mark.parametrize("answer", ["yes", "not sure", "declined"])
def test_a_home_with_another_medical_answer_than_no_is_never_offered_a_call(answer, theo, mara):
    job = ready_job()
    add(job, k.MEDICAL_ANSWER, when=When(on=TODAY), value={"answer": answer})

    for act in (booking.offer, booking.book):
        with pytest.raises(Refused, match="Plan a site visit"):
            act(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)
    assert [gap.visit for gap in readiness.missing_for_booking(job, TODAY)] == [True]


def test_an_old_medical_answer_or_one_without_a_name_does_not_count(theo):
    old = ready_job(without="medical")
    add(old, k.MEDICAL_ANSWER, when=When(on=dt.date(2026, 10, 18)), value={"answer": "no"})
    nameless = ready_job(without="medical")
    add(nameless, k.MEDICAL_ANSWER, when=When(on=TODAY), value={"answer": "no"}, name="")

    # 31 days before 18 November is 18 October; an answer counts for 30 (a rule).
    assert [gap.words for gap in readiness.missing_for_booking(old, TODAY)] == [
        "a medical answer not older than 30 days (the last is of 18 October 2026)"
    ]
    assert readiness.missing_for_booking(old, TODAY - dt.timedelta(days=1)) == []
    assert [gap.words for gap in readiness.missing_for_booking(nameless, TODAY)] == ["the name of who gave the medical answer"]


def test_a_report_of_before_the_fitting_says_nothing_of_the_collar(theo):
    job = ready_job(without="gateway")
    add(job, k.GATEWAY_REPORT, when=When(at=dt.datetime(2026, 9, 13, 18, tzinfo=dt.UTC)), value={"state": "closed"})

    assert [gap.words for gap in readiness.missing_for_booking(job, TODAY)] == ["a report of the gateway since the fitting"]


@pytest.mark.parametrize("stop", ["hold", "emergency"])
def test_a_hold_on_calls_and_an_open_emergency_refuse(stop, dana, theo, mara):
    job = ready_job()
    if stop == "hold":
        homefacts.hold(job, kind="storm", stops=["calls"], review_on=TOMORROW, reason="storm", by=dana)
    else:
        homefacts.open_emergency(job, what="half the house dark", by=theo)

    with pytest.raises(Refused, match="the end of"):
        booking.book(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)


@pytest.mark.parametrize(
    ("wish", "sentence"),
    [
        (Wish(TODAY, dt.time(9)), "has passed at the home"),
        (Wish(TOMORROW, dt.time(8)), "from 09:00 until 20:00 by the clock there"),
        (Wish(TOMORROW, dt.time(19, 30)), "the whole call inside"),
        (Wish(TOMORROW, dt.time(18)), "none of the times of Mara Quist"),
        (Wish(TOMORROW, dt.time(10, 20)), "none of the times of Mara Quist on that day; wanted one of 09:00, 10:00"),
        (Wish(TOMORROW, dt.time(17)), "none of the times"),
    ],
)
def test_a_time_outside_is_refused_with_a_sentence(wish, sentence, theo, mara):
    job = ready_job()

    with pytest.raises(Refused, match=sentence):
        booking.book(job, verifier=give_hours(user_of(mara)), wish=wish, by=theo)
    assert not Appointment.objects.exists()


def test_a_verifier_without_hours_that_day_is_said(theo, mara):
    with pytest.raises(Refused, match="who has none on that day"):
        booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo)


@pytest.mark.parametrize(
    ("zone", "day", "at", "sentence"),
    [
        # TRADE.md row Z7: 2026-03-08 02:30 New York does not exist. Source: zoneinfo round trip.
        ("America/New_York", dt.date(2026, 3, 8), dt.time(2, 30), "does not exist, because the clocks go forward"),
        # TRADE.md row Z8: 2026-11-01 01:30 New York comes twice. Source: PEP 495.
        ("America/New_York", dt.date(2026, 11, 1), dt.time(1, 30), "comes twice, because the clocks go back"),
    ],
)
def test_a_wall_time_that_does_not_exist_or_comes_twice_is_refused(zone, day, at, sentence, mara):
    with time_machine.travel(dt.datetime.combine(day, dt.time(0), dt.UTC) - dt.timedelta(days=2)), pytest.raises(Refused, match=sentence):
        times.place(Wish(day, at), verifier=user_of(mara), job=make_job(zone=zone), person=Person(phone="+13035550142"))


def test_the_promise_is_the_wall_time_on_both_sides_of_a_clock_change(theo, mara):
    # TRADE.md row Z6: 10:00 Los Angeles on Sat 2026-03-07 is 18:00Z, on Mon 2026-03-09 17:00Z. Source: zoneinfo.
    with time_machine.travel(dt.datetime(2026, 3, 5, 18, tzinfo=dt.UTC)):
        job = make_job(zone="America/Los_Angeles", day_one=dt.date(2026, 1, 5))
        person, verifier = person_of(job), give_hours(user_of(mara))
        before = times.place(Wish(dt.date(2026, 3, 7), dt.time(10)), verifier=verifier, job=job, person=person)
        after = times.place(Wish(dt.date(2026, 3, 9), dt.time(10)), verifier=verifier, job=job, person=person)

    assert before.starts_at == dt.datetime(2026, 3, 7, 18, tzinfo=dt.UTC)
    assert after.starts_at == dt.datetime(2026, 3, 9, 17, tzinfo=dt.UTC)


def test_one_place_is_given_once_and_the_second_is_told(theo, mara):
    booked(theo, verifier=user_of(mara))

    with pytest.raises(Refused, match="has another call at 10:00 on 19 November 2026"):
        booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo)


def test_a_relay_call_takes_two_places(theo, mara):
    job = ready_job()
    Person.objects.filter(pk=person_of(job).pk).update(needs_relay=True)

    call = booked(theo, verifier=user_of(mara), job=job)

    assert (call.places, call.ends_at - call.starts_at) == (2, dt.timedelta(hours=2))
    with pytest.raises(Refused, match="has another call at 11:00"):
        booking.book(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(11)), by=theo)


def test_a_language_that_the_verifier_does_not_speak_is_refused(theo):
    verifier = give_hours(make_user("verifier", "Joel Amadi", languages=["en"]))

    with pytest.raises(Refused, match="Guadalupe Hernández speaks Spanish; Joel Amadi does not"):
        booking.book(ready_job(language="es"), verifier=verifier, wish=AT_TEN, by=theo)


def test_who_is_not_a_verifier_or_not_of_the_home_is_refused(theo, mara):
    stranger = Person.objects.create(name="Sam Uttley", phone="+13035550111")

    with pytest.raises(Refused, match="does not hold calls"):
        booking.book(ready_job(), verifier=user_of(theo), wish=AT_TEN, by=theo)
    with pytest.raises(Refused, match="not one of the people of this home"):
        booking.book(ready_job(), verifier=give_hours(user_of(mara)), wish=AT_TEN, person=stranger, by=theo)


def test_a_home_has_one_open_call(theo, mara):
    call = booked(theo, verifier=user_of(mara))

    with pytest.raises(Refused, match="move or cancel it instead"):
        booking.offer(call.job, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)), by=theo)


def test_a_verifier_books_and_moves_own_calls_only(theo, mara):
    other = make_user("verifier", "Joel Amadi")
    call = booked(theo, verifier=other)

    with pytest.raises(NotAllowed):
        booking.book(ready_job(), verifier=other, wish=Wish(TOMORROW, dt.time(14)), by=mara)
    with pytest.raises(OutOfSight):
        booking.move(call, wish=Wish(TOMORROW, dt.time(14)), by=mara)


def test_moving_keeps_the_call_and_owes_its_message_anew(theo, mara):
    call = booked(theo, verifier=user_of(mara), confirmed=True)

    moved = booking.move(call, wish=Wish(TOMORROW, dt.time(14)), by=theo)

    assert (moved.uid, moved.sequence, moved.local_time, moved.state) == (call.uid, 1, dt.time(14), AppointmentState.BOOKED)
    assert dict(Message.objects.exclude(kind__startswith="call_reminder").values_list("kind", "state")) == {
        "call_booked": "withdrawn",
        "call_moved": "owed",
    }
    assert [fact.value["time"] for fact in moved.job.facts.of_kind(k.CALL_BOOKED)] == ["10:00", "14:00"]
    with pytest.raises(Refused, match="already stands at that time"):
        booking.move(moved, wish=Wish(TOMORROW, dt.time(14)), by=theo)


def test_a_move_that_is_refused_keeps_the_old_time(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))

    with pytest.raises(Refused, match="has another call"):
        booking.move(call, wish=Wish(TOMORROW, dt.time(14)), by=theo)

    call.refresh_from_db()
    assert (call.local_time, call.sequence) == (dt.time(10), 0)


def test_cancelling_tells_the_home_and_frees_the_place(theo, mara):
    call = booked(theo, verifier=user_of(mara))

    booking.cancel(call, why="us", reason="Mara is ill", by=theo)

    assert dict(Message.objects.exclude(kind__startswith="call_reminder").values_list("kind", "state")) == {
        "call_booked": "withdrawn",
        "call_cancelled": "owed",
    }
    assert call.job.facts.of_kind(k.CALL_ENDED).get().value["how"] == "cancelled: Mara is ill"
    booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo)
    with pytest.raises(Refused, match="not open any more: cancelled"):
        booking.cancel(call, why="us", reason="Mara is ill", by=theo)


def test_an_offer_that_never_left_is_withdrawn_without_another_message(theo, mara):
    call = booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)

    booking.cancel(call, why="us", reason="another plan", by=theo)

    assert dict(Message.objects.exclude(kind__startswith="call_reminder").values_list("kind", "state")) == {"call_offered": "withdrawn"}


def test_an_answer_by_telephone_confirms_or_declines(theo, mara):
    call = booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)

    booking.record_answer(call, answer="confirmed", by=theo)

    assert call.job.facts.of_kind(k.CALL_BOOKED).get().said_by_role == "at home"
    call.refresh_from_db()
    assert call.state == AppointmentState.CONFIRMED
    booking.record_answer(call, answer="declined", by=theo)
    call.refresh_from_db()
    assert call.state == AppointmentState.DECLINED
    call.job.refresh_from_db()
    assert call.job.next_act == "Book the verification call"


def test_an_answer_by_telephone_asks_no_communications_of_these_days_but_that_they_were_seen(theo, mara):
    far = Wish(TODAY + dt.timedelta(days=5), dt.time(12))
    call = booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=far, by=theo)

    with time_machine.travel(dt.datetime(2026, 11, 22, 19, tzinfo=dt.UTC)):
        assert [gap.words for gap in readiness.missing_for_booking(call.job, dt.date(2026, 11, 22))]
        assert readiness.missing_to_confirm(call.job, dt.date(2026, 11, 22)) == []
        assert booking.record_answer(call, answer="confirmed", by=theo).state == AppointmentState.CONFIRMED


def test_communications_never_seen_refuse_a_confirmation_too():
    never = ready_job(without="communications")
    gateway = never.facts.of_kind(k.GATEWAY_REPORT).get()
    homefacts.correct(gateway, withdraw=True, reason="another home's", by=SYSTEM)
    never.refresh_from_db()

    assert "communications seen since the fitting" in [gap.words for gap in readiness.missing_to_confirm(never, TODAY)]


NO_MORE = {
    "removed": lambda job, dana: homefacts.record_removed(job, by_on=TODAY, said_by=Said("homeowner"), by=dana),
    "emergency": lambda job, dana: homefacts.open_emergency(job, what="half the house dark", by=dana),
    "hold": lambda job, dana: homefacts.hold(job, kind="storm", stops=["calls", "homeowner"], review_on=TOMORROW, reason="storm", by=dana),
    "medical": lambda job, dana: add(job, k.MEDICAL_ANSWER, when=When(on=TODAY), value={"answer": "not sure"}),
    "contract": lambda job, dana: homefacts.cancel(job, on=TODAY, reason="sold the house", by=dana),
}


@pytest.mark.parametrize("why", NO_MORE)
def test_a_home_that_is_not_ready_any_more_keeps_no_open_call_and_is_told(why, dana, theo, mara):
    call = booked(theo, verifier=user_of(mara))

    NO_MORE[why](call.job, dana)

    call.refresh_from_db()
    assert (call.state, call.ended_why) == (AppointmentState.CANCELLED, why)
    assert Message.objects.get(kind="call_booked").state == "withdrawn"
    assert Message.objects.get(kind="call_cancelled").state == "owed"
    assert call.job.facts.of_kind(k.CALL_ENDED).exists()


def test_communications_that_grow_old_cancel_nothing_by_themselves(theo, mara):
    call = booked(theo, verifier=user_of(mara), wish=Wish(TODAY + dt.timedelta(days=10), dt.time(10)))

    with time_machine.travel(dt.datetime(2026, 11, 27, 18, tzinfo=dt.UTC)):
        put(call.job, k.PERMISSION_TO_OPERATE, on=dt.date(2026, 11, 27))

    call.refresh_from_db()
    assert call.is_open


def test_time_off_over_a_booked_call_names_it(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    noon = dt.datetime(2026, 11, 19, 19, tzinfo=dt.UTC)

    with pytest.raises(Refused, match=f"One call of Mara Quist lies in that time: {call.job.code}"):
        hours.take_time_off(user_of(mara), starts_at=noon - dt.timedelta(hours=6), ends_at=noon, by=theo)

    off = hours.take_time_off(user_of(mara), starts_at=noon, ends_at=noon + dt.timedelta(hours=2), by=theo)
    with pytest.raises(Refused, match="is off at 12:00"):
        booking.book(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(12)), by=theo)
    hours.withdraw_time_off(off, by=theo)
    assert booking.book(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(12)), by=theo).pk


def test_hours_that_lie_on_one_another_are_refused(theo, mara):
    from jobs.appointments.slots import WeeklyHours

    week = [WeeklyHours(0, dt.time(9), dt.time(13)), WeeklyHours(0, dt.time(12), dt.time(17))]

    with pytest.raises(Refused, match="lie on one another: until 13:00 and from 12:00"):
        hours.set_hours(user_of(mara), hours=week, by=theo)


@pytest.mark.needs_postgres
def test_the_database_itself_refuses_two_calls_on_one_place(theo, mara):
    first = booked(theo, verifier=user_of(mara))
    other = ready_job()
    copy = Appointment.objects.get(pk=first.pk)
    copy.pk, copy.job, copy.person = None, other, person_of(other)
    copy.uid = other.uid
    copy.starts_at += dt.timedelta(minutes=30)
    copy.ends_at += dt.timedelta(minutes=30)
    copy.call_ends_at += dt.timedelta(minutes=30)

    with pytest.raises(IntegrityError, match="call_place_once"), transaction.atomic():
        copy.save(force_insert=True)


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_two_who_take_one_place_at_once_get_one_winner_and_one_sentence(theo, mara):
    homes, verifier = [ready_job(), ready_job()], give_hours(user_of(mara))
    start, answers = threading.Barrier(2), []

    def press(job) -> None:
        try:
            start.wait(5)
            booking.book(job, verifier=verifier, wish=AT_TEN, by=theo)
            answers.append("booked")
        except Refused as refusal:
            answers.append(str(refusal))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=press, args=(job,)) for job in homes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)

    assert sorted(answer == "booked" for answer in answers) == [False, True]
    assert "Mara Quist has another call at 10:00 on 19 November 2026, perhaps just taken; another time is wanted." in answers
    assert Appointment.objects.count() == 1
