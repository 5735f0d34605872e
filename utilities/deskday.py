"""The desks that are to be asked, and about which homes: the rows that the rules of asking.py need, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, OuterRef, Subquery

from jobs.core import clock, rules, words
from jobs.core.models import Hold, User
from jobs.core.models.holds import Stops
from jobs.core.waiting import UTILITY
from utilities import services
from utilities.asking import REASONS, Due, Wait, due, may_ask_from
from utilities.models import Contact, Forecast, Utility, Visit
from utilities.models.requests import FitRequestQuerySet


@dataclass(frozen=True)
class Desk:
    """One utility's desk. about: by request, why it is to be asked. may_on: the first day on which it may be."""

    utility: Utility
    about: dict[int, Due]
    homes: frozenset[int]
    last_asked: dt.date | None
    may_on: dt.date
    here: dt.date  # today, there
    asks: User | None

    @property
    def is_today(self) -> bool:
        return self.may_on == self.here

    @property
    def since(self) -> dt.date:
        return min(one.since for one in self.about.values())

    @property
    def why(self) -> str:
        """ "the day it named has passed: 2; nothing heard since: 5"."""
        counted = Counter(one.reason for one in self.about.values())
        return "; ".join(f"{reason}: {words.number(counted[reason])}" for reason in REASONS if counted[reason])


def desks(rows: FitRequestQuerySet, *, today: dt.date) -> list[Desk]:
    """Of these requests, desk by desk: those that may be asked today first, then by the day since when. today: of the office."""
    told = rules.several("acknowledge_days", "desk_gap_days")
    waiting = _waiting(rows)
    held = _held({row["job"] for row in waiting}, today)
    by_utility: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in waiting:
        if row["job"] not in held:
            by_utility[row["utility"]].append(row)
    utilities = Utility.objects.filter(pk__in=by_utility).select_related("clerk", "stand_in").prefetch_related("closures", "versions")
    asked = last_asked(by_utility)
    found = []
    for utility in utilities:
        here, calendar = clock.today_in(utility.zone), services.calendar_of(utility)
        about, homes = {}, set()
        for row in by_utility[utility.pk]:
            wait = _wait(row)
            if (one := due(wait, today=here, calendar=calendar, acknowledge_days=int(told["acknowledge_days"]))) is not None:
                about[row["pk"]] = one
                homes.add(row["job"])
        if about:
            last = asked.get(utility.pk)
            may = may_ask_from(last, today=here, calendar=calendar, gap_days=int(told["desk_gap_days"]))
            found.append(Desk(utility, about, frozenset(homes), last, may, here, services.who_asks(utility, today)))
    return sorted(found, key=lambda desk: (not desk.is_today, desk.may_on if not desk.is_today else desk.since, desk.utility.name))


def last_asked(utilities: Iterable[int]) -> dict[int, dt.date]:
    """By utility, the day on which we asked its desk last, about whatever home."""
    rows = Contact.objects.filter(utility__in=list(utilities), ours=True, withdrawn=False).order_by()
    return dict(rows.values_list("utility").annotate(last=Max("on")))


_NAMES = ("pk", "utility", "job", "filed_on", "acknowledged_on", "job__next_due_on", "job__imported_on")


def _waiting(rows: FitRequestQuerySet) -> list[dict[str, Any]]:
    spoken = Contact.objects.filter(request=OuterRef("pk"), withdrawn=False).order_by("-on", "-pk")
    heard = spoken.exclude(answered="")
    visited = Visit.objects.standing().filter(request=OuterRef("pk")).exclude(outcome="").order_by("-visited_on")
    first = Forecast.objects.filter(request=OuterRef("pk"), first=True)
    found = rows.open().filter(job__waiting_on=UTILITY, closed_there_on__isnull=True)
    return list(
        found.annotate(
            heard_on=Subquery(heard.values("on")[:1]),
            promised_by=Subquery(heard.values("promised_by")[:1]),
            next_on=Subquery(heard.values("next_on")[:1]),
            asked_on=Subquery(spoken.filter(ours=True).values("on")[:1]),
            visited_on=Subquery(visited.values("visited_on")[:1]),
            half_on=Subquery(first.values("half_on")[:1]),
        ).values(*_NAMES, "heard_on", "promised_by", "next_on", "asked_on", "half_on", "visited_on")
    )


def _wait(row: dict[str, Any]) -> Wait:
    names = ("filed_on", "acknowledged_on", "heard_on", "asked_on", "promised_by", "next_on", "half_on", "visited_on")
    return Wait(due_on=row["job__next_due_on"], begin_on=row["job__imported_on"], **{name: row[name] for name in names})


def _held(jobs: set[int], today: dt.date) -> set[int]:
    """Homes about which a hold stops our asking. It never stops their wait."""
    rows = Hold.objects.standing(today).filter(job__waiting_on=UTILITY)
    stopping = {job for job, stops in rows.values_list("job", "stops") if {Stops.REMINDERS, Stops.UTILITY} & set(stops)}
    return jobs & stopping
