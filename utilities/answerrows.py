"""What is on record beside the lines of a list of answers, fetched for all of them in a few queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from jobs.core import codes, words
from utilities import importrows
from utilities.models import Contact, FitRequest

Values = Mapping[str, Any]

RECEIVED: Final = "received"
SCHEDULED: Final = "scheduled"
FITTED: Final = "fitted"
CLOSED: Final = "closed"
NOTHING: Final = "nothing new"


@dataclass
class Found:
    """Requests by their code, those of jobs by the job's number, and what was said of them before: request, day and words."""

    by_code: dict[str, FitRequest] = field(default_factory=dict)
    by_number: dict[str, list[FitRequest]] = field(default_factory=dict)
    said: set[tuple[int, dt.date, str]] = field(default_factory=set)

    def _of_number(self, told: Values) -> list[FitRequest]:
        """A job's requests that the line can be about: the open ones, else the one that ended as the line says."""
        of_job = self.by_number.get(str(told.get("number") or "").casefold(), [])
        ended = [request for request in of_job if told.get("on") and request.ended_on == told["on"]]
        return [request for request in of_job if request.is_open] or ended or of_job[-1:]

    def request(self, told: Values) -> FitRequest | None:
        if told.get("request"):
            return self.by_code.get(codes.normal(str(told["request"])))
        found = self._of_number(told)
        return found[0] if len(found) == 1 else None

    def fault(self, told: Values) -> tuple[str, str] | None:
        if told.get("request"):
            if self.request(told) is None:
                return "request", f"There is no request “{told['request']}” of a job: the code on our sheet is wanted, such as K7Q2MP."
            return None
        found = self._of_number(told)
        if not found:
            return "number", f"No request of a job “{told['number']}” is on record: our job number, or the request's code, is wanted."
        if len(found) > 1:
            return "request", f"Job {told['number']} has open requests {words.listed([one.code for one in found])}: say which."
        return None


def sentence(told: Values) -> str:
    """What goes to the contact log: the answer in a word, its day, and the note."""
    day = f" for {words.day(told['on'])}" if told["answer"] == SCHEDULED and told.get("on") else ""
    note = f"; {told['note']}" if told.get("note") else ""
    return f"{told['answer']}{day}{note}"


def records(values: Sequence[Values]) -> Found:
    found = Found()
    wanted = sorted({codes.normal(str(row["request"])) for row in values if row.get("request")})
    waits = FitRequest.objects.waits().filter(job__isnull=False).select_related("utility", "service", "job__site")
    for start in range(0, len(wanted), 500):
        found.by_code |= {request.code: request for request in waits.filter(code__in=wanted[start : start + 500])}
    jobs = importrows.records([{"number": row.get("number")} for row in values if row.get("number")]).jobs
    of_job: dict[int, list[FitRequest]] = defaultdict(list)
    pks = sorted({job.pk for job in jobs.values()})
    for start in range(0, len(pks), 500):
        for request in waits.filter(job__in=pks[start : start + 500]).order_by("filed_on", "pk"):
            assert request.job_id is not None
            of_job[request.job_id].append(request)
    found.by_number = {number: of_job[job.pk] for number, job in jobs.items()}
    asked = {request.pk for request in (*found.by_code.values(), *(one for some in of_job.values() for one in some))}
    for start in range(0, len(asked), 500):
        some = sorted(asked)[start : start + 500]
        told = Contact.objects.filter(request__in=some, withdrawn=False).values_list("request", "on", "answered")
        found.said |= {(pk, on, answered) for pk, on, answered in told}
    return found
