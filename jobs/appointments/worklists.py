"""Which homes want a call: ready and not booked by worth of a day, not ready with what is missing, and those that get a site visit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Prefetch

from billing import figures
from jobs.appointments import readiness
from jobs.appointments.models import TAKING, Appointment
from jobs.appointments.readiness import Missing
from jobs.appointments.worth import Rates, Worth, worth_of_a_day
from jobs.core import clock, money, rules
from jobs.core.models import ExpiringPaper, Fact, Hold, Job
from jobs.core.models.job import JobQuerySet
from jobs.core.states import S
from utilities import services


@dataclass(frozen=True)
class Wanted:
    """An energized home without an open call."""

    job: Job
    since: dt.date | None  # the collar
    missing: tuple[Missing, ...]
    worth: Worth
    visit: str  # why it gets a site visit instead; empty where it does not
    medical_on: dt.date | None

    @property
    def is_ready(self) -> bool:
        return not self.missing

    @property
    def final_waits(self) -> bool:
        """Whether a final milestone hangs on the call; the amount itself is for those who may see money."""
        return any(part.words.startswith("final milestone") for part in self.worth.parts)


@dataclass(frozen=True)
class Lists:
    ready: tuple[Wanted, ...]
    not_ready: tuple[Wanted, ...]
    visits: tuple[Wanted, ...]


def rates() -> Rates:
    told = rules.several("delay_day_denominator", "delay_week_dollars", "delay_paper_percent", "delay_paper_days")
    days, dollars, percent, within = (int(told[name]) for name in told)
    return Rates(days, dollars * 10 ** money.exponent(), percent, within)


def lists(jobs: JobQuerySet) -> Lists:
    """The three lists over these jobs: the dearest day of delay first, ties by code."""
    rows = sorted(wanted(jobs), key=lambda row: (-row.worth.total_minor, row.job.code))
    return Lists(
        ready=tuple(row for row in rows if row.is_ready),
        not_ready=tuple(row for row in rows if row.missing and not row.visit),
        visits=tuple(row for row in rows if row.visit),
    )


def wanted(jobs: JobQuerySet) -> list[Wanted]:
    """Every energized home of these without an open call."""
    open_call = Appointment.objects.filter(job=OuterRef("pk"), state__in=TAKING)
    today = clock.office_today()
    found = with_parts(jobs.in_state(S.COLLAR_ENERGIZED).filter(~Exists(open_call)), today)
    within, priced, finals = readiness.within(), rates(), figures.final_milestones_minor(found)
    lines = services.emergency_lines(found)
    contracts = figures.contracts_minor(found)
    rows = []
    for job in found:
        home = home_of(job, lines[job.pk])
        since = home.facts.fitted.day if home.facts.fitted else job.state_since
        worth = worth_of(job, finals[job.pk], contract_minor=contracts[job.pk], since=since, today=today, priced=priced)
        visit = readiness.site_visit_reason(home.medical)
        rows.append(Wanted(job, since, _missing(job, home, within), worth, visit, home.medical.day if home.medical else None))
    return rows


def worth_of(job: Job, final_minor: int, *, contract_minor: int, since: dt.date | None, today: dt.date, priced: Rates) -> Worth:
    """Of a job that came `with_parts`. since: the collar, if it is in."""
    papers: Iterable[ExpiringPaper] = getattr(job, "standing_papers", ())
    ends = [paper.expires_on for paper in papers]
    return worth_of_a_day(final_minor, energized_on=since, today=today, rates=priced, contract_minor=contract_minor, papers_end=ends)


def missing(jobs: JobQuerySet) -> dict[int, tuple[Missing, ...]]:
    """What each of these homes still lacks for its call, by job; as many queries for ten as for one."""
    found = with_parts(jobs, clock.office_today())
    within, lines = readiness.within(), services.emergency_lines(found)
    return {job.pk: _missing(job, home_of(job, lines[job.pk]), within) for job in found}


def with_parts(jobs: JobQuerySet, today: dt.date) -> JobQuerySet:
    """With all that readiness and worth rest on, in as many queries for ten homes as for one."""
    return jobs.select_related("site").prefetch_related(
        "parties__person",
        Prefetch("facts", queryset=Fact.objects.standing(), to_attr="standing_facts"),
        Prefetch("expiring_papers", queryset=ExpiringPaper.objects.standing(), to_attr="standing_papers"),
        Prefetch("holds", queryset=Hold.objects.standing(today), to_attr="standing_holds"),
    )


def home_of(job: Job, line: str) -> readiness.Home:
    rows: Sequence[Fact] = getattr(job, "standing_facts", ())
    holds: Iterable[Hold] = getattr(job, "standing_holds", ())
    stopped = frozenset(what for hold in holds for what in hold.stops)
    return readiness.gathered(job, rows, stopped=stopped, emergency_line=line)


def _missing(job: Job, home: readiness.Home, within: readiness.Within) -> tuple[Missing, ...]:
    return tuple(readiness.missing_of(home, today=clock.today_in(job.site.zone), within=within))
