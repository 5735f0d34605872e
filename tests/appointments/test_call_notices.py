"""Messages about calls: to whom, in which words, and never asking for a reply that would opt out."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.urls import reverse

from jobs.appointments import booking, verification
from jobs.appointments.times import Wish
from jobs.core import cautions, clock, homefacts, links, rules
from jobs.core import kinds as k
from jobs.core.facts import Said
from jobs.core.models import Party, Person
from jobs.core.models.people import PartyRole
from jobs.notices import kinds, outbox
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, TODAY, TOMORROW, booked, give_hours, led, person_of, ready_job, seen_passing
from tests.make import SYSTEM, put, user_of

pytestmark = pytest.mark.django_db

CALL_KINDS = ("call_offered", "call_booked", "call_moved", "call_cancelled", "call_result")
# 47 CFR 64.1200(a)(10): words that revoke consent in a reply to a text.
OPT_OUT = r"\b(stop|quit|end|revoke|cancel|unsubscribe)\b"


def with_tenant(language: str = "en"):
    """A home whose owner is not the one at home."""
    job = ready_job()
    tenant = Person.objects.create(name="Noor Haddad", phone="+13035550143", email="noor@homes.example", language=language)
    Party.objects.filter(job=job, role=PartyRole.AT_HOME).update(person=tenant)
    return job


def owed(theo, mara, name: str, language: str) -> list[Message]:
    """Messages of one kind, as they are owed by the acts."""
    rules.set_rule("company_phone", value="(303) 555-0101", valid_from=TODAY, by=SYSTEM)
    job = with_tenant(language)
    if name == "call_result":
        verification.record_result(seen_passing(led(mara, job=job), mara), result="passed", put_back="yes", by=mara)
    elif name == "call_offered":
        booking.offer(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)
    else:
        call = booked(theo, verifier=user_of(mara), job=job)
        if name == "call_moved":
            booking.move(call, wish=Wish(TOMORROW, dt.time(16)), by=theo)
        if name == "call_cancelled":
            booking.cancel(call, why="us", reason="Mara is ill", by=theo)
    return list(Message.objects.filter(kind=name).order_by("pk"))


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", CALL_KINDS)
def test_each_message_goes_to_the_person_at_home_and_the_owner_and_can_be_released(name, language, theo, mara):
    messages = owed(theo, mara, name, language)

    assert [message.to_name for message in messages] == ["Noor Haddad", "Guadalupe Hernández"]
    for message in messages:
        shown = outbox.preview(message)
        assert shown.subject
        assert not re.search(r"\{\{|\{%|\bNone\b", shown.text + shown.html)
        outbox.release(message, by=theo)


@pytest.mark.parametrize("name", ["call_offered", "call_booked", "call_moved"])
def test_messages_that_name_a_time_carry_cautions_link_and_no_backup_yet(name, theo, mara):
    to_tenant, to_owner = owed(theo, mara, name, "es")

    spanish, copy = outbox.preview(to_tenant), outbox.preview(to_owner)

    for caution in ("no_backup_yet", "medical", "lifts", "alarms", "save_work"):
        assert cautions.of(caution).es in " ".join(spanish.text.split())
        assert cautions.of(caution).en in " ".join(copy.text.split())
    assert "jueves 19 de noviembre" in spanish.subject
    assert "hora de la Montaña" in spanish.text
    assert "Thursday, November 19" in copy.text
    assert "/h/" in spanish.text
    assert "/h/" not in copy.text
    assert "Noor Haddad will be at home for the test" in copy.text


def test_the_result_says_what_was_seen_and_no_more(theo, mara):
    message = owed(theo, mara, "call_result", "en")[0]

    text = outbox.preview(message).text

    assert "it passed" in text
    assert "not an inspection, a permission to operate, a warranty or an approval" in text
    assert "does not have backup power yet" not in text


def test_a_test_not_passed_still_says_that_there_is_no_backup(theo, mara):
    call = led(mara, job=with_tenant())
    verification.record_result(call, result="not passed", reason="the load went off", by=mara)

    text = outbox.preview(Message.objects.filter(kind="call_result")[0]).text

    assert "did not pass" in text
    assert "Your home does not have backup power yet" in text
    assert "the load went off" not in text


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", CALL_KINDS)
def test_no_message_asks_for_a_reply_with_a_word_that_opts_out(name, language, theo, mara):
    for message in owed(theo, mara, name, language):
        text = outbox.preview(message).text
        assert not re.search(r"\b(reply|respond|answer|text us|responda|conteste)\b[^.]*" + OPT_OUT, text, re.I)
        assert not re.search(r"\b(reply|responda)\b", text, re.I)


def test_a_message_is_not_due_when_the_call_was_moved_or_held_or_its_time_has_come(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    message = Message.objects.get(kind="call_booked")
    kind = kinds.of("call_booked")

    assert kind.still_due(message) is None
    booking.move(call, wish=Wish(TOMORROW, dt.time(16)), by=theo)
    assert kind.still_due(message) == "The call was moved to another time."
    booking.cancel(call, why="us", reason="Mara is ill", by=theo)
    assert kinds.of("call_moved").still_due(Message.objects.get(kind="call_moved")) == "The call is cancelled."


def test_that_a_call_is_off_is_told_although_messages_to_the_home_are_on_hold(dana, theo, mara):
    booked(theo, verifier=user_of(mara), job=(job := ready_job()))

    homefacts.hold(job, kind="storm", stops=["calls", "homeowner"], review_on=TOMORROW, reason="storm", by=dana)

    message = Message.objects.get(kind="call_cancelled")
    assert kinds.of("call_cancelled").stopped_by is None
    assert "Tests are not held for the time being" in outbox.preview(message).text


def test_one_person_who_is_owner_and_at_home_gets_one_message(theo, mara):
    call = booked(theo, verifier=user_of(mara))

    assert [message.to_name for message in Message.objects.filter(kind="call_booked")] == [person_of(call.job).name]


def _passed_result_released(theo, mara) -> Any:
    for message in owed(theo, mara, "call_result", "en"):
        outbox.release(message, by=theo)
    Message.objects.filter(kind="call_result").update(due_at=clock.now())
    return Message.objects.filter(kind="call_result").first()


@pytest.mark.parametrize("meanwhile", ["removed", "another serial"])
def test_no_home_is_told_that_it_has_backup_once_the_collar_is_gone_or_another_is_reported(meanwhile, dana, theo, mara):
    message = _passed_result_released(theo, mara)
    if meanwhile == "removed":
        homefacts.record_removed(message.job, by_on=TODAY, said_by=Said("homeowner"), by=theo)
    else:
        homefacts.record_gateway_report(message.job, at=clock.now(), state="closed", serial="ZZ-900900", by=theo)

    assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert (message.state, message.reason) == ("withdrawn", "The backup of this home is not verified any more.")


def test_that_a_test_did_not_pass_is_not_said_after_a_later_one_did(theo, mara):
    job = with_tenant()
    verification.record_result(seen_passing(led(mara, job=job), mara), result="not passed", reason="noise", put_back="yes", by=mara)
    message = outbox.release(Message.objects.filter(kind="call_result").all()[0], by=theo)
    put(job, k.VERIFICATION, on=TODAY, value={"result": "passed", "record": "a later one"})

    assert kinds.of("call_result").still_due(Message.objects.get(pk=message.pk)) == "A later test passed."


def test_the_page_of_a_link_that_has_ended_says_that_there_is_no_backup(client, theo, mara):
    call = booked(theo, verifier=user_of(mara))
    address = reverse("homeowner_call", args=[links.make("call", job=call.job, person=call.person, about=str(call.uid))])
    booking.cancel(call, why="us", reason="Mara is ill", by=theo)

    answer = client.get(address)

    assert answer.status_code == 410
    assert cautions.of("no_backup_yet").text("en") in answer.content.decode()
