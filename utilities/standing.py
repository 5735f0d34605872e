"""How a request stands against the limits its utility publishes, from its rows; the counting itself is limits.py."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from django.db.models import Exists, OuterRef, Q

from jobs.core import clock, words
from jobs.core import kinds as k
from jobs.core.models import Fact
from utilities import services
from utilities.limits import Known, Standing, standings
from utilities.models import FitRequest, Outcome, ProfileVersion, Sending, Utility
from utilities.models.requests import FitRequestQuerySet
from utilities.terms import Limit, Terms
from utilities.workdays import HolidayRule

_HOLIDAYS = {
    HolidayRule.FEDERAL: "federal holidays",
    HolidayRule.FEDERAL_DATES: "federal holidays on their own dates",
    HolidayRule.RESERVE_BANKS: "holidays of the Federal Reserve Banks",
    HolidayRule.NONE: "no public holidays",
}


def calendar_words(utility: Utility) -> str:
    """ "Ottermere Municipal Light's own (federal holidays and 53 days of its own)"."""
    own = len(utility.closures.all())
    besides = f" and {words.count(own, 'day')} of its own" if own else ""
    return f"{utility.name}'s own calendar ({_HOLIDAYS[HolidayRule(utility.holidays)]}{besides})"


def terms_under(request: FitRequest) -> Terms:
    """Of the version that the request was made under; of one that came without, what holds now."""
    return services.terms_of(request.version) if request.version is not None else services.terms_now(request.utility)


def of_request(request: FitRequest) -> list[Standing]:
    limits = terms_under(request).limits
    if not limits:
        return []
    facts = _facts([request])[request.job_id or 0]
    paid = Sending.objects.filter(request=request, withdrawn=False, fee_paid_on__isnull=False).order_by("fee_paid_on")
    fee = paid.values_list("fee_paid_on", flat=True).first()
    return _of(request, limits, facts, fee, services.known_calendars(request.utility), calendar_words(request.utility))


def over(rows: FitRequestQuerySet) -> list[tuple[FitRequest, Standing]]:
    """Open requests past a published limit that is not met, the furthest over first; one row each limit.

    Reads those only of which a limit may be over, so that the many that wait within their limits cost nothing.
    """
    limits = {version.pk: services.terms_of(version).limits for version in ProfileVersion.objects.exclude(limits=[])}
    found = list(_may_be_over(rows.open(), limits))
    used = Utility.objects.filter(pk__in={one.utility_id for one in found}).prefetch_related("known_calendars", "closures")
    utilities = {utility.pk: utility for utility in used}
    known = {pk: (services.known_calendars(utility), calendar_words(utility)) for pk, utility in utilities.items()}
    facts = _facts(found)
    paid = Sending.objects.filter(request__in=[one.pk for one in found], withdrawn=False, fee_paid_on__isnull=False).order_by(
        "-fee_paid_on"
    )
    fees = dict(paid.values_list("request_id", "fee_paid_on"))
    told = []
    for one in found:
        assert one.version_id is not None
        one.utility = utilities[one.utility_id]
        for standing in _of(one, limits[one.version_id], facts[one.job_id or 0], fees.get(one.pk), *known[one.utility_id]):
            if standing.over and standing.met_on is None:
                told.append((one, standing))
    return sorted(told, key=lambda row: (-row[1].over, row[0].filed_on, row[0].pk))


# As `met` in `_of` says it: what leaves a step undone. A fitted request is not open.
_NOT_PERMITTED = Q(permitted=False)
_UNMET = {
    "acknowledge": Q(acknowledged_on__isnull=True, complete_on__isnull=True) & _NOT_PERMITTED,
    "complete": Q(complete_on__isnull=True) & _NOT_PERMITTED,
    "review": _NOT_PERMITTED,
    "agreement": _NOT_PERMITTED,
    "connect": _NOT_PERMITTED,
    "visit": Q(),
}


def _may_be_over(rows: FitRequestQuerySet, limits: Mapping[int, Sequence[Limit]]) -> FitRequestQuerySet:
    """Those of which some limit is not met and, for all that the day of filing tells, could have passed."""
    alike: dict[tuple[tuple[str, str, int], ...], list[int]] = defaultdict(list)
    for pk, some in limits.items():
        alike[tuple(sorted({(one.step, one.begins, one.days) for one in some if one.days is not None}))].append(pk)
    tomorrow = clock.office_today() + dt.timedelta(days=1)  # of some utility it may be tomorrow by now
    wanted = Q(pk__in=[])
    for some_limits, versions in alike.items():
        for step, begins, days in some_limits:
            # So many working days are at least so many days. Building and the fee may have come before the filing.
            old = Q(filed_on__lt=tomorrow - dt.timedelta(days=days)) if begins in ("received", "complete") else Q()
            wanted |= Q(version__in=versions) & _UNMET[step] & old
    permitted = Fact.objects.standing().filter(job=OuterRef("job"), kind=k.PERMISSION_TO_OPERATE)
    return rows.annotate(permitted=Exists(permitted)).filter(wanted)


def _facts(requests: Iterable[FitRequest]) -> Mapping[int, dict[str, dt.date]]:
    """By job: the first day of commissioning and of permission to operate."""
    found: dict[int, dict[str, dt.date]] = defaultdict(dict)
    jobs = {request.job_id for request in requests if request.job_id is not None}
    rows = Fact.objects.standing().filter(kind__in=(k.COMMISSIONED, k.PERMISSION_TO_OPERATE), job__in=jobs).order_by("-day")
    for job, kind, day in rows.values_list("job_id", "kind", "day"):
        found[job][kind] = day
    return found


def _of(
    request: FitRequest, limits: Iterable[Limit], facts: Mapping[str, dt.date], fee: dt.date | None, known: list[Known], name: str
) -> list[Standing]:
    permitted = facts.get(k.PERMISSION_TO_OPERATE)
    today = request.ended_on or clock.today_in(request.utility.zone)
    return standings(
        list(limits),
        begun={"received": request.filed_on, "complete": request.complete_on, "fee": fee, "built": facts.get(k.COMMISSIONED)},
        met={
            # A later step that is done says at the latest when an earlier one was.
            "acknowledge": request.acknowledged_on or request.complete_on or permitted,
            "complete": request.complete_on or permitted,
            "review": permitted,
            "agreement": permitted,
            "connect": permitted,
            "visit": request.fitted_by if request.outcome == Outcome.FITTED else None,
        },
        known=known,
        today=today,
        name=name,
    )


def sentence(standing: Standing) -> str:
    """ "Due 30 March 2026, 3 business days over: Ottermere ... 's own calendar. Source: ...", for one limit."""
    if standing.due_on is None:
        return f"cannot be counted: {standing.why}"
    told = f"due {words.day(standing.due_on)}"
    if standing.met_on is not None:
        told += f", done {words.day(standing.met_on)}"
    if standing.over:
        told += f", {standing.over_words}"
    if standing.assumed:
        told += ", at the latest: counted from the last day allowed for the step before"
    return told
