"""Days that a utility named, and what became of them: by its desk in a contact, or by announcing a visit."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from django.urls import reverse

from jobs.core import words
from jobs.core.charts import promises as strip
from jobs.core.charts.marks import Chart
from utilities.models import Contact, Outcome, Utility, Visit
from utilities.models.requests import FitRequestQuerySet

MOST: Final = 200  # the newest


@dataclass(frozen=True)
class Promise:
    """first: of a window; None where only a last day was named. days: from the last day to the fitting, else to today; below 0 earlier."""

    named_on: dt.date
    first: dt.date | None
    last: dt.date
    code: str
    fitted_on: dt.date | None
    days: int

    @property
    def url(self) -> str:
        return reverse("request", kwargs={"code": self.code})

    @property
    def kept(self) -> bool:
        return self.fitted_on is not None and self.days <= 0

    @property
    def late(self) -> bool:
        return self.fitted_on is not None and self.days > 0

    @property
    def outcome(self) -> str:
        """ "fitted within it", "fitted 12 days late", "nothing for 12 days"."""
        late = words.count(abs(self.days), "day")
        if self.fitted_on is None:
            return f"nothing has happened, {late} on"
        return f"fitted {late} late" if self.days > 0 else f"fitted {late} early" if self.days < 0 else "fitted when it said"


@dataclass(frozen=True)
class Promises:
    """Those whose day has passed, or whose request was fitted before it; newest first. ahead: how many lie ahead."""

    due: tuple[Promise, ...]
    ahead: int

    @property
    def kept(self) -> int:
        return sum(promise.kept for promise in self.due)

    @property
    def late(self) -> int:
        return sum(promise.late for promise in self.due)

    @property
    def waiting(self) -> int:
        return len(self.due) - self.kept - self.late

    @property
    def sentence(self) -> str:
        """ "Fitted by then 5, fitted later 3, passed and not fitted 1."""
        by_then, later, nothing = (words.number(count) for count in (self.kept, self.late, self.waiting))
        told = f"Fitted by then {by_then}, fitted later {later}, passed and not fitted {nothing}."
        return told + (f" {words.count(self.ahead, 'more promise').capitalize()} {_lie(self.ahead)} ahead." if self.ahead else "")

    def chart(self, utility: Utility, *, width: float = 700) -> Chart:
        dots = [
            strip.Promise(promise.days, promise.fitted_on is not None, href=promise.url, title=f"Request {promise.code}: {promise.outcome}")
            for promise in self.due
        ]
        label = f"Of {words.count(len(self.due), 'promise')} of {utility.name}: {self.sentence[:1].lower()}{self.sentence[1:]}"
        return strip.promises(name="promises", dots=dots, label=label, width=width)


def _lie(n: int) -> str:
    return "lies" if n == 1 else "lie"


def promises(seen: FitRequestQuerySet, *, today: dt.date) -> Promises:
    """Of these requests. today: at the utility. A promise made after the fitting is none; one of a request that ended is forgotten."""
    of = ("request__code", "request__outcome", "request__ended_on")
    visits = Visit.objects.standing().filter(request__in=seen, window_to__isnull=False, announced_on__isnull=False)
    contacts = Contact.objects.filter(request__in=seen, withdrawn=False, promised_by__isnull=False)
    # A visit is announced in a contact that names its last day: the two are one promise, and the window stands.
    named = {(code, last): (on, None, *rest) for on, last, code, *rest in contacts.order_by("pk").values_list("on", "promised_by", *of)}
    named |= {
        (code, last): (on, first, *rest)
        for on, first, last, code, *rest in visits.order_by("pk").values_list("announced_on", "window_from", "window_to", *of)
    }
    due, ahead = [], 0
    for (code, last), (named_on, first, outcome, ended_on) in named.items():
        if outcome == Outcome.OPEN:
            if last >= today:
                ahead += 1
            else:
                due.append(Promise(named_on, first, last, code, None, (today - last).days))
        elif outcome == Outcome.FITTED and named_on <= ended_on:
            due.append(Promise(named_on, first, last, code, ended_on, _late(first, last, ended_on)))
    due.sort(key=lambda promise: (promise.last, promise.code), reverse=True)
    return Promises(tuple(due[:MOST]), ahead)


def _late(first: dt.date | None, last: dt.date, fitted_on: dt.date) -> int:
    """Days after the window, or (below 0) before it."""
    if fitted_on > last:
        return (fitted_on - last).days
    begins = first if first is not None else last
    return min((fitted_on - begins).days, 0)
