"""Which times a verifier has for a home, from the rows; and why a wished time is none of them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.contrib.auth.models import Permission
from django.db.models import Q

from jobs.appointments import slots
from jobs.appointments.models import Appointment, AppointmentQuerySet, Tentative, TimeOff, VerifierHours
from jobs.appointments.planmodels import TentativeQuerySet
from jobs.core import clock, rules, walltime, words
from jobs.core.models import Job, Person, User
from jobs.core.refusals import Refused
from jobs.notices.quiet import window_on
from utilities.workdays import HolidayRule, WorkCalendar

AHEAD_DAYS = 14  # how far pages look for times
HOLIDAYS_APART = WorkCalendar("every day but federal holidays", weekdays=frozenset(range(7)), holidays=HolidayRule.FEDERAL)
SOONEST = dt.timedelta(hours=2)  # a homeowner who opens a link is not offered a call within this


@dataclass(frozen=True)
class Wish:
    """A time as it is asked for: the wall clock at the home."""

    on: dt.date
    at: dt.time
    fold: int | None = None


@dataclass(frozen=True, order=True)
class Free:
    """A bookable time with its verifier."""

    slot: slots.Slot
    verifier_name: str
    verifier_id: int
    verifier_uid: str


def quiet_hours() -> slots.QuietHours:
    return slots.QuietHours(dt.time(rules.number("quiet_opens")), dt.time(rules.number("quiet_closes")))


def places_for(person: Person) -> int:
    """A relay service doubles the length of a call."""
    return 2 if person.needs_relay else 1


def languages_of(verifier: User) -> list[str]:
    return [str(language) for language in verifier.languages] or ["en"]


def verifiers() -> list[User]:
    """Those who may hold calls, by name."""
    holds = Permission.objects.filter(codename="verify", content_type__app_label="core")
    people = User.objects.filter(Q(groups__permissions__in=holds) | Q(user_permissions__in=holds), is_active=True)
    return list(people.distinct().order_by("name", "pk"))


def free_times(
    verifier: User,
    *,
    job: Job,
    places: int,
    first_at: dt.datetime | None = None,
    days: int = AHEAD_DAYS,
    apart_from: Appointment | None = None,
) -> list[slots.Slot]:
    """What this verifier has free for this home, in order."""
    first_at = first_at or clock.now()
    return _free(
        verifier,
        job=job,
        places=places,
        first_at=first_at,
        last_day=first_at.astimezone(walltime.zone_of(job.site.zone)).date() + dt.timedelta(days=days),
        time_off=list(verifier.time_off.filter(withdrawn_at__isnull=True, ends_at__gt=first_at)),
        taken=busy([verifier], job=job, after=first_at, apart_from=apart_from).get(verifier.pk, []),
    )


def times_for(
    job: Job,
    *,
    person: Person,
    apart_from: Appointment | None = None,
    first_at: dt.datetime | None = None,
    only: str = "",
    days: int = AHEAD_DAYS,
) -> list[Free]:
    """Free times of every verifier who speaks the person's language, in order; only: those of one verifier (uid)."""
    return sorted(
        Free(slot, verifier.name, verifier.pk, str(verifier.uid))
        for verifier in verifiers()
        if person.language in languages_of(verifier) and only in ("", str(verifier.uid))
        for slot in free_times(verifier, job=job, places=places_for(person), first_at=first_at, days=days, apart_from=apart_from)
    )


def taken_by(verifier: User, *, apart_from: Appointment | None = None) -> AppointmentQuerySet:
    rows = Appointment.objects.taking().filter(verifier=verifier)
    return rows.exclude(pk=apart_from.pk) if apart_from else rows


def kept_by(verifier: User, *, job: Job) -> TentativeQuerySet:
    """Tentative times on this verifier's hours; the home's own stands in no way of its call."""
    return Tentative.objects.standing().filter(verifier=verifier).exclude(job=job)


def busy(
    people: Iterable[User], *, after: dt.datetime, job: Job | None = None, apart_from: Appointment | None = None
) -> dict[int, list[slots.Taken]]:
    """What takes each verifier's time from an instant on: calls, and tentative times of other homes than this one."""
    calls = Appointment.objects.taking().filter(verifier__in=people, ends_at__gt=after)
    kept = Tentative.objects.standing().filter(verifier__in=people, ends_at__gt=after)
    calls = calls.exclude(pk=apart_from.pk) if apart_from else calls
    kept = kept.exclude(job=job) if job else kept
    found: dict[int, list[slots.Taken]] = {}
    for rows in (calls, kept):
        for verifier, starts_at, ends_at in rows.order_by().values_list("verifier_id", "starts_at", "ends_at"):
            found.setdefault(verifier, []).append(slots.Taken(starts_at, ends_at))
    return found


def closed_days(first: dt.date, last: dt.date) -> frozenset[dt.date]:
    """Federal holidays, as they are observed, unless the rule says that calls are held on them."""
    if rules.number("calls_on_holidays"):
        return frozenset()
    days = (first + dt.timedelta(days=number) for number in range((last - first).days + 1))
    return frozenset(day for day in days if not HOLIDAYS_APART.is_worked(day))


def place(wish: Wish, *, verifier: User, job: Job, person: Person, apart_from: Appointment | None = None) -> slots.Slot:
    """The bookable time that was wished, or a refusal that says why it is none. The caller holds the verifier's row lock."""
    zone, places = job.site.zone, places_for(person)
    try:
        starts_at = walltime.instant(wish.on, local_time=wish.at, zone=zone, fold=wish.fold)
    except ValueError as fault:
        raise Refused(str(fault), field="time") from fault
    if starts_at <= clock.now():
        raise Refused(f"{_said(wish)} has passed at the home; a time ahead is wanted.", field="time")
    length = places * slots.PLACE
    if slots.at_home(starts_at, places=places, zone=zone, quiet=quiet_hours(), region=job.site.region) is None:
        raise Refused(_outside_hours(wish, job), field="time")
    time_off = list(verifier.time_off.filter(withdrawn_at__isnull=True, starts_at__lt=starts_at + length, ends_at__gt=starts_at))
    if time_off:
        raise Refused(f"{verifier.name} is off at {_said(wish)}; another time or another verifier is wanted.", field="time")
    grid = _free(verifier, job=job, places=places, first_at=clock.now(), last_day=wish.on, time_off=[], taken=[])
    slot = next((slot for slot in grid if slot.starts_at == starts_at), None)
    if slot is None:
        raise Refused(_off_the_grid(wish, grid, verifier), field="time")
    if taken_by(verifier, apart_from=apart_from).overlapping(slot.starts_at, slot.ends_at).exists():
        raise Refused(f"{verifier.name} has another call at {_said(wish)}, perhaps just taken; another time is wanted.", field="time")
    kept = kept_by(verifier, job=job).overlapping(slot.starts_at, slot.ends_at).select_related("job").first()
    if kept is not None:
        raise Refused(
            f"{verifier.name} keeps {_said(wish)} tentatively for job {kept.job.code}; another time is wanted, or give that one up first.",
            field="time",
        )
    return slot


def _free(
    verifier: User,
    *,
    job: Job,
    places: int,
    first_at: dt.datetime,
    last_day: dt.date,
    time_off: Sequence[TimeOff],
    taken: Sequence[slots.Taken],
) -> list[slots.Slot]:
    hours = VerifierHours.objects.filter(verifier=verifier)
    return slots.free_slots(
        [slots.WeeklyHours(row.weekday, row.start, row.end) for row in hours],
        verifier_zone=verifier.zone,
        time_off=[slots.TimeOff(row.starts_at, row.ends_at) for row in time_off],
        taken=taken,
        site_zone=job.site.zone,
        region=job.site.region,
        closed=closed_days(first_at.date() - dt.timedelta(days=1), last_day + dt.timedelta(days=1)),
        quiet=quiet_hours(),
        first_at=first_at,
        last_day=last_day,
        places=places,
    )


def _off_the_grid(wish: Wish, grid: Sequence[slots.Slot], verifier: User) -> str:
    that_day = [f"{slot.local_time:%H:%M}" for slot in grid if slot.local_date == wish.on]
    if not that_day:
        return f"{_said(wish)} is outside the hours of {verifier.name}, who has none on that day; another day or verifier is wanted."
    return f"{_said(wish)} is none of the times of {verifier.name} on that day; wanted one of {words.listed(that_day, last='or')}."


def _outside_hours(wish: Wish, job: Job) -> str:
    window = window_on(wish.on, quiet=quiet_hours(), region=job.site.region)
    if window is None:
        return f"On {words.day(wish.on)} homes in {job.site.region} may not be called at all, by that state's rule; another day is wanted."
    return (
        f"{_said(wish)} is outside the hours in which this home may be called: from {window[0]:%H:%M} until {window[1]:%H:%M} "
        "by the clock there, the whole call inside."
    )


def _said(wish: Wish) -> str:
    return f"{wish.at:%H:%M} on {words.day(wish.on)}"
