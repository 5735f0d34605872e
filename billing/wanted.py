"""Papers that a payer asks for with a milestone: which are there, and which are missing."""

from __future__ import annotations

from collections.abc import Iterable

from billing.models import Milestone, PaperGiven
from jobs.core import clock, files
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Document, Job
from jobs.core.refusals import Refused


@act(right="core.bill", on=Job)
def give_paper(job: Job, *, words: str, by: Actor, document: Document | None = None, upload: tuple[str, bytes] | None = None) -> PaperGiven:
    """Say which of the job's papers it is, or bring it in as a file (name and bytes)."""
    asked = {name for wants in job.milestones.values_list("wants", flat=True) for name in wants}
    if words not in asked:
        raise Refused(f"No milestone of this job asks for “{words}”; its plan may have changed.", field="words")
    if PaperGiven.objects.filter(job=job, words=words).exists():
        raise Refused(f"“{words}” is there already.", field="words")
    if document is None and upload is None:
        raise Refused("Choose one of the job's papers, or a file.", field="document")
    if document is None:
        assert upload is not None
        document = files.add_document(job, name=upload[0], data=upload[1], subject=words[:80], by=by)
    elif document.job_id != job.pk:
        raise Refused("That paper belongs to another job.", field="document")
    return PaperGiven.objects.create(job=job, words=words, document=document, at=clock.now(), by_name=by.name)


def given_of(job: Job) -> dict[str, PaperGiven]:
    return {row.words: row for row in PaperGiven.objects.filter(job=job).select_related("document")}


def missing_of(milestones: Iterable[Milestone]) -> dict[int, list[str]]:
    """By the milestone's key, what its payer asks for and is not there; one query, however many."""
    rows = list(milestones)
    there: dict[int, set[str]] = {}
    for job, words in PaperGiven.objects.filter(job__in={row.job_id for row in rows}).values_list("job", "words"):
        there.setdefault(job, set()).add(words)
    return {row.pk: [name for name in row.wants if name not in there.get(row.job_id, ())] for row in rows}
