"""A list of homes brought in: 20 homes, 3 rows to correct, 8 mid-wait and partly paid."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import Any

import pytest

from billing.models import Earning, Invoice, Milestone
from jobs.core import homefacts, importing
from jobs.core import kinds as k
from jobs.core.importing import Looked
from jobs.core.models import Fact, ImportRun, Job, Person, StateChange, Trace
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices.models import Message
from jobs.pages import reconcile
from tests.acts.snapshot import snapshot
from tests.homelist import HOMES, MENDED, OTTERMERE, bring_in, half_done, home, looked, sentences, sheet, utilities
from tests.races import race
from utilities.models import FitRequest, Outcome, Service

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _utilities():
    utilities()


def mended() -> bytes:
    """The sample with its three rows put right."""
    text = HOMES.read_text(encoding="utf-8")
    for wrong, right in MENDED:
        assert wrong in text
        text = text.replace(wrong, right)
    return text.encode()


def job_of(number: str) -> Job:
    return Job.objects.get(contractor_number=number)


def test_the_sample_has_three_rows_to_correct_each_named_with_what_is_wanted(dana):
    seen = looked(HOMES.read_bytes(), by=dana)

    assert [(error.row, error.column, error.value) for error in seen.errors] == [
        (7, "Utility", "Otermere Municipal Light"),
        (11, "Request sent on", "4 Mar 2026"),
        (20, "Final milestone share", "30 %"),
    ]
    assert "near it is Ottermere Municipal Light" in seen.errors[0].wanted
    assert "contract signed was on 9 April 2026" in seen.errors[1].wanted
    assert "The shares add up to 110\u202f%: together 100 % are wanted." in seen.errors[2].wanted
    assert (seen.preview.new, seen.preview.changed, seen.preview.unchanged) == (17, 0, 0)
    # First milestones of LL-4105, seven good ones of the eight mid-wait, 4116, 4117, 4118 and 4120; the final one of 4118.
    assert seen.preview.words == ("0 messages will be sent, 0 invoices drafted, 13 opening balances",)


def test_good_rows_mended_and_sent_again_bring_in_every_home_once(dana):
    with pytest.raises(Refused, match="Three rows of 20 need correcting"):
        bring_in(HOMES.read_bytes(), by=dana)
    assert not Job.objects.exists()

    first = bring_in(HOMES.read_bytes(), by=dana, good_rows_only=True)
    second = bring_in(mended(), by=dana)

    assert (first.counts["new"], first.counts["left_out"]) == (17, 3)
    assert (second.counts["new"], second.counts["changed"], second.counts["unchanged"]) == (3, 0, 17)
    assert Job.objects.count() == 20
    states = [Job.objects.in_state(state).count() for state in S]
    assert dict(zip(S, states, strict=True)) == {
        S.IN_BUILD: 4, S.GRID_TIED: 3, S.AWAITING_UTILITY: 8, S.COLLAR_ENERGIZED: 2, S.BACKUP_VERIFIED: 3, S.CANCELLED: 0,
    }  # fmt: skip
    assert list(reconcile.breaches()) == []


def test_homes_mid_wait_and_partly_paid_send_nothing_and_earn_nothing_twice(dana):
    bring_in(mended(), by=dana)

    assert not Message.objects.exists()
    assert not Invoice.objects.exists()
    waiting = Job.objects.in_state(S.AWAITING_UTILITY)
    firsts = Milestone.objects.filter(job__in=waiting, position=1)
    assert len(firsts) == 8
    for milestone in firsts:
        assert milestone.opening
        assert 0 < milestone.opening_paid_minor < milestone.opening_invoiced_minor == milestone.amount_minor
        # Open balances age: due 30 days after the day of earning, the rule's default.
        assert milestone.earned_on is not None
        assert milestone.opening_due_on == milestone.earned_on + dt.timedelta(days=30)
    # Of the eight nothing is earned here; only LL-4106 and LL-4107 (first) and LL-4119, LL-4120 (final) are earned by their facts.
    earned = Earning.objects.values_list("job__contractor_number", "name")
    assert sorted(earned) == [
        ("LL-4106", "First milestone"), ("LL-4107", "First milestone"), ("LL-4119", "Final milestone"), ("LL-4120", "Final milestone"),
    ]  # fmt: skip


def test_the_same_list_twice_changes_nothing_at_all(dana):
    bring_in(mended(), by=dana)
    before = snapshot()

    again = bring_in(mended(), by=dana)

    assert (again.counts["new"], again.counts["changed"], again.counts["unchanged"], again.counts["left_out"]) == (0, 0, 20, 0)
    after = snapshot()
    for model in ("core.ImportRun", "core.Trace"):
        before.pop(model), after.pop(model)
    assert after == before


def test_a_half_done_home_has_its_facts_on_their_own_days_said_by_the_list(dana):
    run = bring_in(sheet(half_done(1, Fitted_on="14 Sep 2026", Backup_verified_on="21 Sep 2026", Verified_by="Mara Quist")), by=dana)

    job = job_of("LL-1")
    assert run.counts["new"] == 1
    assert (job.state, job.state_since) == (S.BACKUP_VERIFIED, dt.date(2026, 9, 21))
    facts = {fact.kind: fact for fact in job.facts.all()}
    assert {kind: fact.day.isoformat() for kind, fact in facts.items()} == {
        k.CONTRACT_SIGNED: "2026-03-02", k.COMMISSIONED: "2026-05-04", k.CT_CHECK: "2026-05-04", k.COLLAR_REGISTERED: "2026-05-04",
        k.COLLAR_STAGED: "2026-05-04", k.SHEET_GIVEN: "2026-05-04", k.REQUEST_SENT: "2026-06-03", k.COLLAR_FITTED: "2026-09-14",
        k.VERIFICATION: "2026-09-21",
    }  # fmt: skip
    # No reading came in a list, so none is made up: the verdict is the list's word.
    assert facts[k.CT_CHECK].value == {"verdict": "consistent", "readings": {}, "numbers": {"source": "import"}}
    assert facts[k.CT_CHECK].said_by_role == "contractor's list"
    assert facts[k.COLLAR_STAGED].value["reason"] == "as in the contractor's list"
    assert facts[k.COLLAR_FITTED].value["serial"] == "LC-000001"
    assert facts[k.VERIFICATION].said_by_name == "Mara Quist"
    assert {fact.source for fact in facts.values()} == {"import"}
    assert facts[k.COMMISSIONED].source_key == f"import:jobs:{job.code}:commissioned:2026-05-04"
    assert list(StateChange.objects.filter(job=job).values_list("became", flat=True))[-1] == S.BACKUP_VERIFIED
    assert job.imported_on == dt.date(2026, 11, 18)
    request = FitRequest.objects.get(job=job)
    assert (request.outcome, request.filed_on, request.fitted_by, request.route) == (
        Outcome.FITTED, dt.date(2026, 6, 3), dt.date(2026, 9, 14), "portal",
    )  # fmt: skip
    # Homes fitted before need not stand in such a list, so the wait counts from the day on which we learned of it.
    assert request.known_from == dt.date(2026, 11, 18)


def test_a_fitting_known_as_a_bracket_stays_one(dana):
    data = sheet(half_done(1, Last_known_not_fitted="2 Nov 2026", First_known_fitted="9 Nov 2026"))
    bring_in(data, by=dana)

    fact = Fact.objects.get(kind=k.COLLAR_FITTED)
    assert (fact.after_on, fact.by_on, fact.happened_on) == (dt.date(2026, 11, 2), dt.date(2026, 11, 9), None)
    assert sentences(data, by=dana) == []
    wider = sheet(half_done(1, Last_known_not_fitted="1 Nov 2026", First_known_fitted="12 Nov 2026"))
    assert sentences(wider, by=dana) == []
    other = sheet(half_done(1, Fitted_on="10 Nov 2026"))
    assert "The fitting on record is between 2 and 9 November 2026, the file says on 10 November 2026" in sentences(other, by=dana)[0]


def test_follow_ups_of_a_half_done_home_begin_on_the_day_of_the_import(dana):
    bring_in(sheet(half_done(1)), by=dana)

    job = job_of("LL-1")
    assert job.waiting_since == dt.date(2026, 6, 3)
    assert job.next_act == "Ask the utility about the request"
    assert job.next_due_on == dt.date(2026, 11, 18) + dt.timedelta(days=14)


def test_new_facts_of_a_home_on_record_are_added_and_blank_cells_change_nothing(dana):
    bring_in(sheet(home(1, Phone="(303) 555-0142", Contract_signed="2 Mar 2026")), by=dana)

    run = bring_in(sheet({"Job number": "LL-1", "Commissioned on": "4 May 2026", "E-mail": "new@homes.example", "Phone": ""}), by=dana)

    job = job_of("LL-1")
    person = job.parties.get(role="owner").person
    assert (run.counts["new"], run.counts["changed"]) == (0, 1)
    assert (person.phone, person.email) == ("+13035550142", "new@homes.example")
    assert job.facts.filter(kind=k.COMMISSIONED).count() == 1
    assert job.facts.filter(kind=k.CONTRACT_SIGNED).count() == 1
    assert Person.objects.count() == 1


def test_what_contradicts_a_record_is_an_error_naming_both_and_nothing_is_overwritten(dana):
    bring_in(sheet(half_done(1, Phone="(303) 555-0142")), by=dana)
    other = half_done(
        1, Owner="Somebody Else", Phone="(303) 555-0143", Commissioned_on="5 May 2026", Collar_serial="LC-999999",
        Request_sent_on="4 Jun 2026",
        First_milestone_paid="$32,000.00", Contract_amount="$41,000.00", Utility="Sable Fork Electric Cooperative", Battery="no",
        First_milestone_share="70 %", Final_milestone_share="30 %",
    )  # fmt: skip
    del other["CT check consistent on"]

    found = sentences(sheet(other), by=dana)

    assert {sentence.split(": ", 1)[1].split(":")[0] for sentence in found} == {
        "The owner on record is Owner 1, the file says Somebody Else",
        "The telephone number on record is (303) 555-0142, the file says (303) 555-0143",
        "The battery on record is yes, the file says no",
        "The utility on record is Ottermere Municipal Light, the file says Sable Fork Electric Cooperative",
        "The day of “commissioned grid-tied” on record is 4 May 2026, the file says 5 May 2026",
        "The serial on record is LC-000001, the file says LC-999999",
        "The day the request was first sent on record is 3 June 2026, the file says 4 June 2026",
        "The contract's amount on record is $40,000.00, the file says $41,000.00",
        "The share of First milestone on record is 80\u202f%, the file says 70\u202f%",
        "The share of Final milestone on record is 20\u202f%, the file says 30\u202f%",
        "The amount paid of First milestone on record is $16,000.00, the file says $32,000.00",
    }


def test_a_home_entered_without_a_number_is_known_by_address_and_owner(dana):
    first = home(1)
    del first["Job number"]
    bring_in(sheet(first), by=dana)

    run = bring_in(sheet(home(1)), by=dana)

    assert run.counts["changed"] == 1
    assert job_of("LL-1").site.street == "1 Larch Terrace"
    assert Job.objects.count() == 1


def test_what_was_brought_in_and_withdrawn_is_not_brought_in_again(dana):
    data = sheet(home(1, Commissioned_on="4 May 2026"))
    bring_in(data, by=dana)
    homefacts.correct(Fact.objects.get(kind=k.COMMISSIONED), when=None, withdraw=True, reason="the other house", by=dana)

    assert "4 May 2026 was brought in before and has been corrected since" in sentences(data, by=dana)[0]


def test_a_row_in_conflict_only_by_the_time_it_is_applied_is_left_out_alone(dana):
    run = importing.prepare(
        "jobs", name="homes.csv", data=sheet(home(1), home(2, Collar_serial="LC-000007", Staged_on="4 May 2026")), columns={}, by=dana
    )
    run = importing.start(run, good_rows_only=False, by=dana)
    seen = importing.look(run, by=dana)
    bring_in(sheet(home(9, Collar_serial="LC-000007", Staged_on="4 May 2026")), by=dana)

    run = importing.apply_chunk(run, looked=seen, by=dana)

    assert (run.counts["new"], run.finished_at is not None) == (1, True)
    assert [(error.row, error.column, error.value) for error in importing.refused(run)] == [(3, "Collar serial", "LC-000007")]
    assert set(Job.objects.values_list("contractor_number", flat=True)) == {"LL-1", "LL-9"}


def test_a_scheduler_brings_in_homes_without_their_money(theo):
    names = looked(sheet(half_done(1)), by=theo).problems[0]
    assert names.startswith("“Contract amount”, “First milestone share”, “Final milestone share”, “First milestone earned on”")
    assert "“First milestone paid” set amounts of money, which your role may not do" in names
    with pytest.raises(Refused, match="“Contract amount”"):
        bring_in(sheet(half_done(1)), by=theo)
    assert not Job.objects.exists()

    plain = {heading: cell for heading, cell in half_done(1).items() if "milestone" not in heading and heading != "Contract amount"}
    run = bring_in(sheet(plain), by=theo)

    assert (run.counts["new"], job_of("LL-1").state) == (1, S.AWAITING_UTILITY)
    assert not Milestone.objects.exists()
    assert Trace.objects.filter(actor="Theo Lindgren", act="jobs.core.importing.apply_chunk").count() == 1


def test_a_home_of_a_region_with_one_zone_gets_it_and_of_another_is_asked(dana):
    bring_in(sheet(home(1)), by=dana)
    assert job_of("LL-1").site.zone == "America/Denver"

    texas = home(2, State="Texas")
    assert sentences(sheet(texas), by=dana) == [
        "Row 2, Time zone: TX has more than one time zone: the home's own is wanted, such as America/Chicago."
    ]
    bring_in(sheet(texas | {"Time zone": "America/Chicago"}), by=dana)
    assert (job_of("LL-2").site.region, job_of("LL-2").site.zone) == ("TX", "America/Chicago")


def test_a_home_keeps_its_meter_and_crew(dana, crew):
    bring_in(
        sheet(home(1, Utility=OTTERMERE.upper(), Meter_number="55 806 528", Meter_form="2S", Account_number="77-1", Crew="north crew")),
        by=dana,
    )

    service = Service.objects.get(job=job_of("LL-1"))
    assert (service.utility.name, service.meter_number, service.meter_form, service.account_number) == (
        OTTERMERE,
        "55 806 528",
        "2S",
        "77-1",
    )
    assert job_of("LL-1").crew == crew


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_of_the_same_list_brought_in_by_two_at_once_every_home_is_made_once(dana):
    data = sheet(*(half_done(n) for n in range(1, 61)))
    runs = [importing.prepare("jobs", name="homes.csv", data=data, columns={}, by=dana) for _ in range(2)]

    def apply(run: ImportRun, seen: Looked) -> Any:
        run = importing.start(run, good_rows_only=False, by=dana, looked=seen)
        while run.finished_at is None:
            run = importing.apply_chunk(run, by=dana, looked=seen)
        return run.counts

    ended = race(*(partial(apply, run, importing.look(run, by=dana)) for run in runs))

    assert sum(counts["new"] for counts in ended) == 60
    assert sum(counts["unchanged"] for counts in ended) == 60
    assert [counts["left_out"] for counts in ended] == [0, 0]
    assert Job.objects.count() == FitRequest.objects.count() == 60
    assert list(reconcile.breaches()) == []
