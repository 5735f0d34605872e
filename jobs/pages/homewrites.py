"""One row of a list of homes written down. Called inside the import's act; what contradicts a record is refused, never overwritten."""

from __future__ import annotations

from typing import Any

from django.db import models

from billing import milestones
from jobs.core import clock, dayone, facts, intake, lifecycle
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.models import Fact, Job
from jobs.core.refusals import Refused
from jobs.core.sheets import Applied
from jobs.pages.homeplan import Planned, plan, source_key
from jobs.pages.homerecords import Home, Records
from jobs.pages.homerows import SAID, Told, Values, fitted_when, money_told, new_home
from utilities import meters, requests, visits


def lock(values: list[Values]) -> None:
    """The homes on record, by number, so that two who lock several never wait for each other."""
    held = sorted(home.job.pk for home in Records(values).homes.values())
    list(Job.objects.select_for_update(of=("self",)).filter(pk__in=held).order_by("pk"))


def write(values: Values, *, by: Actor) -> Applied:
    planned = plan(values, Records([values]))
    if planned.conflicts:
        column, sentence = planned.conflicts[0]
        raise Refused(sentence, field=column)
    if not planned.new and not planned.changes:
        return "unchanged"

    if planned.home is None:
        home = Home(intake.enter(new_home(values), by=by, imported_on=clock.office_today(), crew=planned.job.pop("crew", None)))
    else:
        home = planned.home
    _fill_blanks(home, planned)
    _bring_in_money(home.job, values, planned, by=by)
    new = [_fact(home, told, planned.zone, by=by) for told in planned.facts]
    if planned.sends_request:
        _send(home, values, by=by)
    if planned.fits:
        _fit(home, values, by=by)
    # Once for all of them; serial, request and fitting have settled by themselves, each on what was recorded by then.
    lifecycle.settle(home.job, by=by, new=tuple(new))
    return "new" if planned.new else "changed"


def _fill_blanks(home: Home, planned: Planned) -> None:
    job = home.job
    _set(job, planned.job)
    _set(job.site, planned.site)
    if home.owner:
        _set(home.owner.person, planned.person)
    if planned.service and home.service is None:
        home.service = meters.connect(job, **planned.service)
    elif home.service is not None:
        _set(home.service, planned.service)
    if home.service is not None:
        home.service.job = job  # one and the same row in memory: its state is settled several times below


def _set(thing: models.Model, values: dict[str, Any]) -> None:
    for name, value in values.items():
        setattr(thing, name, value)
    if values:
        thing.save(update_fields=list(values))


def _bring_in_money(job: Job, values: Values, planned: Planned, *, by: Actor) -> None:
    """The plan first, then what was billed of it before, then the facts: so that they earn nothing a second time."""
    told = money_told(values)
    if planned.sets_plan:
        assert told.contract_minor is not None
        milestones.put_plan(job, contract_minor=told.contract_minor, signed_on=values.get("contract_signed_on"), parts=told.parts(), by=by)
    if planned.openings:
        milestones.bring_in_opening(job, planned.openings, by=by)


def _send(home: Home, values: Values, *, by: Actor) -> None:
    """A list of homes need not hold those whose collar was fitted before, so their waits count from the day of the import only."""
    assert home.service is not None  # the checks ask for the utility
    try:
        request = requests.send(
            home.service, on=values["request_sent_on"], by=by, route=values.get("request_route") or "", known_from=clock.office_today()
        )
    except Refused as refusal:
        raise Refused(str(refusal), field="request_sent_on") from refusal
    home.requests.append(request)


def _fit(home: Home, values: Values, *, by: Actor) -> None:
    told = fitted_when(values)
    assert told is not None
    column, when = told
    assert when.by is not None
    if not home.requests:
        raise Refused("No request to fit is on record for this home: the day the request was sent is wanted.", field="request_sent_on")
    request = home.requests[-1]
    request.job = home.job
    # Lists seldom repeat the serial: where nothing else is said, the collar registered for the home is the one that was fitted.
    serial = values.get("fitted_serial") or facts.of(home.job).serial
    try:
        visits.fit(
            request, after_on=values.get("fitted_after"), by_on=when.by, exact=column == "fitted_on", serial=serial, said_by=SAID, by=by
        )
    except Refused as refusal:
        raise Refused(str(refusal), field=column) from refusal


def _fact(home: Home, told: Told, zone: str, *, by: Actor) -> Fact:
    key = source_key(home, told.kind, told.when.day_at(zone))
    try:
        if told.kind == k.COLLAR_REGISTERED:
            assert told.when.on is not None
            return dayone.register_serial(
                home.job, on=told.when.on, serial=told.value["serial"], by=by, said_by=told.said_by, source_key=key
            )
        return facts.record(
            home.job, told.kind, when=told.when, said_by=told.said_by, by=by, value=told.value, note=told.note, source_key=key
        )
    except Refused as refusal:
        raise Refused(str(refusal), field=told.column) from refusal
