"""Calls and records broken on purpose are told."""

from __future__ import annotations

import pytest

from jobs.appointments import reconcile, verification
from jobs.appointments.models import VerificationRecord
from jobs.core import actors
from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.states import S
from tests.appointments.homes import TODAY, booked, led, ready_job, seen_passing
from tests.make import make_job, make_user, put, user_of

pytestmark = pytest.mark.django_db


def told() -> str:
    return " ".join(reconcile.breaches())


def test_a_call_that_stands_at_a_home_that_is_not_energized(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    assert told() == ""
    Job.objects.filter(pk=call.job_id).update(state=S.AWAITING_UTILITY)

    assert f"Job {call.job.code} is awaiting utility, and its call on 2026-11-19 is not called off." in told()


def test_a_passed_verification_that_rests_on_another_homes_record_or_on_none(mara):
    record = verification.record_result(seen_passing(led(mara, job=ready_job()), mara), result="passed", put_back="yes", by=mara)
    assert told() == ""

    other = make_job(S.COLLAR_ENERGIZED)
    put(other, k.VERIFICATION, on=TODAY, value={"result": "passed", "record": str(record.uid)})
    assert told() == f"Job {other.code} has a passed verification without its passed record."

    third = make_job(S.COLLAR_ENERGIZED)
    put(third, k.VERIFICATION, on=TODAY, value={"result": "passed", "record": "on paper"}, by=actors.person(make_user("verifier")))
    assert f"Job {third.code} has a passed verification without its passed record." in told()
    assert VerificationRecord.objects.count() == 1
