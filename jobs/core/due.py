"""What of the homes themselves needs a person today: next acts, holds to look at again, a crew's own sites."""

from __future__ import annotations

import datetime as dt

from django.db.models import Count, Min, Q
from django.urls import reverse
from django.utils.http import urlencode

from jobs.core import clock, crewform, facts, words
from jobs.core import kinds as k
from jobs.core.attention import Attention, Figure, Row, Section, late, says
from jobs.core.models import Fact, Hold, Job, PhonePart, User
from jobs.core.models.holds import Stops
from jobs.core.models.job import JobQuerySet
from jobs.core.states import Facts, S
from jobs.core.waiting import CREW, SCHEDULER, US, open_emergency

MOST = 10  # rows of a section; the rest stand behind its link
HEADINGS = ("Due", "Home", "State", "Waiting since", "Next act")


def for_user(user: User) -> Attention:
    today = clock.office_today()
    jobs = Job.objects.seen_by(user)
    if not user.has_perm("core.see_jobs"):
        return _of_a_crew(jobs, today) if user.has_perm("core.see_own_jobs") else Attention()
    if user.has_perm("core.run_office"):
        sections: tuple[Section, ...] = (
            _emergencies(jobs, today),
            _without_act(jobs, today),
            _versions(user, today),
            _overdue(jobs, today),
            _holds(user, today),
            _on_us(jobs, today),
        )
        return Attention(sections, _figures(jobs))
    if user.has_perm("core.record_requests"):
        sections = (_emergencies(jobs, today), _due_of(SCHEDULER, jobs, today), _holds(user, today), _on_us(jobs, today))
        return Attention(sections, _figures(jobs))
    return Attention()


def _figures(jobs: JobQuerySet) -> tuple[Figure, ...]:
    return (
        _figure("Homes waiting on the utility", jobs, S.AWAITING_UTILITY),
        _figure("Fitted, backup not yet verified", jobs, S.COLLAR_ENERGIZED),
    )


def _figure(label: str, jobs: JobQuerySet, state: S) -> Figure:
    return Figure(label, words.number(jobs.in_state(state).count()), _list(state=state.value))


def _list(**filters: object) -> str:
    return f"{reverse('jobs')}?{urlencode({name: str(value) for name, value in filters.items()})}"


def _emergencies(jobs: JobQuerySet, today: dt.date) -> Section:
    """Homes where one is recorded and not over, finished homes too; first of all that stands on a Today."""
    told = Fact.objects.standing().filter(kind__in=(k.EMERGENCY_OPENED, k.EMERGENCY_ENDED), job__in=jobs)
    by_job: dict[int, list[Fact]] = {}
    for fact in told:
        by_job.setdefault(fact.job_id, []).append(fact)
    stands = {job_id: opened for job_id, rows in by_job.items() if (opened := open_emergency(Facts(facts.known(rows))))}
    found = jobs.filter(pk__in=stands).select_related("site").prefetch_related("parties__person")
    return Section(
        name="emergencies",
        title="Emergencies at homes",
        headings=("Since", "Home", "What was told", "State", "Next act"),
        rows=[
            Row(
                margin=words.day_short(stands[job.pk].day, today=today),
                title=job.homeowner or job.code,
                under=job.site.street,
                url=f"{reverse('emergency')}?{urlencode({'job': job.code})}",
                cells=(str(stands[job.pk].value.get("what", "")), job.state_words),
                next_act="Telephone the home",
            )
            for job in sorted(found, key=lambda job: stands[job.pk].place)
        ],
        nothing="No emergency stands at any home.",
        says=says("emergency stands at a home", "emergencies stand at homes"),
        homes=frozenset(stands),
        order=1,
    )


def _without_act(jobs: JobQuerySet, today: dt.date) -> Section:
    """Must be none: a home nobody has to do anything for goes silent."""
    found = jobs.open().filter(Q(next_act="") | Q(next_due_on__isnull=True))
    ids = list(found.order_by().values_list("pk", flat=True))
    return Section(
        name="without_act",
        title="Homes without a next act",
        headings=HEADINGS,
        rows=_rows(found, today),
        nothing="Every open home has a next act.",
        note="none should stand here; run reconcile and say so",
        all_url=_list(act="none"),
        total=len(ids),
        order=5,
        says=says("home has no next act", "homes have no next act"),
        homes=frozenset(ids),
    )


def _versions(user: User, today: dt.date) -> Section:
    """What a crew filled in and the office, or another phone, recorded otherwise meanwhile: a person chooses."""
    found = PhonePart.objects.seen_by(user).waiting()
    ids = list(found.order_by().values_list("job", flat=True))
    return Section(
        name="versions",
        title="Two versions of day one",
        headings=("Received", "Home", "Part", "Sent by", "Next act"),
        rows=[
            Row(
                margin=words.day_short(clock.day_of(one.received_at, one.job.site.zone), today=today),
                title=one.job.homeowner or one.job.code,
                under=one.job.site.street,
                url=reverse("crew_versions", kwargs={"uid": one.uid}),
                cells=(crewform.BY_NAME[one.part].spec.title, one.sent_by_name),
                next_act="Look at both and choose",
            )
            for one in found.select_related("job__site").prefetch_related("job__parties__person").order_by("received_at")[:MOST]
        ],
        nothing="No part of a crew's record stands in two versions.",
        note="what was recorded meanwhile says otherwise; nothing was overwritten",
        total=len(ids),
        order=20,
        says=says("part of day one stands in two versions", "parts of day one stand in two versions"),
        homes=frozenset(ids),
    )


def _overdue(jobs: JobQuerySet, today: dt.date) -> Section:
    found = jobs.filter(next_due_on__lt=today)
    return Section(
        name="overdue",
        title="Next acts overdue",
        headings=("Due", "Home", "State", "Who", "Next act"),
        rows=_rows(found, today, whose=True),
        nothing="No next act is overdue.",
        note="their day has passed",
        all_url=_list(due_to=today - dt.timedelta(days=1), sort="due"),
        total=found.count(),
        order=30,
        says=says("next act is overdue", "next acts are overdue"),
        part="overview",
    )


def _due_of(role: str, jobs: JobQuerySet, today: dt.date) -> Section:
    found = jobs.filter(next_role=role, next_due_on__lte=today)
    return Section(
        name="due",
        title="Next acts due",
        headings=HEADINGS,
        rows=_rows(found, today),
        nothing="No next act of yours is due today.",
        note="today or earlier",
        all_url=_list(role=role, due_to=today, sort="due"),
        total=found.count(),
        order=30,
        says=says("next act of yours is due", "next acts of yours are due"),
        part="overview",
    )


def _on_us(jobs: JobQuerySet, today: dt.date) -> Section:
    """Homes that wait on us, by what is missing: one row for each next act, the commonest first."""
    groups = (
        jobs.filter(waiting_on=US)
        .values("next_act", "next_role")
        .annotate(homes=Count("pk"), oldest=Min("waiting_since"))
        .order_by("-homes", "next_act")
    )
    found = list(groups)
    return Section(
        name="on_us",
        title="Homes waiting on us",
        headings=("Homes", "What is wanted", "Who", "Waiting longest since", "Next act"),
        rows=[
            Row(
                margin=words.number(group["homes"]),
                title=group["next_act"] or "no next act",
                url=_list(waiting_on=US, act=group["next_act"] or "none"),
                cells=(group["next_role"], words.day_short(group["oldest"], today=today) if group["oldest"] else ""),
                next_act="Open the homes",
            )
            for group in found[:MOST]
        ],
        nothing="No home waits on us.",
        note="by what is missing",
        all_url=_list(waiting_on=US),
        total=sum(group["homes"] for group in found),
        order=60,
        says=says("home waits on us", "homes wait on us"),
        part="overview",
    )


def _holds(user: User, today: dt.date) -> Section:
    found = Hold.objects.seen_by(user).standing(today).filter(review_on__lte=today)
    ids = list(found.order_by().values_list("job", flat=True))
    first = found.select_related("job__site").prefetch_related("job__parties__person").order_by("review_on", "pk")[:MOST]
    return Section(
        name="holds",
        title="Holds to review",
        headings=("Review", "Home", "Hold", "What it stops", "Next act"),
        rows=[
            Row(
                margin=words.day_short(hold.review_on, today=today),
                late=late(hold.review_on, today),
                title=hold.job.homeowner or hold.job.code,
                under=hold.job.site.street,
                url=reverse("job", kwargs={"code": hold.job.code}),
                cells=(
                    f"{hold.get_kind_display()}: {hold.reason}",
                    words.listed([str(Stops(what).label) for what in hold.stops]),
                ),
                next_act="Lift or hold longer",
            )
            for hold in first
        ],
        nothing="No hold is to be looked at today.",
        all_url=_list(held="review"),
        total=len(ids),
        order=35,
        says=says("hold is to be reviewed", "holds are to be reviewed"),
        homes=frozenset(ids),
    )


def sites_of(jobs: JobQuerySet, today: dt.date) -> JobQuerySet:
    """Where a crew builds that day."""
    return jobs.filter(install_on=today)


def to_go_back_to(jobs: JobQuerySet, today: dt.date) -> JobQuerySet:
    """Homes of earlier days that wait on the crew."""
    return jobs.filter(next_role=CREW, next_due_on__lte=today).exclude(install_on=today)


def _of_a_crew(jobs: JobQuerySet, today: dt.date) -> Attention:
    own, due = sites_of(jobs, today), to_go_back_to(jobs, today)
    sites = Section(
        name="sites",
        title="Sites today",
        headings=("Job", "Home", "State", "Waiting since", "Next act"),
        rows=_rows(own, today, by_code=True, page="crew_form"),
        nothing="No site is planned for your crew today.",
        all_url=_list(install_on=today),
        total=own.count(),
        order=10,
        says=says("site is planned for your crew today", "sites are planned for your crew today"),
    )
    records = Section(
        name="records",
        title="Homes to go back to",
        headings=HEADINGS,
        rows=_rows(due, today, page="crew_form"),
        nothing="No other home waits on your crew today.",
        note="a record or a repair of yours is missing",
        all_url=_list(role=CREW, due_to=today, sort="due"),
        total=due.count(),
        order=20,
        says=says("home is to go back to", "homes are to go back to"),
    )
    return Attention((sites, records))


def _rows(found: JobQuerySet, today: dt.date, *, whose: bool = False, by_code: bool = False, page: str = "job") -> list[Row]:
    first = found.select_related("site").prefetch_related("parties__person").order_by("next_due_on", "waiting_since", "code")[:MOST]
    return [_row(job, today, whose=whose, by_code=by_code, page=page) for job in first]


def _row(job: Job, today: dt.date, *, whose: bool, by_code: bool, page: str) -> Row:
    due, since = (None if by_code else job.next_due_on), job.waiting_since
    return Row(
        margin=words.day_short(due, today=today) if due else job.code,
        late=late(due, today) if due else "",
        title=job.homeowner or job.code,
        under=job.site.street,
        url=reverse(page, kwargs={"code": job.code}),
        cells=(job.state_words, job.next_role if whose else words.day_short(since, today=today) if since else ""),
        next_act=job.next_act or "Look",
    )
