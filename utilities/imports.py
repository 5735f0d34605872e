"""The kind `requests`: requests to fit, past and open, of our jobs or of the years before them."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

from jobs.core import clock, facts, journal, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.facts import Said
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.sheets import doubles, parsers
from jobs.core.sheets.check import Applied, CheckedRow, Objection, Preview, Question
from jobs.core.sheets.columns import Column
from utilities import meters, requests, visits, waking
from utilities.importrows import Records, Values, known_from, names_on_record, outcome_of, records, serial_of, source_key
from utilities.models import FitRequest, Outcome

Written = TypeVar("Written")

SAID = Said("contractor's list")

COMPLETE = Question(
    "complete",
    "Does this list hold every request sent since its first date, the finished ones too?",
    {"yes": "yes, every one", "no": "no, only those open at the time", "finished": "no, only the finished ones"},
)
FINISHED_ONLY = (
    "A list of finished waits only cannot be used: it does not tell how many were waiting meanwhile, so short waits would look usual. "
    "A list that holds the open requests too is wanted."
)

_OUTCOMES = {
    Outcome.FITTED.value: ("installed", "energized", "done", "complete", "completed"),
    Outcome.CANCELLED.value: ("canceled", "withdrawn", "lapsed", "closed"),
    Outcome.OPEN.value: ("waiting", "pending", "active"),
}


def _day(name: str, label: str, *aliases: str, required: bool = False) -> Column:
    return Column(name, label, aliases, required=required, parse=parsers.day, wanted="a day such as 3 Jun 2026")


class Requests:
    """Rows of one wait each. A row with a job's number is that job's request; one without is history, and needs a reference of its own."""

    name = "requests"
    words = "Requests to fit, past and open"
    right = "core.add_jobs"
    questions: Sequence[Question] = (COMPLETE,)
    columns: Sequence[Column] = (
        Column(
            "number", "Job number", ("job", "job no", "job #", "our number", "project number"), parse=parsers.text(at_most=40), code=True
        ),
        Column(
            "utility",
            "Utility",
            ("electric utility", "utility name", "power company"),
            required=True,
            parse=parsers.text(at_most=120),
            wanted="the name of a utility on record",
            known=names_on_record,
        ),
        Column("district", "District", ("utility district", "service area"), parse=parsers.text(at_most=80)),
        _day("sent_on", "Request sent on", "filed on", "request sent", "req sent", "sent", "sent on", required=True),
        Column("route", "Route", ("request route", "sent by"), parse=parsers.text(at_most=80)),
        Column(
            "reference",
            "Reference",
            ("request id", "request number", "utility reference", "ref"),
            parse=parsers.text(at_most=80),
            code=True,
        ),
        _day("known_from", "Known from", "first known", "under observation from"),
        Column("outcome", "Outcome", ("status", "result"), parse=parsers.choice(_OUTCOMES)),
        _day("outcome_on", "Outcome day", "outcome on", "fitted on", "ended on", "completed on"),
        _day("fitted_after", "Last known not fitted", "fitted after", "last seen not fitted"),
        Column("serial", "Fitted serial", ("serial", "collar serial"), parse=serial_of, code=True),
        Column("reason", "Reason", ("end reason", "why ended"), parse=parsers.text(at_most=160)),
        Column("meter_number", "Meter number", ("meter", "meter no", "meter #"), parse=parsers.text(at_most=40), code=True),
    )

    def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        found = records([row.values for row in rows])
        with_job = [_with_route(row) for row in rows if row.values.get("number")]
        yield from doubles(with_job, ("number", "sent_on", "route"), what="A request of this job, day and route")
        without = [row for row in rows if not row.values.get("number")]
        yield from doubles(without, ("reference", "utility", "sent_on"), what="A request of this utility, day and reference")
        newest: dict[int, CheckedRow] = {}
        for row in rows:
            yield from _objections(row, found, newest)

    def preview(self, rows: Sequence[CheckedRow]) -> Preview:
        found = records([row.values for row in rows])
        does = [_does(row.values, found) for row in rows]
        history = sum(not row.values.get("number") for row in rows)
        blind = sum(_says_nothing(row.values, found) for row in rows)
        said = ["0 messages will be sent, 0 invoices drafted."]
        if history:
            said.append(f"{words.count(history, 'row').capitalize()} without a job: history, for the forecasts only.")
        if blind:
            said.append(f"{words.count(blind, 'row').capitalize()} had ended before the list knew of them and will not count in forecasts.")
        return Preview(new=does.count("new"), changed=does.count("changed"), unchanged=does.count("unchanged"), words=tuple(said))

    def hold(self, rows: Sequence[CheckedRow]) -> None:
        named = [job.pk for job in records([row.values for row in rows]).jobs.values()]
        list(Job.objects.select_for_update().filter(pk__in=named).order_by("pk").values_list("pk"))

    def apply_together(self, rows: Sequence[CheckedRow], by: Actor) -> Sequence[Applied] | None:
        """Rows of history touch no home and not each other: years of them are written fifty at a time."""
        if any(row.values.get("number") for row in rows):
            return None
        found = records([row.values for row in rows])
        does = [_does(row.values, found) for row in rows]
        new = [row.values for row, what in zip(rows, does, strict=True) if what == "new"]
        codes = requests.fresh_codes(len(new))
        journal.wrote(
            FitRequest.objects.bulk_create([_history(None, told, found, by, code) for told, code in zip(new, codes, strict=True)])
        )
        for row, what in zip(rows, does, strict=True):
            if what == "changed":
                _history(found.request(row.values), row.values, found, by).save()
        waking.wake()
        return does

    def apply_row(self, row: CheckedRow, by: Actor) -> Applied:
        found = records([row.values])
        does = _does(row.values, found)
        if does == "unchanged":
            return does
        request = found.request(row.values)
        if found.job(row.values) is None:
            _history(request, row.values, found, by).save()
            waking.wake()
        else:
            _write_request(request, row.values, found, by)
        return does


KIND = Requests()


def _with_route(row: CheckedRow) -> CheckedRow:
    """With an empty route as a value, so that two equal rows without one are asked about too."""
    return dataclasses.replace(row, values={**row.values, "route": row.values.get("route") or ""})


def _objections(row: CheckedRow, found: Records, newest: dict[int, CheckedRow]) -> Iterator[Objection]:
    told = row.values
    if told.get("complete") == "finished":
        yield Objection(row.number, "outcome", FINISHED_ONLY)
        return
    if told.get("utility") and found.utility(told) is None:
        yield Objection(row.number, "utility", _utility_wanted(str(told["utility"]), found))
    if told.get("district") and found.utility(told) is not None and found.district(told) is None:
        yield Objection(
            row.number, "district", f"{found.utility(told)} has no district “{told['district']}”: one of its own, or nothing, is wanted."
        )
    for column, sentence in _days(told, found):
        yield Objection(row.number, column, sentence)
    job = found.job(told)
    if told.get("number"):
        if job is None:
            yield Objection(
                row.number, "number", f"No job has the number “{told['number']}”: our number or code, or nothing for history, is wanted."
            )
        elif row.good:
            yield from _of_job(row, job, found, newest)
    elif not told.get("reference"):
        yield Objection(
            row.number, "reference", "A row without a job needs a reference of its own, so that the file can be brought in again."
        )


def _utility_wanted(name: str, found: Records) -> str:
    near = difflib.get_close_matches(name, found.names, n=3, cutoff=0.5)
    if not found.names:
        return f"“{name}” is not on record, and no utility is: enter it under Utilities first."
    wanted = (
        words.listed(near, last="or")
        if near
        else f"{words.listed(found.names[:5], last='or')}{' or another' if len(found.names) > 5 else ''}"
    )
    return f"“{name}” is not on record: the name of a utility is wanted, such as {wanted}; or enter it under Utilities first."


def _days(told: Values, found: Records) -> Iterator[tuple[str, str]]:
    sent, ended, after = (told.get(name) for name in ("sent_on", "outcome_on", "fitted_after"))
    utility = found.utility(told)
    today = clock.today_in(utility.zone) if utility else found.today
    for column, day in (("sent_on", sent), ("outcome_on", ended)):
        if day and day > today:
            yield column, f"{words.day(day)} has not come yet."
    outcome = outcome_of(told)
    if outcome == Outcome.OPEN and ended:
        yield "outcome", f"The row has an outcome on {words.day(ended)} and does not say which: fitted or cancelled is wanted."
    if outcome != Outcome.OPEN and not ended:
        yield "outcome_on", f"The request is {outcome} on no day: the day is wanted, or open as the outcome."
    if sent and ended and ended < sent:
        yield "outcome_on", f"The outcome on {words.day(ended)} comes before the request was sent on {words.day(sent)}."
    if after and outcome != Outcome.FITTED:
        yield "fitted_after", "A last day known not fitted belongs to a fitting: leave it empty, or say that it was fitted."
    elif after and ended and after >= ended:
        yield "fitted_after", "The last day it was known not fitted must come before the first day it was known fitted."
    elif after and sent and after < sent:
        yield "fitted_after", f"The last day known not fitted comes before the request was sent on {words.day(sent)}: leave it empty."


def _of_job(row: CheckedRow, job: Job, found: Records, newest: dict[int, CheckedRow]) -> Iterator[Objection]:
    told, sent = row.values, row.values["sent_on"]
    before = newest.setdefault(job.pk, row)
    if sent < before.values["sent_on"]:
        yield Objection(row.number, "sent_on", f"Row {before.number} holds a later request of this job: put the older one first.")
        return
    newest[job.pk] = row
    same_meter = before.values.get("meter_number") == told.get("meter_number")
    if before is not row and same_meter and sent > before.values["sent_on"] and outcome_of(before.values) == Outcome.OPEN:
        yield Objection(row.number, "sent_on", f"Row {before.number} of this job is still open: say how that request ended first.")
        return
    elsewhere = [service for service in found.services.get(job.pk, []) if service.utility != found.utility(told)]
    if elsewhere and found.utility(told) is not None and found.service(told) is None:
        yield Objection(
            row.number, "utility", f"Job {job.code} is connected to {elsewhere[0].utility}: that name, or a change on its page, is wanted."
        )
        return
    request = found.request(told)
    if request is not None:
        yield from _conflicts(row, request)
        return
    open_ones = [other for other in found.of_job.get(job.pk, []) if other.is_open and other.service == found.service(told)]
    if open_ones:
        day = words.day(open_ones[0].filed_on)
        yield Objection(
            row.number,
            "sent_on",
            f"Request {open_ones[0].code} of this job is open since {day}: that day, or its outcome first, is wanted.",
        )
        return
    others = list(job.facts.standing().values_list("kind", "day"))
    if fault := facts.day_fault(k.REQUEST_SENT, sent, others=others, today=clock.today_in(job.site.zone)):
        yield Objection(row.number, "sent_on", fault)


def _conflicts(row: CheckedRow, request: FitRequest) -> Iterator[Objection]:
    told, outcome = row.values, outcome_of(row.values)
    # A list that still calls it open is only older than our record.
    if outcome == Outcome.OPEN or request.is_open or (outcome, told.get("outcome_on")) == (request.outcome, request.ended_on):
        return
    assert request.ended_on is not None
    recorded = f"{request.get_outcome_display()} on {words.day(request.ended_on)}"
    yield Objection(
        row.number, "outcome_on", f"Request {request.code} is on record as {recorded}: correct the record on the job's page, or this cell."
    )


def _does(told: Values, found: Records) -> Applied:
    request = found.request(told)
    if request is None:
        return "new"
    return "changed" if request.is_open and outcome_of(told) != Outcome.OPEN else "unchanged"


def _says_nothing(told: Values, found: Records) -> bool:
    begun = known_from(told, found.today)
    return begun is not None and told.get("outcome_on") is not None and told["outcome_on"] < begun


def _history(request: FitRequest | None, told: Values, found: Records, by: Actor, code: str = "") -> FitRequest:
    utility = found.utility(told)
    assert utility is not None, "the row was checked"
    outcome, ended = outcome_of(told), told.get("outcome_on")
    if request is None:
        request = FitRequest(
            code=code or requests.fresh_code(),
            utility=utility,
            district=found.district(told),
            filed_on=told["sent_on"],
            known_from=known_from(told, found.today),
            route=told.get("route") or "",
            own_reference=told["reference"],
            source_key=source_key(utility, told),
            recorded_at=clock.now(),
            recorded_by_name=by.name,
        )
    request.outcome, request.ended_on = outcome, ended
    if outcome == Outcome.FITTED:
        request.fitted_by, request.fitted_after = ended, told.get("fitted_after")
    request.end_reason = (told.get("reason") or "") if outcome == Outcome.CANCELLED else ""
    request.changed_at = clock.now()
    return request


def _write_request(request: FitRequest | None, told: Values, found: Records, by: Actor) -> None:
    job, utility = found.job(told), found.utility(told)
    assert job is not None, "the row was checked"
    assert utility is not None, "the row was checked"
    if request is None:
        service = found.service(told) or meters.connect(
            job, utility=utility, district=found.district(told), meter_number=told.get("meter_number") or ""
        )
        request = _at(
            "sent_on",
            lambda: requests.send(
                service,
                on=told["sent_on"],
                by=by,
                route=told.get("route") or "",
                reference=told.get("reference") or "",
                known_from=known_from(told, found.today),
            ),
        )
    outcome = outcome_of(told)
    if outcome == Outcome.OPEN:
        return
    ended, wait = told["outcome_on"], request
    if outcome == Outcome.CANCELLED:
        _at("outcome_on", lambda: requests.end(wait, on=ended, reason=told.get("reason") or "ended without fitting", said_by=SAID, by=by))
    else:
        after, serial = told.get("fitted_after"), told.get("serial") or ""
        _at("outcome_on", lambda: visits.fit(wait, after_on=after, by_on=ended, exact=after is None, serial=serial, said_by=SAID, by=by))


def _at(column: str, write: Callable[[], Written]) -> Written:
    """A refusal met only while writing stands at the cell it is about."""
    try:
        return write()
    except Refused as refusal:
        raise Refused(str(refusal), field=column) from refusal
