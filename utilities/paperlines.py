"""Papers that run out beside the forecast of the collar: will it be in by then? Stored forecasts only; nothing is fitted here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import DateField, Exists, F, OuterRef, Q, QuerySet, Subquery

from jobs.core import clock, expiring, words
from jobs.core import kinds as k
from jobs.core.models import ExpiringPaper, Fact, Job
from jobs.core.models.papers import Answer, ExpiringPaperQuerySet, PaperKind
from jobs.core.states import S
from utilities import said
from utilities.models import Forecast

BEFORE_THE_COLLAR = (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY)
EVEN = 0.5  # below it the paper runs out before the collar is likely


@dataclass(frozen=True)
class Line:
    """One paper of a list."""

    paper: ExpiringPaper
    act_by: dt.date  # the last day on which renewing can be begun in time
    in_time: float | None  # chance that the collar is in while it holds; None where nothing can be said, or it is in
    collar: str  # the chance in words, or why there is none

    @property
    def job(self) -> Job:
        return self.paper.job

    @property
    def lapses_first(self) -> bool:
        return self.in_time is not None and self.in_time < EVEN


def with_parts(found: QuerySet[ExpiringPaper]) -> QuerySet[ExpiringPaper]:
    return found.select_related("job__site", "owner", "authority", "document").prefetch_related("job__parties__person")


def lines(papers: Iterable[ExpiringPaper], *, today: dt.date) -> list[Line]:
    """Take the papers from `with_parts`."""
    rows = list(papers)
    stored = said.of_homes({paper.job_id for paper in rows})
    return [_line(paper, stored.get(paper.job_id)) for paper in rows]


def _line(paper: ExpiringPaper, row: Forecast | None) -> Line:
    act_by = paper.expires_on - dt.timedelta(days=paper.lead_days)
    if paper.job.state == S.CANCELLED:
        return Line(paper, act_by, None, "the contract was cancelled")
    if paper.job.state not in BEFORE_THE_COLLAR:
        return Line(paper, act_by, None, "the collar is in")
    if row is None:
        return Line(paper, act_by, None, "not worked out yet")
    chance = said.chance_of(row, paper.expires_on)
    asked = "" if row.job_id is None else f", if asked by {words.day(row.filed_on)}"
    return Line(paper, act_by, chance, f"{words.in_hundred(chance)} that it is in by then{asked}")


def before_the_collar(papers: ExpiringPaperQuerySet) -> QuerySet[ExpiringPaper]:
    """Standing papers that run out before the day by which half of such requests are fitted: less than even that the collar is in."""
    of_home = said.forecasts_of_homes().filter(Q(request__job=OuterRef("job")) | Q(request__isnull=True, job=OuterRef("job")))
    later = of_home.order_by(F("half_on").desc(nulls_first=True)).values("half_on")[:1]
    waiting = papers.standing().filter(job__state__in=BEFORE_THE_COLLAR)
    told = waiting.annotate(half_on=Subquery(later, output_field=DateField()))
    return told.filter(Exists(of_home)).filter(Q(half_on__isnull=True) | Q(half_on__gt=F("expires_on")))


def each_waits(papers: ExpiringPaperQuerySet) -> QuerySet[ExpiringPaper]:
    """Permits whose authority waits for the collar while the utility waits for the authority's final: somebody must break it by phone."""
    finals = Fact.objects.standing().of_kind(k.FINAL_INSPECTION).filter(job=OuterRef("job"))
    rows = papers.standing().filter(kind=PaperKind.PERMIT, authority__finals_before_collar=Answer.NO, utility_wants_final=Answer.YES)
    return rows.filter(job__state__in=BEFORE_THE_COLLAR).exclude(Exists(finals))


def is_deadlock(paper: ExpiringPaper) -> bool:
    return expiring.each_waits(paper) and each_waits(ExpiringPaper.objects.filter(pk=paper.pk)).exists()


def of_job(job: Job) -> list[Line]:
    return lines(with_parts(job.expiring_papers.filter(ended_at__isnull=True)), today=clock.office_today())
