"""A revision of the collar that may be fitted no more: which homes hold it, and one task for each of their utilities (TRADE.md E15)."""

from __future__ import annotations

import datetime as dt

from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import Collar, WithdrawnRevision
from jobs.core.models.custody import CollarQuerySet
from jobs.core.refusals import Refused
from jobs.core.states import S
from utilities.models import RevisionTask, Service, Utility


@act(right="core.run_office")
def withdraw_revision(revision: str, *, on: dt.date, notice: str, by: Actor) -> WithdrawnRevision:
    """No collar of this revision is registered any more; what hangs and waits becomes one task for each utility."""
    revision = revision.strip()
    if not revision:
        raise Refused("Give the revision as its label shows it.", field="revision")
    if not notice.strip():
        raise Refused("Say whose notice it is, with its number or day.", field="notice")
    if on > clock.office_today():
        raise Refused(f"{words.day(on)} has not come yet; a revision is withdrawn from a day that has come.", field="on")
    one_at_a_time("withdrawn revisions")
    if WithdrawnRevision.objects.filter(revision__iexact=revision).exists():
        raise Refused(f"Revision {revision} is withdrawn already.", field="revision")
    gone = WithdrawnRevision.objects.create(revision=revision, on=on, notice=notice.strip(), by_name=by.name, recorded_at=clock.now())
    served = utility_by_job([collar.job_id for collar in holding(revision) if collar.job_id is not None])
    found: list[int | None] = [served.get(collar.job_id or 0) for collar in holding(revision)]
    for utility_id in dict.fromkeys(found):
        RevisionTask.objects.create(withdrawn=gone, utility_id=utility_id)
    return gone


@act(right="core.record_requests", on=RevisionTask)
def finish_task(task: RevisionTask, *, how: str, by: Actor) -> RevisionTask:
    """The homes of this utility were seen to."""
    if task.done_at is not None:
        raise Refused(f"{task.done_by_name} has finished this meanwhile: {task.done_how}.")
    if not how.strip():
        raise Refused("Say what was done: swapped, told to the desk, or why nothing is to be done.", field="how")
    task.done_at, task.done_how, task.done_by_name = clock.now(), how.strip(), by.name
    task.save(update_fields=["done_at", "done_how", "done_by_name"])
    return task


def holding(revision: str) -> CollarQuerySet:
    """The collars of a revision that belong to a home: in its bag, in its socket, or on their way there."""
    return Collar.objects.filter(revision__iexact=revision.strip(), job__isnull=False).exclude(job__state=S.CANCELLED).order_by("serial")


def homes_of(task: RevisionTask) -> list[Collar]:
    """Those of the task's utility that hold the revision now: a swap takes one off."""
    found = list(holding(task.withdrawn.revision).select_related("job__site").prefetch_related("job__parties__person"))
    served = utility_by_job([collar.job_id for collar in found if collar.job_id is not None])
    return [collar for collar in found if served.get(collar.job_id or 0) == task.utility_id]


def utility_by_job(job_ids: list[int]) -> dict[int, int]:
    """The utility of each home; of two meters that of the one entered first."""
    return dict(Service.objects.filter(job__in=job_ids).order_by("-pk").values_list("job_id", "utility_id"))


def holders_by_utility(revision: str) -> list[tuple[Utility | None, list[Collar]]]:
    """Which homes hold a revision, by utility; those without one last."""
    found = list(holding(revision).select_related("job__site").prefetch_related("job__parties__person"))
    served = utility_by_job([collar.job_id for collar in found if collar.job_id is not None])
    utilities = Utility.objects.in_bulk(set(served.values()))
    groups: dict[int | None, list[Collar]] = {}
    for collar in found:
        groups.setdefault(served.get(collar.job_id or 0), []).append(collar)
    named = [(utilities[pk] if pk is not None else None, collars) for pk, collars in groups.items()]
    return sorted(named, key=lambda pair: (pair[0] is None, pair[0].name if pair[0] else ""))
