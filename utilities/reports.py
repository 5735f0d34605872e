"""Reports that the collar is in: kept side by side as facts, whoever they come from; the first opens "confirm the fitting"."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core import facts, homefacts, walltime, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.dayone import normal_serial
from jobs.core.facts import Said, When
from jobs.core.models import Fact
from jobs.core.refusals import Refused
from jobs.core.waiting import unconfirmed_fitting
from utilities.agreement import Agreed, Report, agree
from utilities.models import FitRequest
from utilities.requests import RIGHT
from utilities.truth import ONE_DAY
from utilities.visits import SEEN_NOT_FITTED

SOURCES = dict(zip(facts.FITTING_SOURCES, ("the utility told us", "the homeowner told us", "the gateway sees it", "we asked"), strict=True))

KINDS = (k.FITTING_REPORTED, k.GATEWAY_REPORT)


@act(right=RIGHT, on=FitRequest)
def report_fitting(
    request: FitRequest,
    *,
    source: str,
    by_on: dt.date,
    by: Actor,
    after_on: dt.date | None = None,
    exact: bool = False,
    serial: str = "",
    name: str = "",
    meter: str = "",
    remark: str = "",
) -> Fact:
    """One source says that the collar is in. Nothing is decided by it, and no other report is changed: the home waits on us to confirm.

    Also of a request that has ended or is fitted: what is learned later stands beside what was known.
    """
    job = request.job
    if job is None:
        raise Refused(f"Request {request.code} is history without a job; nothing more is recorded on it.")
    if source not in SOURCES:
        raise Refused(f"“{source}” is no source we know; wanted one of: {', '.join(SOURCES)}.", field="source")
    if by_on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; a report of its fitting comes later.", field="by_on")
    if after_on is not None and after_on >= by_on:
        raise Refused("The last day it was seen not fitted must come before the first day it was seen fitted.", field="after_on")
    value = {
        "source": source,
        "serial": normal_serial(serial) if serial.strip() else "",
        "meter": meter.strip(),
        "remark": remark.strip(),
        "request": str(request.uid),
    }
    when = When(on=by_on) if exact else When(after=after_on, by=by_on)
    return homefacts.write(job, k.FITTING_REPORTED, when=when, said_by=Said(source, name.strip()), by=by, value=value)


@dataclass(frozen=True)
class Row:
    """One report as a page shows it."""

    fact: Fact
    report: Report
    told: str  # the source in words
    days: str
    recorded_on: dt.date  # at the home


def reports_of(request: FitRequest, *, today: dt.date) -> list[Row]:
    """Everything that says the collar of this request is in, by day: reports, and what the gateway itself saw since the sending."""
    if request.job is None:
        return []
    one_meter = request.job.services.count() < 2
    rows = []
    for fact in request.job.facts.standing().filter(kind__in=KINDS, day__gte=request.filed_on).select_related("job__site"):
        own = fact.value.get("request") == str(request.uid) if fact.kind == k.FITTING_REPORTED else one_meter
        if own and (fact.kind == k.FITTING_REPORTED or fact.value.get("state") == "closed"):
            rows.append(_row(fact, today=today))
    return rows


def _row(fact: Fact, *, today: dt.date) -> Row:
    on = fact.recorded_at.astimezone(walltime.zone_of(fact.job.site.zone)).date()
    source = str(fact.value.get("source", "gateway"))
    by, after = fact.day, fact.happened_on - ONE_DAY if fact.happened_on else fact.after_on
    days = words.day_short(by, today=today) if fact.happened_on else f"by {words.day_short(by, today=today)}"
    days += f", not yet {words.day_short(fact.after_on, today=today)}" if fact.after_on else ""
    return Row(fact, Report(source, by, after, str(fact.value.get("serial", ""))), SOURCES[source], days, on)


def agreed(request: FitRequest, rows: list[Row]) -> Agreed | None:
    """What they agree on, and every conflict among them and with what was seen; None without a report."""
    if not rows or request.job is None:
        return None
    seen = request.visits.standing().filter(outcome__in=SEEN_NOT_FITTED, visited_on__gte=request.filed_on)
    day = seen.order_by("-visited_on").values_list("visited_on", flat=True).first()
    return agree(
        [row.report for row in rows],
        registered=facts.of(request.job).serial,
        not_fitted_on=day,
        sent_on=request.filed_on,
        day="{0.day} {0:%B} {0.year}",
    )


def to_confirm(request: FitRequest) -> Fact | None:
    """The report that opened "confirm the fitting" and has not been answered yet."""
    if request.job is None or request.fitted_by is not None:
        return None
    known = unconfirmed_fitting(facts.of(request.job))
    return Fact.objects.get(pk=known.order) if known is not None else None
