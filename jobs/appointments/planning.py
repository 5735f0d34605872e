"""The week plan from the rows: ready homes and free places gathered, the pure plan asked, its answer said in rows.

Nothing is stored: a plan is worked out anew from what stands. What was accepted is a call by then and keeps its place; what the scheduler
fixed or left out comes with the question (`Asked`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from jobs.appointments import missed, slots, times, weekplan, worklists
from jobs.appointments.models import TimeOff, VerifierHours
from jobs.appointments.shown import at_home_of
from jobs.appointments.slots import Slot
from jobs.appointments.times import Wish
from jobs.appointments.weekplan import MILLION, Home, Place
from jobs.appointments.worklists import Wanted
from jobs.core import clock, walltime, words
from jobs.core.models import Job, Person, User
from jobs.core.models.job import JobQuerySet

ONE_DAY, ONE_WEEK = dt.timedelta(days=1), dt.timedelta(days=7)


@dataclass(frozen=True)
class Fixed:
    """A time that the scheduler chose for a home before the plan is worked out."""

    code: str
    verifier: str  # uid
    wish: Wish


@dataclass(frozen=True)
class Asked:
    monday: dt.date
    fixed: tuple[Fixed, ...] = ()
    left_out: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Proposed:
    wanted: Wanted
    person: Person
    verifier: User
    slot: Slot
    days_gained: int
    gained_minor: int
    fixed: bool
    possible: tuple[tuple[User, Slot], ...]  # every time that this home could have


@dataclass(frozen=True)
class LeftOut:
    wanted: Wanted
    why: str


@dataclass(frozen=True)
class WeekPlan:
    proposed: tuple[Proposed, ...]  # by time
    free: tuple[tuple[User, dt.datetime], ...]  # places that no home got
    left_out: tuple[LeftOut, ...]
    refused: tuple[str, ...]  # fixed times that cannot be had
    at_most_more: int  # minor units that another plan might gain above this one; 0: it is the best there is

    @property
    def gained_minor(self) -> int:
        return sum(row.gained_minor for row in self.proposed)

    @property
    def days_gained(self) -> int:
        return sum(row.days_gained for row in self.proposed)

    @property
    def may_lack(self) -> str:
        """What another plan might gain more, in hundredths of what this one gains, rounded up; empty where this one is the best."""
        if not self.at_most_more or not self.gained_minor:
            return ""
        return f"{-(-self.at_most_more * 1000 // self.gained_minor) / 10:.1f}\u202f%"


@dataclass(frozen=True)
class Openings:
    """The free places of a week, and who holds each."""

    places: tuple[Place, ...]
    who: dict[int, User]
    after: dict[int, int]
    quiet: slots.QuietHours


def plan_week(jobs: JobQuerySet, *, asked: Asked) -> WeekPlan:
    """Ready homes among these to the free places of the week that begins on this Monday."""
    ready = [row for row in worklists.lists(jobs).ready if row.job.code not in asked.left_out]
    people = {row.job.code: at_home_of(row.job) for row in ready}
    openings = open_places(asked.monday, asked.monday + ONE_WEEK - ONE_DAY)
    shown = {row.job.code: possible_for(row.job, people[row.job.code], openings) for row in ready}
    taken, fixed, refused = _fixed(asked, ready, people, shown, openings)
    chances, turns = missed.record(), missed.turns([row.job.pk for row in ready])
    end = asked.monday + ONE_WEEK

    def home_of(row: Wanted, options: dict[int, Slot]) -> Home:
        person = people[row.job.code]
        return Home(
            row.job.code,
            row.worth.total_minor,
            {place: (end - slot.local_date).days for place, slot in options.items()},
            round(chances.chance_of(turns[row.job.pk]) * MILLION),
            times.places_for(person) if person else 1,
        )

    wanting = []
    for row in ready:
        options = {
            place: slot for place, slot in shown[row.job.code].items() if not taken & _covered(place, people[row.job.code], openings)
        }
        if row.job.code not in fixed:
            wanting.append(home_of(row, options))
    plan = weekplan.best_plan(wanting, places=openings.places)
    chosen = fixed | {call.home.code: call.place for call in plan.calls}
    rows = []
    for row in ready:
        place, person = chosen.get(row.job.code), people[row.job.code]
        if place is None or person is None:
            continue
        options = shown[row.job.code]
        home = home_of(row, {place: options[place]})
        rows.append(
            Proposed(
                wanted=row,
                person=person,
                verifier=openings.who[openings.places[place].verifier],
                slot=options[place],
                days_gained=home.gains[place],
                gained_minor=home.worth_in(place),
                fixed=row.job.code in fixed,
                possible=tuple((openings.who[openings.places[one].verifier], slot) for one, slot in sorted(options.items())),
            )
        )
    used = {covered for code, place in chosen.items() for covered in _covered(place, people[code], openings)}
    return WeekPlan(
        proposed=tuple(sorted(rows, key=lambda row: (row.slot.starts_at, row.verifier.name))),
        free=tuple((openings.who[place.verifier], place.starts_at) for number, place in enumerate(openings.places) if number not in used),
        left_out=tuple(LeftOut(row, _why(row, people, shown)) for row in ready if row.job.code not in chosen),
        refused=refused,
        at_most_more=plan.at_most_more,
    )


def open_places(first: dt.date, last: dt.date) -> Openings:
    """Free single places of every verifier from a day to a day, by the clock where each works; none before a homeowner could be asked."""
    people = times.verifiers()
    soonest = clock.now() + times.SOONEST
    busy = times.busy(people, after=soonest)
    closed = times.closed_days(first, last)
    week: dict[int, list[slots.WeeklyHours]] = {}
    for row in VerifierHours.objects.filter(verifier__in=people):
        week.setdefault(row.verifier_id, []).append(slots.WeeklyHours(row.weekday, row.start, row.end))
    off: dict[int, list[slots.TimeOff]] = {}
    for away in TimeOff.objects.standing().filter(verifier__in=people, ends_at__gt=soonest):
        off.setdefault(away.verifier_id, []).append(slots.TimeOff(away.starts_at, away.ends_at))
    places = []
    for one in people:
        midnight = dt.datetime.combine(first, dt.time(), walltime.zone_of(one.zone))
        starts = slots.free_places(
            week.get(one.pk, []),
            verifier_zone=one.zone,
            time_off=off.get(one.pk, []),
            taken=busy.get(one.pk, []),
            first_at=max(soonest, midnight),
            last_day=last,
            closed=closed,
        )
        places += [Place(starts_at, one.pk, starts_at + slots.PLACE) for starts_at in starts]
    ordered = tuple(sorted(places))
    return Openings(ordered, {one.pk: one for one in people}, weekplan.follower(ordered), times.quiet_hours())


def possible_for(job: Job, person: Person | None, openings: Openings, *, only: int | None = None) -> dict[int, Slot]:
    """Where the call of this home could begin, by number of the place: in its language, inside its hours. only: one place alone."""
    if person is None or not person.phone:
        return {}
    site, length, quiet = job.site, times.places_for(person), openings.quiet
    found = {}
    for number in range(len(openings.places)) if only is None else (only,):
        place = openings.places[number]
        if person.language not in times.languages_of(openings.who[place.verifier]) or (length == 2 and number not in openings.after):
            continue
        slot = _seen(place.starts_at, length, site.zone, site.region, quiet)
        if slot is not None:
            found[number] = slot
    return found


@lru_cache(maxsize=20_000)
def _seen(starts_at: dt.datetime, places: int, zone: str, region: str, quiet: slots.QuietHours) -> Slot | None:
    return slots.at_home(starts_at, places=places, zone=zone, quiet=quiet, region=region)


def _covered(place: int, person: Person | None, openings: Openings) -> set[int]:
    double = person is not None and times.places_for(person) == 2
    return {place, openings.after[place]} if double else {place}


def _fixed(
    asked: Asked, ready: Sequence[Wanted], people: dict[str, Person | None], shown: dict[str, dict[int, Slot]], openings: Openings
) -> tuple[set[int], dict[str, int], tuple[str, ...]]:
    """Places that are given away before the plan, and what cannot be had."""
    taken: set[int] = set()
    chosen: dict[str, int] = {}
    refused = []
    codes = {row.job.code for row in ready}
    for one in asked.fixed:
        if one.code not in codes or one.code in chosen:
            continue  # booked meanwhile, or not ready any more: it is not among the homes of this plan
        place = next(
            (
                number
                for number, slot in shown[one.code].items()
                if (slot.local_date, slot.local_time, slot.fold) == (one.wish.on, one.wish.at, one.wish.fold or 0)
                and str(openings.who[openings.places[number].verifier].uid) == one.verifier
            ),
            None,
        )
        covered = _covered(place, people[one.code], openings) if place is not None else set()
        if place is None or covered & taken:
            refused.append(f"{one.code}: {one.wish.at:%H:%M} on {words.day(one.wish.on)} is not free any more; the plan chose again.")
            continue
        chosen[one.code] = place
        taken |= covered
    return taken, chosen, tuple(refused)


def _why(row: Wanted, people: dict[str, Person | None], shown: dict[str, dict[int, Slot]]) -> str:
    person = people[row.job.code]
    if person is None:
        return "nobody is on record for this home"
    if not person.phone:
        return f"{person.name} has no telephone number on record"
    if not shown[row.job.code]:
        return f"no verifier who speaks {person.get_language_display()} has a time inside the hours of this home"
    if not row.worth.total_minor:
        return "nothing hangs on a day of it, so that other homes go first"
    return "other homes gain more in the times that it could have"
