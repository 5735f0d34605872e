"""The one text that confirms an opt-out: 47 CFR 64.1200(a)(12) allows one, without marketing, and presumes it fine within five minutes."""

from __future__ import annotations

import datetime as dt
import uuid

from django.conf import settings

from jobs.core import clock, phones, rules, waking
from jobs.core.models import Job, Person
from jobs.notices import kinds, optout
from jobs.notices.consent import CONFIRMATION
from jobs.notices.kinds import NoticeKind
from jobs.notices.models import Channel, Message, State
from jobs.notices.outbox import SEND

WITHIN = dt.timedelta(minutes=5)
RULE = "confirm_ended_texts"
# None of the words that would be an answer stands in them.
WORDS = {
    "en": ("You will get no further texts from us.", "Questions: {phone}"),
    "es": ("Ya no recibirá mensajes de texto nuestros.", "Preguntas: {phone}"),
}


def register() -> None:
    # It goes to a number that has just written to us, at whatever hour, and no hold stops it.
    kinds.register(NoticeKind(name=CONFIRMATION, words="texts ended", to=(), stopped_by=None, to_home=False))


def words_for(language: str) -> str:
    """ "Larch & Lantern: You will get no further texts from us. Questions: (303) 555-0100"."""
    company, phone = rules.text("company_name"), rules.text("company_phone")
    sentence, questions = WORDS[language]
    parts = [f"{company}: {sentence}" if not optout.mentioned(company) else sentence]
    if phone:
        number = phones.e164(phone)
        parts.append(questions.format(phone=phones.shown(number.number, extension=number.extension)))
    return " ".join(parts) + "\n"


def owe(*, number: str, person: Person | None, job: Job | None, language: str, cause: str) -> Message:
    """Release the confirming text, frozen as it is. Called inside a transaction; it does not leave after the five minutes."""
    now, uid = clock.now(), uuid.uuid4()
    message = Message.objects.create(
        uid=uid,
        kind=CONFIRMATION,
        cause=cause,
        job=job,
        person=person,
        to_key=f"number {number}",
        to_name=person.name if person else number,
        address=number,
        channel=Channel.TEXT,
        language=language,
        state=State.RELEASED,
        text=words_for(language),
        rule=RULE,
        released_at=now,
        due_at=now,
        not_after=now + WITHIN,
        message_id=f"<{uid}@{settings.EMAIL_FROM.rpartition('@')[2]}>",
        created_at=now,
    )
    waking.wake(SEND, message.pk)
    return message
