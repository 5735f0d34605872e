"""Letters to a utility's desk about one request. They name meter, address and numbers, and nobody of the home (TRADE.md C4)."""

from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core import clock, custody, facts, lifecycle, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import Said, When
from jobs.core.models import Fact
from jobs.core.refusals import Refused
from jobs.core.words import Lang
from jobs.notices import kinds, outbox
from jobs.notices.kinds import NoticeKind, Owing, Recipient
from jobs.notices.models import Message
from jobs.notices.shown import day_at
from utilities import requests, services
from utilities.models import Contact, FitRequest
from utilities.notices import days_in_words, lang_of

LETTER = "utility_letter"
LONGEST = 600
LONGEST_IN_LOG = 240


@act(right=requests.RIGHT, on=FitRequest)
def write_to_desk(request: FitRequest, *, asks: str, by: Actor) -> Message:
    """Owe a letter to the desk, to be read and released. asks: what we want to know, in our own words."""
    requests.refuse_if_ended(request)
    if request.job is not None and (why := custody.trouble(facts.of(request.job))):
        raise Refused(f"A visit now would be for nothing: {why}. Hang another collar and register it first; then ask.", field="asks")
    said = " ".join(asks.split())
    if not said or len(said) > LONGEST:
        raise Refused(f"Say what the desk is asked, in 1 to {LONGEST} letters.", field="asks")
    if not services.terms_now(request.utility).desk_email:
        raise Refused(
            f"{request.utility} has no e-mail address of its desk on record; enter it with its profile, or telephone.", field="asks"
        )
    cause = f"letter {request.uid} {clock.today_in(request.utility.zone)}"
    if Message.objects.filter(job=request.job, kind=LETTER, cause=cause).exists():
        raise Refused(f"{request.utility} was written to about this request today already; a desk asked twice a day stops answering.")
    [message] = outbox.owe(LETTER, job=request.job, cause=cause, about={"request": str(request.uid), "asks": said}, by=by)
    return message


def request_of(owed: Message | Owing) -> FitRequest | None:
    uid = str(owed.about.get("request", ""))
    found = FitRequest.objects.select_related("utility", "service", "job__site")
    return found.filter(uid=uid, job=owed.job).first() if uid else None


def _to_desk(owing: Owing) -> list[Recipient]:
    request = request_of(owing)
    if request is None:
        return []
    address = services.terms_now(request.utility).desk_email
    return [Recipient(f"desk {request.utility_id}", request.utility.name, address)] if address else []


def _letter_context(message: Message) -> dict[str, Any]:
    request, lang = request_of(message), lang_of(message)
    if request is None:
        return {}
    today = clock.today_in(request.utility.zone)
    days = services.calendar_of(request.utility).elapsed(request.filed_on, today)
    promised = request.visits.pending().order_by("-pk").first()
    return {
        "code": request.code,
        "reference": request.utility_reference,
        "meter": request.service.meter_number if request.service else "",
        "sent_on": _day_with_year(request.filed_on, lang=lang),
        "waited": words.count(days, "business day") if lang == "en" else f"{days} día hábil" if days == 1 else f"{days} días hábiles",
        "promised": days_in_words(promised.window_from, promised.window_to, lang=lang)
        if promised and promised.window_from and promised.window_to
        else "",
        "one_visit": request.service is not None and request.service.exchange_pending,
        "asks": str(message.about.get("asks", "")),
    }


def _day_with_year(day: dt.date, *, lang: Lang) -> str:
    home = words.day_long_home(day, lang=lang)
    return f"{home} de {day.year}" if lang == "es" else f"{home}, {day.year}"


def _letter_due(message: Message) -> str | None:
    request = request_of(message)
    return None if request is not None and request.is_open else "The request has ended."


def _keep_in_log(message: Message) -> None:
    """A letter that has left stands in the contact log, once; what the desk answers comes later. A promise it gave stands."""
    request = request_of(message)
    key = f"letter {message.uid}"
    if request is None or not request.is_open or not message.has_left or message.sent_at is None:
        return
    if Fact.objects.filter(source="rule", source_key=key).exists():
        return
    job = request.job
    assert job is not None  # only about a job's request is a desk written to
    by = Actor(key="outbox", name=message.released_by_name, source="rule", everywhere=True)
    on = min(day_at(message.sent_at, request.utility.zone), clock.today_in(job.site.zone))
    asked = str(message.about["asks"])[:LONGEST_IN_LOG]
    value = {"request": str(request.uid), "asked": asked, "channel": "e-mail"}
    fact = facts.record(job, k.CONTACT, when=When(on=on), said_by=Said("us", by.name), by=by, value=value, source_key=key)
    Contact.objects.create(
        request=request,
        utility=request.utility,
        on=on,
        channel="e-mail",
        asked=asked,
        recorded_at=clock.now(),
        recorded_by_name=by.name,
        fact=fact,
    )
    lifecycle.settle(job, by=by, new=(fact,))


def register() -> None:
    kinds.register(
        NoticeKind(
            name=LETTER,
            words="letter to the utility's desk",
            to=_to_desk,
            context=_letter_context,
            still_due=_letter_due,
            stopped_by="utility",
            to_home=False,
            follows=_keep_in_log,
        )
    )
