"""How a request ends without fitting: lapsed, withdrawn, refused; and a request that the utility closed while it is open with us."""

from __future__ import annotations

import datetime as dt

from jobs.core import words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import Said
from jobs.core.refusals import Refused
from utilities.models import FitRequest, Outcome
from utilities.requests import RIGHT, contact, end, refuse_if_ended

WITHDRAWN = "withdrawn by us"

ENDS = {
    "lapsed": "lapsed at the utility",
    "withdrawn": WITHDRAWN,
    "closed": "closed by the utility without fitting",
    "will not fit": "the utility will not fit here",
}


@act(right=RIGHT, on=FitRequest)
def end_request(request: FitRequest, *, on: dt.date, reason: str, by: Actor, said_by: Said | None = None, note: str = "") -> FitRequest:
    """The request ended without fitting. The home waits on us until a new one is sent."""
    refuse_if_ended(request)
    if reason not in ENDS:
        raise Refused(f"“{reason}” is no end we know; wanted one of: {', '.join(ENDS)}.", field="reason")
    if on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; it cannot end before that.", field="on")
    told = said_by or (Said("us", by.name) if reason == "withdrawn" else Said("utility"))
    end(request, on=on, reason=ENDS[reason], said_by=told, by=by, note=note)
    return request


@act(right=RIGHT, on=FitRequest)
def record_closed_there(
    request: FitRequest, *, on: dt.date, reason: str, by: Actor, person: str = "", channel: str = "portal"
) -> FitRequest:
    """Closed in the utility's books and not fitted: a discrepancy that stands until somebody ends it here or has it opened there again."""
    refuse_if_ended(request)
    if not reason.strip():
        raise Refused("Give the utility's reason, or “no reason given”.", field="reason")
    if request.closed_there_on is not None:
        raise Refused(f"It is on record as closed there on {words.day(request.closed_there_on)} already.", field="on")
    contact(request, on=on, answered=f"closed there: {reason.strip()}", by=by, ours=False, person=person, channel=channel)
    request.closed_there_on, request.closed_there_reason = on, reason.strip()
    request.save(update_fields=["closed_there_on", "closed_there_reason"])
    return request


@act(right=RIGHT, on=FitRequest)
def record_open_there(request: FitRequest, *, on: dt.date, by: Actor, person: str = "", channel: str = "telephone") -> FitRequest:
    """The utility has opened it again, or had never closed it: the wait goes on from its first sending."""
    refuse_if_ended(request)
    if request.closed_there_on is None:
        raise Refused("It is not on record as closed there; somebody may just have cleared it.")
    if on < request.closed_there_on:
        raise Refused(f"It was closed there on {words.day(request.closed_there_on)}; it was opened again on or after that day.", field="on")
    contact(request, on=on, answered="open there again", by=by, ours=True, person=person, channel=channel)
    request.closed_there_on, request.closed_there_reason = None, ""
    request.save(update_fields=["closed_there_on", "closed_there_reason"])
    return request


@act(right=RIGHT, on=FitRequest)
def record_withdrawal_heard(request: FitRequest, *, on: dt.date, person: str, by: Actor) -> FitRequest:
    """The utility acknowledged that the request is withdrawn; until then it may still come and fit (TRADE.md E13)."""
    if request.outcome != Outcome.CANCELLED or request.end_reason != WITHDRAWN or request.ended_on is None:
        raise Refused(f"Request {request.code} was not withdrawn by us; only a withdrawal is acknowledged.")
    if request.withdrawal_heard_on is not None:
        raise Refused(f"The utility acknowledged it on {words.day(request.withdrawal_heard_on)} already.", field="on")
    if on < request.ended_on:
        raise Refused(f"It was withdrawn on {words.day(request.ended_on)}; the answer came on or after that day.", field="on")
    if not person.strip():
        raise Refused("Name who at the utility acknowledged it.", field="person")
    request.withdrawal_heard_on, request.withdrawal_heard_from = on, person.strip()
    request.save(update_fields=["withdrawal_heard_on", "withdrawal_heard_from"])
    return request
