"""A new job: the home, its people, and who looks after it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from jobs.core import codes, lifecycle, walltime
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.ctsignatures import Service
from jobs.core.models import Crew, Job, Party, Person, Site, User
from jobs.core.models.people import PartyRole
from jobs.core.refusals import Refused


@dataclass(frozen=True)
class NewPerson:
    name: str
    language: str = "en"
    phone: str = ""
    phone_ext: str = ""
    email: str = ""
    needs_relay: bool = False


@dataclass(frozen=True)
class NewHome:
    """All that one row of a spreadsheet, or the page for a new job, says of a home."""

    street: str
    city: str
    region: str
    zone: str
    owner: NewPerson
    unit: str = ""
    postal_code: str = ""
    access_note: str = ""
    contractor_number: str = ""
    has_battery: bool = True
    has_pv: bool = True
    service: str = Service.SPLIT_120_240.value
    install_on: dt.date | None = None
    request_planned_on: dt.date | None = None
    others: tuple[tuple[str, NewPerson], ...] = field(default=())  # (role, person): person at home, account holder


def fresh_code() -> str:
    while True:
        code = codes.new_code(codes.source())
        if not Job.objects.filter(code=code).exists():
            return code


def find(contractor_number: str, *, street: str, city: str, owner: str) -> Job | None:
    """The job a row is about: by the contractor's own number, else by address and owner."""
    if contractor_number:
        return Job.objects.filter(contractor_number=contractor_number).first()
    return Job.objects.filter(
        site__street__iexact=street, site__city__iexact=city, parties__role=PartyRole.OWNER, parties__person__name__iexact=owner
    ).first()


def enter(
    home: NewHome, *, by: Actor, crew: Crew | None = None, looked_after_by: User | None = None, imported_on: dt.date | None = None
) -> Job:
    """Write a home and its people. Called inside an act."""
    if home.zone not in walltime.zones():
        raise Refused(f"“{home.zone}” is not an IANA zone; wanted a name such as America/Denver.", field="zone")
    # Two people, or a person and an import, may enter the same home at once.
    one_at_a_time(f"home {home.contractor_number or (home.street + home.city).lower()}")
    if home.contractor_number and Job.objects.filter(contractor_number=home.contractor_number).exists():
        raise Refused(f"The number {home.contractor_number} belongs to another job; a job's number is its own.", field="contractor_number")
    if not home.contractor_number and (same := find("", street=home.street, city=home.city, owner=home.owner.name)):
        raise Refused(
            f"Job {same.code} is already at {home.street} for {home.owner.name}; give a number of your own to add another.", field="street"
        )
    site = Site.objects.create(
        street=home.street,
        unit=home.unit,
        city=home.city,
        region=home.region.upper(),
        postal_code=home.postal_code,
        zone=home.zone,
        access_note=home.access_note,
    )
    job = Job.objects.create(
        code=fresh_code(),
        contractor_number=home.contractor_number,
        site=site,
        has_battery=home.has_battery,
        has_pv=home.has_pv,
        service=home.service,
        crew=crew,
        install_on=home.install_on,
        request_planned_on=home.request_planned_on,
        looked_after_by=looked_after_by,
        imported_on=imported_on,
    )
    owner = _person(home.owner)
    others = dict(home.others)
    for role in PartyRole:
        if role == PartyRole.PAYER and role not in others:
            continue  # who pays is the plan's; without another word the owner is billed
        Party.objects.create(job=job, person=_person(others[role]) if role in others else owner, role=role)
    return job


def _person(new: NewPerson) -> Person:
    if not new.name.strip():
        raise Refused("The owner's name is empty; wanted a name.", field="owner")
    return Person.objects.create(
        name=new.name.strip(),
        language=new.language,
        phone=new.phone,
        phone_ext=new.phone_ext,
        email=new.email,
        needs_relay=new.needs_relay,
    )


@act(right="core.add_jobs")
def add_job(home: NewHome, *, by: Actor, crew: Crew | None = None, looked_after_by: User | None = None) -> Job:
    """A new job from the page."""
    return lifecycle.settle(enter(home, by=by, crew=crew, looked_after_by=looked_after_by), by=by)


@act(right="core.assign_crew", on=Job)
def assign(job: Job, *, crew: Crew | None, install_on: dt.date | None, request_planned_on: dt.date | None = None, by: Actor) -> Job:
    """Say which crew builds the home and when, and when the request is planned."""
    if install_on and request_planned_on and request_planned_on < install_on:
        raise Refused("The request cannot be planned before the install day.", field="request_planned_on")
    job.crew, job.install_on, job.request_planned_on = crew, install_on, request_planned_on
    job.save(update_fields=["crew", "install_on", "request_planned_on"])
    return lifecycle.settle(job, by=by)
