"""One desk on one page: all that the caller needs on the telephone, and the homes to ask about, longest wait first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from jobs.core import clock, phones, rules, words
from jobs.core.models import User
from utilities import deskday, promised, services, shown, versionshown
from utilities.deskday import Desk
from utilities.models import Contact, FitRequest, Utility
from utilities.models.requests import FitRequestQuerySet

MOST = 60  # lines of a desk's page; a longer list goes to the desk as a sheet


@dataclass(frozen=True)
class Home:
    """One line: why it is asked about, and what stands between us and the desk already."""

    line: shown.Line
    why: str
    since: dt.date | None
    last: Contact | None
    access: str

    @property
    def request(self) -> FitRequest:
        return self.line.request


@dataclass(frozen=True)
class Page:
    homes: Sequence[Home]
    due: int
    others: int
    cells: Sequence[tuple[str, ...]]
    may: str
    promises: str


def page_of(utility: Utility, *, rows: FitRequestQuerySet, today: dt.date) -> Page:
    """rows: those that the person may know of. today: of the office."""
    here = rows.open().filter(utility=utility, job__isnull=False)
    (desk,) = deskday.desks(here, today=today) or (None,)
    about = desk.about if desk else {}
    found = shown.with_parts(here.filter(pk__in=list(about))).order_by("filed_on", "code")[:MOST]
    homes = homes_of(list(found), desk=desk, today=today)
    return Page(
        homes=homes,
        due=len(about),
        others=here.count() - len(about),
        cells=_cells(utility, today),
        may=_may(utility, desk, today),
        promises=promised.promises(rows.waits().filter(utility=utility), today=clock.today_in(utility.zone)).sentence,
    )


def homes_of(requests: Sequence[FitRequest], *, desk: Desk | None, today: dt.date) -> list[Home]:
    contacts = Contact.objects.filter(request__in=[one.pk for one in requests], withdrawn=False).order_by("on", "pk")
    last = {contact.request_id: contact for contact in contacts}
    told = []
    for line in shown.lines(requests, today=today):
        due = desk.about.get(line.request.pk) if desk else None
        access = line.job.site.access_note if line.job else ""
        told.append(
            Home(line, due.reason if due else "", due.since if due else None, last.get(line.request.pk), " ".join(access.split())[:60])
        )
    return told


def _may(utility: Utility, desk: Desk | None, today: dt.date) -> str:
    """Whether it may be asked today, in a sentence."""
    last = desk.last_asked if desk else deskday.last_asked([utility.pk]).get(utility.pk)
    asked = f"It was asked last {words.day_short(last, today=today)}." if last else "Nobody has asked it yet."
    if desk is None:
        return f"{asked} Nothing is due here today."
    if desk.is_today:
        return f"{asked} It may be asked today."
    gap = words.count(rules.number("desk_gap_days"), "business day")
    return (
        f"{asked} Not today: ask it from {words.day(desk.may_on)}, its next working day after {gap} without us. "
        "A desk that is asked too often stops answering."
    )


def _cells(utility: Utility, today: dt.date) -> list[tuple[str, ...]]:
    terms = services.terms_now(utility)
    asks = services.who_asks(utility, today)
    limit, source = versionshown.visit_limit(terms, today=today)
    people = "; ".join(versionshown.person(one) for one in terms.contacts)
    for_whom = f"for {utility.clerk}, who is away" if utility.clerk and asks and asks != utility.clerk else ""
    return [
        ("Its desk", phones.shown(terms.desk_phone) if terms.desk_phone else "no telephone on record", terms.desk_email),
        ("Hours", terms.desk_hours or "not known", f"now {clock.now().astimezone(ZoneInfo(utility.zone)):%H:%M} there"),
        ("Who is there", people or "nobody named", terms.reply_habit),
        ("Who of us asks", asks.name if asks else "nobody named", for_whom),
        ("Limit for the visit", limit, source),
        ("How it takes several homes", terms.batch_preference or "not known", ""),
    ]


def of_person(desks: Sequence[Desk], user: User) -> tuple[list[Desk], list[Desk], list[Desk]]:
    """Desks to be asked today by this person, by others, and those that may not be asked today."""
    now = [desk for desk in desks if desk.is_today]
    mine = [desk for desk in now if desk.asks == user]
    return mine, [desk for desk in now if desk.asks != user], [desk for desk in desks if not desk.is_today]
