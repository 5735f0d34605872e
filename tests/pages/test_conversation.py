"""The conversation of a home on its job's page: messages, replies and telephone calls in order, and what may be asked from there."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.core import clock
from jobs.core.states import S
from jobs.notices import asking, calls, outbox
from jobs.notices.models import Message, Received
from jobs.pages.conversation import RECENT, conversation
from tests.billing.made import planned_job, released
from tests.make import make_job, user_of
from tests.notices.make import agreed, removed

pytestmark = pytest.mark.django_db


def telephoned(job, theo, *, minutes_ago: int, **told):
    given = {"direction": "out", "outcome": "spoke", "words": "They are at home on Friday.", "name": "Noor Haddad"} | told
    return calls.record_call(job, at=clock.now() - dt.timedelta(minutes=minutes_ago), by=theo, **given)


def replied(job, *, words: str = "Friday is fine", message: Message | None = None):
    return Received.objects.create(
        channel="text", event=f"E-{words}", kind="reply", address="+13035550142", text=words, raw="{}", at=clock.now(), job=job,
        person=job.parties.get(role="owner").person, message=message, for_person=True,
    )  # fmt: skip


def test_messages_replies_and_calls_stand_in_the_order_in_which_they_were_said(theo):
    message = removed()
    job = message.job
    telephoned(job, theo, minutes_ago=40, cause="the collar is gone")
    Message.objects.filter(pk=outbox.release(message, by=theo).pk).update(state="sent", sent_at=clock.now() - dt.timedelta(minutes=20))
    replied(job, message=message)
    telephoned(job, theo, minutes_ago=5, direction="in", outcome="voicemail", words="")

    told = conversation(job, user_of(theo), today=dt.date(2026, 11, 18)).recent

    assert [(said.how, said.whom, said.outcome) for said in told] == [
        ("telephone to", "Noor Haddad", "spoke with them"),
        ("e-mail to", "Guadalupe Hernández", "sent"),
        ("telephone from", "Noor Haddad", "left a message"),
        ("text message from", "Guadalupe Hernández", "to be answered"),
    ]
    assert [said.cause for said in told] == ["the collar is gone", "a fact of this home", "", "answers: collar removed"]
    # Noon in the office, in Denver: 11:00.
    assert (told[0].when, told[0].time) == ("Wed 18 Nov", "10:20")


def test_the_page_shows_it_with_the_acts_of_those_who_may(client, theo):
    job = removed().job
    client.force_login(user_of(theo))

    page = client.get(reverse("job", kwargs={"code": job.code})).content.decode()

    assert "Collar removed" in page
    for name in ("telephone", "consents", "ask_paper"):
        assert reverse(name, kwargs={"code": job.code}) in page
    assert reverse("ask_photo", kwargs={"code": job.code}) not in page


def test_older_rows_fold_away_and_are_still_there(theo):
    job = make_job()
    for minutes in range(RECENT + 2):
        telephoned(job, theo, minutes_ago=minutes + 1, words=f"call {minutes}")

    told = conversation(job, user_of(theo), today=dt.date(2026, 11, 18))

    assert [said.words for said in told.older] == [f"call {RECENT + 1}", f"call {RECENT}"]
    assert len(told.recent) == RECENT
    assert told.count == RECENT + 2


def test_what_one_act_owes_stands_in_the_order_in_which_it_is_owed(theo):
    job = make_job(S.AWAITING_UTILITY)
    agreed(job)
    with clock.pretend(clock.now()):
        asking.ask_for_photo(job, by=theo)

    told = conversation(job, user_of(theo), today=dt.date(2026, 11, 18)).recent

    assert [said.how for said in told] == ["e-mail to", "text message to"]


def test_who_sees_no_money_sees_no_message_that_names_it(theo, dana):
    job = planned_job()
    released(job)

    seen, unseen = (conversation(job, user_of(who), today=dt.date(2026, 11, 18)) for who in (dana, theo))

    assert [said.title for said in seen.recent] == ["invoice"]
    assert seen.recent[0].cause_url
    assert unseen.count == 0


def test_a_crew_sees_none_of_it(client, crew, joel):
    job = make_job(crew=crew)
    client.force_login(user_of(joel))

    page = client.get(reverse("job", kwargs={"code": job.code})).content.decode()

    assert "Conversation" not in page


def test_a_paper_is_asked_for_read_and_released(client, theo):
    job = make_job(S.AWAITING_UTILITY)
    agreed(job)
    client.force_login(user_of(theo))

    answer = client.post(reverse("ask_paper", kwargs={"code": job.code}), {"paper": "bill", "by_on": "4 Dec 2026"}, follow=True)

    mail, text = Message.objects.filter(job=job).order_by("pk")
    assert answer.redirect_chain[0][0] == reverse("notice", kwargs={"uid": mail.uid})
    assert "a recent electric bill, all its pages" in mail_of(client, mail)
    page = client.get(reverse("notice_release", kwargs={"uid": text.uid})).content.decode()
    assert "We need: a recent electric bill, all its pages. By Friday, December 4." in page
    assert "A text message: " in page
    again = client.post(reverse("ask_paper", kwargs={"code": job.code}), {"paper": "bill"})
    assert again.status_code == 422
    assert "They were asked for this today already" in again.content.decode()


def mail_of(client, message):
    return client.get(reverse("notice_release", kwargs={"uid": message.uid})).content.decode()


def test_a_photo_is_asked_for_only_while_a_bag_hangs(client, theo):
    client.force_login(user_of(theo))

    hangs = client.post(reverse("ask_photo", kwargs={"code": make_job(S.AWAITING_UTILITY).code}))
    gone = client.post(reverse("ask_photo", kwargs={"code": make_job(S.COLLAR_ENERGIZED).code}))

    assert hangs.status_code == 302
    assert Message.objects.get().kind == "bag_photo"
    assert gone.status_code == 422
    assert "No bag with a collar hangs at this home" in gone.content.decode()


def test_a_reply_leads_to_the_page_that_settles_it(client, theo):
    job = make_job()
    row = replied(job, words="¿Mañana no, por favor?")
    client.force_login(user_of(theo))

    page = client.get(reverse("job", kwargs={"code": job.code})).content.decode()

    assert reverse("received", kwargs={"uid": row.uid}) in page
    assert "¿Mañana no, por favor?" in page
