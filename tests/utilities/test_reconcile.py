from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import kinds as k
from jobs.core.facts import Said
from jobs.core.models import Job
from jobs.core.states import S
from tests.make import put
from tests.utilities.made import job_of, make_request, make_service
from utilities import reconcile, requests, visits
from utilities.models import Contact, FitRequest, Sending, Visit

pytestmark = pytest.mark.django_db

D = dt.date


def test_what_acts_leave_holds(theo):
    waiting, fitted, lapsed = make_request(), make_request(), make_request()
    visits.record_visit(waiting, on=D(2026, 9, 10), outcome="nobody home", reason="said the crew", by=theo)
    visits.confirm_fitting(fitted, by_on=D(2026, 9, 14), said_by=Said("gateway"), by=theo)
    requests.record_sent_again(lapsed, on=D(2026, 9, 1), because="closed", counts_as_new=True, by=theo)
    make_service()

    assert list(reconcile.breaches()) == []


def test_a_request_that_differs_from_its_facts_is_found():
    request = make_request(on=D(2026, 6, 3))
    FitRequest.objects.update(filed_on=D(2026, 6, 4))

    assert list(reconcile.breaches()) == [
        f"Request {request.code}: filed_on is 2026-06-04, the facts of job {request.job.code} say 2026-06-03."
    ]


def test_a_home_that_waits_without_a_request_is_found():
    request = make_request()
    FitRequest.objects.update(outcome="cancelled", ended_on=D(2026, 9, 1))

    assert f"Job {request.job.code} waits on its utility, and no request of it is open." in list(reconcile.breaches())


def test_a_sending_of_no_request_is_found():
    request = make_request(on=D(2026, 6, 3))
    put(job_of(request), k.REQUEST_SENT, on=D(2026, 6, 9), value={"request": "another", "utility": "Ottermere"})

    assert list(reconcile.breaches()) == [
        f"Job {request.job.code}: a request is on record as sent on 2026-06-09, and it is none of the job's requests."
    ]


def test_an_open_request_of_an_energized_home_is_found():
    request = make_request()
    Job.objects.update(state=S.COLLAR_ENERGIZED)

    assert f"Job {request.job.code} has its collar, and its request is still open." in list(reconcile.breaches())


def test_a_visit_that_differs_from_its_fact_is_found(theo):
    request = make_request()
    visits.record_visit(request, on=D(2026, 9, 10), outcome="nobody home", reason="said the crew", by=theo)
    Visit.objects.update(outcome="unknown")

    assert list(reconcile.breaches()) == [
        f"A visit to request {request.code} says unknown on 2026-09-10, its fact nobody home on 2026-09-10."
    ]


def test_a_sending_and_a_contact_that_differ_from_their_facts_are_found(theo):
    request = make_request(on=D(2026, 6, 3))
    requests.record_contact(request, on=D(2026, 7, 1), answered="nothing new", by=theo)
    Sending.objects.update(sent_on=D(2026, 6, 1))
    Contact.objects.update(withdrawn=True)

    assert list(reconcile.breaches()) == [
        f"A sending of request {request.code} is of 2026-06-01, and its fact does not say so.",
        f"A contact about request {request.code} is of 2026-07-01, and its fact does not say so.",
    ]
