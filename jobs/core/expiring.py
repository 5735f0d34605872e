"""Papers that run out while a home waits: entered, extended, ended; and the authorities that give them."""

from __future__ import annotations

import datetime as dt

from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import Authority, Document, ExpiringPaper, Job, PaperExtension, PaperKind, User
from jobs.core.models.papers import Answer
from jobs.core.refusals import Refused

RIGHT = "core.record_papers"


@act(right=RIGHT)
def add_authority(name: str, *, by: Actor, email: str = "", finals_before_collar: str = "", note: str = "") -> Authority:
    name = " ".join(name.split())
    if not name:
        raise Refused("Give the name of the authority.", field="name")
    one_at_a_time("authorities")
    if Authority.objects.filter(name__iexact=name).exists():
        raise Refused(f"{name} is on record already.", field="name")
    return Authority.objects.create(name=name, email=email.strip(), finals_before_collar=_answer(finals_before_collar), note=note.strip())


@act(right=RIGHT, on=Authority)
def change_authority(authority: Authority, *, by: Actor, email: str, finals_before_collar: str, note: str = "") -> Authority:
    """How it is written to, and what it does."""
    authority.email, authority.note = email.strip(), note.strip()
    authority.finals_before_collar = _answer(finals_before_collar)
    authority.save(update_fields=["email", "note", "finals_before_collar"])
    return authority


@act(right=RIGHT, on=Job)
def add_paper(
    job: Job,
    *,
    kind: str,
    issued_on: dt.date,
    expires_on: dt.date,
    by: Actor,
    number: str = "",
    lead_days: int = 14,
    renewing: str = "",
    authority: Authority | None = None,
    utility_wants_final: str = "",
    owner: User | None = None,
    document: Document | None = None,
) -> ExpiringPaper:
    """A paper and the last day on which it holds. owner: who renews it; else whoever looks after the job."""
    if kind not in PaperKind.values:
        raise Refused(f"“{kind}” is no paper we know; wanted one of: {', '.join(PaperKind.values)}.", field="kind")
    if expires_on <= issued_on:
        raise Refused(
            f"It would expire on {words.day(expires_on)}, and it was issued on {words.day(issued_on)}; a later last day is wanted.",
            field="expires_on",
        )
    if issued_on > clock.today_in(job.site.zone):
        raise Refused(f"{words.day(issued_on)} has not come yet; a paper is entered once it was issued.", field="issued_on")
    same = ExpiringPaper.objects.standing().filter(job=job, kind=kind, number=number.strip())
    if same.exists():
        raise Refused("This paper is on record already; record its extension there.", field="number")
    return ExpiringPaper.objects.create(
        job=job,
        kind=kind,
        number=number.strip(),
        authority=authority,
        issued_on=issued_on,
        expires_on=expires_on,
        first_expires_on=expires_on,
        lead_days=lead_days,
        renewing=renewing.strip(),
        utility_wants_final=_answer(utility_wants_final),
        owner=owner or job.looked_after_by,
        document=document,
        recorded_at=clock.now(),
        recorded_by_name=by.name,
    )


@act(right=RIGHT, on=ExpiringPaper)
def extend_paper(
    paper: ExpiringPaper, *, granted_on: dt.date, expires_on: dt.date, by: Actor, reference: str = "", document: Document | None = None
) -> PaperExtension:
    """A longer day was granted, in writing."""
    _refuse_ended(paper)
    if expires_on <= paper.expires_on:
        raise Refused(f"It holds until {words.day(paper.expires_on)} already; an extension ends later.", field="expires_on")
    if granted_on < paper.issued_on:
        raise Refused(f"It was issued on {words.day(paper.issued_on)}; it was extended after that day.", field="granted_on")
    if granted_on > clock.today_in(paper.job.site.zone):
        raise Refused(f"{words.day(granted_on)} has not come yet; record an extension once it was granted.", field="granted_on")
    made = PaperExtension.objects.create(
        paper=paper,
        granted_on=granted_on,
        was_until=paper.expires_on,
        expires_on=expires_on,
        reference=reference.strip(),
        document=document,
        recorded_at=clock.now(),
        recorded_by_name=by.name,
    )
    paper.expires_on = expires_on
    paper.save(update_fields=["expires_on"])
    return made


@act(right=RIGHT, on=ExpiringPaper)
def end_paper(paper: ExpiringPaper, *, why: str, by: Actor) -> ExpiringPaper:
    """The paper matters no more: closed by its final, entered in error, replaced by another."""
    _refuse_ended(paper)
    if not why.strip():
        raise Refused("Say why it matters no more.", field="why")
    paper.ended_at, paper.ended_why = clock.now(), why.strip()
    paper.save(update_fields=["ended_at", "ended_why"])
    return paper


@act(right=RIGHT, on=ExpiringPaper)
def hand_over(
    paper: ExpiringPaper, *, owner: User | None, lead_days: int, by: Actor, renewing: str = "", utility_wants_final: str = ""
) -> ExpiringPaper:
    """Who renews it, what that takes, and whether the utility waits for the authority's final."""
    _refuse_ended(paper)
    paper.owner, paper.lead_days, paper.renewing = owner, lead_days, renewing.strip()
    paper.utility_wants_final = _answer(utility_wants_final)
    paper.save(update_fields=["owner", "lead_days", "renewing", "utility_wants_final"])
    return paper


def each_waits(paper: ExpiringPaper) -> bool:
    """Whether, by what both told us, the authority waits for the collar and the utility for the authority's final."""
    authority = paper.authority
    return authority is not None and authority.finals_before_collar == Answer.NO and paper.utility_wants_final == Answer.YES


def _refuse_ended(paper: ExpiringPaper) -> None:
    if paper.ended_at is not None:
        raise Refused(f"This paper was closed: {paper.ended_why}. Enter it anew if it stands again.")


def _answer(text: str) -> str:
    if text not in Answer.values:
        raise Refused("Answer yes, no or not known.")
    return text
