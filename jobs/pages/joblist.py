"""The list of jobs, on its page and as a file: the same filter, the same rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import islice

from django.db.models import Sum
from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_safe

from billing.models import InvoiceState, Milestone, MilestoneQuerySet
from jobs.core import clock, lists, money
from jobs.core.actors import member
from jobs.core.attention import late
from jobs.core.models import Job, User
from jobs.core.models.job import JobQuerySet
from jobs.core.web import right
from jobs.core.words import day_short
from jobs.pages import outlook
from jobs.pages.jobfilter import NOT_IN_THE_FORM, OPEN, in_words, narrowed
from utilities.models import Service
from utilities.said import Shown

CHUNK = 500
WAITS_ON = {"us": "us", "utility": "utility", "homeowner": "homeowner", "nobody": ""}


@dataclass(frozen=True)
class Line:
    """One job as the list and its files show it."""

    job: Job
    person: str
    utility: str
    days: int | None
    outlook: Shown | None
    unbilled_minor: int | None  # None where the person may not see amounts, or the job has no plan
    late: str
    half: str
    nine: str  # no date without its range
    half_if: str  # "if asked by Wed 25 Nov", of a home whose collar is not asked for yet

    @property
    def waits_on(self) -> str:
        return WAITS_ON.get(self.job.waiting_on, self.job.waiting_on)


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    user = member(request)
    today = clock.office_today()
    given = _given(request)
    narrowing = narrowed(user, given)
    sheet = lists.sheet_of(given, _with_parts(narrowing.rows), sort=narrowing.sort, columns=_columns(user), keep=NOT_IN_THE_FORM)
    shown = lines(sheet["page"].object_list, user=user, today=today)
    sees_money = user.has_perm("core.see_money")
    totals_wanted = sees_money and lists.totals_told(sheet["page"], request.GET, "state", "utility", "since_from")
    context = sheet | {
        "fields": [narrowing.form[name] for name in narrowing.form.fields if name not in NOT_IN_THE_FORM],
        "title": in_words(narrowing, today=today),
        "lines": shown,
        "sees_money": sees_money,
        "label_span": 8 if user.has_perm("core.see_utilities") else 6,  # columns between the margin and the amounts
        "sees_utilities": user.has_perm("core.see_utilities"),
        "page_total_minor": sum(line.unbilled_minor or 0 for line in shown) if sees_money else None,
        "total_minor": unbilled_of(narrowing.rows) if totals_wanted else None,
    }
    return render(request, "pages/jobs.html", context, status=422 if narrowing.refused else 200)


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """What the list shows, as a file."""
    user = member(request)
    narrowing = narrowed(user, _given(request))
    if narrowing.refused:
        return lists.back_to_the_list(request, "jobs")
    return lists.table_file("jobs", ending, headings(user), table(narrowing.rows, user=user), given=request.GET)


def _given(request: HttpRequest) -> QueryDict:
    """The filter of the address; without any the open jobs, for the finished ones would stand before all that wait."""
    return request.GET or QueryDict(f"state={OPEN}")


def _columns(user: User) -> list[lists.Column]:
    columns = [("Job", "job", "m"), ("Person", "person", ""), ("Street", "street", "")]
    columns += [("Utility", "", "")] if user.has_perm("core.see_utilities") else []
    columns += [("State", "", ""), ("Waiting on", "", ""), ("Since", "since", ""), ("Days", "", "num")]
    columns += [("Half by, nine in ten by", "", "")] if user.has_perm("core.see_utilities") else []
    columns += [("Not invoiced", "", "num")] if user.has_perm("core.see_money") else []
    return [*columns, ("Due", "due", ""), ("Next act", "", "act")]


# Rows


def _with_parts(found: JobQuerySet) -> JobQuerySet:
    return found.select_related("site", "crew").prefetch_related("parties__person")


def lines(jobs: Iterable[Job], *, user: User | None, today: dt.date) -> list[Line]:
    """These jobs with what other apps know of them: one query each, however many there are."""
    rows = list(jobs)
    ids = [job.pk for job in rows]
    sees_utilities = user is None or user.has_perm("core.see_utilities")
    names = _utilities(ids) if sees_utilities else {}
    outlooks = outlook.outlooks(ids) if sees_utilities else {}
    unbilled = unbilled_by_job(ids) if user is None or user.has_perm("core.see_money") else {}
    return [_line(job, names.get(job.pk, ""), outlooks.get(job.pk), unbilled.get(job.pk), today) for job in rows]


def _line(job: Job, utility: str, likely: Shown | None, unbilled: int | None, today: dt.date) -> Line:
    done = job.waiting_on == "nobody"
    half = outlook.in_table(likely, 50, today=today) if likely else ""
    return Line(
        job=job,
        person=job.homeowner,
        utility=utility,
        days=None if done or job.waiting_since is None else (today - job.waiting_since).days,
        outlook=likely,
        unbilled_minor=unbilled,
        late=late(job.next_due_on, today) if job.next_due_on else "",
        half=half,
        nine=outlook.in_table(likely, 90, today=today) if likely else "",
        half_if=f"if asked by {day_short(likely.filed_on, today=today)}" if likely and not likely.asked else "",
    )


def _utilities(ids: Sequence[int]) -> dict[int, str]:
    names: dict[int, list[str]] = {}
    for job_id, name in Service.objects.filter(job__in=ids).order_by("pk").values_list("job", "utility__name"):
        if name not in names.setdefault(job_id, []):
            names[job_id].append(name)
    return {job_id: ", ".join(of_job) for job_id, of_job in names.items()}


def not_invoiced() -> MilestoneQuerySet:
    """Milestones that no released invoice has billed, earned or not; opening balances were billed before."""
    return Milestone.objects.ours().exclude(invoice__state=InvoiceState.RELEASED).order_by()


def unbilled_by_job(ids: Sequence[int]) -> dict[int, int]:
    """By job; a job with a plan of which all is invoiced has nothing left, one without a plan is not among them."""
    left = dict(not_invoiced().filter(job__in=ids).values("job").annotate(total=Sum("amount_minor")).values_list("job", "total"))
    planned = Milestone.objects.filter(job__in=ids).order_by().values_list("job", flat=True).distinct()
    return {job_id: left.get(job_id, 0) for job_id in planned}


def unbilled_of(found: JobQuerySet) -> int:
    """The sum over every job that the filter leaves."""
    return int(not_invoiced().filter(job__in=found.order_by().values("pk")).aggregate(total=Sum("amount_minor"))["total"] or 0)


# Files

_FIRST = ("job", "our_number", "person", "street", "unit", "city", "region", "job_state", "state_since", "waiting_on", "waiting_since")
_NEXT = ("next_act", "next_act_by", "due", "crew")
_OF_UTILITIES = ("utility", "half_by", "nine_in_ten_by", "forecast_as_of")
_OF_MONEY = ("not_invoiced",)


def headings(user: User | None) -> tuple[str, ...]:
    sees_utilities = user is None or user.has_perm("core.see_utilities")
    sees_money = user is None or user.has_perm("core.see_money")
    return _FIRST + _NEXT + (_OF_UTILITIES if sees_utilities else ()) + (_OF_MONEY if sees_money else ())


def table(found: JobQuerySet, *, user: User | None) -> Iterator[tuple[object, ...]]:
    """Every row that the filter leaves, in chunks."""
    today = clock.office_today()
    rows = _with_parts(found).iterator(chunk_size=CHUNK)
    while chunk := list(islice(rows, CHUNK)):
        for line in lines(chunk, user=user, today=today):
            yield _cells(line, headings(user))


def _cells(line: Line, wanted: Sequence[str]) -> tuple[object, ...]:
    job, likely = line.job, line.outlook
    cells: Mapping[str, object] = {
        "job": job.code,
        "our_number": job.contractor_number,
        "person": line.person,
        "street": job.site.street,
        "unit": job.site.unit,
        "city": job.site.city,
        "region": job.site.region,
        "job_state": job.state_words,
        "state_since": job.state_since,
        "waiting_on": line.waits_on,
        "waiting_since": job.waiting_since,
        "next_act": job.next_act,
        "next_act_by": job.next_role,
        "due": job.next_due_on,
        "crew": job.crew.name if job.crew else "",
        "utility": line.utility,
        "half_by": likely.at(50) if likely else None,
        "nine_in_ten_by": likely.at(90) if likely else None,
        "forecast_as_of": likely.as_of if likely else None,
        "not_invoiced": None if line.unbilled_minor is None else Decimal(money.decimal_text(line.unbilled_minor)),
    }
    return tuple(cells[name] for name in wanted)
