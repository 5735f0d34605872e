"""Tentative times, the standby list, and promises that outlive the rules of their zone."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.appointments import booking, endings, keeping, likely, promised, reconcile, tasks
from jobs.appointments.models import Appointment, AppointmentState, Standby, Tentative
from jobs.appointments.times import Wish
from jobs.core import homefacts
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, READY, TODAY, TOMORROW, add, booked, give_hours, ready_job
from tests.make import make_job, user_of

pytestmark = pytest.mark.django_db


def held(theo, mara, **fields) -> Tentative:
    job = ready_job(without="software", **fields)
    return keeping.hold_time(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)


def make_ready(tentative: Tentative) -> None:
    kind, when, value = READY["software"]
    add(tentative.job, kind, when=when, value=value)
    tentative.refresh_from_db()


def test_a_tentative_time_keeps_the_place_and_tells_nobody(theo, mara):
    kept = held(theo, mara)

    assert (kept.local_date, kept.local_time, kept.zone) == (TOMORROW, dt.time(10), "America/Denver")
    assert not Message.objects.exists()
    with pytest.raises(Refused, match=f"keeps 10:00 on 19 November 2026 tentatively for job {kept.job.code}"):
        booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo)


def test_once_the_home_is_ready_the_time_is_offered_and_not_before(theo, mara):
    kept = held(theo, mara)
    with pytest.raises(Refused, match="Missing: the software update"):
        keeping.offer_held(kept, by=theo)
    make_ready(kept)

    call = keeping.offer_held(kept, by=theo)

    kept.refresh_from_db()
    assert (call.state, call.starts_at) == (AppointmentState.OFFERED, kept.starts_at)
    assert kept.ended_reason == "a call was made"
    with pytest.raises(Refused, match="not kept any more"):
        keeping.offer_held(kept, by=theo)


def test_a_call_booked_at_another_time_frees_the_tentative_one(theo, mara):
    kept = held(theo, mara)
    make_ready(kept)

    booking.book(kept.job, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)), by=theo)

    assert not Tentative.objects.standing().exists()
    assert booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo).pk


@pytest.mark.parametrize("why", ["ready", "medical", "hold", "verified", "twice"])
def test_no_time_is_kept_for_a_home_that_has_no_use_for_one(why, theo, mara):
    verifier, wish = give_hours(user_of(mara)), AT_TEN
    job = make_job(S.BACKUP_VERIFIED) if why == "verified" else ready_job(without="" if why == "ready" else "software")
    if why == "medical":
        homefacts.record_medical_answer(job, answer="not sure", said_by="Guadalupe", on=TODAY, by=theo)
    if why == "hold":
        homefacts.hold(job, kind="storm", stops=["calls"], review_on=TOMORROW, reason="ice", by=theo)
    if why == "twice":
        keeping.hold_time(job, verifier=verifier, wish=Wish(TOMORROW, dt.time(12)), by=theo)
    sentence = {
        "ready": "offer the time instead",
        "medical": "never offered a call",
        "hold": "on hold",
        "verified": "no call comes next",
        "twice": "kept for this home already",
    }

    with pytest.raises(Refused, match=sentence[why]):
        keeping.hold_time(job, verifier=verifier, wish=wish, by=theo)


def test_a_medical_yes_gives_the_time_and_the_standby_up(theo, mara):
    kept = held(theo, mara)
    keeping.put_on_standby(kept.job, said_by="Guadalupe", by=theo)

    homefacts.record_medical_answer(kept.job, answer="yes", said_by="Guadalupe", on=TODAY, by=theo)

    assert not Tentative.objects.standing().exists()
    assert not Standby.objects.standing().exists()


def test_a_home_stands_once_on_the_standby_list_and_only_with_its_collar(theo):
    job = ready_job()
    row = keeping.put_on_standby(job, said_by="Guadalupe", note="any afternoon", by=theo)
    with pytest.raises(Refused, match="stands on the standby list already"):
        keeping.put_on_standby(job, said_by="Guadalupe", by=theo)
    with pytest.raises(Refused, match="collar is not in yet"):
        keeping.put_on_standby(make_job(S.AWAITING_UTILITY), said_by="Guadalupe", by=theo)

    keeping.take_off_standby(row, by=theo)

    assert not Standby.objects.standing().exists()


def test_the_verifiers_own_time_cannot_be_double_booked_by_a_move(theo, mara):
    kept = held(theo, mara)
    call = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))

    with pytest.raises(Refused, match="tentatively for job"):
        booking.move(call, wish=AT_TEN, by=theo)

    call.refresh_from_db()
    assert (call.local_time, Tentative.objects.standing().get().pk) == (dt.time(14), kept.pk)


def in_a_zone_of_other_rules(call: Appointment) -> None:
    """As after an edition of the time zones in which this home's clock stands an hour ahead: 10:00 there is 16:00Z instead of 17:00Z."""
    Appointment.objects.filter(pk=call.pk).update(zone="America/Chicago")
    call.refresh_from_db()


def test_a_change_of_zone_rules_moves_the_instant_and_not_the_promise(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    in_a_zone_of_other_rules(call)
    assert "does not stand at its promised 10:00" in next(reconcile.breaches())

    assert tasks.keep_promised_times() == "1 calls follow their clock"
    assert tasks.keep_promised_times() == "0 calls follow their clock"

    call.refresh_from_db()
    assert (call.local_time, call.starts_at) == (dt.time(10), dt.datetime(2026, 11, 19, 16, tzinfo=dt.UTC))
    assert call.sequence == 1
    # The invitation and the reminders are owed anew at the moved instant; those of before are withdrawn.
    owed = Message.objects.filter(job=call.job, state="owed", cause=call.cause)
    assert set(owed.values_list("kind", flat=True)) >= {"call_booked", "call_reminder_hours"}
    assert not Message.objects.filter(job=call.job, state="owed").exclude(cause=call.cause).exists()


def test_a_moved_instant_that_meets_another_call_waits_for_a_person(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    booking.book(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(9)), by=theo)
    in_a_zone_of_other_rules(call)

    assert promised.keep_all() == 0

    call.refresh_from_db()
    assert call.starts_at == dt.datetime(2026, 11, 19, 17, tzinfo=dt.UTC)
    assert any("does not stand at its promised" in breach for breach in reconcile.breaches())


def test_without_a_stored_forecast_no_home_is_called_likely(theo):
    make_job(S.AWAITING_UTILITY)

    from jobs.core.models import Job

    assert likely.likely(Job.objects.all()) == []


def test_an_ended_time_frees_its_place_at_once(theo, mara):
    kept = held(theo, mara)
    endings.end_tentative(kept.job, reason="by hand")

    assert booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo).starts_at == kept.starts_at


def test_a_time_that_has_passed_is_kept_no_longer(theo, mara):
    kept = held(theo, mara)
    Tentative.objects.update(starts_at=kept.starts_at - dt.timedelta(days=2), ends_at=kept.ends_at - dt.timedelta(days=2))
    kept.refresh_from_db()

    assert not Tentative.objects.standing().exists()
    with pytest.raises(Refused, match="has passed"):
        keeping.give_up_held(kept, reason="", by=theo)
