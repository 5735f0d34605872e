"""The utility's visits: announced, and what came of them; and the fitting, once what was reported of it (reports.py) is confirmed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core import clock, facts, lifecycle, rules, secrets, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.dayone import normal_serial
from jobs.core.facts import Said, When
from jobs.core.models import Fact
from jobs.core.refusals import Refused
from jobs.core.rights import CREW, MANAGER, SCHEDULER
from jobs.core.waiting import HOMEOWNER, UTILITY
from jobs.notices import outbox
from utilities import notices, requests, services
from utilities.models import FitRequest, Outcome, Visit
from utilities.truth import FITTED_VISIT, ONE_DAY

RIGHT = requests.RIGHT


@dataclass(frozen=True)
class Next:
    """Who must act after a visit, and what. `missed_by`: who missed it, where the outcome tells; counted (TRADE.md C6a)."""

    actor: str
    act: str
    missed_by: str = ""
    seen_not_fitted: bool = True  # somebody stood there and saw that no collar was fitted


# Every outcome of TRADE.md C6 but "fitted" leads to a named next actor.
OUTCOMES: dict[str, Next] = {
    FITTED_VISIT: Next("", "", seen_not_fitted=False),
    "could not get in": Next(SCHEDULER, "Arrange access with the homeowner, then ask for a new window", "homeowner"),
    "nobody home": Next(HOMEOWNER, "Ask the homeowner for days on which somebody is home", "homeowner"),
    "collar not found": Next(CREW, "Find or replace the collar, and photograph the bag"),
    "collar damaged or wrong": Next(CREW, "Replace the collar and register the new serial"),
    "meter or socket not suitable": Next(SCHEDULER, "Have the designer propose a change for the owner to sign"),
    "unsafe condition found": Next(CREW, "Send a licensed electrician to what was tagged"),
    "not the right crew or equipment": Next(UTILITY, "Ask the utility for a new window with the right crew", "utility"),
    "cancelled by utility": Next(UTILITY, "Ask the utility for a new window", "utility", seen_not_fitted=False),
    "unknown": Next(SCHEDULER, "Learn what came of the visit", seen_not_fitted=False),
}
SEEN_NOT_FITTED = frozenset(outcome for outcome, next_ in OUTCOMES.items() if next_.seen_not_fitted)

SECOND = 2  # visits missed: from then on the manager decides

MISSED_BY = {"utility": "the utility", "homeowner": "the homeowner", "us": "us"}


@act(right=RIGHT, on=FitRequest)
def announce_visit(
    request: FitRequest,
    *,
    told_on: dt.date,
    window_from: dt.date,
    window_to: dt.date,
    by: Actor,
    hours: str = "",
    person: str = "",
    homeowner_told_on: dt.date | None = None,
    access_note: str = "",
) -> Visit:
    """The utility named a day or a window. It is a promise, due on its last day; a newer one takes its place."""
    requests.refuse_if_ended(request)
    if window_from > window_to:
        raise Refused("The window ends before it begins; its first day comes first.", field="window_to")
    if window_from < told_on:
        raise Refused(
            "The window begins before the day on which it was named; record a visit that has been as a visit.", field="window_from"
        )
    if homeowner_told_on is not None and homeowner_told_on < told_on:
        raise Refused("The homeowner cannot have been told before we were.", field="homeowner_told_on")
    if request.job is not None:
        secrets.refuse_code_in(request.job, access_note, field="access_note")
    days = words.day(window_from) if window_from == window_to else f"{words.day(window_from)} to {words.day(window_to)}"
    answered = f"visit announced for {days}" + (f", {hours.strip()}" if hours.strip() else "")
    requests.contact(request, on=told_on, answered=answered, by=by, ours=False, person=person, promised_by=window_to)
    for earlier in request.visits.pending():
        notices.withdraw_of_visit(earlier, reason=f"The utility moved its visit to {days}.")
    request.visits.pending().update(withdrawn=True, reason=f"moved to {days}")
    visit = Visit.objects.create(
        request=request,
        announced_on=told_on,
        window_from=window_from,
        window_to=window_to,
        window_words=hours.strip(),
        homeowner_told_on=homeowner_told_on,
        access_note=access_note.strip(),
        said_by=person.strip(),
        recorded_at=clock.now(),
        recorded_by_name=by.name,
    )
    notices.owe_of_visit(visit, by=by)
    return visit


@act(right=RIGHT, on=Visit)
def record_homeowner_told(visit: Visit, *, on: dt.date, by: Actor) -> Visit:
    """The homeowner knows of the announced visit: power goes off for minutes, the gate must open."""
    if visit.outcome or visit.withdrawn:
        raise Refused("This visit is over, or its window was moved; tell the homeowner of the new one.")
    if visit.homeowner_told_on is not None:
        raise Refused(f"The homeowner was told of this visit on {words.day(visit.homeowner_told_on)} already.", field="on")
    if visit.announced_on is not None and on < visit.announced_on:
        raise Refused("The homeowner cannot have been told before we were.", field="on")
    visit.homeowner_told_on = on
    visit.save(update_fields=["homeowner_told_on"])
    outbox.withdraw(job=visit.job, cause=notices.cause_of(visit), reason=f"The homeowner was told on {words.day(on)}.")
    return visit


@act(right=RIGHT, on=FitRequest)
def record_visit(
    request: FitRequest,
    *,
    on: dt.date,
    outcome: str,
    by: Actor,
    said_by: Said | None = None,
    reason: str = "",
    missed_by: str = "",
    serial: str = "",
    after_on: dt.date | None = None,
    next_due_on: dt.date | None = None,
) -> Visit:
    """What came of a visit. `on`: its day; of a fitting whose day is not known the first day known fitted, with `after_on` before it.

    Of every other outcome a reason is wanted; it leads to a named next actor, due on `next_due_on` or by the rules as they stand.
    """
    requests.refuse_if_ended(request)
    if outcome not in OUTCOMES:
        raise Refused(f"“{outcome}” is no outcome we know; wanted one of: {', '.join(OUTCOMES)}.", field="outcome")
    if missed_by and missed_by not in MISSED_BY:
        raise Refused(f"“{missed_by}” is nobody who can miss a visit; wanted one of: {', '.join(MISSED_BY)}.", field="missed_by")
    said = said_by or Said("utility")
    visit = request.visits.pending().order_by("-pk").first() or Visit(request=request)
    visit.missed_by = "" if outcome == FITTED_VISIT else missed_by or OUTCOMES[outcome].missed_by
    if outcome == FITTED_VISIT:
        visit.next_actor, visit.next_act, visit.next_due_on = "", "", None
        fact = fit(request, after_on=after_on, by_on=on, exact=after_on is None, serial=serial, said_by=said, remark=reason, by=by)
    else:
        if not reason.strip():
            raise Refused(f"Say why: “{outcome}” without a reason helps nobody who must act next.", field="reason")
        if serial.strip() or after_on is not None:
            raise Refused("A serial and a last day not fitted belong to a fitting only; leave them empty.", field="serial")
        if next_due_on is not None and next_due_on < on:
            raise Refused("The next act falls due on or after the day of the visit.", field="next_due_on")
        visit.next_actor, visit.next_act = _next(request, outcome, missed=bool(visit.missed_by))
        visit.next_due_on = next_due_on or _due(request, visit.next_actor, on=on)
        fact = _not_fitted(visit, on=on, outcome=outcome, said_by=said, reason=reason, by=by)
    visit.visited_on, visit.outcome, visit.reason, visit.fact = on, outcome, reason.strip(), fact
    visit.said_by = ", ".join(part for part in (said.role, said.name) if part)
    visit.recorded_at, visit.recorded_by_name = clock.now(), by.name
    visit.save()
    notices.withdraw_of_visit(visit, reason=f"The visit has been: {outcome}.")
    return visit


def _next(request: FitRequest, outcome: str, *, missed: bool) -> tuple[str, str]:
    """Who acts next, and what. From the second missed visit on it is the manager, and bag and access are confirmed again (TRADE.md C6a)."""
    before = request.visits.standing().exclude(missed_by="").exclude(outcome="").count()
    if missed and before + 1 >= SECOND:
        return MANAGER, f"Decide after {words.count(before + 1, 'missed visit')}: bag and access are confirmed again before a new window"
    return OUTCOMES[outcome].actor, OUTCOMES[outcome].act


def _due(request: FitRequest, actor: str, *, on: dt.date) -> dt.date:
    """By when: a utility is asked on its own working days, a homeowner and we by the days of the rules."""
    if actor == UTILITY:
        return services.calendar_of(request.utility).nth_after(on, rules.number("act_days"))
    return on + dt.timedelta(days=rules.number("answer_days" if actor == HOMEOWNER else "act_days"))


@act(right=RIGHT, on=FitRequest)
def confirm_fitting(
    request: FitRequest,
    *,
    by_on: dt.date,
    said_by: Said,
    by: Actor,
    after_on: dt.date | None = None,
    exact: bool = False,
    serial: str = "",
) -> FitRequest:
    """What was reported is confirmed: the collar is in. Without `after_on` its day lies after the last day seen not fitted.

    Also of a request that had ended in our books: utilities fit what they had closed.
    """
    if request.outcome != Outcome.CANCELLED:
        requests.refuse_if_ended(request)
    elif (
        newer := FitRequest.objects.filter(service=request.service).exclude(outcome=Outcome.VOID).filter(pk__gt=request.pk).first()
    ) is not None:
        raise Refused(f"Request {newer.code} followed this one; record the fitting there.")
    fit(request, after_on=after_on, by_on=by_on, exact=exact, serial=serial, said_by=said_by, by=by)
    request.refresh_from_db()
    return request


def last_seen_not_fitted(request: FitRequest) -> dt.date:
    """The last day on which we know that no collar was fitted: of a visit, else the day of sending."""
    seen = request.visits.standing().filter(outcome__in=SEEN_NOT_FITTED, visited_on__gte=request.filed_on)
    day = seen.order_by("-visited_on").values_list("visited_on", flat=True).first()
    return day or request.filed_on


def fit(
    request: FitRequest,
    *,
    after_on: dt.date | None,
    by_on: dt.date,
    exact: bool,
    serial: str,
    said_by: Said,
    by: Actor,
    remark: str = "",
) -> Fact:
    """Write the fitting. The caller holds the job's lock. Its day must not contradict what was seen.

    A serial other than the registered one is written too: it is what was reported, and the home then waits on us to clear it.
    """
    job = request.job
    assert job is not None
    if by_on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; the collar cannot have been fitted before.", field="on")
    if after_on is not None and after_on >= by_on:
        raise Refused("The last day it was seen not fitted must come before the first day it was seen fitted.", field="after_on")
    if facts.of(job).fitted is not None and requests.has_one_meter(job):
        raise Refused("The collar is on record as fitted here already; correct that fact if its day is wrong.", field="on")
    seen = last_seen_not_fitted(request)
    visited = seen > request.filed_on
    if by_on < seen or (by_on == seen and visited):
        raise Refused(
            f"On {words.day(seen)} a visit found no collar fitted, so it cannot have been fitted by {words.day(by_on)}. "
            "Correct the visit or give a later day.",
            field="on",
        )
    if exact:
        when = When(on=by_on)
    else:
        # What was seen since says more than a longer bracket.
        after = max(after_on or seen, seen)
        when = When(on=by_on) if after >= by_on or by_on - after == ONE_DAY else When(after=after, by=by_on)
    value = {"serial": normal_serial(serial) if serial.strip() else "", "remark": remark.strip(), "request": str(request.uid)}
    fact = facts.record(job, k.COLLAR_FITTED, when=when, said_by=said_by, by=by, value=value)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


def _not_fitted(visit: Visit, *, on: dt.date, outcome: str, said_by: Said, reason: str, by: Actor) -> Fact:
    request = visit.request
    job = request.job
    assert job is not None
    if on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; a visit for it comes later.", field="on")
    value = {
        "outcome": outcome,
        "next_actor": visit.next_actor,
        "next_act": visit.next_act,
        "next_due_on": visit.next_due_on.isoformat() if visit.next_due_on else "",
        "reason": reason.strip(),
        "request": str(request.uid),
    }
    fact = facts.record(job, k.VISIT, when=When(on=on), said_by=said_by, by=by, value=value)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact
