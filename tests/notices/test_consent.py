from __future__ import annotations

from typing import Any

import pytest

from jobs.core import clock
from jobs.core.models import Person
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices import consent, leaving, outbox, reconcile
from jobs.notices.models import Consent, Ended, Message, State
from tests.make import SYSTEM, make_job
from tests.notices.make import agreed, removed, text_to

pytestmark = pytest.mark.django_db

SHOWN = "May we text you about the work on your home?"


def test_consent_says_who_at_which_number_for_what_to_which_words_when_and_how_and_how_it_ended(theo):
    job = make_job(S.BACKUP_VERIFIED)
    person = job.parties.get(role="owner").person

    given = consent.give(job, person=person, channel="text", scope="notices", words=SHOWN, how="on paper, 4 May", by=theo)
    ended = consent.revoke(job, person=person, channel="text", how="on the telephone, 18 Nov", words="no more texts", by=theo)

    assert (given.person, given.address, given.scope, given.words, given.how) == (
        person,
        "+13035550142",
        "notices",
        SHOWN,
        "on paper, 4 May",
    )
    assert given.given_at is not None
    assert (ended.scope, ended.how, ended.words, ended.ended) == ("all", "on the telephone, 18 Nov", "no more texts", "asked")
    assert ended.revoked_at is not None
    assert Consent.objects.count() == 2  # nothing was changed or deleted
    assert not consent.may_text(person, person.phone, scope="notices")


def test_consent_is_a_person_s_at_a_number_for_a_scope():
    job = make_job(S.BACKUP_VERIFIED)
    person = agreed(job)
    tenant = Person.objects.create(name="Sam Uttley", phone=person.phone)

    assert consent.may_text(person, person.phone, scope="notices")
    assert not consent.may_text(person, person.phone, scope="billing")
    assert not consent.may_text(tenant, person.phone, scope="notices")  # the same telephone, another person
    assert not consent.may_text(person, "+13035550143", scope="notices")
    assert not consent.may_text(None, person.phone, scope="notices")


def test_whoever_ends_it_ends_every_scope_and_may_agree_anew(theo):
    job = make_job(S.BACKUP_VERIFIED)
    person = agreed(job)
    agreed(job, scope="billing")

    consent.revoke(job, person=person, channel="text", how="on the telephone", by=theo)

    assert not consent.may_text(person, person.phone, scope="billing")
    with pytest.raises(Refused, match="already on record"):
        consent.revoke(job, person=person, channel="text", how="on the telephone", by=theo)
    agreed(job, scope="billing")
    assert consent.may_text(person, person.phone, scope="billing")
    assert not consent.may_text(person, person.phone, scope="notices")


def test_a_barred_number_is_taken_again_only_once_somebody_has_checked_it(theo):
    job = make_job(S.BACKUP_VERIFIED)
    person = job.parties.get(role="owner").person
    consent.end_address("text", person.phone, person=None, words="wrong number", how="in reply", by="reply", why=Ended.WRONG)
    told: dict[str, Any] = {"person": person, "channel": "text", "scope": "notices", "words": SHOWN, "how": "on the telephone"}

    with pytest.raises(Refused, match=r"barred: it is not theirs.*checked"):
        consent.give(job, **told, by=theo)
    consent.give(job, **told, checked=True, by=theo)

    assert consent.may_text(person, person.phone, scope="notices")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"words": " "}, "words that they were shown"),
        ({"how": ""}, "Say how they told us"),
        ({"scope": "all"}, "what they agreed to"),
        ({"channel": "pigeon"}, "no e-mail address on record"),
    ],
)
def test_half_a_consent_is_refused(theo, changes, sentence):
    job = make_job(S.BACKUP_VERIFIED)
    person = job.parties.get(role="owner").person
    Person.objects.filter(pk=person.pk).update(email="")
    person.refresh_from_db()
    told = {"person": person, "channel": "text", "scope": "notices", "words": SHOWN, "how": "on paper"} | changes

    with pytest.raises(Refused, match=sentence):
        consent.give(job, **told, by=theo)

    assert not Consent.objects.exists()


@pytest.mark.parametrize("number", ["911", "+13035550142\r\nX", "555-0123"])
def test_nobody_agrees_to_texts_at_what_is_no_number(theo, number):
    job = make_job(S.BACKUP_VERIFIED)
    person = job.parties.get(role="owner").person
    Person.objects.filter(pk=person.pk).update(phone=number[:16])
    person.refresh_from_db()

    with pytest.raises(Refused):
        consent.give(job, person=person, channel="text", scope="notices", words=SHOWN, how="on paper", by=theo)


def test_a_stranger_to_the_home_agrees_to_nothing_there(theo):
    other = make_job(S.BACKUP_VERIFIED).parties.get(role="owner").person

    with pytest.raises(Refused, match="not one of the people of this home"):
        consent.give(make_job(), person=other, channel="text", scope="notices", words=SHOWN, how="on paper", by=theo)


def test_nothing_is_texted_without_consent_though_it_was_released():
    message = text_to()
    Consent.objects.all().delete()

    assert leaving.claim(message.pk) is None

    message.refresh_from_db()
    # The e-mail says the same: nobody need telephone.
    assert (message.state, message.attempts) == (State.WITHDRAWN, 0)
    assert message.reason.startswith("Guadalupe Hernández has not agreed to text messages at this number")


def test_reconcile_names_a_text_that_went_without_consent():
    message = text_to()
    Message.objects.filter(pk=message.pk).update(state=State.SENT, attempts=1, sent_at=clock.now())
    assert list(reconcile.breaches()) == []

    Consent.objects.all().delete()

    [breach] = reconcile.breaches()
    assert "had not agreed to texts" in breach


def test_what_waits_when_consent_ends_is_taken_back_and_stands_on_today_where_no_mail_says_the_same(theo):
    text = text_to()
    alone = text_to(text.job, cause="another")
    mail = Message.objects.get(job=text.job, kind="collar_removed", channel="email")

    consent.revoke(text.job, person=text.person, channel="text", how="on the telephone", by=theo)

    for message in (text, alone, mail):
        message.refresh_from_db()
    assert (text.state, alone.state, mail.state) == (State.WITHDRAWN, State.FAILED, State.OWED)
    assert alone.reason == "Guadalupe Hernández asked for no more messages at this address. Telephone instead."


def test_a_kind_with_a_text_owes_one_beside_the_mail_to_whoever_agreed(monkeypatch):
    from dataclasses import replace

    from jobs.notices import kinds

    monkeypatch.setitem(kinds._registered, "collar_removed", replace(kinds.of("collar_removed"), by_text=True))
    job = make_job(S.BACKUP_VERIFIED)
    assert removed(job).channel == "email"  # nobody has agreed to texts

    agreed(job)
    owed = outbox.owe("collar_removed", job=job, cause="second", by=SYSTEM)
    assert [(message.channel, message.address) for message in owed] == [
        ("email", job.parties.get(role="owner").person.email),
        ("text", "+13035550142"),
    ]
    assert outbox.owe("collar_removed", job=job, cause="second", by=SYSTEM) == owed

    Person.objects.update(email="")
    assert [message.channel for message in outbox.owe("collar_removed", job=job, cause="third", by=SYSTEM)] == ["text"]
