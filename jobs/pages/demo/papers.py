"""Papers that run out, design papers, bag tags and a withdrawn revision: what lies on the desks of the demo today."""

from __future__ import annotations

import datetime as dt
from random import Random

from jobs.core import actors, clock, custody, designs, drawn, expiring, tags, warrantyterms
from jobs.core.models import Authority, ExpiringPaper, Job
from jobs.core.papers.sheet import Entry, Text, sheet
from jobs.core.states import S
from jobs.notices import asking
from jobs.pages.demo.company import Office, user_of
from utilities import extension, revisions
from utilities.paperlines import before_the_collar

OLD_REVISION = "B"
TERMS = (
    ("workmanship", "verification", 120, "our contract, clause 9"),
    ("inverter", "commissioning", 144, "maker's terms of 2025, section 2"),
    ("battery", "commissioning", 120, "maker's terms of 2025, section 4"),
    ("collar", "fitting", 60, "maker's terms of 2025, section 3"),
)
AUTHORITIES = (
    ("Ottermere Building Department", "permits@ottermere.example", "no"),
    ("Quillback County, permits", "permits@quillback.example", "yes"),
    ("Town of Upper Wend", "clerk@upperwend.example", ""),
)
PERMIT_DAYS = 180  # IRC R105.5 as the model code has it


def revision_of(number: int) -> str:
    """Of the home of this number: the older stock is of a revision that is withdrawn by now."""
    return OLD_REVISION if number % 19 == 3 else "C"


def set_terms(office: Office) -> None:
    for part, event, months, document in TERMS:
        long_ago = clock.office_today() - dt.timedelta(days=400)
        warrantyterms.set_term(part, event=event, months=months, document=document, valid_from=long_ago, by=office.dana)


def lay_out(office: Office) -> None:
    """On the demo's last day: nothing of it moves a home."""
    draw, today = Random("papers"), clock.office_today()
    given = [expiring.add_authority(name, email=email, finals_before_collar=answer, by=office.dana) for name, email, answer in AUTHORITIES]
    waiting = list(Job.objects.in_state(S.AWAITING_UTILITY).filter(install_on__isnull=False).order_by("code"))
    for place, job in enumerate(waiting[::3]):
        _permit(office, job, given[place % 3], draw, today)
    for job in waiting[1::7]:
        issued = today - dt.timedelta(days=draw.randrange(60, 120))
        until = today + dt.timedelta(days=draw.randrange(12, 150))
        expiring.add_paper(job, kind="lender", issued_on=issued, expires_on=until, lead_days=7, renewing="a form", by=office.paz)
    for number, job in enumerate(waiting[:3]):
        _design(office, job, battery_wh=13_500 if number == 1 else None)
        tag = tags.make_tag(job, by=office.theo)
        if number < 2:
            tags.tell(tag, what=("could not get in", "fitted")[number], order_number="WO 20417", by=actors.at_the_bag(tag))
    revisions.withdraw_revision(OLD_REVISION, on=today, notice="maker's notice of last week", by=office.dana)
    for number in range(6):
        serial, received = f"LL-90{4100 + number}", today - dt.timedelta(days=9)
        custody.receive(serial, on=received, revision="D", order_number="PO 311", where="shelf 2", by=office.paz)
    asking.ask_by_rhythm(most=3)
    first = before_the_collar(ExpiringPaper.objects.all()).order_by("expires_on", "pk").filter(kind="permit", expires_on__gte=today).first()
    if first is not None:
        extension.write_for_extension(first, until=first.expires_on + dt.timedelta(days=PERMIT_DAYS), by=office.theo)


def _permit(office: Office, job: Job, authority: Authority, draw: Random, today: dt.date) -> None:
    assert job.install_on is not None  # the caller asked for it
    issued = job.install_on - dt.timedelta(days=draw.randrange(3, 20))
    until = issued + dt.timedelta(days=PERMIT_DAYS)
    while until < today - dt.timedelta(days=4):  # those that waited longer were extended, most of them in time
        until += dt.timedelta(days=PERMIT_DAYS)
    expiring.add_paper(
        job,
        kind="permit",
        number=f"B-{issued.year}-{draw.randrange(100, 9999):04d}",
        issued_on=issued,
        expires_on=until,
        lead_days=14,
        renewing="a letter with its cause, and a fee",
        authority=authority,
        utility_wants_final=("yes", "no", "")[draw.randrange(3)],
        owner=user_of(office.theo if draw.randrange(2) else office.paz),
        by=office.theo,
    )


def _design(office: Office, job: Job, *, battery_wh: int | None) -> None:
    there = designs.on_record(job)
    shows = drawn.Equipment(battery_wh=battery_wh if battery_wh is not None else there.battery_wh, pv=there.pv, service=there.service)
    title = f"One-line diagram, job {job.code}"
    data = sheet([Entry(None, Text(title))], title=title, author="Larch & Lantern Home Energy", foot=title)
    designs.add_design(
        job,
        kind="one-line diagram",
        revision="A",
        dated_on=job.install_on or clock.office_today(),
        name="one-line-a.pdf",
        data=data,
        shows=shows,
        by=office.dana,
    )
