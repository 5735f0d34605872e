"""What a desk said of several homes in one conversation, line by line: the acts and checks of a list of answers, with a pen in hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from django.db import transaction

from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job
from jobs.core.refusals import OutOfSight, Refused
from utilities import answerrows, answers, requests
from utilities.models import DeskSheet, FitRequest, Utility

SAID: Final = {
    answerrows.NOTHING: "nothing new",
    answerrows.RECEIVED: "received, in its queue",
    answerrows.SCHEDULED: "planned for the day",
    answerrows.FITTED: "fitted on the day",
    answerrows.CLOSED: "closed there on the day",
}


@dataclass(frozen=True)
class Line:
    """What was said of one request. on: the day planned, fitted or closed."""

    code: str
    answer: str
    on: dt.date | None = None
    reference: str = ""
    note: str = ""


class LinesRefused(Refused):
    """Nothing was recorded. wrong: by the request's code, the column and a sentence."""

    def __init__(self, wrong: Mapping[str, tuple[str, str]], *, good: int) -> None:
        one = len(wrong) == 1
        kept = f" The other {words.count(good, 'line')} can be recorded without {'it' if one else 'them'}." if good else ""
        super().__init__(f"{words.count(len(wrong), 'line').capitalize()} cannot be recorded, so nothing was.{kept}")
        self.wrong, self.good = wrong, good


@act(right=requests.RIGHT, on=Utility)
def record_lines(
    utility: Utility,
    *,
    lines: Sequence[Line],
    on: dt.date,
    by: Actor,
    person: str = "",
    channel: str = "telephone",
    good_ones: bool = False,
    sheet: DeskSheet | None = None,
) -> int:
    """Record what the desk said on a day. Each line is checked again as the record is by now; a line that is on record already counts as
    recorded. All of them or none; with good_ones those that can be. Gives how many were recorded.
    sheet: the sheet of ours that it answers; giving it was the asking.
    """
    if not lines:
        raise Refused("No line says anything yet; “nothing new” is an answer too.")
    if on > clock.today_in(utility.zone):
        raise Refused(f"{words.day(on)} has not come yet: the day of the answers is wanted.", field="on")
    if sheet is not None:
        _refuse_other_sheet(sheet, utility, lines, on)
    by_code = _held(utility, lines, by)
    told = [(line, _values(line, on=on, person=person)) for line in lines]
    found = answerrows.records([values for _, values in told])
    wrong: dict[str, tuple[str, str]] = {}
    good = []
    for line, values in told:
        request = by_code[line.code]
        known = answers.is_known(values, found)
        fault = next(answers.against(request, values, known=known), None)
        if line.answer not in SAID:
            wrong[line.code] = ("answer", f"“{line.answer}” is no answer we know; wanted one of: {', '.join(SAID)}.")
        elif fault is not None:
            wrong[line.code] = fault
        elif not known:
            good.append((request, values))
    for request, values in good:
        try:
            with transaction.atomic():
                answers.write(request, values, by=by, ours=sheet is None, channel=channel)
        except Refused as refusal:
            wrong[request.code] = (refusal.field or "answer", str(refusal))
    if wrong and (not good_ones or len(wrong) == len(lines)):
        raise LinesRefused(wrong, good=len(lines) - len(wrong))
    return len(lines) - len(wrong)


def _refuse_other_sheet(sheet: DeskSheet, utility: Utility, lines: Sequence[Line], on: dt.date) -> None:
    if sheet.utility_id != utility.pk or sheet.released_on is None:
        raise Refused(f"This sheet was not given to {utility} yet; there can be no answer to it.")
    if on < sheet.released_on:
        raise Refused(f"The sheet was given on {words.day(sheet.released_on)}; an answer to it comes later.", field="on")
    newer = DeskSheet.objects.filter(utility=utility, released_at__gt=sheet.released_at).order_by("released_at").last()
    if newer is not None and newer.released_on is not None:
        raise Refused(
            f"This is the sheet of {words.day(sheet.released_on)}; {utility} has one of {words.day(newer.released_on)} since. What it says "
            "now is recorded on the newer one; what it said of the old one is recorded on the page of each request."
        )
    given = set(sheet.lines.filter(left_off="").values_list("request__code", flat=True))
    if missing := {line.code for line in lines} - given:
        raise OutOfSight(f"Request {min(missing)} does not stand on this sheet.")


def _held(utility: Utility, lines: Sequence[Line], by: Actor) -> dict[str, FitRequest]:
    """The requests by code, their jobs locked in their order."""
    seen = FitRequest.objects.filter(utility=utility, job__isnull=False, service__isnull=False)
    if by.user is not None:
        seen = seen & FitRequest.objects.seen_by(by.user)
    wanted = {line.code for line in lines}
    jobs = seen.filter(code__in=wanted).values_list("job_id", flat=True)
    list(Job.objects.select_for_update(of=("self",)).filter(pk__in=list(jobs)).order_by("pk").values_list("pk"))
    found = {one.code: one for one in seen.filter(code__in=wanted).select_related("utility", "service", "job__site")}
    if missing := wanted - set(found):
        raise OutOfSight(f"There is no request {min(missing)} at {utility} among those you may see.")
    return found


def _values(line: Line, *, on: dt.date, person: str) -> answerrows.Values:
    return {
        "request": line.code,
        "said_on": on,
        "answer": line.answer,
        "on": line.on,
        "utility_reference": line.reference.strip(),
        "person": person.strip(),
        "note": line.note.strip(),
    }
