"""What is saved here and brought in again changes nothing, whatever the texts are."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from billing import payers, payments
from billing.exports import PAYMENTS, payment_lines
from billing.models import Payment
from jobs.core import importing
from jobs.core.csvout import marked, write_csv, write_xlsx
from jobs.core.models import Job, Person
from jobs.core.states import S
from jobs.pages.joblist import headings, table
from tests.acts.snapshot import snapshot
from tests.make import SYSTEM, make_job
from tests.utilities.made import make_past, make_request, make_service, make_utility
from utilities.exports import REQUESTS, requests
from utilities.models import FitRequest

pytestmark = pytest.mark.django_db

NASTY = ["=1+1", "+1 555", "-3", "@cmd|' /C calc'!A0", "'=x", 'say "so"', "two\nlines", "Peña; Ørsted, Łukasz\t|", "😀🏠", "007", "1e5"]
# All that a person can type into these fields: they take blanks off the ends, and a carriage return is a line break.
TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.just("\n"), min_size=1, max_size=60).map(str.strip).filter(bool)
NICE = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def both(names, rows) -> list[tuple[str, bytes]]:
    rows = [list(row) for row in rows]
    return [("saved.csv", "".join(marked(write_csv(names, rows))).encode()), ("saved.xlsx", write_xlsx(names, rows))]


def changes_nothing(kind: str, names, rows, *, by, **columns) -> None:
    rows = [list(row) for row in rows]
    for name, data in both(names, rows):
        looked = importing.look_at(kind, name=name, data=data, columns=columns, by=by)
        assert looked.problems == ()
        assert looked.errors == []
        assert looked.preview is not None
        assert (looked.preview.new, looked.preview.changed, looked.preview.unchanged) == (0, 0, len(rows))


@pytest.fixture
def job(db) -> Job:
    return make_job(S.AWAITING_UTILITY)


@NICE
@given(owner=TEXT, street=TEXT, city=TEXT, number=TEXT.map(lambda text: text[:40].strip()).filter(bool))
@example(owner='=HYPERLINK("x")', street="+1 Larch\nTerrace", city="-Ottermere", number="'007")
@example(owner="Total", street="Owner", city="City", number="Job number")
def test_jobs_saved_and_brought_in_again_are_unchanged(job, owner, street, city, number):
    Person.objects.filter(parties__job=job, parties__role="owner").update(name=owner)
    type(job.site).objects.filter(pk=job.site_id).update(street=street, city=city)
    Job.objects.filter(pk=job.pk).update(contractor_number=number)

    changes_nothing("jobs", headings(None), table(Job.objects.all(), user=None), by=SYSTEM)


def test_jobs_without_a_number_are_known_by_their_code_and_the_records_stay_as_they_are(dana):
    make_job(S.IN_BUILD), make_job(S.AWAITING_UTILITY), make_job(S.COLLAR_ENERGIZED)
    Job.objects.update(contractor_number="")
    before = snapshot()["core.Job"], snapshot()["core.Fact"], snapshot()["core.Site"]
    [(name, data), _] = both(headings(None), table(Job.objects.all(), user=None))

    run = importing.apply(importing.prepare("jobs", name=name, data=data, columns={}, by=dana), by=dana)

    assert (run.counts["unchanged"], run.counts["left_out"]) == (3, 0)
    assert (snapshot()["core.Job"], snapshot()["core.Fact"], snapshot()["core.Site"]) == before


@pytest.mark.parametrize("text", NASTY)
def test_requests_saved_and_brought_in_again_are_unchanged(text):
    utility = make_utility(name=f"{text} Light")
    make_request(make_service(utility=utility, meter_number=text), route=text)
    past = make_past(utility, filed_on=dt.date(2025, 3, 3), waited=40)
    FitRequest.objects.filter(pk=past.pk).update(own_reference=text, source_key=f"history {utility.uid} 2025-03-03 {text.casefold()}")

    changes_nothing("requests", REQUESTS, requests(FitRequest.objects.all()), by=SYSTEM, complete="yes")


@pytest.mark.parametrize("text", NASTY)
def test_payments_saved_and_brought_in_again_are_unchanged(text):
    payer = payers.add_payer(f"{text} Fund", kind="lender", email="desk@fund.example", by=SYSTEM)
    payments.record_payment(payer, amount_minor=864_000, received_on=dt.date(2026, 11, 2), reference=text, parts=[], by=SYSTEM)

    changes_nothing("payments", PAYMENTS, payment_lines(Payment.objects.with_left()), by=SYSTEM)
