"""Larch & Lantern Home Energy: its particulars, people, crews and hours. All invented."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth.models import Group

from billing import payers
from billing.models import Payer
from jobs.appointments import hours
from jobs.appointments.slots import WeeklyHours
from jobs.core import actors, clock, people, rules
from jobs.core.actors import Actor
from jobs.core.models import Crew, User
from jobs.core.rights import CREW, FINANCE, MANAGER, SCHEDULER, VERIFIER
from jobs.pages.demo.diary import OFFICE_ZONE

RULES: dict[str, str | int] = {
    "company_name": "Larch & Lantern Home Energy",
    "company_address": "18 Weir Street, Suite 2, Ottermere, CO 80999",
    "company_phone": "(303) 555-0100",
    "company_email": "office@larchlantern.example",
    "company_licence": "Colorado electrical contractor EC.0000000 (invented)",
    "emergency_on_call": "Sam Whitaker, licensed electrician, (303) 555-0109",
    "payment_instructions": "By check to Larch & Lantern Home Energy, or by bank transfer as on your contract.",
    "office_zone": OFFICE_ZONE,
    "follow_up_days": 28,
}

# The first of each role is printed on the sign-in page with its password, in demo mode only.
PEOPLE = (
    ("dana", "Dana Ruiz", MANAGER, OFFICE_ZONE, ("en",)),
    ("theo", "Theo Lindgren", SCHEDULER, OFFICE_ZONE, ("en",)),
    ("farida", "Farida Novak", FINANCE, OFFICE_ZONE, ("en",)),
    ("mara", "Mara Quist", VERIFIER, OFFICE_ZONE, ("en", "es")),
    ("joel", "Joel Amadi", CREW, OFFICE_ZONE, ("en",)),
    ("idris", "Idris Bell", VERIFIER, "America/Los_Angeles", ("en",)),
    ("ruth", "Ruth Halvorsen", CREW, OFFICE_ZONE, ("en", "es")),
    ("paz", "Paz Ortega", SCHEDULER, OFFICE_ZONE, ("en", "es")),
)


@dataclass(frozen=True)
class Office:
    """Who acts in the demo."""

    dana: Actor
    theo: Actor
    paz: Actor
    farida: Actor
    mara: Actor
    idris: Actor
    joel: Actor
    ruth: Actor
    north: Crew
    south: Crew
    lenders: tuple[Payer, ...]

    def verifiers(self, language: str) -> tuple[Actor, ...]:
        return (self.mara,) if language == "es" else (self.mara, self.idris)


def user_of(actor: Actor) -> User:
    assert actor.user is not None
    return actor.user


def open_office() -> Office:
    """The company as it was on the day it began to keep its books here."""
    who = {mailbox: _person(mailbox, name, role, zone, languages) for mailbox, name, role, zone, languages in PEOPLE}
    dana = who["dana"]
    for name, value in RULES.items():
        rules.set_rule(name, value=value, valid_from=clock.now().date(), by=dana)
    north, south = people.add_crew("North crew", by=dana), people.add_crew("South crew", by=dana)
    people.join_crew(user_of(who["joel"]), crew=north, by=dana)
    people.join_crew(user_of(who["ruth"]), crew=south, by=dana)
    hours.set_hours(user_of(who["mara"]), hours=_week(range(5), 9, 18) + _week((5,), 10, 14), by=dana)
    hours.set_hours(user_of(who["idris"]), hours=_week((0, 1, 2, 3, 5, 6), 9, 17), by=dana)
    lenders = (
        payers.add_payer(
            "Copperline Home Credit",
            kind="lender",
            email="draws@copperline.example",
            address="P.O. Box 100, Granary, NE 68999",
            terms_days=15,
            by=who["farida"],
        ),
        payers.add_payer("Fairfield Rooftop Trust", kind="third_party_owner", email="payables@fairfieldtrust.example", by=who["farida"]),
    )
    return Office(**who, north=north, south=south, lenders=lenders)


def _person(mailbox: str, name: str, role: str, zone: str, languages: tuple[str, ...]) -> Actor:
    # Not by the act: the demo's password is printed for everybody, and resembles the addresses, which a real one may not.
    user = User.objects.create_user(
        email=f"{mailbox}@larchlantern.example",
        password=settings.DEMO_PASSWORD,
        name=name,
        zone=zone,
        languages=list(languages),
        is_demo=True,
    )
    user.groups.add(Group.objects.get(name=role))
    return actors.person(user)


def _week(days: range | tuple[int, ...], start: int, end: int) -> list[WeeklyHours]:
    return [WeeklyHours(day, dt.time(start), dt.time(end)) for day in days]
