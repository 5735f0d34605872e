"""What follows once a message about the utility's work has left: the homeowner was told, and a letter stands in the contact log."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest

from jobs.core import kinds as k
from jobs.core.models import Job, Party, Person
from jobs.core.models.people import PartyRole
from jobs.core.states import S
from jobs.core.waiting import UTILITY
from jobs.notices import inbound, outbox
from jobs.notices.models import Message
from jobs.notices.outcome import Outcome, Result
from tests.make import SYSTEM, make_job, user_of
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import attention, letters, requests, visits
from utilities.models import FitRequest, Visit

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 18)
MONDAY = dt.date(2026, 11, 23)
TAKEN = Outcome(Result.SENT, "taken by mail.larchlantern.example")


def leave(message: Message, outcome: Outcome = TAKEN) -> Any:
    """Released, tried once, and what came of it written down."""
    if message.state == "owed":
        outbox.release(message, by=SYSTEM)
    Message.objects.filter(pk=message.pk).update(due_at=dt.datetime(2026, 11, 18, tzinfo=dt.UTC))
    claimed = outbox.claim(message.pk)
    assert claimed is not None, Message.objects.get(pk=message.pk).reason
    outbox.record(message.pk, outcome, attempt=claimed.attempts)
    message.refresh_from_db()
    return message


def announced(request: FitRequest | None = None) -> Visit:
    return visits.announce_visit(request or make_request(), told_on=TODAY, window_from=MONDAY, window_to=MONDAY, by=SYSTEM)


def told(visit: Visit) -> tuple[dt.date | None, bool]:
    visit.refresh_from_db()
    return visit.homeowner_told_on, visit.told_by_message


def news() -> Message:
    return Message.objects.filter(kind="visit_announced").order_by("pk")[0]


def test_the_homeowner_is_told_of_a_visit_once_its_message_has_left(theo):
    visit = announced()
    outbox.release(news(), by=SYSTEM)
    assert told(visit) == (None, False)

    leave(news())

    assert told(visit) == (TODAY, True)
    (row,) = today_s_visits(theo)
    assert row.cells[1].startswith("told ")
    assert row.next_act == "Record visit"


def today_s_visits(theo: Any) -> Any:
    for section in attention.for_user(user_of(theo)).sections:
        if section.name == "visits_announced":
            return section.rows
    raise AssertionError("Today has no section of announced visits.")


@pytest.mark.parametrize("result", [Result.PERMANENT, Result.UNKNOWN, Result.PASSING, Result.CAPTURED])
def test_what_failed_may_have_been_sent_or_was_only_captured_has_told_nobody(result):
    visit = announced()

    leave(news(), Outcome(result, "captured" if result == Result.CAPTURED else "no answer"))

    assert told(visit) == (None, False)


def test_in_the_demo_what_was_captured_counts_as_told(settings):
    settings.DEMO = True
    visit = announced()

    leave(news(), Outcome(Result.CAPTURED, "captured"))

    assert told(visit) == (TODAY, True)


def test_the_first_message_that_leaves_does_not_stop_the_one_to_the_other_person():
    request = make_request()
    person = Person.objects.create(name="Sam Uttley", phone="+13035550143", email="sam@homes.example")
    Party.objects.create(job=job_of(request), role=PartyRole.AT_HOME, person=person)
    announced(request)

    states = [leave(message).state for message in Message.objects.filter(kind="visit_announced").order_by("pk")]

    assert states == ["sent", "sent"]


def test_a_message_that_bounces_has_told_nobody_after_all():
    visit = announced()
    message = leave(news())

    inbound.take("mail", json.dumps({"id": "e1", "event": "bounce", "message": str(message.uid)}).encode())

    assert told(visit) == (None, False)


def test_a_bounce_takes_nothing_from_what_somebody_of_the_office_told():
    visit = announced()
    message = news()
    outbox.release(message, by=SYSTEM)
    visits.record_homeowner_told(visit, on=TODAY, by=SYSTEM)
    # It was on its way as the homeowner was telephoned.
    Message.objects.filter(pk=message.pk).update(state="sent", sent_at=dt.datetime(2026, 11, 18, 18, tzinfo=dt.UTC))

    inbound.take("mail", json.dumps({"id": "e1", "event": "bounce", "message": str(message.uid)}).encode())

    assert told(visit) == (TODAY, False)


def test_what_cannot_follow_never_costs_the_word_that_a_message_was_sent(monkeypatch, caplog):
    announced()

    def broken(visit: Visit, **fields: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(Visit, "save", broken)

    assert leave(news()).state == "sent"
    assert "the disk is full" in caplog.text


def written(theo: Any) -> tuple[FitRequest, Message]:
    utility = make_utility(desk_email="desk@ottermere.example")
    request = make_request(make_service(make_job(S.GRID_TIED), utility=utility))
    return request, letters.write_to_desk(request, asks="Is a day planned for the visit?", by=theo)


def test_a_letter_that_has_left_stands_in_the_contact_log_once(theo):
    request, letter = written(theo)
    assert not request.contacts.exists()

    leave(letter)
    # The far end says so once more.
    inbound.take("mail", json.dumps({"id": "e1", "event": "delivered", "message": str(letter.uid)}).encode())

    line = request.contacts.get()
    assert (line.ours, line.channel, line.on, line.asked, line.answered) == (True, "e-mail", TODAY, "Is a day planned for the visit?", "")
    job = Job.objects.get(pk=job_of(request).pk)
    assert job.facts.of_kind(k.CONTACT).count() == 1
    # Asked today, and asked again in fourteen days.
    assert (job.waiting_on, job.next_due_on) == (UTILITY, TODAY + dt.timedelta(days=14))


def test_a_captured_letter_was_never_written_to_the_desk(theo):
    request, letter = written(theo)

    leave(letter, Outcome(Result.CAPTURED, "captured"))

    assert not request.contacts.exists()


def test_a_letter_answers_nothing_and_changes_nobody_s_turn(theo):
    request, letter = written(theo)
    requests.record_contact(
        request, on=dt.date(2026, 11, 2), answered="by the 17th", channel="telephone", promised_by=dt.date(2026, 11, 17), by=theo
    )

    leave(letter)

    # Its promise is overdue as before; it is not acknowledged either.
    assert [found.pk for found in attention.overdue_promises(FitRequest.objects.all(), TODAY)] == [request.pk]


def test_a_letter_leaves_the_next_act_after_a_failed_visit_with_whom_it_is(theo):
    request, letter = written(theo)
    visits.record_visit(request, on=TODAY, outcome="collar not found", reason="said the crew", by=theo)

    leave(letter)

    job = Job.objects.get(pk=job_of(request).pk)
    assert job.next_act == "Find or replace the collar, and photograph the bag"
