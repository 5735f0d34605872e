"""Homes, people and utilities for tests: plain functions with good defaults."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from django.contrib.auth.models import Group, Permission

from jobs.core import actors, ctcheck, dayone, facts, intake, lifecycle
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.intake import NewHome, NewPerson
from jobs.core.models import Fact, Job, User
from jobs.core.rights import RIGHTS
from jobs.core.states import S
from jobs.notices.models import Message

_count = itertools.count(1)

PNG = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x02\x00\x00\x00\x90wS\xde\x00\x00\x00\x0cIDATx\x9cc```\x00\x00\x00"
    b"\x04\x00\x01\xf6\x178U\x00\x00\x00\x00IEND\xaeB`\x82"
)
PASSWORD = "a-long-password"
SYSTEM = actors.command("tests")
DAY_ONE = dt.date(2026, 5, 4)
SENT = dt.date(2026, 6, 3)
FITTED = dt.date(2026, 9, 14)
VERIFIED = dt.date(2026, 9, 21)


def group_of(role: str) -> Group:
    """The migration's group; made anew where a test that empties the database took it away."""
    group, made = Group.objects.get_or_create(name=role)
    if made:
        names = [name for name, (_, roles) in RIGHTS.items() if role in roles]
        group.permissions.set(Permission.objects.filter(content_type__app_label="core", codename__in=names))
    return group


def make_user(role: str, name: str = "", **fields: Any) -> User:
    number = next(_count)
    user = User.objects.create_user(
        email=f"person{number}@larchlantern.example", password=PASSWORD, name=name or f"Person {number}", **fields
    )
    user.groups.add(group_of(role))
    return user


def make_job(
    state: S = S.IN_BUILD, *, owner: str = "Guadalupe Hernández", zone: str = "America/Denver", day_one: dt.date = DAY_ONE, **fields: Any
) -> Job:
    """A job whose facts bring it to a state. The utility's facts are plain here; the owning apps' tests make theirs by their own acts."""
    number = next(_count)
    home = NewHome(
        street=fields.pop("street", f"{number} Old Sawmill Road"),
        city="Ottermere",
        region="CO",
        zone=zone,
        owner=NewPerson(name=owner, phone="+13035550142", email=f"home{number}@homes.example", language=fields.pop("language", "en")),
        contractor_number=fields.pop("contractor_number", ""),
        has_battery=fields.pop("has_battery", True),
    )
    job = intake.add_job(home, by=SYSTEM, crew=fields.pop("crew", None))
    for name, value in fields.items():
        setattr(job, name, value)
    job.save()
    lifecycle.settle(job, by=SYSTEM)  # a planned day says what comes next
    order = [S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED]
    if state == S.CANCELLED:
        put(job, k.CANCELLED, on=day_one, value={"reason": "sold the house"})
    for step in order[: order.index(state) + 1] if state in order else []:
        STEPS[step](job, day_one)
    Message.objects.filter(job=job).delete()  # what its own way here owed is not what a test asks about
    job.refresh_from_db()
    return job


def put(job: Job, kind: str, *, on: dt.date, value: dict[str, Any] | None = None, by: actors.Actor = SYSTEM) -> Fact:
    """Record one fact and settle, without the owning app's record."""
    at = dt.datetime.combine(on, dt.time(18, 0), dt.UTC)
    spec = facts.KINDS[kind]
    when = {facts.ON: When(on=on), facts.AT: When(at=at), facts.BRACKET: When(by=on)}[spec.when]
    job.refresh_from_db()
    fact = facts.record(job, kind, when=when, said_by=Said("us", "tests"), by=by, value=value)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


def steps_seen(a: tuple[int, int] = (1700, 0), b: tuple[int, int] = (0, 1700), *, base: int = 400, load_w: int = 1700) -> ctcheck.TwoSteps:
    """Two 120 V steps whose readings rise by `a` and `b` (leg A, leg B)."""

    def one(rise: tuple[int, int]) -> ctcheck.StepTest:
        off = ctcheck.Reading(base, base)
        return ctcheck.StepTest(off, ctcheck.Reading(base + rise[0], base + rise[1]), off, load_w=load_w)

    return ctcheck.TwoSteps(one(a), one(b))


def serial_of(job: Job) -> str:
    return f"LL-{job.pk:06d}"


def _day_one(job: Job, on: dt.date) -> None:
    dayone.record_commissioned(job, on=on, by=SYSTEM)
    if job.has_battery:
        dayone.record_ct_check(job, on=on, tests=steps_seen(), by=SYSTEM)
    dayone.record_collar_registered(job, on=on, serial=serial_of(job), by=SYSTEM)
    dayone.record_collar_staged(job, on=on, place="left of the meter, at eye height", photo=dayone.Photo("bag.png", PNG), by=SYSTEM)
    dayone.record_sheet_given(job, on=on, to="owner", by=SYSTEM)


def _sent(job: Job, on: dt.date) -> None:
    put(job, k.REQUEST_SENT, on=on + (SENT - DAY_ONE), value={"request": "made-by-test", "utility": "Ottermere Municipal Light"})


def _fitted(job: Job, on: dt.date) -> None:
    put(job, k.COLLAR_FITTED, on=on + (FITTED - DAY_ONE), value={"serial": serial_of(job)})


def _verified(job: Job, on: dt.date) -> None:
    put(job, k.VERIFICATION, on=on + (VERIFIED - DAY_ONE), value={"result": "passed", "record": "made-by-test"})


STEPS = {S.GRID_TIED: _day_one, S.AWAITING_UTILITY: _sent, S.COLLAR_ENERGIZED: _fitted, S.BACKUP_VERIFIED: _verified}


def user_of(actor: actors.Actor) -> User:
    assert actor.user is not None
    return actor.user
