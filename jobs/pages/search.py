"""One search box: a home or a paper by name, street, code, serial, meter, the utility's number or an invoice's."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from billing.models import Invoice
from jobs.core import codes
from jobs.core import kinds as k
from jobs.core.actors import actor
from jobs.core.models import Fact, Job, Party, User
from jobs.core.models.job import JobQuerySet
from jobs.core.web import right
from utilities.models import FitRequest, Sending, Service

LEAST = 3  # letters: below, half of everything is found, slowly
MOST = 50


@dataclass(frozen=True)
class Hit:
    """One thing found: the job it belongs to, what of it the words were found in, and what opens."""

    job: Job
    by: str
    url: str


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """One hit opens by itself."""
    text = " ".join(request.GET.get("q", "").split())
    user = actor(request).user
    assert user is not None
    if len(text) < LEAST:
        return render(request, "pages/search.html", {"text": text, "search_words": text, "short": True, "hits": []})
    hits = found(text, user)
    if len({hit.url for hit in hits}) == 1:
        return HttpResponseRedirect(hits[0].url)
    context = {
        "text": text,
        "search_words": text,
        "hits": hits[:MOST],
        "more": len(hits) > MOST,
        "near": _near(text, user) if not hits else [],
    }
    return render(request, "pages/search.html", context)


def found(text: str, user: User) -> list[Hit]:
    """At most one more than is shown; each job or paper once, under the first thing it was found by."""
    jobs = Job.objects.seen_by(user)
    hits: dict[str, Hit] = {}
    for finder in FINDERS:
        for hit in finder(text, user, jobs):
            hits.setdefault(hit.url, hit)
        if len(hits) > MOST:
            break
    return list(hits.values())[: MOST + 1]


def _near(text: str, user: User) -> list[Job]:
    return list(Job.objects.seen_by(user).filter(code__in=codes.near(text)).select_related("site").order_by("code")[:5])


def _with_parts(jobs: JobQuerySet) -> list[Job]:
    return list(jobs.select_related("site").prefetch_related("parties__person").order_by("code")[: MOST + 1])


def _hits(jobs: JobQuerySet, by: str) -> Iterable[Hit]:
    for job in _with_parts(jobs):
        yield Hit(job, by, reverse("job", kwargs={"code": job.code}))


def _by_code(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    yield from _hits(jobs.filter(code=codes.normal(text)), "code")
    yield from _hits(jobs.filter(contractor_number__iexact=text), "our number")


def _by_name(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    return _hits(jobs.filter(pk__in=Party.objects.filter(person__name__icontains=text).values("job")), "name")


def _by_street(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    return _hits(jobs.filter(site__street__icontains=text), "street")


def _by_serial(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    serials = Fact.objects.standing().of_kind(k.COLLAR_REGISTERED).filter(value__serial__icontains="".join(text.split()))
    return _hits(jobs.filter(pk__in=serials.values("job")), "collar's serial")


def _by_meter(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    if not user.has_perm("core.see_utilities"):
        return ()
    return _hits(jobs.filter(pk__in=Service.objects.filter(meter_number__icontains=text).values("job")), "meter")


def _by_request(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    """Our code of a request, the utility's number for it, or that of one of its sendings."""
    if not user.has_perm("core.see_utilities"):
        return
    requests = FitRequest.objects.seen_by(user).filter(job__isnull=False)
    yield from _hits(jobs.filter(pk__in=requests.filter(code=codes.normal(text)).values("job")), "code of a request")
    yield from _hits(jobs.filter(pk__in=requests.filter(utility_reference__iexact=text).values("job")), "utility's number")
    sendings = Sending.objects.filter(request__in=requests, reference__iexact=text)
    yield from _hits(jobs.filter(pk__in=sendings.values("request__job")), "utility's number")


def _by_invoice(text: str, user: User, jobs: JobQuerySet) -> Iterable[Hit]:
    if not text.isdecimal() or len(text) > 18 or not user.has_perm("core.see_money"):
        return
    for invoice in Invoice.objects.seen_by(user).filter(number=int(text)).select_related("job__site"):
        yield Hit(invoice.job, f"invoice {invoice.number}", reverse("invoice", kwargs={"uid": invoice.uid}))


Finder = Callable[[str, User, JobQuerySet], Iterable[Hit]]
FINDERS: tuple[Finder, ...] = (_by_code, _by_invoice, _by_name, _by_street, _by_serial, _by_meter, _by_request)
