"""Versions of a utility's profile: each with the days for which it holds; confirmed, and not changed once a request rests on it."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from jobs.core import clock, phones, rules, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused
from utilities.models import FitRequest, ProfileVersion, Sending, Utility
from utilities.models.desk import Answer
from utilities.terms import BEGINS, BUSINESS, CALENDAR, STEPS, UTILITY_ONLY, Limit, Person, Terms

RIGHT = "core.edit_utilities"


@act(right=RIGHT, on=Utility)
def record_version(
    utility: Utility, *, terms: Terms, valid_from: dt.date, by: Actor, valid_to: dt.date | None = None, confirmed_with: str = ""
) -> ProfileVersion:
    """A version that holds from a day on. The one before it, if it has no end, ends the day before; any other that it meets is refused."""
    return open_version(utility, terms=terms, valid_from=valid_from, valid_to=valid_to, confirmed_with=confirmed_with, by=by)


def open_version(
    utility: Utility, *, terms: Terms, valid_from: dt.date, by: Actor, valid_to: dt.date | None = None, confirmed_with: str = ""
) -> ProfileVersion:
    """The rule behind it, shared with entering a utility. The caller holds the utility's lock."""
    if valid_to is not None and valid_to < valid_from:
        raise Refused("The last day lies before the first.", field="valid_to")
    for other in utility.versions.all():
        if other.valid_from < valid_from and other.valid_to is None:
            continue  # it ends when this one begins
        if (valid_to is None or other.valid_from <= valid_to) and (other.valid_to is None or other.valid_to >= valid_from):
            raise Refused(f"{_holds(other)} overlaps these days; choose days on which no other version holds.", field="valid_from")
    before = utility.versions.filter(valid_from__lt=valid_from, valid_to__isnull=True).first()
    if before is not None:
        before.valid_to = valid_from - dt.timedelta(days=1)
        before.save(update_fields=["valid_to"])
    made = ProfileVersion(utility=utility, valid_from=valid_from, valid_to=valid_to, **checked(terms).columns())
    made.recorded_at, made.recorded_by_name = clock.now(), by.name
    if confirmed_with.strip():
        made.confirmed_on, made.confirmed_by_name, made.confirmed_with = clock.today_in(utility.zone), by.name, confirmed_with.strip()
    made.save()
    return made


@act(right=RIGHT, on=ProfileVersion)
def correct_version(version: ProfileVersion, *, terms: Terms, by: Actor) -> ProfileVersion:
    """Mend what was typed wrong, while no request rests on it."""
    rest = FitRequest.objects.filter(version=version).count() or Sending.objects.filter(version=version).count()
    if rest:
        raise Refused(
            f"{words.count(rest, 'request')} rest on this version, so it stays as it is; record a new version from the day of the change."
            if rest > 1
            else "A request rests on this version, so it stays as it is; record a new version from the day of the change."
        )
    told = checked(terms).columns()
    for name, value in told.items():
        setattr(version, name, value)
    version.save(update_fields=list(told))
    return version


@act(right=RIGHT, on=ProfileVersion)
def confirm_version(version: ProfileVersion, *, on: dt.date, confirmed_with: str, by: Actor) -> ProfileVersion:
    """Somebody at the utility was asked, and all this still holds."""
    if not confirmed_with.strip():
        raise Refused("Name who at the utility confirmed it.", field="confirmed_with")
    if on > clock.today_in(version.utility.zone):
        raise Refused("This day is still to come; the day on which the utility was asked is wanted.", field="on")
    if on < version.valid_from or (version.valid_to is not None and on > version.valid_to):
        raise Refused(f"{_holds(version)} does not hold on {words.day(on)}; confirm the one that does.", field="on")
    if version.confirmed_on is not None and on < version.confirmed_on:
        raise Refused(f"It was confirmed on {words.day(version.confirmed_on)} already; a later day is wanted.", field="on")
    version.confirmed_on, version.confirmed_by_name, version.confirmed_with = on, by.name, confirmed_with.strip()
    version.save(update_fields=["confirmed_on", "confirmed_by_name", "confirmed_with"])
    return version


def _holds(version: ProfileVersion) -> str:
    until = f" to {words.day(version.valid_to)}" if version.valid_to else " on"
    return f"The version from {words.day(version.valid_from)}{until}"


def age_days(version: ProfileVersion, *, today: dt.date) -> int | None:
    """Days since somebody confirmed it; None where nobody ever did."""
    return None if version.confirmed_on is None else max(0, (today - version.confirmed_on).days)


def is_old(version: ProfileVersion, *, today: dt.date, most: int | None = None) -> bool:
    """Past the age at which it is asked about again, or never confirmed."""
    age = age_days(version, today=today)
    return age is None or age > (rules.number("profile_days") if most is None else most)


def confirmed_words(version: ProfileVersion, *, today: dt.date) -> str:
    """ "Confirmed 12 days ago"."""
    age = age_days(version, today=today)
    return "Never confirmed" if age is None else "Confirmed today" if age == 0 else f"Confirmed {words.count(age, 'day')} ago"


def checked(terms: Terms) -> Terms:
    """What may be kept, normalised; else a refusal at its field."""
    told: dict[str, Any] = {
        one.name: value.strip() if isinstance(value := getattr(terms, one.name), str) else value for one in dataclasses.fields(Terms)
    }
    told["who_may_fit"] = told["who_may_fit"] or UTILITY_ONLY
    if told["who_may_fit"] != UTILITY_ONLY and not told["who_may_fit_source"]:
        raise Refused("Name the rule that lets others than the utility fit the collar, and who confirmed it.", field="who_may_fit_source")
    for name in ("supplies_collar", "signature_needed", "customer_home"):
        if told[name] not in Answer.values:
            raise Refused("Choose yes, no or not known.", field=name)
    if told["fee_minor"] is not None and told["fee_minor"] < 0:
        raise Refused("A fee below nothing is none; an amount is wanted, or 0 where none is asked.", field="fee")
    told["desk_phone"] = _phone(told["desk_phone"], field="desk_phone")
    for name in ("contacts", "steps_above"):
        told[name] = tuple(_person(one, field=f"{name}_{place}") for place, one in enumerate(told[name]))
    told["limits"] = tuple(_limit(one, place) for place, one in enumerate(told["limits"]))
    return Terms(**told)


def _person(one: Person, *, field: str) -> Person:
    if not one.name.strip() and not one.role.strip():
        raise Refused("Give a name or what the person is there.", field=f"{field}_name")
    return dataclasses.replace(one, name=one.name.strip(), role=one.role.strip(), phone=_phone(one.phone, field=f"{field}_phone"))


def _limit(one: Limit, place: int) -> Limit:
    at = f"limits_{place}"
    if one.step not in STEPS or one.begins not in BEGINS or one.counts not in (BUSINESS, CALENDAR):
        raise Refused("Choose what the utility must do, in which days, and from when they count.", field=f"{at}_step")
    if not one.source.strip():
        raise Refused("Name where the limit is published; a limit without a source is not one.", field=f"{at}_source")
    if one.days is None and not one.words.strip():
        raise Refused("Give the number of days, or the limit in its own words.", field=f"{at}_days")
    if one.days is not None and not 1 <= one.days <= 730:
        raise Refused("A limit of 1 to 730 days is wanted.", field=f"{at}_days")
    return dataclasses.replace(one, source=one.source.strip(), words=one.words.strip())


def _phone(text: str, *, field: str) -> str:
    if not text:
        return ""
    try:
        return phones.e164(text).number
    except ValueError as fault:
        raise Refused(str(fault), field=field) from None
