"""Steps of the wait: asked, acknowledged, asked again, announced, visited, fitted or closed."""

from __future__ import annotations

import datetime as dt

from jobs.core.dayone import Photo
from jobs.core.facts import Said
from jobs.core.states import S
from jobs.core.waiting import UTILITY
from jobs.pages.demo import calls
from jobs.pages.demo.story import Home, step
from utilities import endings, requests, services, visits
from utilities.models import Service
from utilities.package import ON_RECORD, Package, Packed

PDF = (
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj 2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
    b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 612 792]>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
)
NOTHING_NEW = (
    "nothing new", "it is in the queue", "the meter shop has it", "nobody could say", "crews are two weeks behind", "left a message",
    "the collar is approved, a crew is not assigned yet",
)  # fmt: skip
DESK = ("Lena", "Mr. Abbott", "the meter desk", "Corinne", "the duty planner", "R. Olsen")
FAILED_VISITS = (
    ("could not get in", "side gate locked, dog in the yard"),
    ("nobody home", "rang twice, nobody came"),
    ("collar not found", "the crew looked left of the meter only"),
    ("not the right crew or equipment", "came with a single-phase truck and no seals"),
    ("cancelled by utility", "called away to an outage"),
    ("meter or socket not suitable", "socket jaws burnt"),
    ("unknown", "a door hanger was left, nobody knows by whom"),
)


def packed(home: Home, service: Service) -> Package:
    """A package that holds all that the utility's list of the day asks for."""
    terms = services.terms_of(services.version_of(service.utility, home.site_day))
    signed = terms.signature_needed == "yes"
    files = [item for item in terms.package if item.casefold() not in ON_RECORD]
    return Package(
        packed=tuple(Packed(item, upload=Photo(f"{item.replace(' ', '-')}.pdf", PDF)) for item in files),
        fee_minor=terms.fee_minor or None,
        fee_paid_on=home.site_day if terms.fee_minor else None,
        signed_on=home.site_day if signed else None,
        signed_by=home.job.homeowner if signed else "",
    )


@step
def ask(home: Home) -> None:
    habit = home.grid.habit
    for service in home.services:
        home.request = requests.record_sent(
            service,
            on=home.site_day,
            route=habit.route,
            reference=f"{home.job.code}-{home.number}",
            package=packed(home, service),
            by=home.office.theo,
        )
    if home.chance(habit.acknowledges):
        home.then("acknowledged", (2, 7))
    home.then("follow_up", (20, 27))
    expect(home)


def expect(home: Home) -> None:
    """What the utility will do, as its habit has it."""
    habit, filed = home.grid.habit, home.site_day
    fitted = home.story.fitted_on or home.grid.fitting_day(filed, home.draw, today=home.diary.today)
    if home.story.fitted_on is None and home.chance(habit.closes):
        home.on(home.grid.calendar.nth_after(filed, home.draw.randrange(40, 90)), "closed")
        return
    home.on(fitted, "fit")
    if (fitted - filed).days > 24:
        if home.chance(14):
            home.on(fitted - dt.timedelta(days=home.draw.randint(7, 16)), "visited")
        if home.chance(habit.promises):
            home.on(fitted - dt.timedelta(days=home.draw.randint(12, 20)), "announced")


def is_waiting(home: Home) -> bool:
    home.job.refresh_from_db()
    return home.job.state == S.AWAITING_UTILITY and home.request.is_open


@step
def acknowledged(home: Home) -> None:
    if is_waiting(home):
        reference = f"{home.grid.habit.name[:1]}{home.number * 17 + 5000}"
        requests.record_answer(home.request, on=home.site_day, answered="received and complete", reference=reference, by=home.office.paz)


@step
def follow_up(home: Home) -> None:
    """Asked again before four weeks are over, and now and then forgotten."""
    if not is_waiting(home) or home.job.waiting_on != UTILITY:
        return
    day, promised = home.site_day, None
    answered = home.draw.choice(NOTHING_NEW)
    if home.chance(12):
        promised = home.grid.calendar.next_worked(day + dt.timedelta(days=home.draw.randint(6, 20)))
        answered = f"planned for {promised:%B} {promised.day}"
    requests.record_contact(
        home.request,
        on=day,
        asked="when will the collar be fitted?",
        answered=answered,
        person=home.draw.choice(DESK),
        channel=home.draw.choice(("telephone", "telephone", "e-mail")),
        promised_by=promised,
        by=home.office.theo if home.chance(60) else home.office.paz,
    )
    if not home.chance(7):
        home.then("follow_up", (22, 29))


@step
def announced(home: Home) -> None:
    """A window is named. Whether somebody comes in it is the utility's habit."""
    if not is_waiting(home):
        return
    keeps = home.chance(home.grid.habit.keeps)
    last = home.site_day + dt.timedelta(days=home.draw.randint(12, 20) if keeps else home.draw.randint(3, 7))
    last = home.grid.calendar.next_worked(last)
    visit = visits.announce_visit(
        home.request,
        told_on=home.site_day,
        window_from=max(home.site_day, last - dt.timedelta(days=home.draw.choice((0, 0, 1, 2)))),
        window_to=last,
        hours=home.draw.choice(("between 8 and 12", "between 12 and 4", "")),
        person=home.draw.choice(DESK),
        by=home.office.paz,
    )
    if home.chance(70):
        home.diary.soon(lambda: visits.record_homeowner_told(visit, on=home.site_day, by=home.office.paz), minutes=20)
    home.diary.soon(lambda: calls.written(home), minutes=40)


@step
def visited(home: Home) -> None:
    """A visit without a fitting."""
    if is_waiting(home):
        outcome, reason = home.draw.choice(FAILED_VISITS)
        visits.record_visit(home.request, on=home.site_day, outcome=outcome, reason=reason, by=home.office.theo)


@step
def fit(home: Home) -> None:
    """Fitted: mostly the utility says on which day, sometimes it is noticed days later."""
    if not is_waiting(home):
        return
    serial = home.story.fitted_serial or home.serial
    if home.story.fitted_on or home.chance(68):
        visits.record_visit(home.request, on=home.site_day, outcome="fitted", serial=serial, said_by=Said("utility"), by=home.office.theo)
        after_fitting(home)
    else:
        home.then("noticed", (1, 6))


@step
def noticed(home: Home) -> None:
    if is_waiting(home):
        after = home.site_day - dt.timedelta(days=home.draw.randint(4, 12))
        who = home.draw.choice((Said("gateway"), Said("at home", "the homeowner")))
        visits.confirm_fitting(
            home.request,
            after_on=max(after, home.request.filed_on),
            by_on=home.site_day,
            said_by=who,
            serial=home.serial,
            by=home.office.paz,
        )
        after_fitting(home)


def after_fitting(home: Home) -> None:
    home.then("connected", (0, 2))
    home.then("updated", (1, 5))
    home.then("asked_medical", (1, 4))
    home.then("book", (3, 8))
    home.then("bill", (1, 6))


@step
def closed(home: Home) -> None:
    if is_waiting(home):
        endings.end_request(home.request, on=home.site_day, reason="closed", note="found on the portal", by=home.office.theo)
        home.then("asked_anew", (2, 12))


@step
def asked_anew(home: Home) -> None:
    home.request = requests.record_sent(
        home.services[0],
        on=home.site_day,
        route=home.grid.habit.route,
        package=packed(home, home.services[0]),
        counts_as_new=True,
        by=home.office.theo,
    )
    home.then("follow_up", (20, 27))
    home.on(home.grid.fitting_day(home.site_day, home.draw, today=home.diary.today), "fit")
