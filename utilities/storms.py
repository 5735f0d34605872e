"""A storm declared and lifted: one hold on each affected home, also on homes that join later, lifted together (TRADE.md C11).

It stops calls, our asking and what goes to the utility. It stops no wait: waits are shown gross first, and gross is what forecasts use.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

from django.db.models import Q

from jobs.core import clock, lifecycle, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Hold, Job
from jobs.core.models.holds import HoldKind, Stops
from jobs.core.refusals import Refused
from jobs.core.states import S
from utilities.models import District, FitRequest, Service, Storm, Utility

RIGHT: Final = "core.edit_utilities"
STOPS: Final = sorted((Stops.CALLS, Stops.REMINDERS, Stops.UTILITY))
LONGEST: Final = 60  # days until somebody looks again


@act(right=RIGHT, on=Utility)
def declare_storm(utility: Utility, *, source: str, review_on: dt.date, by: Actor, district: District | None = None) -> Storm:
    """From today on, for all of the utility or one area of it, until it is lifted; looked at again on review_on."""
    today = clock.office_today()
    _check_review(review_on, today)
    if not source.strip():
        raise Refused("Say who declared it or where it is published; a hold needs its source.", field="source")
    if district is not None and district.utility_id != utility.pk:
        raise Refused(f"{district} is no area of {utility}; choose one of its own.", field="district")
    over = Storm.objects.standing().filter(utility=utility).filter(Q(district=district) | Q(district=None)).first()
    if over is not None:
        raise Refused(f"A storm stands at {over.area} since {words.day(over.from_on)}; lift it, or look at it again.", field="district")
    storm = Storm.objects.create(
        utility=utility,
        district=district,
        from_on=today,
        review_on=review_on,
        source=source.strip(),
        declared_at=clock.now(),
        declared_by_name=by.name,
    )
    services = Service.objects.filter(utility=utility).exclude(job__state__in=(S.CANCELLED, S.BACKUP_VERIFIED))
    if district is not None:
        services = services.filter(district=district)
    jobs = Job.objects.select_for_update(of=("self",)).filter(pk__in=services.values("job")).order_by("pk")
    for job in jobs:
        _hold(job, storm)
        lifecycle.settle(job, by=by)  # a call that cannot be held is called off at once
    return storm


@act(right=RIGHT, on=Storm)
def lift_storm(storm: Storm, *, by: Actor) -> int:
    """All its holds end together; other holds of the homes stand. Gives how many were lifted."""
    _refuse_lifted(storm)
    count = Hold.objects.filter(cause=storm.cause, lifted_at__isnull=True).update(lifted_at=clock.now(), lifted_by_name=by.name)
    storm.lifted_on, storm.lifted_at, storm.lifted_by_name = clock.office_today(), clock.now(), by.name
    storm.save(update_fields=["lifted_on", "lifted_at", "lifted_by_name"])
    return count


@act(right=RIGHT, on=Storm)
def review_storm(storm: Storm, *, review_on: dt.date, by: Actor) -> Storm:
    """Somebody has looked, and it goes on until another day."""
    _refuse_lifted(storm)
    _check_review(review_on, clock.office_today())
    storm.review_on = review_on
    storm.save(update_fields=["review_on"])
    Hold.objects.filter(cause=storm.cause, lifted_at__isnull=True).update(review_on=review_on)
    return storm


def _check_review(review_on: dt.date, today: dt.date) -> None:
    if not today < review_on <= today + dt.timedelta(days=LONGEST):
        raise Refused(
            f"The day to look again lies ahead, within {LONGEST} days; a hold that nobody looks at is never lifted.", field="review_on"
        )


def _refuse_lifted(storm: Storm) -> None:
    if storm.lifted_on is not None:
        raise Refused(f"This storm was lifted on {words.day(storm.lifted_on)} by {storm.lifted_by_name}.")


def cover(service: Service) -> None:
    """A home that joins, or moves to another area, while a storm stands. The caller holds the job's lock."""
    held = Hold.objects.filter(job=service.job, lifted_at__isnull=True).values("cause")
    standing = Storm.objects.standing().filter(utility=service.utility).filter(Q(district=None) | Q(district=service.district))
    known = set(held.values_list("cause", flat=True)) if (found := list(standing)) else set()
    for storm in found:
        if storm.cause not in known:
            _hold(service.job, storm)


def _hold(job: Job, storm: Storm) -> None:
    Hold.objects.create(
        job=job,
        kind=HoldKind.STORM,
        stops=STOPS,
        from_on=clock.office_today(),
        review_on=storm.review_on,
        reason=f"Storm at {storm.area}: {storm.source}",
        by_name=storm.declared_by_name,
        cause=storm.cause,
    )


def held_days(request: FitRequest, storms: Iterable[Storm], *, today: dt.date) -> int:
    """Days of this wait on which a storm stood at its utility or area; a day of two storms counts once. From the day after the sending."""
    last = request.ended_on or today
    days: set[dt.date] = set()
    for storm in storms:
        if storm.district_id is not None and storm.district_id != request.district_id:
            continue
        first, end = max(storm.from_on, request.filed_on + dt.timedelta(days=1)), min(storm.lifted_on or today, last)
        days |= {first + dt.timedelta(days=n) for n in range((end - first).days + 1)}
    return len(days)


def net_words(request: FitRequest, *, today: dt.date) -> str:
    """ "160 without the 8 days of storm"; nothing where no storm touched the wait. The gross wait stands before it, always."""
    held = held_days(request, Storm.objects.filter(utility=request.utility), today=today)
    if not held:
        return ""
    gross = ((request.ended_on or today) - request.filed_on).days
    return f"{words.number(gross - held)} without the {words.count(held, 'day')} of storm"
