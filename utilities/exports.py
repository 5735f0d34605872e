"""Requests, the contact log and utilities as tables, for pages and the command."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice

from django.db.models import QuerySet

from jobs.core import clock
from jobs.core.exports import Export
from jobs.core.lists import as_query
from jobs.core.models import Collar, ExpiringPaper
from jobs.core.refusals import Refused
from utilities import collarlist, filters, paperlist, scoreshown, scoring, services, shown
from utilities.models import Contact, Utility
from utilities.models.requests import FitRequestQuerySet

REQUESTS = (
    "request", "job", "our_number", "person", "home", "utility", "district", "meter_number", "sent_on", "route",
    "utility_reference", "reference", "acknowledged_on", "known_from", "outcome", "ended_on", "fitted_after", "fitted_by", "end_reason",
    "follows", "days", "business_days", "last_contact_on", "promised_by", "half_by", "nine_in_ten_by", "forecast_as_of", "p_never",
)  # fmt: skip
CONTACTS = (
    "on", "utility", "request", "job", "asked_by_us", "channel", "person", "asked", "answered", "promised_by", "next_on", "recorded_by",
    "recorded_at",
)  # fmt: skip
UTILITIES = (
    "utility", "kind", "zone", "emergency_phone", "open_requests", "oldest_sent_on", "half_by_business_day", "nine_in_ten_by_business_day",
    "own_fittings", "who_may_fit", "published_limit", "asked_by", "confirmed_on",
)  # fmt: skip
_CHUNK = 500


def requests(found: FitRequestQuerySet) -> Iterator[Sequence[object]]:
    today = clock.office_today()
    rows = shown.with_parts(found).select_related("follows").iterator(chunk_size=_CHUNK)
    while chunk := list(islice(rows, _CHUNK)):
        for line in shown.lines(chunk, today=today):
            yield _request(line)


def _request(line: shown.Line) -> Sequence[object]:
    request, job, likely = line.request, line.job, line.likely
    return (
        request.code, job.code if job else "", job.contractor_number if job else request.own_reference, line.person,
        job.site.line if job else "", request.utility.name, request.district.name if request.district else "",
        request.service.meter_number if request.service else "", request.filed_on, request.route, request.utility_reference,
        request.own_reference, request.acknowledged_on, request.known_from, request.outcome, request.ended_on,
        request.fitted_after, request.fitted_by, request.end_reason,
        request.follows.code if request.follows else "", line.days, line.business_days, line.last_contact_on,
        line.promised_by, likely.q50 if likely else None, likely.q90 if likely else None, likely.as_of if likely else None,
        round(likely.p_never, 6) if likely else None,
    )  # fmt: skip


def contacts(found: QuerySet[Contact]) -> Iterator[Sequence[object]]:
    for told in found.select_related("request__job", "utility").iterator(chunk_size=_CHUNK):
        yield (
            told.on, told.utility.name, told.request.code, told.request.job.code if told.request.job else "", told.ours, told.channel,
            told.person, told.asked, told.answered, told.promised_by, told.next_on, told.recorded_by_name, told.recorded_at,
        )  # fmt: skip


def utilities(found: QuerySet[Utility]) -> Iterator[Sequence[object]]:
    rows = found.select_related("clerk").prefetch_related("closures", "versions").iterator(chunk_size=_CHUNK)
    while chunk := list(islice(rows, _CHUNK)):
        paces = shown.paces(chunk)
        for utility in chunk:
            pace = paces.get(utility.pk)
            version = services.version_of(utility, clock.today_in(utility.zone))
            terms = services.terms_of(version)
            visit = next((limit for limit in terms.limits if limit.step == "visit"), None)
            yield (
                utility.name, utility.get_kind_display(), utility.zone, utility.emergency_phone, getattr(utility, "open_now", None),
                getattr(utility, "oldest_on", None), pace.half if pace else None, pace.nine if pace else None,
                pace.likely.why.own if pace else None, terms.who_may_fit, visit.sentence if visit else "none",
                utility.clerk.name if utility.clerk else "", version.confirmed_on if version else None,
            )  # fmt: skip


def _requests(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = filters.requests(None, _by_uid(given) | ({} if given.get("outcome") else {"outcome": filters.ALL}))
    narrowing.refuse_unread()
    return requests(narrowing.rows)


def _contacts(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    found = Contact.objects.filter(withdrawn=False).order_by("on", "pk")
    if name := given.get("utility"):
        found = found.filter(utility=_utility(name))
    if code := given.get("job"):
        found = found.filter(request__job__code=code.upper())
    return contacts(found)


def _utilities(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = filters.utilities(None, given)
    narrowing.refuse_unread()
    return utilities(narrowing.rows)


def _judged(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    name = given.get("utility")
    return scoreshown.file_rows(scoring.stored(_utility(name) if name else None))


def _collars(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = collarlist.CollarFilter(as_query(given), queryset=Collar.objects.all())
    narrowing.refuse_unread()
    return collarlist.lines(narrowing.rows)


def _papers(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = paperlist.PaperFilter(as_query(given), queryset=ExpiringPaper.objects.standing())
    narrowing.refuse_unread()
    return paperlist.lines(narrowing.rows)


def _utility(name: str) -> Utility:
    utility = Utility.objects.filter(name__iexact=name.strip()).first()
    if utility is None:
        raise Refused(f"There is no utility “{name}”; the name of one on record is wanted.", field="utility")
    return utility


def _by_uid(given: Mapping[str, str]) -> dict[str, str]:
    """A command names a utility by its name; the page's filter by its uid."""
    told = dict(given)
    if name := told.get("utility"):
        told["utility"] = str(_utility(name).uid)
    return told


EXPORTS = (
    Export("requests", "Requests to fit", REQUESTS, _requests, filters=("outcome", "utility", "of", "sent_from", "sent_to", "text")),
    Export("contact_log", "Contacts with utilities", CONTACTS, _contacts, filters=("utility", "job")),
    Export("forecasts_judged", "Forecasts judged", scoreshown.HEADINGS, _judged, filters=("utility",)),
    Export("collars", "Collars", collarlist.HEADINGS, _collars, filters=(*collarlist.CollarFilter.base_filters, "sort")),
    Export("papers", "Papers that expire", paperlist.HEADINGS, _papers, filters=(*paperlist.PaperFilter.base_filters, "sort")),
    Export("utilities", "Utilities", UTILITIES, _utilities, filters=("text", "kind", "lacks")),
)
