"""The kind `answers`: what utilities said of open requests, as they send a list of ours back line by line.

A line names a request by its code, or a job by its number where one request of it is open or fitting.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.facts import Said
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.sheets import doubles, parsers
from jobs.core.sheets.check import Applied, CheckedRow, Objection, Preview, Question
from jobs.core.sheets.columns import Column
from utilities import answerrows, requests, visits
from utilities.answerrows import CLOSED, FITTED, SCHEDULED, Found, Values
from utilities.importrows import names_on_record, serial_of
from utilities.models import FitRequest, Outcome

_ANSWERS = {
    answerrows.RECEIVED: ("acknowledged", "in queue", "accepted", "logged"),
    SCHEDULED: ("visit scheduled", "planned", "promised", "dispatched"),
    FITTED: ("installed", "energized", "complete", "completed", "done", "set"),
    CLOSED: ("cancelled", "canceled", "rejected", "withdrawn", "void"),
    answerrows.NOTHING: ("no update", "no change", "pending", "waiting", "open"),
}


class Answers:
    name = "answers"
    words = "Answers of utilities, one line a request"
    right = requests.RIGHT
    questions: Sequence[Question] = ()
    columns: Sequence[Column] = (
        Column(
            "request", "Request", ("request code", "our request", "our reference", "reference"), parse=parsers.text(at_most=12), code=True
        ),
        Column(
            "number", "Job number", ("job", "job no", "job #", "our number", "project number"), parse=parsers.text(at_most=40), code=True
        ),
        Column("utility", "Utility", ("electric utility", "utility name", "power company"), known=names_on_record),
        Column(
            "said_on",
            "Said on",
            ("date", "day", "answered on", "as of", "status date"),
            required=True,
            parse=parsers.day,
            wanted="the day of the answer, such as 18 Nov 2026",
        ),
        Column(
            "answer",
            "Answer",
            ("status", "outcome", "result", "response"),
            required=True,
            parse=parsers.choice(_ANSWERS),
            wanted="what the utility says: received, scheduled, fitted, closed or nothing new",
        ),
        Column(
            "on", "Day of it", ("fitted on", "installed on", "visit date", "scheduled for", "promised by", "closed on"), parse=parsers.day
        ),
        Column(
            "utility_reference",
            "Utility's number",
            ("utility reference", "work order", "ticket"),
            parse=parsers.text(at_most=80),
            code=True,
        ),
        Column("serial", "Fitted serial", ("serial", "collar serial"), parse=serial_of, code=True),
        Column("person", "Who said it", ("contact", "clerk", "said by"), parse=parsers.text(at_most=120)),
        Column("note", "Note", ("remark", "comment", "comments", "notes"), parse=parsers.text(at_most=300)),
    )

    def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        found = answerrows.records([row.values for row in rows])
        yield from doubles(rows, ("request", "said_on", "answer"), what="An answer of this day about this request")
        yield from doubles(rows, ("number", "said_on", "answer"), what="An answer of this day about this job")
        for row in rows:
            for column, sentence in _faults(row, found):
                yield Objection(row.number, column, sentence)

    def preview(self, rows: Sequence[CheckedRow]) -> Preview:
        found = answerrows.records([row.values for row in rows])
        known = sum(is_known(row.values, found) for row in rows)
        said = [f"{words.count(sum(row.values['answer'] == FITTED for row in rows), 'fitting').capitalize()}, 0 messages will be sent."]
        return Preview(new=len(rows) - known, changed=0, unchanged=known, words=tuple(said))

    def hold(self, rows: Sequence[CheckedRow]) -> None:
        found = answerrows.records([row.values for row in rows])
        named = {request.job_id for row in rows if (request := found.request(row.values)) is not None and request.job_id is not None}
        list(Job.objects.select_for_update(of=("self",)).filter(pk__in=named).order_by("pk").values_list("pk"))

    def apply_row(self, row: CheckedRow, by: Actor) -> Applied:
        told = row.values
        found = answerrows.records([told])
        if is_known(told, found):
            return "unchanged"
        request = found.request(told)
        if request is None:
            raise Refused("The request is no longer open: look at its page.", field="request")
        write(request, told, by=by)
        return "new"


KIND = Answers()


def _faults(row: CheckedRow, found: Found) -> Iterator[tuple[str, str]]:
    told = row.values
    if not (told.get("request") or told.get("number")):
        yield "request", "The line names neither request nor job: the request's code, or our job number, is wanted."
        return
    fault = found.fault(told)
    if fault:
        yield fault
        return
    request = found.request(told)
    if request is not None and row.good:
        yield from against(request, told, known=is_known(told, found))


def against(request: FitRequest, told: Values, *, known: bool) -> Iterator[tuple[str, str]]:
    """What stands against recording a line about a request: the column, and a sentence. known: it is on record already."""
    if told.get("utility") and told["utility"].casefold() != request.utility.name.casefold():
        yield "utility", f"Request {request.code} is at {request.utility.name}, not at {told['utility']}: is the line about another home?"
    said, day, answer = told["said_on"], told.get("on"), told["answer"]
    today = clock.today_in(request.utility.zone)
    if said > today:
        yield "said_on", f"{words.day(said)} has not come yet: the day of the answer is wanted."
    if said < request.filed_on:
        yield "said_on", f"Request {request.code} was sent on {words.day(request.filed_on)}; an answer about it comes later."
    if answer in (FITTED, CLOSED, SCHEDULED) and day is None:
        yield "on", f"The line says {answer} and no day: the day is wanted."
    elif answer in (FITTED, CLOSED) and day and not request.filed_on <= day <= said:
        yield (
            "on",
            f"{words.day(day)} does not lie between the sending on {words.day(request.filed_on)} and the answer on {words.day(said)}.",
        )
    elif answer == SCHEDULED and day and day < said:
        yield "on", f"The visit is scheduled for {words.day(day)}, before the answer on {words.day(said)}: a day to come is wanted."
    if told.get("serial") and answer != FITTED:
        yield "serial", "A fitted serial belongs to a fitting: leave it empty, or say fitted."
    if not request.is_open and not known:
        ended = f"{request.get_outcome_display()} on {words.day(request.ended_on)}" if request.ended_on else request.get_outcome_display()
        yield "answer", f"Request {request.code} is on record as {ended}: correct the record on the job's page, or this line."


def is_known(told: Values, found: Found) -> bool:
    request = found.request(told)
    if request is None:
        return False
    answer, day = told["answer"], told.get("on")
    if answer in (FITTED, CLOSED):
        outcome = Outcome.FITTED if answer == FITTED else Outcome.CANCELLED
        return request.outcome == outcome and request.ended_on == day
    return (request.pk, told["said_on"], answerrows.sentence(told)) in found.said


def write(request: FitRequest, told: Values, *, by: Actor, ours: bool = False, channel: str = "e-mail") -> None:
    """Record one line. ours: we asked, so that it counts as an asking of the desk. The caller holds the job's lock."""
    answer, said, day = told["answer"], told["said_on"], told.get("on")
    said_by = Said("utility", told.get("person") or "")
    _note_reference(request, told)
    if answer == FITTED:
        assert day is not None
        visits.fit(request, after_on=None, by_on=day, exact=True, serial=told.get("serial") or "", said_by=said_by, by=by)
    elif answer == CLOSED:
        assert day is not None
        reason = "closed by the utility without fitting"
        requests.end(request, on=day, reason=reason, said_by=said_by, by=by, note=told.get("note") or "")
    else:
        requests.contact(
            request,
            on=said,
            answered=answerrows.sentence(told),
            by=by,
            ours=ours,
            channel=channel,
            person=told.get("person") or "",
            promised_by=day if answer == SCHEDULED else None,
        )


def _note_reference(request: FitRequest, told: Values) -> None:
    """An answer of any kind shows that the request came in."""
    request.utility_reference = told.get("utility_reference") or request.utility_reference
    request.acknowledged_on = min(request.acknowledged_on or told["said_on"], told["said_on"])
    request.save(update_fields=["utility_reference", "acknowledged_on"])
