"""What is saved here and brought in again changes nothing, whatever the texts are."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from billing import payers, payments
from billing.exports import PAYMENTS, payment_lines
from billing.models import Payment
from jobs.core import csvout, importing
from jobs.core.csvout import marked, write_csv, write_xlsx
from jobs.core.models import Job, Person
from jobs.core.states import S
from jobs.pages import homesheet
from jobs.pages.joblist import headings, table
from tests.acts.snapshot import snapshot
from tests.billing.made import planned_job
from tests.homelist import HOMES, MENDED, bring_in, utilities
from tests.make import SYSTEM, make_job, user_of
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


def mended() -> bytes:
    text = HOMES.read_text(encoding="utf-8")
    for wrong, right in MENDED:
        text = text.replace(wrong, right)
    return text.encode()


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


def test_homes_half_done_and_partly_paid_go_out_with_their_contract_and_come_in_unchanged(dana):
    """And homes that were recorded here."""
    utilities()
    bring_in(mended(), by=dana)
    make_job(S.BACKUP_VERIFIED), make_job(S.CANCELLED)
    planned_job()  # two milestones with triggers of its own
    before = snapshot()

    changes_nothing("jobs", homesheet.headings(None), homesheet.table(Job.objects.all(), user=None), by=dana)

    assert snapshot() == before
    table = homesheet.table(Job.objects.filter(contractor_number__in=["LL-4101", "LL-4105"]).order_by("pk"), user=None)
    saved = list(csv.DictReader(io.StringIO("".join(write_csv(homesheet.headings(None), table)), newline="")))
    # As they stand in the list that was brought in.
    assert [row["contract_amount"] for row in saved] == ["42000.00", "44920.00"]
    assert [row["first_milestone_share"] for row in saved] == ["80 %", "80 %"]
    assert [(row["first_milestone_invoice"], row["first_milestone_paid"]) for row in saved] == [("", ""), ("A-705", "35936.00")]
    assert [row["commissioned_on"] for row in saved] == ["", "2026-11-09"]


def test_homes_that_go_out_and_into_empty_records_come_back_as_they_were(dana):
    """Facts on their days, the fitting's bracket, request, meter, shares, what was billed and paid before."""
    utilities()
    run = bring_in(mended(), by=dana)
    names, rows = csvout.chosen(
        homesheet.headings(None),
        list(homesheet.table(Job.objects.order_by("contractor_number"), user=None)),
        [name for name in homesheet.headings(None) if name != "job_code"],
    )
    rows = [list(row) for row in rows]
    importing.take_back(run, by=dana)
    assert not Job.objects.exists()
    [(name, data), _] = both(names, rows)

    run = importing.apply(importing.prepare("jobs", name=name, data=data, columns={}, by=dana), by=dana)

    assert (run.counts["new"], run.counts["left_out"]) == (20, 0)
    back = homesheet.table(Job.objects.order_by("contractor_number"), user=None)
    assert [list(row) for row in csvout.chosen(homesheet.headings(None), back, names)[1]] == rows


def test_a_scheduler_saves_homes_without_their_money_and_finance_none(theo, farida):
    make_job()

    assert not any("milestone" in name or "contract_amount" in name for name in homesheet.headings(user_of(theo)))
    for by, status in ((theo, 200), (farida, 403)):
        client = Client()
        client.force_login(user_of(by), backend="django.contrib.auth.backends.ModelBackend")
        assert client.get(reverse("homes_export", kwargs={"ending": "csv"})).status_code == status


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
