"""The kind `answers`: a utility's list of what it says of our requests, line by line."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import importing
from jobs.core.csvout import write_csv
from jobs.core.models import Fact
from jobs.core.states import S
from jobs.notices.models import Message
from jobs.pages import reconcile
from tests.acts.snapshot import snapshot
from tests.make import make_job
from tests.utilities.made import make_request, make_service
from utilities.models import Contact, FitRequest, Outcome

pytestmark = pytest.mark.django_db

HEADINGS = ("Request code", "Job number", "Status", "As of", "Visit date", "Work order", "Serial", "Comments")


def asked(number: str) -> FitRequest:
    return make_request(make_service(make_job(S.GRID_TIED, contractor_number=number)), on=dt.date(2026, 10, 1))


def table(*lines: tuple[str, ...]) -> bytes:
    return "".join(write_csv(HEADINGS, [(*line, *[""] * (len(HEADINGS) - len(line))) for line in lines])).encode()


def looked(data: bytes, *, by):
    return importing.look_at("answers", name="answers.csv", data=data, columns={}, by=by)


def bring_in(data: bytes, *, by):
    return importing.apply(importing.prepare("answers", name="answers.csv", data=data, columns={}, by=by), by=by)


def test_each_answer_is_recorded_where_it_belongs_and_the_same_list_twice_changes_nothing(dana):
    one, two, three, four = (asked(f"A-{n}") for n in range(1, 5))
    data = table(
        (one.code, "", "In queue", "2026-11-02", "", "WO-0017"),
        ("", "a-2", "scheduled", "2026-11-02", "2026-11-20", "", "", "before noon"),
        ("", "A-3", "Energized", "2026-11-10", "2026-11-09"),
        (four.code.lower(), "", "cancelled", "2026-11-10", "2026-11-06"),
    )

    run = bring_in(data, by=dana)

    assert (run.counts["new"], run.counts["left_out"]) == (4, 0)
    for request in (one, two, three, four):
        request.refresh_from_db()
    assert (one.utility_reference, one.acknowledged_on, one.is_open) == ("WO-0017", dt.date(2026, 11, 2), True)
    promised = Contact.objects.get(request=two)
    assert (promised.answered, promised.promised_by) == ("scheduled for 20 November 2026; before noon", dt.date(2026, 11, 20))
    assert (three.outcome, three.ended_on) == (Outcome.FITTED, dt.date(2026, 11, 9))
    assert (four.outcome, four.ended_on) == (Outcome.CANCELLED, dt.date(2026, 11, 6))
    assert not Message.objects.filter(state__in=["released", "sent"]).exists()
    assert list(reconcile.breaches()) == []
    before = snapshot()["core.Fact"], snapshot()["utilities.Contact"]

    again = bring_in(data, by=dana)

    assert (again.counts["new"], again.counts["unchanged"]) == (0, 4)
    assert (snapshot()["core.Fact"], snapshot()["utilities.Contact"]) == before


def test_answers_are_taken_back_and_the_homes_wait_again(dana):
    asked("A-1"), asked("A-2")
    before = {label: rows for label, rows in snapshot().items() if label not in {"core.ImportRun", "core.Trace", "core.StoredFile"}}
    run = bring_in(table(("", "A-1", "fitted", "2026-11-10", "2026-11-09"), ("", "A-2", "received", "2026-11-02")), by=dana)
    assert Fact.objects.filter(source="import").exists()

    importing.take_back(run, by=dana)

    after = snapshot()
    assert {label: after[label] for label in before} == before


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (("", "", "received", "2026-11-02"), "names neither request nor job"),
        (("ZZZZZ", "", "received", "2026-11-02"), "There is no request “ZZZZZ” of a job"),
        (("", "B-9", "received", "2026-11-02"), "No request of a job “B-9” is on record"),
        (("", "A-1", "maybe", "2026-11-02"), '"maybe" is not known here'),
        (("", "A-1", "fitted", "2026-11-02"), "says fitted and no day"),
        (("", "A-1", "fitted", "2026-11-02", "2026-11-05"), "does not lie between the sending"),
        (("", "A-1", "scheduled", "2026-11-10", "2026-11-05"), "before the answer on 10 November 2026"),
        (("", "A-1", "received", "2027-01-02"), "has not come yet"),
        (("", "A-1", "received", "2020-01-02"), "an answer about it comes later"),
        (("", "A-1", "received", "2026-11-02", "", "", "LC-000001"), "A fitted serial belongs to a fitting"),
    ],
)
def test_a_line_that_cannot_be_right_is_told_what_is_wanted(dana, line, sentence):
    asked("A-1")

    [row] = looked(table(line), by=dana).rows

    assert sentence in " ".join(error.wanted for error in row.errors)


def test_a_line_that_contradicts_the_record_or_another_line_is_refused(dana):
    request = asked("A-1")
    bring_in(table(("", "A-1", "fitted", "2026-11-10", "2026-11-09")), by=dana)

    other_day = looked(table(("", "A-1", "fitted", "2026-11-12", "2026-11-11")), by=dana)
    twice = looked(table((request.code, "", "received", "2026-11-02"), (request.code, "", "in queue", "2026-11-02")), by=dana)

    assert "on record as fitted on 9 November 2026" in other_day.errors[0].wanted.lower().replace("november", "November")
    assert "stands also in row 3" in twice.errors[0].wanted
