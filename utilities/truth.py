"""A request's dates and outcome as the job's facts have them; kept true in the same transaction, and compared by `reconcile`.

The facts of requests name theirs: their value holds "request", the request's uid. Nothing is opened here: a fitting that is
withdrawn opens the old request again because it was never fitted; a collar removed leaves the request fitted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

from django.db import IntegrityError, transaction

from jobs.core import clock, words
from jobs.core import kinds as k
from jobs.core.followups import Settled
from jobs.core.models import Fact
from jobs.core.refusals import Refused
from utilities.models import Contact, FitRequest, Outcome, Sending, Visit

ABOUT_REQUESTS = (k.REQUEST_SENT, k.REQUEST_ENDED, k.COLLAR_FITTED)
BESIDE_REQUESTS = (k.VISIT, k.CONTACT)
FITTED_VISIT = "fitted"  # such a visit's fact is the fitting itself, which names no outcome
ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Told:
    """What the standing facts say of one request."""

    filed_on: dt.date
    outcome: str
    ended_on: dt.date | None = None
    fitted_after: dt.date | None = None
    fitted_by: dt.date | None = None
    end_reason: str = ""


def told(request: FitRequest, standing: Iterable[Fact]) -> Told:
    """What `standing`, the job's standing facts by day, say of this request."""
    own = [fact for fact in standing if fact.value.get("request") == str(request.uid)]
    sent = [fact.day for fact in own if fact.kind == k.REQUEST_SENT]
    if not sent:
        return Told(request.filed_on, Outcome.VOID, ended_on=request.filed_on, end_reason="recorded in error")
    filed_on = min(sent)
    fitted = [fact for fact in own if fact.kind == k.COLLAR_FITTED]
    if fitted:
        after, by = bracket_of(fitted[-1])
        if after is not None and after < filed_on:
            # On the day of sending it was not fitted; the list says less than we know.
            after = filed_on if filed_on < by else None
        return Told(filed_on, Outcome.FITTED, ended_on=by, fitted_after=after, fitted_by=by)
    ended = [fact for fact in own if fact.kind == k.REQUEST_ENDED]
    if ended:
        return Told(filed_on, Outcome.CANCELLED, ended_on=ended[-1].day, end_reason=str(ended[-1].value["reason"]))
    return Told(filed_on, Outcome.OPEN)


def bracket_of(fact: Fact) -> tuple[dt.date | None, dt.date]:
    """(last day known not fitted, first day known fitted); the first is None where the day itself is known."""
    after = fact.after_on
    return (None if after is not None and fact.day - after == ONE_DAY else after), fact.day


def keep_requests_true(settled: Settled) -> None:
    """The follow-up: what new facts, corrections among them, change in the records of requests."""
    new = [fact for fact in settled.new if fact.kind in ABOUT_REQUESTS + BESIDE_REQUESTS]
    if not new:
        return
    for fact in new:
        if fact.replaces is not None:
            _carry_over(fact, fact.replaces)
    named = {str(value["request"]) for fact in new for value in _values(fact) if fact.kind in ABOUT_REQUESTS and value.get("request")}
    requests = [request for request in FitRequest.objects.filter(job=settled.job) if str(request.uid) in named]
    if requests:
        standing = list(settled.job.facts.standing())
        for request in requests:
            _write(request, told(request, standing))


def _values(fact: Fact) -> Sequence[dict[str, object]]:
    # A correction may take the request's name away, or give the fact to another request.
    return [fact.value, fact.replaces.value] if fact.replaces is not None else [fact.value]


def _write(request: FitRequest, says: Told) -> None:
    if says.ended_on is not None and says.ended_on < says.filed_on:
        raise Refused(
            f"Request {request.code} cannot have ended on {words.day(says.ended_on)}: it was sent on {words.day(says.filed_on)}. "
            "Correct one of the days."
        )
    changed = [name for name, value in asdict(says).items() if getattr(request, name) != value]
    if not changed:
        return
    for name in changed:
        setattr(request, name, getattr(says, name))
    request.changed_at = clock.now()
    try:
        with transaction.atomic():
            request.save(update_fields=[*changed, "changed_at"])
    except IntegrityError:
        # The only constraint that corrected facts alone can meet: one open request for a service.
        raise Refused(
            f"Request {request.code} would be open again, and a newer one for the same meter is open too; end the newer one first."
        ) from None


def _carry_over(fact: Fact, replaced: Fact) -> None:
    """A corrected fact's own record follows it: the sending's day, the visit's outcome, the contact's words."""
    sending = Sending.objects.filter(fact=replaced).first()
    if sending is not None:
        sending.fact, sending.sent_on, sending.withdrawn = fact, fact.day, fact.withdrawn
        sending.save(update_fields=["fact", "sent_on", "withdrawn"])
    visit = Visit.objects.filter(fact=replaced).first()
    if visit is not None:
        visit.fact, visit.visited_on, visit.withdrawn = fact, fact.day, fact.withdrawn
        visit.outcome = str(fact.value.get("outcome", FITTED_VISIT))
        visit.next_actor, visit.next_act = str(fact.value.get("next_actor", "")), str(fact.value.get("next_act", ""))
        visit.save(update_fields=["fact", "visited_on", "withdrawn", "outcome", "next_actor", "next_act"])
    contact = Contact.objects.filter(fact=replaced).first()
    if contact is not None:
        contact.fact, contact.on, contact.withdrawn = fact, fact.day, fact.withdrawn
        contact.answered = str(fact.value.get("answered", ""))
        contact.promised_by, contact.next_on = _day(fact.value.get("promised_by")), _day(fact.value.get("next_on"))
        contact.save(update_fields=["fact", "on", "withdrawn", "answered", "promised_by", "next_on"])


def _day(text: object) -> dt.date | None:
    return dt.date.fromisoformat(str(text)) if text else None
