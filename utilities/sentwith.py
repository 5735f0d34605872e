"""What was sent along with each sending of a request: the revision itself, and what is remarkable about it now (TRADE.md A4)."""

from __future__ import annotations

from dataclasses import dataclass

from jobs.core import designs
from jobs.core.models import DesignDocument, Document
from utilities.models import FitRequest, Sending


@dataclass(frozen=True)
class Along:
    document: Document
    remark: str = ""  # a newer revision, or what of the equipment differs


def sendings(request: FitRequest) -> list[tuple[Sending, list[Along]]]:
    """Of each sending its documents; of a design paper whether it is still the newest and what there is shows otherwise."""
    rows = list(request.sendings.prefetch_related("documents"))
    if request.job is None:
        return [(row, []) for row in rows]
    papers = {design.document_id: design for design in request.job.designs.select_related("job")}
    newest = {design.pk for design in designs.current(request.job)}
    return [(row, [Along(document, _remark(papers.get(document.pk), newest)) for document in row.documents.all()]) for row in rows]


def _remark(design: DesignDocument | None, newest: set[int]) -> str:
    if design is None:
        return ""
    differs = [one.words for one in designs.differing(design)]
    later = [] if design.pk in newest else ["a newer revision is on record"]
    return "; ".join(later + differs)
