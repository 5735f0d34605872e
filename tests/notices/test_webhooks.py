"""Signed webhooks: the door, what each word does, and that nothing is lost or honoured twice."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
import time_machine
from django.test import Client

from jobs.core import clock, rules
from jobs.core.models import Person
from jobs.core.states import S
from jobs.notices import consent, leaving, optout, tasks, webhooks
from jobs.notices.models import Consent, Message, Received, State
from tests.make import SYSTEM, make_job
from tests.notices.make import agreed, claimed, claimed_text, text_to
from tests.races import race

pytestmark = pytest.mark.django_db

SECRET = "a word between us"
FROM = "+13035550142"


@pytest.fixture(autouse=True)
def _secrets(settings):
    settings.HOOK_SECRETS = {"texts": [SECRET, "the next one"], "mail": [SECRET]}


def post(body: bytes, *, name: str = "texts", secret: str = SECRET, at: int | None = None, header: str | None = None) -> Any:
    at = int(clock.now().timestamp()) if at is None else at
    header = f"t={at},v1={webhooks.signature(body, secret=secret, at=at)}" if header is None else header
    return Client().post(f"/hooks/{name}/", body, content_type="application/json", headers={"Webhook-Signature": header})


def tell(name: str = "texts", **told: Any) -> Received:
    answer = post(json.dumps(told).encode(), name=name)
    assert answer.status_code == 200, answer.content
    return Received.objects.get(uid=answer.json()["recorded"])


def sent_text(**fields: Any) -> Any:
    message = claimed_text(**fields)
    Message.objects.filter(pk=message.pk).update(state=State.SENT, sent_at=clock.now(), claimed_until=None, far_id="G-1", outcome="taken")
    return message


def sent_mail() -> Any:
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=State.SENT, sent_at=clock.now(), claimed_until=None, outcome="taken")
    return message


# The door


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"secret": "another"}, "does not belong to this body"),
        ({"header": ""}, "missing or not complete"),
        ({"header": "t=1,v1"}, "missing or not complete"),
        ({"header": "v1=00"}, "missing or not complete"),
        ({"header": "t=,v1=00"}, "missing or not complete"),
        ({"header": "t=९९,v1=00"}, "missing or not complete"),
    ],
)
def test_a_bad_signature_is_refused_with_a_sentence_and_nothing_is_kept(told, sentence):
    answer = post(b"{}", **told)

    assert answer.status_code == 401
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert sentence in answer.json()["title"]
    assert not Received.objects.exists()


@pytest.mark.parametrize("seconds", [-301, 301])
def test_an_old_signature_is_refused_and_one_of_the_future_too(seconds):
    answer = post(b"{}", at=int(clock.now().timestamp()) + seconds)

    assert answer.status_code == 401
    assert "seconds away from our clock" in answer.json()["title"]


def test_the_signature_is_of_this_body_and_either_secret_counts_while_they_change():
    at = int(clock.now().timestamp())
    header = f"t={at},v1={webhooks.signature(b'one', secret=SECRET, at=at)}"
    assert post(b"two", header=header).status_code == 401
    assert post(b'{"event": "reply"}', secret="the next one").status_code == 200
    assert post(b'{"event": "reply"}', name="mail", secret="the next one").status_code == 401


def test_the_signature_is_that_of_rfc_2104_over_time_and_body():
    # By OpenSSL 3.0: printf '1.{}' | openssl dgst -sha256 -hmac secret
    assert webhooks.signature(b"{}", secret="secret", at=1) == "1122767b193110cfec322b6f199b599edbf608ed087f2d27afb0b97d99523908"


def test_a_webhook_without_a_secret_is_closed_and_a_huge_body_is_refused(settings):
    assert post(b"x" * (webhooks.LARGEST + 1)).status_code == 413
    settings.HOOK_SECRETS = {"texts": [], "mail": []}

    assert post(b"{}").status_code == 503


def test_the_same_event_twice_is_honoured_once():
    message = sent_text()
    told = {"event": "reply", "id": "E-1", "from": FROM, "text": "STOP"}
    first = tell(**told)

    answer = post(json.dumps(told).encode())

    assert answer.json() == {"recorded": str(first.uid), "new": False}
    assert Received.objects.count() == 1
    assert Message.objects.filter(kind=consent.CONFIRMATION).count() == 1
    assert message.person == first.person


def test_an_event_without_a_name_is_known_by_its_body():
    body = json.dumps({"event": "reply", "from": FROM, "text": "hello"}).encode()
    assert post(body).json()["new"]
    assert not post(body).json()["new"]


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_the_same_event_in_the_same_moment_is_honoured_once():
    sent_text()
    body = json.dumps({"event": "reply", "id": "E-1", "from": FROM, "text": "STOP"}).encode()

    answers = race(lambda: post(body).json()["new"], lambda: post(body).json()["new"])

    assert sorted(answers) == [False, True]
    assert Message.objects.filter(kind=consent.CONFIRMATION).count() == 1
    assert Consent.objects.filter(revoked_at__isnull=False).count() == 1


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"not json",
        b"\xff\xfe\x00",
        b"[]",
        b"null",
        b'{"event": {"a": 1}}',
        b'{"event": "no such"}',
        b'{"from": "+13035550142\\u0000"}',
        b"[" * 9999,
    ],
)
def test_what_is_signed_and_cannot_be_understood_is_kept_as_it_came_for_a_person(body):
    assert post(body).status_code == 200

    [row] = Received.objects.waiting()
    assert row.kind == "unreadable"
    assert row.raw == body.decode("utf-8", "replace").replace("\0", "�")


def test_a_gateway_s_own_names_are_found_where_the_settings_say(settings):
    settings.HOOK_FIELDS = {
        "texts": {"event": "type", "id": "data.id", "from": "data.payload.from", "text": "data.payload.body"},
        "mail": {},
    }

    row = tell(type="incoming", data={"id": "E-9", "payload": {"from": "(303) 555-0142", "body": "Is it today?"}})

    assert (row.kind, row.event, row.address, row.text) == ("reply", "E-9", FROM, "Is it today?")


# Replies


@pytest.mark.parametrize(("word", "language"), [("STOP", "en"), ("¡Alto!", "es"), ("opt-out", "en")])
def test_an_opt_out_word_ends_all_texts_at_once_and_one_text_confirms_it(word, language):
    message = text_to()
    Person.objects.filter(pk=message.person_id).update(language=language)

    row = tell(event="reply", id="E-1", **{"from": FROM}, text=word)

    message.refresh_from_db()
    assert message.state == State.WITHDRAWN
    assert not consent.may_text(message.person, FROM, scope="notices")
    assert (row.person, row.job, row.for_person) == (message.person, message.job, False)
    confirming = Message.objects.get(kind=consent.CONFIRMATION)
    assert (confirming.state, confirming.address, confirming.language, confirming.job) == (State.RELEASED, FROM, language, message.job)
    assert optout.mentioned(confirming.text) == []
    assert (confirming.rule, confirming.released_by_name) == ("confirm_ended_texts", "")

    tell(event="reply", id="E-2", **{"from": FROM}, text=word)
    assert Message.objects.filter(kind=consent.CONFIRMATION).count() == 1


@pytest.mark.parametrize(("minutes", "leaves"), [(4, True), (6, False)])
def test_row_o4_the_confirming_text_leaves_within_five_minutes_at_any_hour_or_not_at_all(minutes, leaves):
    text_to()
    night = dt.datetime(2026, 11, 19, 10, 0, tzinfo=dt.UTC)  # three in the morning at the home
    with time_machine.travel(night):
        tell(event="reply", id="E-1", **{"from": FROM}, text="stop")
    confirming = Message.objects.get(kind=consent.CONFIRMATION)

    with time_machine.travel(night + dt.timedelta(minutes=minutes)):
        tasks.deliver(confirming.pk)

    confirming.refresh_from_db()
    assert confirming.state == (State.SENT if leaves else State.WITHDRAWN)


def test_the_confirming_text_names_us_unless_our_name_holds_an_opt_out_word():
    rules.set_rule("company_name", value="West End Solar", valid_from=clock.office_today(), by=SYSTEM)
    rules.set_rule("company_phone", value="303-555-0100", valid_from=clock.office_today(), by=SYSTEM)

    tell(event="reply", id="E-1", **{"from": "+12015550123"}, text="STOP")

    text = Message.objects.get(kind=consent.CONFIRMATION).text
    assert text == "You will get no further texts from us. Questions: (303) 555-0100\n"


def test_free_text_goes_to_a_person_with_the_home_it_is_about():
    message = sent_text()

    row = tell(event="reply", id="E-1", **{"from": FROM}, text="please cancel Tuesday, can we do Friday")

    assert list(Received.objects.waiting()) == [row]
    assert (row.job, row.person, row.message) == (message.job, message.person, message)
    assert consent.may_text(message.person, FROM, scope="notices")


def test_a_reply_from_an_unknown_number_is_kept_for_a_person_and_its_opt_out_is_honoured():
    row = tell(event="reply", id="E-1", **{"from": "+12015550123"}, text="Who is this?")
    assert (row.job, row.person, row.for_person) == (None, None, True)

    tell(event="reply", id="E-2", **{"from": "+12015550123"}, text="parar")

    assert consent.all_ended("text", "+12015550123")
    assert Message.objects.get(kind=consent.CONFIRMATION).language == "es"
    assert tell(event="reply", id="E-3", **{"from": "911"}, text="STOP").address == "911"


def test_a_wrong_number_is_barred_and_a_person_looks_for_the_right_one():
    message = text_to(cause="of its own")
    job = make_job(S.BACKUP_VERIFIED)

    row = tell(event="reply", id="E-1", **{"from": FROM}, text="Wrong number!")

    message.refresh_from_db()
    assert message.state == State.FAILED
    assert message.reason == "This address was reported as not theirs. Ask Guadalupe Hernández for the right one."
    assert row.for_person
    assert not Message.objects.filter(kind=consent.CONFIRMATION).exists()
    with pytest.raises(Exception, match="barred"):
        agreed(job)  # another person, the same number


# What became of a message


def test_a_delivery_report_says_when_it_arrived_and_settles_what_was_unsure():
    message = claimed_text()
    Message.objects.filter(pk=message.pk).update(state=State.MAY_HAVE_BEEN_SENT, claimed_until=None)

    row = tell(event="delivered", id="E-1", message=str(message.uid))

    message.refresh_from_db()
    assert (message.state, message.outcome, message.delivered_at) == (State.SENT, "delivered", row.at)
    assert (row.message, row.job, row.for_person) == (message, message.job, False)


def test_a_report_finds_its_message_by_the_gateway_s_own_name_and_by_the_mail_s_message_id():
    text, mail = sent_text(), sent_mail()

    assert tell(event="delivered", id="E-1", far_id="G-1").message == text
    assert tell("mail", event="delivered", id="E-1", message=mail.message_id).message == mail
    assert tell("mail", event="delivered", id="E-2", message=str(text.uid)).message is None  # not of this channel


def test_a_bounce_fails_the_message_and_bars_the_address():
    message = sent_mail()

    row = tell("mail", event="bounce", id="E-1", message=message.message_id, reason="550 5.1.1 no such mailbox")

    message.refresh_from_db()
    assert (message.state, message.reason) == (State.FAILED, "The far end could not deliver it: 550 5.1.1 no such mailbox")
    assert consent.why_not(message) == "Nothing arrives at this address. Ask Guadalupe Hernández for another one."
    assert row.done == "The message failed. The address is barred."


@pytest.mark.parametrize(("permanent", "barred"), [(None, False), (False, False), (True, True)])
def test_a_text_that_did_not_arrive_fails_and_bars_the_number_only_where_it_is_for_good(permanent, barred):
    message = sent_text()

    tell(event="undelivered", id="E-1", far_id="G-1", **({} if permanent is None else {"permanent": permanent}))

    message.refresh_from_db()
    assert message.state == State.FAILED
    assert consent.all_ended("text", FROM) is barred


def test_a_delay_changes_nothing_but_the_words():
    message = sent_mail()

    tell("mail", event="deferred", id="E-1", message=message.message_id, reason="mailbox busy")

    message.refresh_from_db()
    assert (message.state, message.outcome) == (State.SENT, "on its way: mailbox busy")


def test_a_report_about_a_copy_of_before_does_not_undo_a_message_that_waits_to_leave_again():
    message = sent_mail()
    Message.objects.filter(pk=message.pk).update(state=State.RELEASED, due_at=clock.now())

    row = tell("mail", event="failed", id="E-1", message=message.message_id, permanent=False)

    message.refresh_from_db()
    assert message.state == State.RELEASED
    assert row.for_person
    assert leaving.claim(message.pk) is not None


def test_a_report_about_no_message_of_ours_is_kept():
    row = tell(event="failed", id="E-1", message="0b7a3c1e-0000-4000-8000-000000000000", to=FROM)

    assert (row.message, row.address, row.for_person) == (None, FROM, True)


def test_a_complaint_ends_mails_to_that_address_and_stands_on_today():
    message = sent_mail()

    row = tell("mail", event="complaint", id="E-1", message=message.message_id)

    assert consent.all_ended("email", message.address)
    assert row.for_person


def test_a_mail_that_leaves_the_list_ends_mails_to_whoever_wrote_it():
    message = sent_mail()
    who = f"Guadalupe Hern\u00e1ndez <{message.address.upper()}>"

    row = tell("mail", event="inbound", id="E-1", subject=f"unsubscribe {message.uid}", text="", **{"from": who})

    assert (row.address, row.message, row.for_person) == (message.address, message, False)
    assert consent.all_ended("email", message.address)
    assert not Message.objects.filter(kind=consent.CONFIRMATION).exists()  # no mail confirms it
    assert tell("mail", event="inbound", id="E-2", subject="Re: your call", text="Can we do Friday?", **{"from": who}).for_person
