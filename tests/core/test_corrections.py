"""What a correction may do, whose turn it takes, and what it must not open."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine

from jobs.appointments import readiness
from jobs.core import clock, custody, dayone, homefacts, lifecycle, reconcile, secrets
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Collar, Fact, IdempotencyKey, Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.appointments.homes import begun, booked, ready_job
from tests.make import DAY_ONE, FITTED, SYSTEM, make_job, put, serial_of, user_of

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)
YESTERDAY = TODAY - dt.timedelta(days=1)


def test_a_corrected_fact_keeps_its_turn_among_those_of_its_day(dana):
    job = ready_job()
    earlier = put(job, k.MEDICAL_ANSWER, on=YESTERDAY, value={"answer": "no"})
    put(job, k.MEDICAL_ANSWER, on=TODAY, value={"answer": "yes"})

    # The "no" was given this morning, before the "yes": it does not become the newest word by being mended.
    homefacts.correct(earlier, when=When(on=TODAY), reason="it was this morning", by=dana)

    assert any(gap.visit for gap in readiness.missing_for_booking(job, TODAY))
    job.refresh_from_db()
    assert job.next_act == "Plan how the backup is verified"


def test_of_two_reports_of_one_day_the_later_one_counts_whichever_was_entered_last(dana):
    job = make_job(S.COLLAR_ENERGIZED)
    at = dt.datetime(2026, 11, 18, 17, 0, tzinfo=dt.UTC)
    homefacts.record_gateway_report(job, at=at, state="closed", serial=serial_of(job), by=dana)
    homefacts.record_gateway_report(job, at=at - dt.timedelta(hours=3), state="closed", serial="ZZ-900900", by=dana)

    job.refresh_from_db()
    assert job.state == S.COLLAR_ENERGIZED


def test_nothing_is_seen_at_a_time_to_come(dana):
    job = make_job(S.COLLAR_ENERGIZED)

    with pytest.raises(Refused, match="has not come yet"):
        homefacts.record_communications(job, at=clock.now() + dt.timedelta(minutes=5), by=dana)


def test_a_serial_that_went_to_another_home_does_not_come_back_by_a_correction(dana):
    first, second = make_job(S.GRID_TIED), make_job()
    old = serial_of(first)
    swap = dayone.record_collar_registered(first, on=TODAY, serial="LL-888888", by=dana)
    custody.lift_bar(Collar.objects.get(serial=old), reason="Joel Amadi looked at it: sound", by=dana)
    dayone.record_collar_registered(second, on=TODAY, serial=old, by=dana)

    with pytest.raises(Refused, match=f"registered for job {second.code}"):
        homefacts.correct(swap, withdraw=True, reason="it was never swapped", by=dana)

    assert not hasattr(type(swap).objects.get(pk=swap.pk), "replaced_by")


def test_a_job_does_not_come_back_from_cancelled_with_a_serial_that_another_home_holds(dana):
    first, second = make_job(S.GRID_TIED), make_job()
    gone = homefacts.cancel(first, on=TODAY, reason="sold the house", by=dana)
    dayone.record_collar_registered(second, on=TODAY, serial=serial_of(first), by=dana)

    with pytest.raises(Refused, match="one site at a time"):
        homefacts.correct(gone, withdraw=True, reason="the sale fell through", by=dana)


def test_the_facts_of_a_call_are_not_corrected_beside_their_call(theo, dana, mara):
    call = booked(theo, verifier=user_of(mara))
    fact = call.job.facts.of_kind(k.CALL_BOOKED).get()

    with pytest.raises(Refused, match="on its own page"):
        homefacts.correct(fact, withdraw=True, reason="no call", by=dana)


def test_a_voided_verification_is_not_taken_up_again_by_a_correction(dana):
    job = make_job(S.BACKUP_VERIFIED)
    voided = put(job, k.VERIFICATION_VOIDED, on=TODAY, value={"record": "made-by-test", "reason": "another home"})

    with pytest.raises(Refused):
        homefacts.correct(voided, withdraw=True, reason="it was this home", by=dana)


def test_a_collar_is_not_removed_before_it_was_fitted_the_last_time(dana):
    job = make_job(S.COLLAR_ENERGIZED)
    homefacts.record_removed(job, by_on=FITTED + dt.timedelta(days=4), said_by=Said("utility"), by=dana)
    put(job, k.COLLAR_FITTED, on=FITTED + dt.timedelta(days=9), value={"serial": serial_of(job)})

    with pytest.raises(Refused, match="on or after that day"):
        homefacts.record_removed(job, by_on=FITTED + dt.timedelta(days=6), said_by=Said("utility"), by=dana)


def test_an_emergency_that_does_not_stand_does_not_end(dana):
    with pytest.raises(Refused, match="No emergency stands"):
        homefacts.end_emergency(make_job(), how="it was the toaster", by=dana)


def test_a_test_passed_on_the_day_on_which_the_collar_was_fitted_anew_verifies_the_home(dana):
    job = make_job(S.BACKUP_VERIFIED)
    put(job, k.COLLAR_REMOVED, on=YESTERDAY)
    put(job, k.COLLAR_FITTED, on=YESTERDAY, value={"serial": serial_of(job)})
    job.refresh_from_db()
    assert job.state == S.COLLAR_ENERGIZED

    put(job, k.VERIFICATION, on=YESTERDAY, value={"result": "passed", "record": "a new one"})
    job.refresh_from_db()
    assert job.state == S.BACKUP_VERIFIED


# Ten in the evening of 17 November in Honolulu is eight in the morning of the 18th by UTC.
EVENING = dt.datetime(2026, 11, 18, 8, 0, tzinfo=dt.UTC)


def test_a_crew_corrects_on_the_day_at_the_home_and_not_on_the_next(joel, crew):
    job = make_job(crew=crew, zone="Pacific/Honolulu")
    with time_machine.travel(EVENING):
        fact = dayone.record_commissioned(job, on=DAY_ONE, by=joel)
        fact = homefacts.correct(fact, when=When(on=DAY_ONE + dt.timedelta(days=1)), reason="a day later", by=joel)

    with time_machine.travel(EVENING + dt.timedelta(hours=12)), pytest.raises(Refused, match="after the day itself"):
        homefacts.correct(fact, withdraw=True, reason="the other house", by=joel)


# Two meters


def _sent(job, request: str, service: str, *, on: int):
    value = {"request": request, "utility": "Ottermere", "service": service}
    return put(job, k.REQUEST_SENT, on=DAY_ONE + dt.timedelta(days=on), value=value)


def _ended(job, request: str, *, on: int):
    return put(job, k.REQUEST_ENDED, on=DAY_ONE + dt.timedelta(days=on), value={"request": request, "reason": "lapsed"})


def test_of_two_meters_a_lapsed_request_waits_on_us_though_the_other_was_sent_later():
    job = make_job(S.GRID_TIED)
    _sent(job, "a", "main", on=5)
    _ended(job, "a", on=20)
    _sent(job, "b", "garden house", on=30)
    job.refresh_from_db()
    assert (job.waiting_on, job.next_act) == ("us", "Send a new request to fit")

    _sent(job, "c", "main", on=40)
    job.refresh_from_db()
    assert (job.waiting_on, job.waiting_since) == ("utility", DAY_ONE + dt.timedelta(days=30))


def test_the_corrected_day_of_an_end_does_not_end_the_request_sent_after_it(dana):
    job = make_job(S.GRID_TIED)
    _sent(job, "a", "main", on=5)
    ended = _ended(job, "a", on=19)
    _sent(job, "b", "main", on=20)

    homefacts.correct(ended, when=When(on=DAY_ONE + dt.timedelta(days=20)), reason="a day later", by=dana)

    job.refresh_from_db()
    assert (job.waiting_on, job.waiting_since) == ("utility", DAY_ONE + dt.timedelta(days=20))


# Gate codes


def _with_code(**fields):
    job = make_job(**fields)
    secrets.keep_code(job, name="gate", code="4711#", by=SYSTEM)
    return job


def test_what_an_idempotency_key_keeps_of_a_gate_code_is_keyed(settings, dana):
    def kept(key: str) -> str:
        secrets.keep_code(job, name="gate", code="4711#", by=dana, key=key)
        return IdempotencyKey.objects.get(key=key).input_hash

    job = make_job()
    first = kept("one")
    assert kept("two") == first
    settings.SECRET_KEY = "another"
    assert kept("three") != first


def test_a_crew_reads_a_gate_code_on_its_day_at_the_home_only(joel, crew):
    job = _with_code(crew=crew, install_on=TODAY + dt.timedelta(days=1))
    with pytest.raises(Refused, match="on its day at the home"):
        secrets.reveal_code(job, name="gate", purpose="the survey", by=joel)

    job.install_on = TODAY
    job.save(update_fields=["install_on"])
    assert secrets.reveal_code(job, name="gate", purpose="the installation", by=joel) == "4711#"


def test_a_crew_that_must_come_back_reads_the_gate_code(joel, crew):
    job = _with_code(crew=crew)
    put(job, k.INSTALLED, on=DAY_ONE)
    lifecycle.settle(job, by=SYSTEM)
    assert secrets.reveal_code(job, name="gate", purpose="to complete the record", by=joel) == "4711#"


def test_a_verifier_reads_a_gate_code_during_the_own_call_only(mara, theo):
    job = ready_job()
    secrets.keep_code(job, name="gate", code="4711#", by=SYSTEM)
    with pytest.raises(Refused, match="during the own call"):
        secrets.reveal_code(job, name="gate", purpose="curious", by=mara)
    assert secrets.reveal_code(job, name="gate", purpose="for the utility's crew", by=theo) == "4711#"

    begun(mara, job=job)
    assert secrets.reveal_code(job, name="gate", purpose="the breaker is in the yard", by=mara) == "4711#"


# What reconcile tells of rows written by hand


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"day": DAY_ONE}, "happened on 2026-06-03 and is kept under 2026-05-04"),
        ({"kind": "wishful"}, "of the unknown kind wishful"),
        ({"happened_on": None}, "does not say when it happened"),
    ],
)
def test_a_fact_written_by_hand_is_told(fields, sentence):
    job = make_job(S.AWAITING_UTILITY)
    Fact.objects.filter(job=job, kind=k.REQUEST_SENT).update(**fields)

    assert sentence in " ".join(reconcile.breaches())


def test_a_next_act_written_by_hand_is_told():
    job = make_job(S.AWAITING_UTILITY)
    Job.objects.filter(pk=job.pk).update(next_act="", next_role="nobody")

    told = " ".join(reconcile.breaches())
    assert f"Job {job.code}: next_act is , its facts say Ask the utility" in told
    assert "next_role is nobody" in told
