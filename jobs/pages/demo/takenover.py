"""Homes taken over half done from another contractor: brought in by the real import, with what had been billed before."""

from __future__ import annotations

import datetime as dt
from functools import partial
from random import Random

from billing import payments as books
from billing.models import Milestone
from billing.payments import Portion
from jobs.core import clock, importing, money
from jobs.core.csvout import write_csv
from jobs.core.models import Job
from jobs.core.models.people import PartyRole
from jobs.pages.demo.diary import workday
from jobs.pages.demo.story import Home, Story, World
from utilities.models import FitRequest

TAKEN_OVER = 35  # days ago
WAITING, FITTED, VERIFIED, IN_BUILD = 14, 3, 5, 2
GRIDS = ("Big", "Sable", "Upper", "Tamarisk", "Calder", "Big")


def take_over(world: World) -> None:
    draw, diary = Random("taken over"), world.diary
    homes = [_home(world, number) for number in range(WAITING + FITTED + VERIFIED + IN_BUILD)]
    stages = ["waiting"] * WAITING + ["fitted"] * FITTED + ["verified"] * VERIFIED + ["in build"] * IN_BUILD
    diary.on(workday(diary.ago(TAKEN_OVER)), draw, partial(_bring_in, world, list(zip(homes, stages, strict=True))))


def _home(world: World, number: int) -> Home:
    grid, office = world.grids[GRIDS[number % len(GRIDS)]], world.office
    return Home(world, grid, Story(), Random(f"taken over {number}"), crew=office.south, builder=office.ruth, number=world.number())


def _bring_in(world: World, staged: list[tuple[Home, str]]) -> None:
    rows = [_row(home, stage) for home, stage in staged]
    headings = list(dict.fromkeys(heading for row in rows for heading in row))
    data = "".join(write_csv(headings, [[row.get(heading, "") for heading in headings] for row in rows])).encode()
    by = world.office.dana
    run = importing.apply(importing.prepare("jobs", name="tamarack-homes.csv", data=data, columns={}, by=by), by=by)
    assert run.counts["new"] == len(rows), f"the demo's list of homes was refused: {run.counts}"
    for home, stage in staged:
        home.job = Job.objects.get(contractor_number=_number(home))
        home.services = list(home.job.services.all())
        _go_on(home, stage)


def _number(home: Home) -> str:
    return f"TR-{100 + home.number}"


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b} {day.year}"


def _row(home: Home, stage: str) -> dict[str, str]:
    draw, habit, today = home.draw, home.grid.habit, home.site_day
    city, area = draw.choice(habit.cities), draw.choice(habit.areas)
    owner = home.world.cast.person(draw, area=area)
    contract = draw.randrange(24_000, 66_000) * 100
    row = {
        "Job number": _number(home),
        "Owner": owner.name,
        "Street": home.world.cast.street(draw, city),
        "City": city,
        "State": habit.region,
        "Postal code": habit.postal,
        "Time zone": habit.zone,
        "Telephone": owner.phone,
        "E-mail": owner.email,
        "Crew": home.crew.name,
        "Utility": habit.name,
        "Meter number": f"T{40_000 + 31 * home.number}",
        "Contract signed": _day(today - dt.timedelta(days=draw.randrange(290, 330))),
        "Contract amount": money.shown(contract),
        "First milestone share": "80 %",
        "Final milestone share": "20 %",
    }
    if stage == "in build":
        return row | {"Install day planned": _day(today + dt.timedelta(days=draw.randrange(3, 20)))}
    built = today - dt.timedelta(days=draw.randrange(150, 280))
    sent = built + dt.timedelta(days=draw.randrange(3, 30))
    first = contract * 8 // 10
    row |= {
        "Commissioned on": _day(built),
        "CT check consistent on": _day(built),
        "Collar serial": home.serial,
        "Staged on": _day(built),
        "Staged where": "beside the meter",
        "Sheet given on": _day(built),
        "Permission to operate on": _day(built + dt.timedelta(days=20)),
        "Request sent on": _day(sent),
        "Request route": habit.route,
    } | _billed("First", built, first, first * draw.choice((0, 5, 10, 10, 10)) // 10, home)
    if stage != "waiting":
        fitted = today - dt.timedelta(days=draw.randrange(45, 80))
        row["Fitted on"] = _day(fitted)
        if stage == "verified":
            verified = fitted + dt.timedelta(days=9)
            row |= {"Backup verified on": _day(verified), "Verified by": "P. Marsh"}
            row |= _billed("Final", verified, contract - first, (contract - first) * draw.choice((0, 10)) // 10, home)
    return row


def _billed(part: str, earned: dt.date, invoiced: int, paid: int, home: Home) -> dict[str, str]:
    named = f"{part} milestone"
    return {
        f"{named} earned on": _day(earned),
        f"{named} invoice": f"TR-{home.number}{part[1].upper()}",
        f"{named} invoiced": money.shown(invoiced),
        f"{named} paid": money.shown(paid),
    }


def _go_on(home: Home, stage: str) -> None:
    """Since then they go the way of all homes; their debts are paid here."""
    if stage == "waiting":
        home.request = FitRequest.objects.get(job=home.job)
        home.then("follow_up", (12, 16))
        home.on(home.diary.day + dt.timedelta(days=home.draw.randrange(4, 160)), "fit")
    elif stage == "fitted":
        home.then("connected", (0, 2))
        home.then("updated", (1, 5))
        home.then("asked_medical", (1, 4))
        home.then("book", (8, 14))
    for debt in Milestone.objects.open().filter(job=home.job):
        if home.chance(45):
            home.diary.on(workday(home.diary.day + dt.timedelta(days=home.draw.randrange(2, 60))), home.draw, partial(_pay, home, debt))


def _pay(home: Home, debt: Milestone) -> None:
    left = books.left_of(debt)
    amount = left if home.chance(70) else left // 2
    payer = home.job.parties.get(role=PartyRole.OWNER).person.payer
    books.record_payment(
        payer,
        amount_minor=amount,
        received_on=clock.office_today(),
        reference=f"check {2000 + home.number}",
        method="check",
        parts=[Portion(debt, amount)],
        by=home.office.farida,
    )
