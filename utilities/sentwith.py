"""What was sent along with each sending of a request: the revision itself, and what is remarkable about it now (TRADE.md A4)."""

from __future__ import annotations

from dataclasses import dataclass

from jobs.core import designs
from jobs.core.models import DesignDocument
from utilities.models import FitRequest, Sending, SentFile


@dataclass(frozen=True)
class Along:
    file: SentFile
    remark: str = ""  # a newer revision, or what of the equipment differs


def sendings(request: FitRequest) -> list[tuple[Sending, list[Along]]]:
    """Of each sending its files; of a design paper whether it is still the newest and what there is shows otherwise."""
    rows = list(request.sendings.prefetch_related("files__document"))
    if request.job is None:
        return [(row, [Along(file) for file in row.files.all()]) for row in rows]
    papers = {design.document_id: design for design in request.job.designs.select_related("job")}
    newest = {design.pk for design in designs.current(request.job)}
    return [(row, [Along(file, _remark(papers.get(file.document_id), newest)) for file in row.files.all()]) for row in rows]


def _remark(design: DesignDocument | None, newest: set[int]) -> str:
    if design is None:
        return ""
    differs = [one.words for one in designs.differing(design)]
    later = [] if design.pk in newest else ["a newer revision is on record"]
    return "; ".join(later + differs)
