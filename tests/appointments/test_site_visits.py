"""Somebody drives there: instead of a call, or after a test that was not passed; and what is counted."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from jobs.appointments import booking, readiness, sitevisits, verification
from jobs.appointments.models import VerificationRecord
from jobs.appointments.sitevisits import CALLED_OFF, MENDED, TESTED, OnSite
from jobs.appointments.visitmodels import SiteVisit
from jobs.core import facts, homefacts
from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, TODAY, TOMORROW, add, booked, give_hours, led, person_of, ready_job
from tests.make import SYSTEM, user_of

pytestmark = pytest.mark.django_db

T = dt.time
HELD = OnSite(
    load_before_w=640,
    opened=T(10, 12, 5),
    utility_time=T(10, 12, 20),
    utility_w=4,
    load_time=T(10, 13),
    load="refrigerator",
    load_w=655,
    closed=T(10, 20),
)


def plan(job: Job, by, **changed: Any) -> SiteVisit:
    given = {"reason": "wiring", "on": TODAY, "licensed_name": "Ana Ortiz", "license_number": "EL 1177", **changed}
    return sitevisits.plan_visit(job, person=person_of(job), by=by, **given)


def test_a_planned_visit_is_what_the_home_waits_for_and_no_call_stands_beside_it(theo, mara):
    job = ready_job()
    visit = plan(job, theo, on=TOMORROW, parts="control cable")

    job.refresh_from_db()
    assert (job.next_act, job.next_role, job.next_due_on) == ("Hold the site visit", "crew", TOMORROW)
    assert [gap.words for gap in readiness.missing_for_booking(job, TODAY)] == ["the end of the site visit that is planned"]
    with pytest.raises(Refused, match="site visit that is planned"):
        booking.book(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)

    sitevisits.end_visit(visit, how=MENDED, on=TODAY, found="the cable's ends were exchanged", parts_used="cable", minutes=50, by=theo)

    job.refresh_from_db()
    assert job.next_act == "Book the verification call", "the test is not forgotten"
    assert readiness.missing_for_booking(job, TODAY) == []


@pytest.mark.parametrize(
    ("changed", "sentence", "field"),
    [
        ({"on": TODAY - dt.timedelta(days=1)}, "has passed at the home", "on"),
        ({"licensed_name": " "}, "Name the licensed person", "licensed_name"),
        ({"license_number": ""}, "Name the licensed person", "license_number"),
        ({"reason": "whim"}, "why somebody drives there", "reason"),
    ],
)
def test_a_visit_without_day_license_or_reason_is_refused(changed, sentence, field, theo):
    with pytest.raises(Refused, match=sentence) as refused:
        plan(ready_job(), theo, **changed)
    assert refused.value.field == field
    assert not SiteVisit.objects.exists()


def test_beside_an_open_call_no_visit_is_planned(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    with pytest.raises(Refused, match="give it up first"):
        plan(call.job, theo)


def test_a_home_with_medical_equipment_is_tested_on_site_and_its_reason_tells_no_answer(theo, mara):
    job = ready_job(without="medical")
    add(job, k.MEDICAL_ANSWER, when=facts.When(on=TODAY), value={"answer": "yes"})
    visit = plan(job, theo, reason="medical")
    planned = job.facts.of_kind(k.SITE_VISIT_PLANNED).get()
    assert planned.value["reason"] == "the test is not run by telephone here"

    record = sitevisits.record_on_site(visit, on=TODAY, result="passed", test=HELD, put_back="yes", minutes=70, by=mara)

    job.refresh_from_db()
    visit.refresh_from_db()
    assert job.state == S.BACKUP_VERIFIED
    assert (visit.how, visit.minutes) == (TESTED, 70)
    assert not record.return_visit_avoided
    # 10:13:00 in Denver, where the load was read while both stood.
    assert record.overlap_from == dt.datetime(2026, 11, 18, 17, 13, tzinfo=dt.UTC)
    message = Message.objects.get(job=job, kind="call_result")
    assert message.to_name == visit.person.name


@pytest.mark.parametrize(
    ("changed", "result", "sentence", "field"),
    [
        ({"load_w": 100}, "passed", "the load was not seen served", "result"),
        ({"utility_w": 400}, "passed", "disconnected was not seen", "result"),
        ({"closed": T(10, 11)}, "passed", "The order is", "closed"),
        ({"closed": T(23, 0)}, "passed", "has not come yet", "closed"),
        ({"load_before_w": 0}, "passed", "proves nothing", "load_before_w"),
        (None, "passed", "the times and readings of the test", "result"),
        (None, "not passed", "Give the reason", "reason"),
    ],
)
def test_on_site_too_nothing_passes_without_its_evidence(changed, result, sentence, field, theo, mara):
    visit = plan(ready_job(), theo)
    test = None if changed is None else dataclasses.replace(HELD, **changed)

    with pytest.raises(Refused, match=sentence) as refused:
        sitevisits.record_on_site(visit, on=TODAY, result=result, test=test, put_back="yes", by=mara)
    assert refused.value.field == field
    assert not VerificationRecord.objects.exists()
    visit.refresh_from_db()
    assert visit.is_open


def test_what_a_first_test_that_failed_has_cost_is_counted(theo, mara, dana):
    call = led(mara)
    failed = verification.record_result(call, result="not passed", reason="the cable is loose", cause="wiring", by=mara)
    call.job.refresh_from_db()
    visit = plan(call.job, theo)
    assert visit.after == failed
    sitevisits.end_visit(visit, how=MENDED, on=TODAY, found="cable", minutes=45, chargeable=False, by=theo)
    sitevisits.note_cost(visit, cost_minor=18_000, by=dana)
    off = plan(call.job, theo, reason="device")
    sitevisits.end_visit(off, how=CALLED_OFF, on=TODAY, found="a part came late", by=theo)

    found = sitevisits.counted(VerificationRecord.objects.prefetch_related("additions"), SiteVisit.objects.all())

    assert (found.avoided, found.driven, found.minutes, found.cost_minor) == (0, 1, 45, 18_000)
    assert found.reasons == [("wiring", 1)]
    assert found.causes == [("wiring", 1)]


def test_a_voided_record_avoided_nothing(mara, dana):
    from jobs.appointments import records
    from tests.appointments.homes import seen_passing

    record = verification.record_result(seen_passing(led(mara), mara), result="passed", put_back="yes", by=mara)
    assert sitevisits.counted([record], []).avoided == 1
    records.void_verification(record, reason="another panel", by=dana)
    assert sitevisits.counted(VerificationRecord.objects.prefetch_related("additions"), []).avoided == 0


def test_the_pages_plan_a_visit_and_keep_what_was_typed(client, theo, mara):
    job = ready_job()
    homefacts.record_gateway_report(job, at=dt.datetime(2026, 11, 18, 17, tzinfo=dt.UTC), state="closed", by=SYSTEM)
    client.force_login(user_of(theo))
    address = reverse("site_visit_new", kwargs={"code": job.code})
    typed = {"reason": "device", "on": "19 Nov 2026", "person": person_of(job).pk, "licensed_name": "Ana Ortiz", "parts": "gateway"}

    refused = client.post(address, typed)
    assert refused.status_code == 422
    assert "gateway" in refused.content.decode()
    answer = client.post(address, {**typed, "license_number": "EL 1177"}, follow=True)

    assert "Planned for 19 November 2026." in answer.content.decode()
    visit = SiteVisit.objects.get()
    client.force_login(user_of(mara))
    test = reverse("site_visit_test", kwargs={"uid": visit.uid})
    half = client.post(test, {"on": "18 Nov 2026", "result": "passed", "put_back": "yes", "opened": "10:12:05"})
    assert half.status_code == 422
    assert "This reading is missing" in half.content.decode()
    listed = client.get(reverse("site_visits")).content.decode()
    assert "Ana Ortiz" in listed
