"""Pages about what came back, what people agreed to, and calls on the telephone."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.states import S
from jobs.notices import attention, consent, inbound
from jobs.notices.models import Consent, Message, PhoneCall, Received, State
from tests.make import make_job, user_of
from tests.notices.make import removed

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(theo: Actor) -> Client:
    client = Client()
    client.force_login(user_of(theo), backend="django.contrib.auth.backends.ModelBackend")
    return client


def reply(text: str = "Can we do Friday?", *, number: str = "+13035550142") -> Received:
    row, _ = inbound.take("texts", f'{{"event": "reply", "from": "{number}", "text": "{text}"}}'.encode())
    return row


def page(client: Client, name: str, **kwargs: Any) -> str:
    answer = client.get(reverse(name, kwargs=kwargs))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_reply_stands_on_today_until_somebody_settles_it(client, theo):
    job = make_job()
    row = reply()
    sections = {section.name: section for section in attention.for_user(user_of(theo)).sections}
    assert [line.cells[0] for line in sections["notices_answers"].rows] == ["Can we do Friday?"]
    assert "Can we do Friday?" in page(client, "received_list")
    assert job.code in page(client, "received", uid=row.uid)

    refused = client.post(reverse("received", kwargs={"uid": row.uid}), {"how": ""})
    assert refused.status_code == 422
    client.post(reverse("received", kwargs={"uid": row.uid}), {"how": "telephoned them, Friday it is"})

    row.refresh_from_db()
    assert (row.settled_by_name, row.settled_how) == ("Theo Lindgren", "telephoned them, Friday it is")
    assert not Received.objects.waiting().exists()
    assert "telephoned them, Friday it is" in page(client, "received", uid=row.uid)


def test_what_a_stranger_wrote_is_shown_as_words_and_not_as_a_page(client):
    row, _ = inbound.take("texts", b'{"event": "reply", "from": "+12015550123", "text": "<script>alert(1)</script>\\nsecond line"}')

    shown = page(client, "received", uid=row.uid)

    assert "<script>alert" not in shown
    assert "&lt;script&gt;alert(1)&lt;/script&gt;<br>second line" in shown
    assert "Reply, from (201) 555-0123" in shown


def test_consent_is_given_and_ended_on_the_home_s_page_which_keeps_the_words(client):
    job = make_job(S.BACKUP_VERIFIED)
    person = job.parties.get(role="owner").person
    form = page(client, "consent_give", code=job.code)
    assert "May we send you text messages about the work on your home?" in form

    told = {"person": person.pk, "scope": "notices", "words": "May we text you?", "how": "on the telephone, 18 Nov"}
    client.post(reverse("consent_give", kwargs={"code": job.code}), told)
    assert consent.may_text(person, person.phone, scope="notices")
    assert "May be texted about the work on the home" in page(client, "consents", code=job.code)
    again = client.post(reverse("consent_give", kwargs={"code": job.code}), told)
    assert again.status_code == 422
    assert "has agreed to this already" in again.content.decode()

    client.post(
        reverse("consent_end", kwargs={"code": job.code}), {"person": person.pk, "channel": "text", "how": "by letter", "words": "enough"}
    )
    shown = page(client, "consents", code=job.code)
    assert "May not be texted." in shown
    assert all(
        words in shown for words in ("May we text you?", "on the telephone, 18 Nov", "they asked for no more", "enough", "by letter")
    )


def test_nobody_of_another_home_can_be_chosen(client):
    job, other = make_job(), make_job()
    stranger = other.parties.get(role="owner").person

    answer = client.post(
        reverse("consent_give", kwargs={"code": job.code}),
        {"person": stranger.pk, "scope": "notices", "words": "May we?", "how": "on paper"},
    )

    assert answer.status_code == 422
    assert not Consent.objects.exists()


def test_a_call_on_the_telephone_is_kept_with_who_when_and_what_was_said(client):
    job = make_job()
    person = job.parties.get(role="owner").person
    told = {
        "direction": "in",
        "person": person.pk,
        "on": "18 Nov 2026",
        "time": "10:30",
        "outcome": "spoke",
        "words": "Friday suits",
        "cause": "the visit",
    }

    answer = client.post(reverse("telephone", kwargs={"code": job.code}), told)

    assert answer.status_code == 302
    call = PhoneCall.objects.get()
    assert (call.job, call.person, call.name, call.number, call.direction) == (job, person, person.name, person.phone, "in")
    assert call.at == dt.datetime(2026, 11, 18, 17, 30, tzinfo=dt.UTC)  # half past ten in Denver
    assert (call.outcome, call.words, call.cause, call.recorded_by_name) == ("spoke", "Friday suits", "the visit", "Theo Lindgren")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"person": ""}, "Say with whom"),
        ({"words": ""}, "what was said"),
        ({"on": "19 Nov 2026"}, "still to come"),
        ({"number": "911"}, "service number"),
        ({"on": ""}, "Nothing is filled in here"),
    ],
)
def test_half_a_call_is_refused_with_what_was_typed_kept(client, changes, sentence):
    job = make_job()
    told = {"direction": "out", "person": job.parties.get(role="owner").person.pk, "on": "18 Nov 2026", "time": "09:30", "outcome": "spoke"}

    answer = client.post(reverse("telephone", kwargs={"code": job.code}), told | {"words": "Friday suits", "cause": "kept words"} | changes)

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "kept words" in answer.content.decode()
    assert not PhoneCall.objects.exists()


def test_the_emergency_button_stands_at_messages_to_a_home_that_have_not_left(client):
    message = removed()
    assert reverse("notice_at_once", kwargs={"uid": message.uid}) in page(client, "notice", uid=message.uid)

    client.post(reverse("notice_at_once", kwargs={"uid": message.uid}), {"why": "the house is without power"})

    message.refresh_from_db()
    assert (message.state, message.at_once_why) == (State.RELEASED, "the house is without power (Theo Lindgren)")
    assert "the house is without power (Theo Lindgren)" in page(client, "notice", uid=message.uid)
    Message.objects.filter(pk=message.pk).update(state=State.SENT, sent_at=clock.now(), attempts=1)
    assert reverse("notice_at_once", kwargs={"uid": message.uid}) not in page(client, "notice", uid=message.uid)


def test_what_came_back_stands_in_the_message_s_history(client):
    message = removed()
    Message.objects.filter(pk=message.pk).update(
        state=State.SENT,
        sent_at=clock.now(),
        attempts=1,
        outcome="taken",
        subject="a",
        text="b",
        address="c@d.example",
        released_at=clock.now(),
    )

    inbound.take("mail", f'{{"event": "delivered", "id": "E-1", "message": "{message.uid}"}}'.encode())

    assert "Came back: delivered. Recorded as delivered." in page(client, "notice", uid=message.uid)
