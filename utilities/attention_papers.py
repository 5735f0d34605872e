"""What of collars, their bags and the papers of waiting homes needs a person today."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.http import urlencode

from jobs.core import clock, rules, words
from jobs.core.attention import Row, Section, says
from jobs.core.models import BagReport, Collar, ExpiringPaper, Place, User
from jobs.core.models.papers import ExpiringPaperQuerySet
from jobs.core.states import S
from utilities import paperlines, revisions
from utilities.models import RevisionTask

MOST = 10
SOON = dt.timedelta(days=30)  # DESIGN.md section 12


def sections(user: User) -> list[Section]:
    today, found = clock.office_today(), []
    if user.has_perm("core.record_requests"):
        found += [_reports(user, today), _revisions(user, today)]
    if user.has_perm("core.record_papers"):
        papers = ExpiringPaper.objects.seen_by(user)
        found += [_before_the_collar(papers, today), _each_waits(papers, today), _soon(papers, today)]
    if user.has_perm("core.record_custody"):
        found.append(_to_fetch(user, today))
    return found


def watched(papers: ExpiringPaperQuerySet, today: dt.date) -> QuerySet[ExpiringPaper]:
    """Those that run out before the collar is likely, inside the days of the rule; what ran out already stands on."""
    until = today + dt.timedelta(days=rules.number("paper_watch_days"))
    return paperlines.before_the_collar(papers).filter(expires_on__lte=until).order_by("expires_on", "pk")


def _before_the_collar(papers: ExpiringPaperQuerySet, today: dt.date) -> Section:
    return _papers(
        watched(papers, today),
        today,
        name="papers_before_collar",
        title="Papers that run out before the collar is likely",
        nothing="No paper runs out before its collar is likely.",
        note="less than an even chance that the collar is in by then",
        all_url=f"{reverse('papers')}?{urlencode({'collar': 'before'})}",
        order=14,
        said=("paper runs out before its collar is likely", "papers run out before their collars are likely"),
    )


def _soon(papers: ExpiringPaperQuerySet, today: dt.date) -> Section:
    soon = papers.standing().filter(job__state__in=paperlines.BEFORE_THE_COLLAR, expires_on__lte=today + SOON)
    others = soon.exclude(pk__in=watched(papers, today).values("pk")).order_by("expires_on", "pk")
    return _papers(
        others,
        today,
        name="papers_soon",
        title="Other papers that run out within 30 days",
        nothing="No other paper runs out within 30 days.",
        note="",
        all_url=f"{reverse('papers')}?{urlencode({'until_to': (today + SOON).isoformat()})}",
        order=31,
        said=("other paper runs out within 30 days", "other papers run out within 30 days"),
    )


def _papers(
    found: QuerySet[ExpiringPaper],
    today: dt.date,
    *,
    name: str,
    title: str,
    nothing: str,
    note: str,
    all_url: str,
    order: int,
    said: tuple[str, str],
) -> Section:
    homes = list(found.values_list("job_id", flat=True))
    return Section(
        name=name,
        title=title,
        headings=("Holds until", "Home", "Paper", "Renew by", "Who", "The collar is in by then", "Next act"),
        rows=[_row(line, today) for line in paperlines.lines(paperlines.with_parts(found)[:MOST], today=today)],
        nothing=nothing,
        note=note,
        all_url=all_url,
        total=len(homes),
        homes=frozenset(homes),
        order=order,
        kinds=("", "day", "", "expected"),
        says=says(*said),
    )


def _row(line: paperlines.Line, today: dt.date) -> Row:
    paper = line.paper
    past = (today - paper.expires_on).days
    return Row(
        margin=words.day_short(paper.expires_on, today=today),
        late=f"ran out {words.count(past, 'day')} ago" if past > 0 else "",
        title=line.job.homeowner or line.job.code,
        under=line.job.site.street,
        url=reverse("paper", kwargs={"uid": paper.uid}),
        cells=(str(paper), words.day_short(line.act_by, today=today), paper.owner.name if paper.owner else "nobody yet", line.collar),
        next_act="Renew it" if line.lapses_first else "Look at it",
        job_id=paper.job_id,
    )


def _each_waits(papers: ExpiringPaperQuerySet, today: dt.date) -> Section:
    found = paperlines.each_waits(papers).order_by("expires_on", "pk")
    homes = list(found.values_list("job_id", flat=True))
    return Section(
        name="each_waits",
        title="Authority and utility each wait for the other",
        headings=("Holds until", "Home", "Authority", "What it wants", "Next act"),
        rows=[
            Row(
                margin=words.day_short(paper.expires_on, today=today),
                title=paper.job.homeowner or paper.job.code,
                under=paper.job.site.street,
                url=reverse("paper", kwargs={"uid": paper.uid}),
                cells=(paper.authority.name if paper.authority else "", "the collar before its final; the utility wants the final first"),
                next_act="Telephone both",
            )
            for paper in paperlines.with_parts(found)[:MOST]
        ],
        nothing="No authority and utility wait for each other.",
        note="no letter breaks this: somebody telephones",
        all_url=f"{reverse('papers')}?{urlencode({'collar': 'deadlock'})}",
        total=len(homes),
        homes=frozenset(homes),
        order=15,
        says=says("home hangs between an authority and a utility that wait for each other",
                  "homes hang between an authority and a utility that wait for each other"),
    )  # fmt: skip


def _reports(user: User, today: dt.date) -> Section:
    found = BagReport.objects.seen_by(user).waiting().order_by("told_at", "pk")
    homes = list(found.values_list("job_id", flat=True))
    first = found.select_related("job__site").prefetch_related("job__parties__person")[:MOST]
    return Section(
        name="bag_reports",
        title="Told at the bag",
        headings=("Told", "Home", "What", "By", "Next act"),
        rows=[
            Row(
                margin=words.day_short(_day(report), today=today),
                title=report.job.homeowner or report.job.code,
                under=report.job.site.street,
                url=reverse("bag_report", kwargs={"uid": report.uid}),
                cells=(report.get_what_display(), report.get_told_by_display()),
                next_act="Judge the report",
            )
            for report in first
        ],
        nothing="Nobody has told us anything by a tag.",
        note="unchecked: no fact before somebody has recorded it",
        total=len(homes),
        homes=frozenset(homes),
        order=13,
        says=says("report from a bag is to be judged", "reports from bags are to be judged"),
    )


def _day(report: BagReport) -> dt.date:
    return report.told_at.astimezone(ZoneInfo(report.job.site.zone)).date()


def _revisions(user: User, today: dt.date) -> Section:
    found: Iterable[RevisionTask] = list(RevisionTask.objects.seen_by(user).open().select_related("withdrawn", "utility").order_by("pk"))
    shown = [(task, len(revisions.homes_of(task))) for task in list(found)[:MOST]]
    return Section(
        name="withdrawn_revisions",
        title="Homes that hold a withdrawn revision",
        headings=("Withdrawn", "Utility", "Revision", "Homes", "Next act"),
        rows=[
            Row(
                margin=words.day_short(task.withdrawn.on, today=today),
                title=task.utility.name if task.utility else "no utility entered",
                url=reverse("revision_task", kwargs={"uid": task.uid}),
                cells=(f"{task.withdrawn.revision}: {task.withdrawn.notice}", words.number(homes)),
                next_act="See to its homes",
            )
            for task, homes in shown
        ],
        nothing="No withdrawn revision is left to see to.",
        note="one task for each utility",
        all_url=reverse("revisions"),
        total=len(list(found)),
        order=32,
        kinds=("", "num"),
        says=says("utility's homes hold a withdrawn revision", "utilities' homes hold a withdrawn revision"),
    )


def _to_fetch(user: User, today: dt.date) -> Section:
    found = Collar.objects.seen_by(user).filter(job__state=S.CANCELLED, place=Place.SITE).order_by("place_since", "pk")
    first = found.select_related("job__site").prefetch_related("job__parties__person")[:MOST]
    return Section(
        name="collars_to_fetch",
        title="Collars to fetch back",
        headings=("Since", "Home", "Collar", "Next act"),
        rows=[
            Row(
                margin=words.day_short(collar.place_since, today=today) if collar.place_since else "",
                title=(collar.job.homeowner or collar.job.code) if collar.job else "",
                under=collar.job.site.street if collar.job else "",
                url=reverse("collar", kwargs={"uid": collar.uid}),
                cells=(f"{collar.serial}, {collar.where}".rstrip(", "),),
                next_act="Record where it is",
            )
            for collar in first
        ],
        nothing="No collar hangs at a home that was cancelled.",
        note="cancelled with us; the bag hangs there still",
        all_url=f"{reverse('collars')}?{urlencode({'only': 'fetch'})}",
        total=found.count(),
        order=33,
        says=says("collar is to be fetched back", "collars are to be fetched back"),
    )
