"""Downloads: the verification record and hand-over sheet two."""

from __future__ import annotations

import uuid

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from jobs.appointments import homewords, recordpapers, visitviews
from jobs.appointments.models import VerificationRecord
from jobs.core.models.people import Language
from jobs.core.papers.handovertwo import sheet_two as sheet_two_paper
from jobs.core.papers.verification import verification as verification_paper
from jobs.core.refusals import Refused
from jobs.core.web import download, right

PDF = "application/pdf"


def _record(request: HttpRequest, uid: uuid.UUID) -> VerificationRecord:
    rows = VerificationRecord.objects.seen_by(request.user)
    return get_object_or_404(rows.select_related("job__site", "appointment", "visit").prefetch_related("additions"), uid=uid)


@right("core.see_calls")
@require_safe
def record(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The verification record as it stands with its additions."""
    found = _record(request, uid)
    data = verification_paper(recordpapers.record_of(found))
    return download(data, f"verification-{found.job.code}-{found.day.isoformat()}.pdf", PDF)


@right("core.see_calls")
@require_safe
def sheet_two(request: HttpRequest, uid: uuid.UUID, lang: str) -> HttpResponseBase:
    """Hand-over sheet two in one language; a record that does not stand gives none, with the sentence on its page."""
    if lang not in Language.values:
        raise Http404("Sheet two is kept in English and Spanish.")
    found = _record(request, uid)
    try:
        told = recordpapers.sheet_two_of(found, lang=homewords.lang_of(lang))
    except Refused as refusal:
        return visitviews.refused(request, found, str(refusal))
    return download(sheet_two_paper(told), f"sheet-two-{found.job.code}-{lang}.pdf", PDF)
