"""Requests to fit: sending, sending again, and what the utility's desk says. How one ends without fitting stands in endings.py.

Each act writes its own record and the job's fact in one transaction; dates and outcome of the request follow from the facts (truth.py).
Visits and fittings stand in visits.py, the meters they are about in meters.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from jobs.core import clock, codes, facts, lifecycle, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import Said, When
from jobs.core.models import Document, Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from utilities import package as packages
from utilities import services
from utilities.models import Contact, FitRequest, Outcome, Sending, Service, Utility
from utilities.package import Package

RIGHT = "core.record_requests"

CHANNELS = {"telephone": "by telephone", "e-mail": "by e-mail", "portal": "on the portal", "letter": "by letter", "in person": "in person"}

# Why a package is sent once more; all but the first raise the question whether the utility counts it as new.
REPEATED = "repeated"
AGAIN = {
    REPEATED: "no answer came",
    "incomplete": "returned as incomplete",
    "closed": "closed by the utility without fitting",
    "changed": "the equipment was changed",
}


@act(right=RIGHT, on=Service)
def record_sent(
    service: Service,
    *,
    on: dt.date,
    by: Actor,
    route: str = "",
    reference: str = "",
    note: str = "",
    documents: Sequence[Document] = (),
    package: Package | None = None,
    counts_as_new: bool | None = None,
) -> FitRequest:
    """The first sending of a request: the wait begins. After a removal, a lapse or a withdrawal it is a new one, linked to the old.

    Refused while the package lacks something that the utility's list of that day asks for.
    """
    sent = package or Package()
    packages.check(service, sent, on=on)
    return send(
        service, on=on, by=by, route=route, reference=reference, note=note, documents=documents, package=sent, counts_as_new=counts_as_new
    )


@act(right=RIGHT, on=FitRequest)
def record_sent_again(
    request: FitRequest,
    *,
    on: dt.date,
    by: Actor,
    because: str = REPEATED,
    counts_as_new: bool | None = None,
    route: str = "",
    reference: str = "",
    note: str = "",
    documents: Sequence[Document] = (),
    package: Package | None = None,
) -> FitRequest:
    """A further sending. It never restarts the wait, unless the utility counts it as new: then this one ends and a linked one begins."""
    refuse_if_ended(request)
    if because not in AGAIN:
        raise Refused(f"“{because}” is no reason we know; wanted one of: {', '.join(AGAIN)}.", field="because")
    if because == REPEATED and counts_as_new:
        raise Refused("Repeating an unanswered request is never a new one; the wait goes on from its first sending.", field="counts_as_new")
    if because != REPEATED and counts_as_new is None:
        raise Refused("Does the utility count this as new? Answer yes or no: yes begins a new wait.", field="counts_as_new")
    if on < request.filed_on:
        raise Refused(f"The request was first sent on {words.day(request.filed_on)}; it cannot be sent again before that.", field="on")
    packages.refuse_unsigned_change(request, because)
    same = request.sendings.filter(sent_on=on, withdrawn=False, route=route.strip()).order_by("pk").last()
    if because == REPEATED and same is not None:
        raise Refused(f"{same.by_name} recorded that it was sent on {words.day(on)} already; another day is wanted.", field="on")
    assert request.service is not None  # refuse_if_ended
    sent = package or Package()
    packages.check(request.service, sent, on=on)
    if not counts_as_new:
        _sending(request, on=on, by=by, route=route, reference=reference, note=note, documents=documents, package=sent, again=True)
        return request

    end(request, on=on, reason=AGAIN[because], said_by=Said("utility"), by=by)
    return open_request(
        request.service,
        on=on,
        by=by,
        follows=request,
        counts_as_new=True,
        route=route,
        reference=reference,
        note=note,
        documents=documents,
        package=sent,
    )


@act(right=RIGHT, on=FitRequest)
def record_contact(
    request: FitRequest,
    *,
    on: dt.date,
    answered: str,
    by: Actor,
    asked: str = "",
    channel: str = "telephone",
    person: str = "",
    promised_by: dt.date | None = None,
    next_on: dt.date | None = None,
) -> Contact:
    """We asked; what was answered. "Nothing new" is an answer. A promised day becomes a due day of ours."""
    refuse_if_ended(request)
    return contact(
        request,
        on=on,
        answered=answered,
        by=by,
        ours=True,
        asked=asked,
        channel=channel,
        person=person,
        promised_by=promised_by,
        next_on=next_on,
    )


@act(right=RIGHT, on=FitRequest)
def record_answer(
    request: FitRequest,
    *,
    on: dt.date,
    answered: str,
    by: Actor,
    reference: str = "",
    channel: str = "e-mail",
    person: str = "",
    promised_by: dt.date | None = None,
    next_on: dt.date | None = None,
    complete: bool = False,
    from_utility: Utility | None = None,
) -> Contact:
    """What the utility told us by itself: that the request came in, under which number, whether it is complete, for when it is planned.

    from_utility: whose answer it is, where it was entered on a utility's page.
    """
    if from_utility is not None and from_utility.pk != request.utility_id:
        raise Refused(
            f"Request {request.code} is at {request.utility}, not at {from_utility}; an answer of {from_utility} cannot be about it. "
            "Check the number.",
            field="which",
        )
    refuse_if_ended(request)
    told = contact(
        request, on=on, answered=answered, by=by, ours=False, channel=channel, person=person, promised_by=promised_by, next_on=next_on
    )
    request.utility_reference = reference.strip() or request.utility_reference
    request.acknowledged_on = min(request.acknowledged_on or on, on)
    if complete:
        request.complete_on = min(request.complete_on or on, on)
    request.save(update_fields=["utility_reference", "acknowledged_on", "complete_on"])
    return told


# What acts and imports share. The caller holds the job's lock.


def send(
    service: Service,
    *,
    on: dt.date,
    by: Actor,
    route: str = "",
    reference: str = "",
    note: str = "",
    documents: Sequence[Document] = (),
    package: Package | None = None,
    counts_as_new: bool | None = None,
    known_from: dt.date | None = None,
    source_key: str | None = None,
) -> FitRequest:
    """Open the service's request, after the checks that a first sending needs."""
    job = service.job
    if job.state == S.CANCELLED:
        raise Refused("This job is cancelled; no request is sent for it.")
    before = service.requests.exclude(outcome=Outcome.VOID).order_by("-filed_on", "-pk").first()
    if before is not None and before.is_open:
        raise Refused(
            f"Request {before.code} is open here since {words.day(before.filed_on)}; record that it was sent again, or its end first.",
            field="on",
        )
    known = facts.of(job)
    removed = known.removed
    if removed is not None and on < removed.day:
        raise Refused(f"The collar was removed on {words.day(removed.day)}; the new request is sent on or after that day.", field="on")
    # Of two meters one may be fitted while the other still waits.
    fitted_here = before.outcome == Outcome.FITTED if before is not None else known.fitted is not None and has_one_meter(job)
    if fitted_here and removed is None:
        raise Refused("The collar is on record as fitted here; if it is gone, record its removal first.", field="on")
    if before is not None and before.ended_on is not None and on < before.ended_on:
        raise Refused(f"Request {before.code} ended on {words.day(before.ended_on)}; the new one is sent on or after that day.", field="on")
    return open_request(
        service,
        on=on,
        by=by,
        follows=before,
        counts_as_new=counts_as_new if before is not None else None,
        route=route,
        reference=reference,
        note=note,
        documents=documents,
        package=package,
        known_from=known_from,
        source_key=source_key,
    )


def has_one_meter(job: Job) -> bool:
    return Service.objects.filter(job=job).count() < 2


def open_request(
    service: Service,
    *,
    on: dt.date,
    by: Actor,
    follows: FitRequest | None,
    counts_as_new: bool | None,
    route: str,
    reference: str,
    note: str,
    documents: Sequence[Document],
    package: Package | None = None,
    known_from: dt.date | None = None,
    source_key: str | None = None,
) -> FitRequest:
    request = FitRequest.objects.create(
        version=services.version_of(service.utility, on),
        code=fresh_code(),
        service=service,
        job=service.job,
        utility=service.utility,
        district=service.district,
        filed_on=on,
        known_from=known_from if known_from is not None and known_from > on else None,
        follows=follows,
        counts_as_new=counts_as_new,
        route=route.strip(),
        source_key=source_key,
        recorded_at=clock.now(),
        recorded_by_name=by.name,
        changed_at=clock.now(),
    )
    _sending(request, on=on, by=by, route=route, reference=reference, note=note, documents=documents, package=package, again=False)
    return request


def _sending(
    request: FitRequest,
    *,
    on: dt.date,
    by: Actor,
    route: str,
    reference: str,
    note: str,
    documents: Sequence[Document],
    package: Package | None,
    again: bool,
) -> None:
    job = request.job
    assert job is not None  # refuse_if_ended, or just opened for one
    sent = package or Package()
    packed = packages.documents(job, sent, documents, by=by)
    fact = facts.record(
        job,
        k.REQUEST_SENT,
        when=When(on=on),
        said_by=Said("us", by.name),
        by=by,
        value={
            "request": str(request.uid),
            "utility": request.utility.name,
            "route": route.strip(),
            "again": again,
            "service": str(request.service.uid) if request.service else "",
        },
        note=note,
        evidence=[document for _, document in packed],
    )
    sending = Sending.objects.create(
        request=request,
        version=services.version_of(request.utility, on),
        sent_on=on,
        route=route.strip(),
        reference=reference.strip(),
        note=note,
        fee_minor=sent.fee_minor,
        fee_paid_on=sent.fee_paid_on,
        fee_reference=sent.fee_reference.strip(),
        signed_on=sent.signed_on,
        signed_by=sent.signed_by.strip(),
        access_note=sent.access_note.strip(),
        one_visit=sent.one_visit,
        by=by.user,
        by_name=by.name,
        recorded_at=clock.now(),
        fact=fact,
    )
    packages.keep(sending, packed)
    lifecycle.settle(job, by=by, new=(fact,))


def end(request: FitRequest, *, on: dt.date, reason: str, said_by: Said, by: Actor, note: str = "") -> None:
    job = request.job
    assert job is not None
    fact = facts.record(
        job,
        k.REQUEST_ENDED,
        when=When(on=on),
        said_by=said_by,
        by=by,
        value={"request": str(request.uid), "reason": reason},
        note=note,
    )
    lifecycle.settle(job, by=by, new=(fact,))
    request.refresh_from_db()  # the follow-up wrote its end


def contact(
    request: FitRequest,
    *,
    on: dt.date,
    answered: str,
    by: Actor,
    ours: bool,
    asked: str = "",
    channel: str = "",
    person: str = "",
    promised_by: dt.date | None = None,
    next_on: dt.date | None = None,
) -> Contact:
    job = request.job
    assert job is not None
    if not answered.strip():
        raise Refused("Say what was answered; “nothing new” is an answer too.", field="answered")
    if on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; a word about it comes later.", field="on")
    if promised_by is not None and promised_by < on:
        raise Refused("The promised day lies before the day on which it was promised; a day to come is wanted.", field="promised_by")
    if next_on is not None and next_on <= on:
        raise Refused("The day to ask again must come after this contact.", field="next_on")
    value = {
        "request": str(request.uid),
        "asked": asked.strip(),
        "answered": answered.strip(),
        "promised_by": promised_by.isoformat() if promised_by else "",
        "next_on": next_on.isoformat() if next_on else "",
        "person": person.strip(),
        "channel": channel,
    }
    fact = facts.record(job, k.CONTACT, when=When(on=on), said_by=Said("utility", person.strip()), by=by, value=value)
    told = Contact.objects.create(
        request=request,
        utility=request.utility,
        on=on,
        ours=ours,
        channel=channel,
        person=person.strip(),
        asked=asked.strip(),
        answered=answered.strip(),
        promised_by=promised_by,
        next_on=next_on,
        recorded_at=clock.now(),
        recorded_by_name=by.name,
        fact=fact,
    )
    lifecycle.settle(job, by=by, new=(fact,))
    return told


def fresh_code() -> str:
    return fresh_codes(1)[0]


def fresh_codes(number: int) -> list[str]:
    """So many codes that neither a request nor a job has."""
    fresh: dict[str, None] = {}
    while len(fresh) < number:
        made = {codes.new_code(codes.source()) for _ in range(number - len(fresh))}
        taken = {*FitRequest.objects.filter(code__in=made).values_list("code", flat=True)}
        taken |= {*Job.objects.filter(code__in=made).values_list("code", flat=True)}
        fresh |= dict.fromkeys(made - taken)
    return list(fresh)


def refuse_if_ended(request: FitRequest) -> None:
    """Refuse what is done on an open request of a job only."""
    if request.job is None or request.service is None:
        raise Refused(f"Request {request.code} is history without a job; nothing more is recorded on it.")
    if not request.is_open:
        assert request.ended_on is not None
        raise Refused(
            f"Request {request.code} is not open any more: {request.get_outcome_display()} on {words.day(request.ended_on)}. "
            "Correct that fact, or send a new request."
        )
