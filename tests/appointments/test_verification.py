"""The call: every unsafe answer ends it, and passed needs both pieces of evidence at the same moment."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine

from jobs.appointments import booking, callsteps, records, verification
from jobs.appointments.callsteps import Readings
from jobs.appointments.models import AppointmentState, CallRecord, Press, VerificationRecord
from jobs.appointments.times import Wish
from jobs.core import homefacts
from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.refusals import NotAllowed, OutOfSight, Refused
from jobs.core.states import S
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, READINGS, TODAY, TOMORROW, begun, booked, give_hours, led, ready_job, seen_passing
from tests.conftest import NOW
from tests.make import make_user, user_of

pytestmark = pytest.mark.django_db

UNSAFE = [(check.name, answer.value) for check in callsteps.CHECKS for answer in check.answers if not answer.safe]


def test_a_test_with_both_seen_together_passes_and_verifies_the_home(mara):
    call = seen_passing(led(mara), mara)

    record = verification.record_result(call, result="passed", put_back="yes", statement="the lights stayed on", by=mara)

    job = call.job
    job.refresh_from_db()
    assert job.state == S.BACKUP_VERIFIED
    fact = job.facts.of_kind(k.VERIFICATION).get()
    assert fact.value == {"result": "passed", "record": str(record.uid)}
    assert record.overlap_from is not None
    assert record.overlap_to is not None
    assert [press["what"] for press in record.presses][-5:] == ["mid_open", "utility_power", "load_served", "mid_closed", "normal"]
    assert record.appointment.state == AppointmentState.HELD
    assert [m.kind for m in Message.objects.filter(state="owed")] == ["call_result"]


@pytest.mark.parametrize(("check", "answer"), UNSAFE)
def test_every_answer_but_the_safe_one_ends_the_call_with_its_reason(check, answer, mara):
    call = led(mara, upto="cautions")

    verification.answer_check(call, check=check, answer=answer, by=mara)

    record = VerificationRecord.objects.get()
    asked = callsteps.check(check)
    given = asked.answer(answer) if asked else None
    assert given is not None
    assert (record.result, record.reason) == ("not finished", given.reason)
    call.refresh_from_db()
    assert call.ended_at is not None
    assert record.appointment.state == (AppointmentState.MISSED if answer == "nobody" else AppointmentState.HELD)
    call.job.refresh_from_db()
    assert call.job.state == S.COLLAR_ENERGIZED
    assert not Message.objects.filter(kind="call_result").exists()
    with pytest.raises(Refused, match="has ended"):
        verification.see(call, what="mid_open", by=mara)


def test_a_medical_answer_on_the_call_counts_from_then_on(theo, mara):
    call = led(mara, upto="cautions")

    verification.answer_check(call, check="medical", answer="not sure", by=mara)

    fact = call.job.facts.of_kind(k.MEDICAL_ANSWER).last()
    assert (fact.value, fact.said_by_name) == ({"answer": "not sure", "on_call": True}, call.appointment.person.name)
    with pytest.raises(Refused, match="Plan a site visit"):
        booking.book(call.job, verifier=user_of(mara), wish=AT_TEN, by=theo)
    call.job.refresh_from_db()
    assert call.job.next_act == "Plan how the backup is verified"


@pytest.mark.parametrize("upto", ["cautions", "checks"])
def test_the_island_test_cannot_begin_before_all_is_asked_and_read(upto, mara):
    call = led(mara, upto=upto)

    with pytest.raises(Refused, match=r"wanted first: (not answered yet: an adult at home|the readings before)"):
        verification.see(call, what="mid_open", by=mara)


def test_readings_wait_for_every_caution(mara):
    call = begun(mara)
    verification.acknowledge(call, caution="medical", by=mara)

    with pytest.raises(Refused, match="cautions not acknowledged yet: lifts and stair lifts, generators"):
        verification.note_readings(call, readings=READINGS, by=mara)


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("soc_percent", 400, "state of charge of 400 % cannot be"),
        ("load_w", 0, "proves nothing"),
        ("load_name", " ", "Name the load"),
        ("pv_w", -5, "cannot be negative"),
        ("grid_w", 200_000, "More than 100,000 W"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(field, value, sentence, mara):
    call = led(mara, upto="checks")

    with pytest.raises(Refused, match=sentence) as refused:
        verification.note_readings(call, readings=Readings(**(READINGS.__dict__ | {field: value})), by=mara)
    assert refused.value.field == field


def test_passed_without_load_served_is_refused(mara):
    # TRADE.md row R8: grid 0 W, MID open, load 0 W is not verified.
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    verification.see(call, what="utility_power", watts=0, by=mara)
    verification.see(call, what="load_served", watts=0, load="refrigerator", by=mara)
    verification.see(call, what="mid_closed", by=mara)

    with pytest.raises(Refused, match="the load was not seen served"):
        verification.record_result(call, result="passed", put_back="yes", by=mara)
    assert not VerificationRecord.objects.exists()


def test_passed_needs_both_at_the_same_moment(mara):
    # TRADE.md finding 15.
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    verification.see(call, what="load_served", watts=640, load="refrigerator", by=mara)
    verification.see(call, what="load_lost", by=mara)
    verification.see(call, what="utility_power", watts=0, by=mara)
    verification.see(call, what="mid_closed", by=mara)

    with pytest.raises(Refused, match="not seen at the same moment"):
        verification.record_result(call, result="passed", put_back="yes", by=mara)


def test_in_island_mode_a_result_alone_is_refused(mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)

    for result in ("not passed", "not finished"):
        with pytest.raises(Refused, match="Record the return as seen or as not seen first"):
            verification.record_result(call, result=result, reason="the line was lost", put_back="no", by=mara)


def test_a_return_not_seen_opens_the_emergency_and_never_passes(mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    verification.see(call, what="utility_power", watts=0, by=mara)
    verification.see(call, what="load_served", watts=640, load="refrigerator", by=mara)

    verification.see(call, what="not_returned", by=mara)

    call.job.refresh_from_db()
    assert call.job.next_act == "Telephone the home about its emergency"
    with pytest.raises(Refused, match="cannot be recorded as passed: an emergency stands"):
        verification.record_result(call, result="passed", put_back="yes", by=mara)
    record = verification.record_result(call, result="not passed", reason="the return was not seen", put_back="no", by=mara)
    assert record.result == "not passed"


def test_reserve_and_mode_put_back_must_be_answered(mara):
    call = seen_passing(led(mara), mara)

    with pytest.raises(Refused, match="whether reserve and mode were put back"):
        verification.record_result(call, result="passed", by=mara)
    with pytest.raises(Refused, match="Put reserve and mode back"):
        verification.record_result(call, result="passed", put_back="no", by=mara)


def test_what_is_not_passed_needs_a_reason(mara):
    call = led(mara)

    with pytest.raises(Refused, match="Give the reason"):
        verification.record_result(call, result="not finished", by=mara)


def test_a_storm_hold_during_the_call_stops_it_before_the_island_test(dana, mara):
    call = led(mara)
    homefacts.hold(call.job, kind="storm", stops=["calls"], review_on=TOMORROW, reason="storm", by=dana)

    call.appointment.refresh_from_db()
    assert call.appointment.is_open, "a call that was begun ends by its own page"
    with pytest.raises(Refused, match="the end of a hold on calls"):
        verification.see(call, what="mid_open", by=mara)


def test_a_correction_takes_the_place_of_a_press_and_keeps_it(mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    wrong = verification.see(call, what="utility_power", watts=420, by=mara)

    right = verification.correct_press(wrong, watts=4, reason="read the wrong line", by=mara)

    assert (right.at, right.value, right.corrects_id) == (wrong.at, {"watts": 4}, wrong.pk)
    assert Press.objects.filter(what="utility_power").count() == 2
    assert records.evidence_of(call).disconnected
    with pytest.raises(Refused, match="corrected meanwhile"):
        verification.correct_press(wrong, watts=5, reason="again", by=mara)
    with pytest.raises(TypeError):
        Press.objects.get(pk=wrong.pk).save()


def test_a_time_outside_the_call_is_not_taken_as_a_correction(mara):
    call = led(mara)
    press = verification.see(call, what="mid_open", by=mara)

    for at in (NOW - dt.timedelta(hours=1), NOW + dt.timedelta(hours=1)):
        with pytest.raises(Refused, match="between the beginning of this call and now"):
            verification.correct_press(press, at=at, reason="earlier", by=mara)


def test_a_record_is_immutable_and_voided_by_addition(dana, mara):
    record = verification.record_result(seen_passing(led(mara), mara), result="passed", put_back="yes", by=mara)

    records.void_verification(record, reason="the load was on the main panel", by=dana)

    record.job.refresh_from_db()
    assert record.job.state == S.COLLAR_ENERGIZED
    assert VerificationRecord.objects.get().result == "passed"
    assert Message.objects.get(kind="call_result").state == "withdrawn"
    with pytest.raises(Refused, match="voided already"):
        records.void_verification(record, reason="again", by=dana)
    with pytest.raises(TypeError):
        record.save()


def test_after_a_voided_verification_the_homeowner_is_telephoned_first(dana, theo, mara):
    record = verification.record_result(seen_passing(led(mara), mara), result="passed", put_back="yes", by=mara)
    records.void_verification(record, reason="another home's gateway was watched", by=dana)

    job = Job.objects.get(pk=record.job_id)
    assert (job.state, job.next_act) == (S.COLLAR_ENERGIZED, "Telephone the homeowner: the backup is not verified any more")
    assert (job.next_role, job.next_due_on) == ("scheduler", TODAY)

    homefacts.record_homeowner_told(job, on=TODAY, how="telephone", who="Guadalupe Hernández", by=theo)
    job.refresh_from_db()
    assert job.next_act == "Book the verification call"


def test_island_mode_is_not_left_by_saying_that_it_never_was(mara):
    call = led(mara)
    opened = verification.see(call, what="mid_open", by=mara)
    verification.see(call, what="utility_power", watts=4, by=mara)

    with pytest.raises(Refused, match="so the MID was open"):
        verification.correct_press(opened, withdraw=True, reason="wrong button", by=mara)

    # With nothing seen since, it was a slip.
    zero = call.presses.get(what="utility_power")
    verification.correct_press(zero, withdraw=True, reason="read from another screen", by=mara)
    verification.correct_press(opened, withdraw=True, reason="wrong button", by=mara)
    call.refresh_from_db()
    assert call.islanded_at is None


@pytest.mark.parametrize("what", ["mid_closed", "not_returned"])
def test_the_return_can_be_recorded_whatever_was_corrected_in_island_mode(what, mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    verification.correct_press(call.presses.get(what="readings"), withdraw=True, reason="of another home", by=mara)

    assert verification.see(call, what=what, by=mara).what == what


def test_only_the_verifier_who_is_on_the_call_records_it(dana, theo, mara):
    call = begun(mara)
    other = make_user("verifier", "Joel Amadi")
    from jobs.core import actors

    with pytest.raises(NotAllowed):
        verification.acknowledge(call, caution="medical", by=dana)
    with pytest.raises(OutOfSight):
        verification.acknowledge(call, caution="medical", by=actors.person(other))


@pytest.mark.parametrize(
    ("at", "sentence"),
    [
        (dt.datetime(2026, 11, 17, 19, tzinfo=dt.UTC), "This call is for 18 November 2026"),
        (dt.datetime(2026, 11, 18, 15, 30, tzinfo=dt.UTC), "from 09:00 until 20:00 by the clock there, and not now"),
    ],
)
def test_a_call_begins_on_its_day_in_the_hours_of_the_home(at, sentence, mara):
    call = booked(mara, wish=Wish(TODAY, dt.time(12)), confirmed=True)

    with time_machine.travel(at), pytest.raises(Refused, match=sentence):
        verification.begin(call, by=mara)


def test_an_offered_time_is_not_begun_before_it_is_taken(theo, mara):
    call = booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=Wish(TODAY, dt.time(12)), by=theo)

    with pytest.raises(Refused, match="has not taken this time yet"):
        verification.begin(call, by=mara)


def test_what_is_missing_on_the_day_stops_the_beginning(mara):
    call = booked(mara, wish=Wish(TODAY + dt.timedelta(days=5), dt.time(12)), confirmed=True)

    with time_machine.travel(dt.datetime(2026, 11, 23, 19, tzinfo=dt.UTC)), pytest.raises(Refused, match="communications seen"):
        verification.begin(call, by=mara)
    assert not CallRecord.objects.exists()


def test_a_begun_call_is_neither_moved_nor_cancelled(theo, mara):
    call = begun(mara)

    with pytest.raises(Refused, match="it ends on its own page"):
        booking.cancel(call.appointment, why="us", reason="busy", by=theo)
    with pytest.raises(Refused, match="begun already"):
        verification.begin(call.appointment, by=mara)
