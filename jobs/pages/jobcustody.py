"""What a job's page shows of the collar, its bag, the papers that run out, the design papers and the warranties."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.urls import reverse

from jobs.core import custody, designs, rules, warrantyterms, words
from jobs.core.drawn import Differs
from jobs.core.models import BagReport, BagTag, Collar, DesignDocument, ExpiringPaper, Job, User, WithdrawnRevision
from jobs.core.states import Facts, S
from jobs.core.warrantyterms import Warranty
from utilities import paperlines
from utilities.models import Sending


@dataclass(frozen=True)
class Link:
    words: str
    url: str


@dataclass(frozen=True)
class Custody:
    """All of it for one person; what they may not see is empty."""

    collar: Collar | None
    bag_seen: str  # "28 Aug, 62 days ago"
    unseen: bool  # for longer than the rule's days
    trouble: str
    withdrawn: WithdrawnRevision | None
    reports: list[BagReport]
    papers: list[paperlines.Line]
    deadlocks: list[ExpiringPaper]
    designs: list[tuple[DesignDocument, list[Differs], bool]]  # with what differs, and whether the newest request was sent with it
    warranties: list[Warranty]
    tags: int
    prints: list[Link]
    sees_papers: bool


def of(job: Job, known: Facts, user: User, *, today: dt.date) -> Custody:
    collar = Collar.objects.filter(job=job).first()
    seen = custody.last_seen(known) if job.state not in (S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED, S.CANCELLED) else None
    days = (today - seen).days if seen else 0
    sees_papers = user.has_perm("core.record_papers")
    papers = paperlines.of_job(job) if sees_papers else []
    return Custody(
        collar=collar,
        bag_seen=f"{words.day_short(seen, today=today)}, {words.count(days, 'day')} ago" if seen else "",
        unseen=bool(seen) and days > rules.number("bag_photo_days"),
        trouble=custody.trouble(known) if job.state != S.CANCELLED else "",
        withdrawn=WithdrawnRevision.objects.filter(revision__iexact=collar.revision).first() if collar and collar.revision else None,
        reports=list(BagReport.objects.seen_by(user).waiting().filter(job=job)),
        papers=papers,
        deadlocks=[line.paper for line in papers if paperlines.is_deadlock(line.paper)],
        designs=_designs(job) if user.has_perm("core.see_jobs") else [],
        warranties=warrantyterms.of_job(job, known) if user.has_perm("core.see_jobs") else [],
        tags=BagTag.objects.filter(job=job, ended_at__isnull=True).count() if collar else 0,
        prints=_prints(job, user, registered=collar is not None),
        sees_papers=sees_papers,
    )


def _designs(job: Job) -> list[tuple[DesignDocument, list[Differs], bool]]:
    current = designs.current(job)
    if not current:
        return []
    sent = Sending.objects.filter(request__job=job, withdrawn=False).order_by("-sent_on", "-pk").first()
    with_it = set(sent.files.values_list("document_id", flat=True)) if sent else set()
    return [(one, designs.differing(one), one.document_id in with_it) for one in current]


def _prints(job: Job, user: User, *, registered: bool) -> list[Link]:
    found: list[Link] = []
    if job.state in (S.CANCELLED, S.BACKUP_VERIFIED):
        return found
    if registered and user.has_perm("core.record_custody"):
        found.append(Link("Print a bag tag", reverse("bag_tag", kwargs={"code": job.code})))
    if user.has_perm("core.record_day_one"):
        found.append(Link("Print hand-over sheet one", reverse("handover_sheet", kwargs={"code": job.code})))
    return found
