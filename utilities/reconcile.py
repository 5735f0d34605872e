"""What must hold among the records of requests; each breach is a sentence."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict

from django.db.models import Count, F, Q

from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.states import S
from jobs.core.waiting import UTILITY
from utilities import truth
from utilities.models import Contact, FitRequest, Outcome, Sending, Service, Visit


def breaches() -> Iterator[str]:
    yield from _requests()
    yield from _one_open()
    yield from _awaiting()
    yield from _beside()


def _requests() -> Iterator[str]:
    """Dates and outcome of each job's request are what its facts say, and each sending's fact names one of its requests."""
    of_job: dict[int, list[FitRequest]] = defaultdict(list)
    for request in FitRequest.objects.filter(job__isnull=False).order_by("pk"):
        assert request.job_id is not None  # the filter asks for one
        of_job[request.job_id].append(request)
    for job in Job.objects.filter(pk__in=FitRequest.objects.filter(job__isnull=False).values("job")).iterator(chunk_size=500):
        standing = list(job.facts.standing())
        for request in of_job[job.pk]:
            says = truth.told(request, standing)
            for name, value in asdict(says).items():
                if getattr(request, name) != value:
                    yield f"Request {request.code}: {name} is {getattr(request, name)}, the facts of job {job.code} say {value}."
        known = {str(request.uid) for request in of_job[job.pk]}
        for fact in standing:
            if fact.kind == k.REQUEST_SENT and fact.value["request"] not in known:
                yield f"Job {job.code}: a request is on record as sent on {fact.day}, and it is none of the job's requests."


def _one_open() -> Iterator[str]:
    doubled = Service.objects.annotate(n=Count("requests", filter=Q(requests__outcome=Outcome.OPEN))).filter(n__gt=1)
    for service in doubled.select_related("job"):
        yield f"Job {service.job.code}, {service}: more than one request is open."


def _awaiting() -> Iterator[str]:
    """A home that waits on its utility has an open request; one with an open request awaits, unless a second meter's is fitted."""
    asked = set(FitRequest.objects.open().filter(job__isnull=False).values_list("job_id", flat=True))
    ever = FitRequest.objects.waits().filter(job__isnull=False).values("job")
    waits = Job.objects.in_state(S.AWAITING_UTILITY).filter(waiting_on=UTILITY, pk__in=ever)
    for job in waits.exclude(pk__in=asked):
        yield f"Job {job.code} waits on its utility, and no request of it is open."
    beyond = Job.objects.filter(pk__in=asked).in_state(S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED)
    for job in beyond.annotate(meters=Count("services")).filter(meters__lt=2):
        yield f"Job {job.code} has its collar, and its request is still open."


def _beside() -> Iterator[str]:
    """Each visit, sending and contact says the same as its fact."""
    for sending in Sending.objects.exclude(sent_on=F("fact__day"), withdrawn=F("fact__withdrawn")).select_related("fact", "request"):
        yield f"A sending of request {sending.request.code} is of {sending.sent_on}, and its fact does not say so."
    for told in Contact.objects.exclude(on=F("fact__day"), withdrawn=F("fact__withdrawn")).select_related("fact", "request"):
        yield f"A contact about request {told.request.code} is of {told.on}, and its fact does not say so."
    rows = Visit.objects.exclude(outcome="").filter(fact__isnull=False, withdrawn=False).select_related("fact", "request")
    for visit in rows.iterator(chunk_size=500):
        fact = visit.fact
        assert fact is not None  # the filter asks for one
        says = "fitted" if fact.kind == k.COLLAR_FITTED else str(fact.value["outcome"])
        if (visit.outcome, visit.visited_on) != (says, fact.day):
            yield f"A visit to request {visit.request.code} says {visit.outcome} on {visit.visited_on}, its fact {says} on {fact.day}."
