"""Days that a utility named, and what became of them: by its desk in a contact, or by announcing a visit."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from django.urls import reverse

from jobs.core import words
from jobs.core.charts import promises as strip
from jobs.core.charts.marks import Chart
from utilities import history
from utilities.models import Contact, FitRequest, Outcome, Utility, Visit
from utilities.models.requests import FitRequestQuerySet

MOST: Final = 200  # the newest


@dataclass(frozen=True)
class Promise:
    """A window first ... last, named on a day. days: from its last day to the fitting, else to the request's end or today; below 0 the
    fitting came sooner. ended: the request was withdrawn or closed without a fitting after that day.
    """

    named_on: dt.date
    first: dt.date
    last: dt.date
    code: str
    fitted_on: dt.date | None
    days: int
    ended: bool = False

    @property
    def url(self) -> str:
        return reverse("request", kwargs={"code": self.code})

    @property
    def kept(self) -> bool:
        return self.fitted_on is not None and self.first <= self.fitted_on <= self.last

    @property
    def outcome(self) -> str:
        """ "kept", "fitted 12 days late", "nothing has happened, two days on"."""
        if self.ended:
            return f"not fitted, and the request ended {words.count(self.days, 'day')} on"
        if self.fitted_on is None:
            return f"nothing has happened, {words.count(self.days, 'day')} on"
        if self.kept:
            return "kept"
        if self.fitted_on > self.last:
            return f"fitted {words.count(self.days, 'day')} late"
        return f"fitted {words.count((self.first - self.fitted_on).days, 'day')} early"


@dataclass(frozen=True)
class Promises:
    """Those whose last day has passed, newest first: the same that a forecast counts. ahead: how many lie ahead."""

    due: tuple[Promise, ...]
    ahead: int

    @property
    def sentence(self) -> str:
        """ "Kept 5, fitted late 3, passed and not fitted 1."; "promises kept: 5 of 9" beside a date counts alike."""
        kept = sum(promise.kept for promise in self.due)
        late = sum(promise.fitted_on is not None and promise.fitted_on > promise.last for promise in self.due)
        waiting = sum(promise.fitted_on is None for promise in self.due)
        early = len(self.due) - kept - late - waiting
        told = f"Kept {words.number(kept)}, fitted late {words.number(late)}, "
        told += f"fitted early {words.number(early)}, " if early else ""
        told += f"passed and not fitted {words.number(waiting)}."
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
    """Of these requests. today: at the utility. Counted as leadtimes.promises.learn counts: a promise for the day on which it was named, or
    named when the request had ended, is none; nor does one count whose request was withdrawn before its day.
    """
    windows = history.named_windows(Visit.objects.filter(request__in=seen), Contact.objects.filter(request__in=seen))
    rows = FitRequest.objects.filter(pk__in={request for request, _, _ in windows}).values_list("pk", "code", "outcome", "ended_on")
    known = {pk: (code, outcome, ended_on) for pk, code, outcome, ended_on in rows}
    due, ahead = [], 0
    for (request, named_on, last), first in windows.items():
        code, outcome, ended_on = known[request]
        if last >= today:
            ahead += outcome == Outcome.OPEN
        elif named_on >= (last if ended_on is None else min(last, ended_on)):
            continue
        elif ended_on is None:
            due.append(Promise(named_on, first, last, code, None, (today - last).days))
        elif outcome == Outcome.FITTED:
            due.append(Promise(named_on, first, last, code, ended_on, (ended_on - last).days))
        elif outcome == Outcome.CANCELLED and ended_on > last:
            due.append(Promise(named_on, first, last, code, None, (ended_on - last).days, ended=True))
    due.sort(key=lambda promise: (promise.last, promise.code), reverse=True)
    return Promises(tuple(due[:MOST]), ahead)
