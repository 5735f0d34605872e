"""A utility's name, zone, working days and who of us asks it: entered and changed by the operations manager. Its versions: versions.py."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields

from jobs.core import clock, phones, walltime, words
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import User
from jobs.core.refusals import Refused
from utilities.models import Closure, District, KnownCalendar, Service, Utility, UtilityKind
from utilities.models.utility import HOLIDAYS
from utilities.terms import Terms
from utilities.versions import open_version
from utilities.workdays import FIRST_DAY, LAST_DAY, HolidayRule

RIGHT = "core.edit_utilities"


@dataclass(frozen=True)
class Profile:
    """All that the page of a utility asks. Telephones by E.164; days are office days."""

    name: str
    zone: str
    kind: str = UtilityKind.INVESTOR_OWNED.value
    emergency_phone: str = ""
    worked_weekdays: Sequence[int] = (0, 1, 2, 3, 4)
    holidays: str = HolidayRule.FEDERAL.value
    clerk: User | None = None
    stand_in: User | None = None
    away_from: dt.date | None = None
    away_to: dt.date | None = None
    note: str = ""


@act(right=RIGHT)
def add_utility(profile: Profile, *, by: Actor, terms: Terms | None = None, valid_from: dt.date | None = None) -> Utility:
    """Enter a utility, with what it has told already. Without its emergency line no call for its homes can be booked."""
    utility = Utility(**_checked(profile, other_than=None))
    utility.save()
    _keep_calendar(utility)
    if terms is not None:
        open_version(utility, terms=terms, valid_from=valid_from or clock.today_in(utility.zone), by=by)
    return utility


@act(right=RIGHT, on=Utility)
def edit_utility(utility: Utility, *, profile: Profile, by: Actor) -> Utility:
    told = _checked(profile, other_than=utility)
    changed = [name for name, value in told.items() if getattr(utility, name) != value]
    for name in changed:
        setattr(utility, name, told[name])
    if {"worked_weekdays", "holidays"} & set(changed):
        utility.calendar_at = clock.now()
        changed.append("calendar_at")
    if changed:
        utility.save(update_fields=changed)
    if "calendar_at" in changed:
        _keep_calendar(utility)
    return utility


@act(right=RIGHT, on=Utility)
def set_districts(utility: Utility, *, names: Collection[str], by: Actor) -> Utility:
    """The utility's districts, by name. One that homes are in stays."""
    wanted = [" ".join(name.split()) for name in names if name.strip()]
    if len({name.casefold() for name in wanted}) < len(wanted):
        raise Refused("Two districts have the same name; one line for each is wanted.", field="names")
    if too_long := next((name for name in wanted if len(name) > 80), None):
        raise Refused(f"“{too_long[:40]} ...” is too long; at most 80 characters are wanted.", field="names")
    kept = {district.name.casefold(): district for district in utility.districts.all()}
    for gone in (district for name, district in kept.items() if name not in {new.casefold() for new in wanted}):
        if Service.objects.filter(district=gone).exists() or gone.requests.exists():
            raise Refused(f"Homes are in the district {gone.name}; it cannot be taken away while they are.", field="names")
        gone.delete()
    for name in wanted:
        district = kept.get(name.casefold())
        if district is None:
            District.objects.create(utility=utility, name=name)
        elif district.name != name:
            district.name = name
            district.save(update_fields=["name"])
    return utility


@act(right=RIGHT, on=Utility)
def set_closures(utility: Utility, *, first: dt.date, last: dt.date, kind: str, by: Actor) -> Utility:
    """Close the utility on the days from first to last, or open them. `kind`: closed, open, or usual (as its week and holidays say)."""
    if last < first:
        raise Refused("The last day lies before the first.", field="last")
    if not (first >= FIRST_DAY and last <= LAST_DAY):
        raise Refused(f"Days from {words.day(FIRST_DAY)} to {words.day(LAST_DAY)} are wanted.", field="first")
    if (last - first).days > 366:
        raise Refused("More than a year in one go is most likely a slip; a shorter stretch is wanted.", field="last")
    days = [first + dt.timedelta(days=ahead) for ahead in range((last - first).days + 1)]
    Closure.objects.filter(utility=utility, day__range=(first, last)).delete()
    if kind in Closure.Kind.values:
        Closure.objects.bulk_create(Closure(utility=utility, day=day, kind=kind) for day in days)
    elif kind != "usual":
        raise Refused(f"“{kind}” is no kind of day; wanted closed, open or usual.", field="kind")
    utility.calendar_at = clock.now()
    utility.save(update_fields=["calendar_at"])
    _keep_calendar(utility)
    return utility


def _keep_calendar(utility: Utility) -> None:
    """Its working days as they are known from today on: due days that have passed are counted by what was known before."""
    days = list(Closure.objects.filter(utility=utility).values_list("day", "kind"))
    KnownCalendar.objects.update_or_create(
        utility=utility,
        known_on=clock.today_in(utility.zone),
        defaults={
            "weekdays": utility.worked_weekdays,
            "holidays": utility.holidays,
            "closed": [day.isoformat() for day, kind in days if kind == Closure.Kind.CLOSED],
            "opened": [day.isoformat() for day, kind in days if kind == Closure.Kind.OPEN],
        },
    )


def _checked(profile: Profile, *, other_than: Utility | None) -> dict[str, object]:
    told = {field.name: getattr(profile, field.name) for field in fields(profile)}
    told = {name: value.strip() if isinstance(value, str) else value for name, value in told.items()}
    told["name"] = " ".join(told["name"].split())
    told["worked_weekdays"] = sorted({int(day) for day in profile.worked_weekdays})
    if not told["name"]:
        raise Refused("The name is empty; the utility's own name is wanted.", field="name")
    # Two people may enter the same utility at once.
    one_at_a_time(f"utility {told['name'].casefold()}")
    same = Utility.objects.filter(name__iexact=told["name"]).exclude(pk=other_than.pk if other_than else 0)
    if same.exists():
        raise Refused(f"{told['name']} is entered already; two utilities of one name would be mixed up.", field="name")
    if told["zone"] not in walltime.zones():
        raise Refused(f"“{told['zone']}” is not an IANA zone; wanted a name such as America/Denver.", field="zone")
    if told["kind"] not in UtilityKind.values:
        raise Refused(f"“{told['kind']}” is no kind of utility; wanted one of: {', '.join(UtilityKind.values)}.", field="kind")
    if not told["worked_weekdays"] or not set(told["worked_weekdays"]) <= set(range(7)):
        raise Refused("Choose at least one weekday on which the utility works.", field="worked_weekdays")
    if told["holidays"] not in dict(HOLIDAYS):
        raise Refused("Choose which public holidays the utility keeps.", field="holidays")
    told["emergency_phone"] = _phone(told["emergency_phone"], field="emergency_phone")
    _check_absence(profile)
    return told


def _phone(text: str, *, field: str) -> str:
    if not text:
        return ""
    try:
        return phones.e164(text).number
    except ValueError as fault:
        raise Refused(str(fault), field=field) from None


def _check_absence(profile: Profile) -> None:
    if profile.clerk is not None and profile.clerk == profile.stand_in:
        raise Refused("The stand-in is the clerk; choose somebody else, or nobody.", field="stand_in")
    if profile.away_to and not profile.away_from:
        raise Refused("Say from which day the clerk is away.", field="away_from")
    if profile.away_from and profile.away_to and profile.away_to < profile.away_from:
        raise Refused("The absence ends before it begins.", field="away_to")
    if profile.away_from and profile.stand_in is None:
        raise Refused("Name who stands in while the clerk is away.", field="stand_in")
