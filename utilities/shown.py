"""Requests and utilities as lines of a page or a file: what other rows know of them, one query each however many there are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Max, Min

from jobs.core import clock, words
from jobs.core.models import Job, Site
from utilities import said, services
from utilities.models import Contact, FitRequest, Outcome, Utility, Visit
from utilities.models.requests import FitRequestQuerySet
from utilities.said import Shown
from utilities.workdays import WorkCalendar


@dataclass(frozen=True)
class Line:
    """One request."""

    request: FitRequest
    person: str
    home: str  # street, or the list's own reference of a history row
    days: int  # calendar days of the wait, up to its end or today at the utility
    business_days: int  # by the utility's calendar
    likely: Shown | None
    last_contact_on: dt.date | None
    promised_by: dt.date | None  # of the last contact
    ended: str  # when it ended, in words
    half: str
    nine: str

    @property
    def job(self) -> Job | None:
        return self.request.job


def with_parts(found: FitRequestQuerySet) -> FitRequestQuerySet:
    return found.select_related("utility", "district", "service", "job__site").prefetch_related("job__parties__person", "utility__closures")


def lines(rows: Iterable[FitRequest], *, today: dt.date) -> list[Line]:
    """`today`: of the office, for how days are said. Take the rows from `with_parts`."""
    requests = list(rows)
    likely = said.current_of(requests)
    asked, heard = _last_contacts(requests)
    calendars: dict[int, WorkCalendar] = {}
    return [_line(request, likely.get(request.pk), asked.get(request.pk), heard.get(request.pk), calendars, today) for request in requests]


def soonest(open_requests: FitRequestQuerySet, *, today: dt.date, most: int) -> list[Line]:
    """Open requests by the day that half of such are fitted, the soonest first."""
    wanted = said.by_half(open_requests)[:most]
    place = {pk: number for number, pk in enumerate(wanted)}
    rows = with_parts(FitRequest.objects.filter(pk__in=wanted))
    return lines(sorted(rows, key=lambda request: place[request.pk]), today=today)


def _line(
    request: FitRequest,
    likely: Shown | None,
    asked: Contact | None,
    heard: Contact | None,
    calendars: dict[int, WorkCalendar],
    today: dt.date,
) -> Line:
    utility = request.utility
    calendar = calendars.setdefault(utility.pk, services.calendar_of(utility)) if utility.pk not in calendars else calendars[utility.pk]
    end = request.ended_on or clock.today_in(utility.zone)
    job = request.job
    return Line(
        request=request,
        person=job.homeowner if job else "",
        home=_home(job.site) if job else f"history, {request.own_reference}",
        days=(end - request.filed_on).days,
        business_days=calendar.elapsed(request.filed_on, end),
        likely=likely,
        last_contact_on=asked.on if asked else None,
        promised_by=heard.promised_by if heard else None,
        ended=ended_words(request, today=today),
        half=said.day_short(likely.q50, as_of=likely.as_of, today=today) if likely else "",
        nine=said.day_short(likely.q90, as_of=likely.as_of, today=today) if likely else "",
    )


def _home(site: Site) -> str:
    """Street, unit and city: enough to know a home by in a list."""
    return ", ".join(part for part in (site.street, site.unit, site.city) if part)


def ended_words(request: FitRequest, *, today: dt.date) -> str:
    """ "fitted 9–12 Nov", "ended without fitting 3 Jun 2026"; nothing while it is open."""
    if request.ended_on is None:
        return ""
    if request.outcome == Outcome.FITTED and request.fitted_after is not None:
        return f"fitted {words.bracket_short(request.fitted_after, request.ended_on, today=today)}"
    return f"{request.get_outcome_display()} {words.day_short(request.ended_on, today=today)}"


def ended_sentence(request: FitRequest) -> str:
    """The same for a sentence: "Fitted between 9 and 12 November 2026", "Ended without fitting on 3 June 2026"."""
    if request.ended_on is None:
        return ""
    told = str(request.get_outcome_display())
    told = told[:1].upper() + told[1:]
    if request.outcome == Outcome.FITTED and request.fitted_after is not None:
        return f"{told} {words.bracket(request.fitted_after, request.ended_on, today=dt.date.min)}"
    return f"{told} on {words.day(request.ended_on)}"


def _last_contacts(requests: Sequence[FitRequest]) -> tuple[dict[int, Contact], dict[int, Contact]]:
    """The last contact of each request, and the last that held an answer."""
    rows = Contact.objects.filter(request__in=[request.pk for request in requests], withdrawn=False).order_by("on", "pk")
    last = {contact.request_id: contact for contact in rows}
    return last, {contact.request_id: contact for contact in rows if contact.answered}


@dataclass(frozen=True)
class Pace:
    """How long requests wait at a utility, in its business days from the sending."""

    half: int | None
    nine: int | None
    likely: Shown

    @property
    def sentence(self) -> str:
        """ "half of requests are fitted by day 129, nine in ten by day 213"."""
        half = f"by day {self.half}" if self.half is not None else "later than in two years"
        nine = f"by day {self.nine}" if self.nine is not None else "later than in two years"
        return f"half of requests are fitted {half}, nine in ten {nine}"

    @property
    def calendar_words(self) -> str:
        """ "about 21 and 55 days of the calendar", the unit of the wait curve; nothing where one lies beyond what is said."""
        half, nine = self.likely.q50, self.likely.q90
        if half is None or nine is None or self.half is None or self.nine is None:
            return ""
        return f"about {(half - self.likely.as_of).days} and {(nine - self.likely.as_of).days} days of the calendar"


def paces(utilities: Sequence[Utility]) -> dict[int, Pace]:
    """By primary key; those for which nothing is stored yet are left out."""
    found = said.of_utilities(utilities)
    by_pk = {utility.pk: utility for utility in utilities}
    return {pk: _pace(by_pk[pk], likely) for pk, likely in found.items()}


def _pace(utility: Utility, likely: Shown) -> Pace:
    calendar = services.calendar_of(utility)

    def day_of(day: dt.date | None) -> int | None:
        return calendar.elapsed(likely.as_of, day) if day is not None and not said.is_far(day, as_of=likely.as_of) else None

    return Pace(day_of(likely.q50), day_of(likely.q90), likely)


@dataclass(frozen=True)
class Counted:
    """How often something came out so at a utility, and when last."""

    words: str
    count: int
    last_on: dt.date | None


def visits_by_outcome(utility: Utility) -> list[Counted]:
    """Most frequent first."""
    rows = Visit.objects.standing().filter(request__utility=utility).exclude(outcome="").order_by()
    last = dict(rows.values_list("outcome").annotate(last=Max("visited_on")))
    counted = [Counted(outcome, rows.filter(outcome=outcome).count(), day) for outcome, day in last.items()]
    return sorted(counted, key=lambda row: (-row.count, row.words))


def by_outcome(utility: Utility) -> list[Counted]:
    """Its requests of all time: open, fitted, ended without fitting. Of the open ones the day is the oldest sending's."""
    rows = FitRequest.objects.waits().filter(utility=utility)
    told = []
    for outcome in (Outcome.OPEN, Outcome.FITTED, Outcome.CANCELLED):
        these = rows.filter(outcome=outcome)
        day = these.aggregate(day=Min("filed_on"))["day"] if outcome == Outcome.OPEN else these.aggregate(day=Max("ended_on"))["day"]
        told.append(Counted(str(outcome.label), these.count(), day))
    return told
