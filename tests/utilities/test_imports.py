from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import importing, lifecycle
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.importing import Looked
from jobs.core.models import Fact, ImportRun
from jobs.core.states import S
from tests.acts.snapshot import snapshot
from tests.make import make_job, serial_of
from tests.utilities.made import make_request, make_service, make_utility
from utilities.imports import COMPLETE, FINISHED_ONLY
from utilities.models import FitRequest, Outcome, Service

pytestmark = pytest.mark.django_db

D = dt.date
HEAD = "Job number,Utility,District,Request sent on,Route,Reference,Outcome,Outcome day,Last known not fitted,Fitted serial\r\n"


def sheet(*rows: str) -> bytes:
    return (HEAD + "".join(f"{row}\r\n" for row in rows)).encode()


def looked_at(by: Actor, *rows: str, complete: str = "yes") -> tuple[ImportRun, Looked]:
    run = importing.prepare("requests", name="requests.csv", data=sheet(*rows), columns={"complete": complete}, by=by)
    return run, importing.look(run, by=by)


def brought_in(by: Actor, *rows: str, complete: str = "yes") -> ImportRun:
    run, _ = looked_at(by, *rows, complete=complete)
    return importing.apply(run, by=by)


def wanted(looked: Looked) -> list[str]:
    return [str(error) for error in looked.errors]


@pytest.fixture
def ottermere():
    utility = make_utility("Ottermere Municipal Light")
    utility.districts.create(name="North")
    return utility


def test_past_and_open_requests_come_in_with_their_own_days(theo, ottermere):
    run = brought_in(
        theo,
        ",Ottermere Municipal Light,North,1 Dec 2025,portal,R-1,fitted,14 Mar 2026,,",
        ",ottermere municipal light,,2 Dec 2025,portal,R-2,installed,14 Mar 2026,10 Mar 2026,",
        ",Ottermere Municipal Light,,3 Dec 2025,,R-3,withdrawn,5 Jan 2026,,",
        ",Ottermere Municipal Light,,4 Dec 2025,,R-4,,,,",
    )

    assert (run.counts["new"], run.counts["left_out"]) == (4, 0)
    rows = FitRequest.objects.order_by("filed_on").values_list("outcome", "filed_on", "ended_on", "fitted_after", "known_from")
    assert list(rows) == [
        ("fitted", D(2025, 12, 1), D(2026, 3, 14), None, None),
        ("fitted", D(2025, 12, 2), D(2026, 3, 14), D(2026, 3, 10), None),
        ("cancelled", D(2025, 12, 3), D(2026, 1, 5), None, None),
        ("open", D(2025, 12, 4), None, None, None),
    ]
    assert not FitRequest.objects.filter(job__isnull=False).exists()
    assert FitRequest.objects.get(own_reference="R-1").district.name == "North"


def test_the_request_of_a_job_brings_its_facts_and_its_state(theo, ottermere):
    waiting, fitted = make_job(S.GRID_TIED, contractor_number="J-1"), make_job(S.GRID_TIED, contractor_number="J-2")

    brought_in(
        theo,
        "J-1,Ottermere Municipal Light,,3 Jun 2026,portal,,,,,",
        f"{fitted.code},Ottermere Municipal Light,,3 Jun 2026,portal,,fitted,14 Sep 2026,,{serial_of(fitted)}",
    )

    waiting.refresh_from_db()
    fitted.refresh_from_db()
    assert (waiting.state, waiting.state_since, waiting.waiting_on) == (S.AWAITING_UTILITY, D(2026, 6, 3), "utility")
    assert (fitted.state, fitted.state_since) == (S.COLLAR_ENERGIZED, D(2026, 9, 14))
    assert FitRequest.objects.get(job=fitted).fitted_by == D(2026, 9, 14)
    assert set(Fact.objects.filter(kind=k.REQUEST_SENT).values_list("source", flat=True)) == {"import"}


def test_applied_twice_changes_nothing(theo, ottermere):
    make_job(S.GRID_TIED, contractor_number="J-1")
    rows = (
        "J-1,Ottermere Municipal Light,,3 Jun 2026,portal,,fitted,14 Sep 2026,,",
        ",Ottermere Municipal Light,,1 Dec 2025,portal,R-1,fitted,14 Mar 2026,,",
        ",Ottermere Municipal Light,,4 Dec 2025,,R-4,,,,",
    )
    brought_in(theo, *rows)
    before = {name: told for name, told in snapshot().items() if name not in ("core.ImportRun", "core.Trace")}

    again = brought_in(theo, *rows)

    assert (again.counts["new"], again.counts["changed"], again.counts["unchanged"]) == (0, 0, 3)
    assert {name: told for name, told in snapshot().items() if name not in ("core.ImportRun", "core.Trace")} == before


def test_a_later_list_ends_what_was_open(theo, ottermere):
    job = make_job(S.GRID_TIED, contractor_number="J-1")
    brought_in(theo, "J-1,Ottermere Municipal Light,,3 Jun 2026,,,,,,", ",Ottermere Municipal Light,,4 Dec 2025,,R-4,,,,")

    run = brought_in(
        theo,
        "J-1,Ottermere Municipal Light,,3 Jun 2026,,,fitted,14 Sep 2026,,",
        ",Ottermere Municipal Light,,4 Dec 2025,,R-4,cancelled,5 Jan 2026,,",
    )

    assert run.counts["changed"] == 2
    assert FitRequest.objects.get(job=job).outcome == Outcome.FITTED
    assert FitRequest.objects.get(own_reference="R-4").outcome == Outcome.CANCELLED


def test_a_list_of_open_requests_only_is_known_from_its_day(theo, ottermere):
    brought_in(theo, ",Ottermere Municipal Light,,4 Dec 2025,,R-4,,,,", complete="no")

    assert FitRequest.objects.get().known_from == D(2026, 11, 18)


def test_a_list_of_finished_waits_only_is_refused(theo, ottermere):
    _, looked = looked_at(theo, ",Ottermere Municipal Light,,4 Dec 2025,,R-4,fitted,5 Jan 2026,,", complete="finished")

    assert wanted(looked) == [f"Row 2, Outcome: {FINISHED_ONLY}"]


def test_the_question_about_the_list_must_be_answered(theo, ottermere):
    run = importing.prepare("requests", name="r.csv", data=sheet(",Ottermere Municipal Light,,4 Dec 2025,,R-4,,,,"), columns={}, by=theo)

    looked = importing.look(run, by=theo)

    assert looked.rows == ()
    assert looked.problems[0].startswith(COMPLETE.words)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            ",Otermere Municipal Light,,4 Dec 2025,,R-4,,,,",
            "the name of a utility is wanted, such as Ottermere Municipal Light; or enter it",
        ),
        (",Ottermere Municipal Light,South,4 Dec 2025,,R-4,,,,", "has no district “South”: one of its own, or nothing, is wanted."),
        (",Ottermere Municipal Light,,4 Dec 2025,,,,,,", "A row without a job needs a reference of its own"),
        ("J-9,Ottermere Municipal Light,,4 Dec 2025,,,,,,", "No job has the number “J-9”"),
        (",Ottermere Municipal Light,,4 Dec 2026,,R-4,,,,", "4 December 2026 has not come yet."),
        (",Ottermere Municipal Light,,4 Dec 2025,,R-4,fitted,,,", "The request is fitted on no day"),
        (",Ottermere Municipal Light,,4 Dec 2025,,R-4,,5 Jan 2026,,", "does not say which: fitted or cancelled is wanted."),
        (",Ottermere Municipal Light,,4 Dec 2025,,R-4,fitted,3 Dec 2025,,", "comes before the request was sent on 4 December 2025."),
        (
            ",Ottermere Municipal Light,,4 Dec 2025,,R-4,fitted,5 Jan 2026,5 Jan 2026,",
            "must come before the first day it was known fitted.",
        ),
        (",Ottermere Municipal Light,,4 Dec 2025,,R-4,sent,,,", "is not known here: one of fitted, cancelled, open is wanted."),
    ],
)
def test_a_wrong_row_says_what_is_wanted(theo, ottermere, row, sentence):
    _, looked = looked_at(theo, row)

    assert len(looked.wrong) == 1
    assert sentence in " ".join(wanted(looked))


def test_two_rows_of_one_request_are_refused(theo, ottermere):
    make_job(S.GRID_TIED, contractor_number="J-1")

    _, looked = looked_at(
        theo,
        ",Ottermere Municipal Light,,4 Dec 2025,,R-4,,,,",
        ",Ottermere Municipal Light,,4 Dec 2025,,r-4,,,,",
        "J-1,Ottermere Municipal Light,,3 Jun 2026,,,,,,",
        "J-1,Ottermere Municipal Light,,3 Jun 2026,,,,,,",
    )

    assert [row.number for row in looked.wrong] == [2, 3, 4, 5]


def test_an_older_request_below_a_newer_one_is_refused(theo, ottermere):
    make_job(S.GRID_TIED, contractor_number="J-1")

    _, looked = looked_at(
        theo,
        "J-1,Ottermere Municipal Light,,3 Sep 2026,,,,,,",
        "J-1,Ottermere Municipal Light,,3 Jun 2026,,,cancelled,1 Sep 2026,,",
    )

    assert wanted(looked) == ["Row 3, Request sent on: Row 2 holds a later request of this job: put the older one first."]


def test_a_lapsed_request_and_its_follower_come_in_linked(theo, ottermere):
    job = make_job(S.GRID_TIED, contractor_number="J-1")

    brought_in(
        theo,
        "J-1,Ottermere Municipal Light,,3 Jun 2026,,,cancelled,1 Sep 2026,,",
        "J-1,Ottermere Municipal Light,,3 Sep 2026,,,,,,",
    )

    old, new = FitRequest.objects.filter(job=job).order_by("filed_on")
    assert (old.outcome, new.outcome, new.follows) == (Outcome.CANCELLED, Outcome.OPEN, old)


def test_a_row_that_contradicts_the_record_is_refused(theo, ottermere):
    service = make_service(make_job(S.GRID_TIED, contractor_number="J-1"), utility=ottermere)
    make_request(service, on=D(2026, 6, 3))

    _, looked = looked_at(theo, "J-1,Ottermere Municipal Light,,10 Jun 2026,,,,,,")
    assert "is open since 3 June 2026" in wanted(looked)[0]

    brought_in(theo, "J-1,Ottermere Municipal Light,,3 Jun 2026,,,fitted,14 Sep 2026,,")
    _, looked = looked_at(theo, "J-1,Ottermere Municipal Light,,3 Jun 2026,,,fitted,15 Sep 2026,,")
    assert "is on record as fitted on 14 September 2026: correct the record" in wanted(looked)[0]
    assert Service.objects.count() == 1


def test_an_imported_request_owes_nothing_and_its_follow_up_starts_from_now(theo, ottermere):
    job = make_job(S.GRID_TIED, contractor_number="J-1")
    job.imported_on = D(2026, 11, 18)
    job.save()

    _, looked = looked_at(theo, "J-1,Ottermere Municipal Light,,3 Jun 2026,,,,,,")
    assert looked.preview.words[0] == "0 messages will be sent, 0 invoices drafted."
    brought_in(theo, "J-1,Ottermere Municipal Light,,3 Jun 2026,,,,,,")

    job.refresh_from_db()
    assert job.next_due_on == D(2026, 11, 18) + dt.timedelta(days=lifecycle.limits().follow_up_days)
