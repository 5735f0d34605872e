"""The letter that asks an authority to extend a permit, with the request to fit as its just cause (TRADE.md A5).

IRC R105.5 lets a building official extend in writing, for justifiable cause; the edition adopted locally governs. The letter names address
and numbers, and nobody of the home. A person reads and releases it.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core import cautions, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import ExpiringPaper
from jobs.core.models.papers import PaperKind
from jobs.core.refusals import Refused
from jobs.core.words import Lang
from jobs.notices import kinds, outbox
from jobs.notices.kinds import NoticeKind, Owing, Recipient
from jobs.notices.models import Message
from utilities import services
from utilities.models import FitRequest, Outcome
from utilities.notices import lang_of

LETTER = "permit_extension"


@act(right="core.record_papers", on=ExpiringPaper)
def write_for_extension(paper: ExpiringPaper, *, until: dt.date, by: Actor) -> Message:
    """Owe the letter to the authority. until: the day that is asked for."""
    if paper.ended_at is not None:
        raise Refused(f"This paper was closed: {paper.ended_why}. No extension is asked for.")
    if paper.kind != PaperKind.PERMIT:
        raise Refused("This letter is for a permit; of other papers their own giver is asked.")
    if paper.authority is None or not paper.authority.email:
        raise Refused("No authority with an e-mail address is on record for this permit; enter it first.", field="until")
    if until <= paper.expires_on:
        raise Refused(f"The permit holds until {words.day(paper.expires_on)}; a later day is wanted.", field="until")
    if request_of(paper) is None:
        raise Refused("No request to fit was sent for this home, and it is the cause that the letter gives. Send the request first.")
    cause = f"extension {paper.uid} until {until}"
    if Message.objects.filter(job=paper.job, kind=LETTER, cause=cause).exists():
        raise Refused("A letter that asks for this day is written already; it stands on the job's page.", field="until")
    about = {"paper": str(paper.uid), "until": until.isoformat(), "held_until": paper.expires_on.isoformat()}
    [message] = outbox.owe(LETTER, job=paper.job, cause=cause, about=about, by=by)
    return message


def request_of(paper: ExpiringPaper) -> FitRequest | None:
    """The request that the home waits for: the open one, else the newest; the first of two meters."""
    rows = paper.job.fit_requests.exclude(outcome=Outcome.VOID).select_related("utility")
    return rows.open().order_by("filed_on", "pk").first() or rows.order_by("-filed_on", "-pk").first()


def paper_of(owed: Message | Owing) -> ExpiringPaper | None:
    uid = str(owed.about.get("paper", ""))
    return ExpiringPaper.objects.filter(uid=uid, job=owed.job).select_related("authority", "job__site").first() if uid else None


def _to_authority(owing: Owing) -> list[Recipient]:
    paper = paper_of(owing)
    authority = paper.authority if paper else None
    return [Recipient(f"authority {authority.pk}", authority.name, authority.email)] if authority and authority.email else []


def _context(message: Message) -> dict[str, Any]:
    paper, lang = paper_of(message), lang_of(message)
    request = request_of(paper) if paper else None
    if paper is None or request is None:
        return {}
    sendings = [sending.sent_on for sending in request.sendings.filter(withdrawn=False).order_by("sent_on")]
    asked = request.contacts.filter(withdrawn=False).order_by("on")
    promised = request.visits.pending().order_by("-pk").first()
    return {
        "number": paper.number,
        "issued_on": _day(paper.issued_on, lang),
        "expires_on": _day(paper.expires_on, lang),
        "until": _day(dt.date.fromisoformat(str(message.about["until"])), lang),
        "utility": request.utility.name,
        "reference": request.utility_reference,
        "sent_on": _day(request.filed_on, lang),
        "again_on": words.listed([_day(day, lang) for day in sendings[1:]], last="y" if lang == "es" else "and")
        if len(sendings) > 1
        else "",
        "asked": asked.count(),
        "last_asked_on": _day(asked.reverse()[0].on, lang) if asked else "",
        "visit_on": _day(promised.window_from, lang) if promised and promised.window_from else "",
        "limit": limit.sentence if (limit := services.visit_limit(request.utility)) else "",
        "edition": cautions.of("code_edition").text(lang),
    }


def _day(day: dt.date, lang: Lang) -> str:
    home = words.day_long_home(day, lang=lang)
    return f"{home} de {day.year}" if lang == "es" else f"{home}, {day.year}"


def _still_due(message: Message) -> str | None:
    paper = paper_of(message)
    if paper is None or paper.ended_at is not None:
        return "The permit was closed."
    if paper.expires_on.isoformat() != message.about.get("held_until"):
        return f"The permit was extended meanwhile: until {words.day(paper.expires_on)}."
    return None


def register() -> None:
    # No hold lets a permit lapse.
    kinds.register(
        NoticeKind(
            name=LETTER,
            words="letter for a permit's extension",
            to=_to_authority,
            context=_context,
            still_due=_still_due,
            stopped_by=None,
            to_home=False,
        )
    )
