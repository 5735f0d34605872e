"""Sheets for a utility's desk: all its waiting homes on one paper, each line checked again before anybody outside reads it.

Acts: a clerk prepares, the manager releases, the desk answers line by line (TRADE.md C4). A line holds what the desk needs to find the
meter and nothing of the people: no name, no telephone, no gate code.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from typing import Final

from jobs.core import clock, custody, facts, lifecycle, rules, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.facts import Said, When
from jobs.core.models import Fact, Hold, Job
from jobs.core.models.holds import Stops
from jobs.core.refusals import Refused
from jobs.core.states import Facts, S
from utilities import deskday, requests, services
from utilities.asking import may_ask_from
from utilities.deskanswers import LinesRefused
from utilities.models import Contact, DeskSheet, FitRequest, SheetLine, Utility

RELEASE: Final = "core.edit_utilities"
ASKED: Final = "on our sheet: is a day planned for the visit?"
ACCESS = 40  # letters of the access note on paper


@act(right=requests.RIGHT, on=Utility)
def prepare_sheet(utility: Utility, *, by: Actor) -> DeskSheet:
    """A sheet of all homes that wait for this desk, the longest wait first. Nothing leaves yet."""
    one_at_a_time(f"sheet of {utility.pk}")
    before = DeskSheet.objects.prepared().filter(utility=utility).first()
    if before is not None:
        raise Refused(
            f"{before.prepared_by_name} prepared a sheet for {utility} already and it is not released; release it, or throw it away first."
        )
    waiting = FitRequest.objects.open().filter(utility=utility, job__isnull=False, service__isnull=False)
    if by.user is not None:
        waiting = waiting & FitRequest.objects.seen_by(by.user)
    found = list(waiting.select_related("job__site", "service").order_by("filed_on", "code"))
    against = trouble(found)
    good = [request for request in found if request.pk not in against]
    if not good:
        raise Refused(f"No home that {utility} could be asked about waits there, so there is nothing for a sheet.")
    sheet = DeskSheet.objects.create(utility=utility, prepared_at=clock.now(), prepared_by_name=by.name)
    SheetLine.objects.bulk_create(SheetLine(sheet=sheet, request=request, place=place) for place, request in enumerate(good, start=1))
    return sheet


@act(right=requests.RIGHT, on=DeskSheet)
def discard_sheet(sheet: DeskSheet, *, by: Actor) -> None:
    """Throw away a sheet that nobody outside has seen."""
    _refuse_released(sheet)
    sheet.discarded_at = clock.now()
    sheet.save(update_fields=["discarded_at"])


@act(right=RELEASE, on=DeskSheet)
def release_sheet(
    sheet: DeskSheet, *, on: dt.date, by: Actor, channel: str = "e-mail", person: str = "", good_ones: bool = False
) -> DeskSheet:
    """The sheet goes to the desk: each line is checked as the record is by now, and frozen. It counts as an asking about each home.

    Refused while the desk is to be left alone, and where a line has become stale, unless good_ones leaves those off.
    """
    _refuse_released(sheet)
    utility = sheet.utility
    here = clock.today_in(utility.zone)
    if on != here:
        raise Refused(f"A sheet is checked and released on the day on which it is given: {words.day(here)} at {utility}.", field="on")
    if channel not in requests.CHANNELS:
        raise Refused(f"“{channel}” is no way we know; wanted one of: {', '.join(requests.CHANNELS)}.", field="channel")
    last = deskday.last_asked([utility.pk]).get(utility.pk)
    may = may_ask_from(last, today=here, calendar=services.calendar_of(utility), gap_days=rules.number("desk_gap_days"))
    if may > here:
        asked = f"was asked on {words.day(last)}" if last and last > here - dt.timedelta(days=30) else "is closed today"
        raise Refused(f"{utility} {asked}; a desk that is asked too often stops answering. Release the sheet from {words.day(may)}.")
    lines = list(sheet.lines.select_related("request__job__site", "request__service", "request__utility"))
    jobs = [line.request.job_id for line in lines if line.request.job_id is not None]
    list(Job.objects.select_for_update(of=("self",)).filter(pk__in=jobs).order_by("pk").values_list("pk"))
    found = {
        one.pk: one
        for one in FitRequest.objects.filter(pk__in=[line.request_id for line in lines]).select_related("job__site", "service", "utility")
    }
    against = trouble(list(found.values()))
    good = [line for line in lines if line.request_id not in against]
    if against and (not good_ones or not good):
        raise LinesRefused({found[pk].code: ("line", sentence) for pk, sentence in against.items()}, good=len(good))
    promised = _promised([line.request_id for line in good])
    for line in lines:
        request = found[line.request_id]
        line.left_off = against.get(request.pk, "")
        line.printed = {} if line.left_off else printed(request, promised_by=promised.get(request.pk))
        line.save(update_fields=["left_off", "printed"])
    sheet.released_on, sheet.released_at, sheet.released_by_name = on, clock.now(), by.name
    sheet.channel, sheet.person = channel, person.strip()
    sheet.save(update_fields=["released_on", "released_at", "released_by_name", "channel", "person"])
    for line in good:
        _asked(found[line.request_id], sheet, by=by)
    return sheet


def _refuse_released(sheet: DeskSheet) -> None:
    if sheet.discarded_at is not None:
        raise Refused("This sheet was thrown away; prepare another.")
    if sheet.released_at is not None and sheet.released_on is not None:
        raise Refused(
            f"This sheet was released on {words.day(sheet.released_on)} by {sheet.released_by_name}; what was given stays as it is."
        )


def _asked(request: FitRequest, sheet: DeskSheet, *, by: Actor) -> None:
    """An asking in the home's own record and contact log; nobody has answered it yet."""
    job = request.job
    assert job is not None  # only homes stand on a sheet
    assert sheet.released_on is not None
    value = {"request": str(request.uid), "asked": ASKED, "channel": sheet.channel, "person": sheet.person}
    fact = facts.record(job, k.CONTACT, when=When(on=sheet.released_on), said_by=Said("us", by.name), by=by, value=value)
    Contact.objects.create(
        request=request,
        utility=request.utility,
        on=sheet.released_on,
        channel=sheet.channel,
        person=sheet.person,
        asked=ASKED,
        recorded_at=clock.now(),
        recorded_by_name=by.name,
        fact=fact,
    )
    lifecycle.settle(job, by=by, new=(fact,))


def trouble(found: Sequence[FitRequest]) -> dict[int, str]:
    """By request, why it may not stand on a sheet as the record is now: a desk that reads stale lines stops trusting all of them."""
    jobs = [request.job_id for request in found if request.job_id is not None]
    today = clock.office_today()
    holds = Hold.objects.standing(today).filter(job__in=jobs)
    held = {job: kind for job, stops, kind in holds.values_list("job", "stops", "kind") if Stops.UTILITY in stops}
    rows = defaultdict(list)
    for fact in Fact.objects.standing().filter(job__in=jobs, kind__in=(k.VISIT, k.COLLAR_LOST, k.COLLAR_STAGED, k.COLLAR_FITTED)):
        rows[fact.job_id].append(fact)
    known = {job: Facts(facts.known(some)) for job, some in rows.items()}
    told = {}
    for request in found:
        if (why := _trouble(request, held, known)) is not None:
            told[request.pk] = why
    return told


def _trouble(request: FitRequest, held: dict[int, str], known: dict[int, Facts]) -> str | None:
    job, code = request.job, request.code
    assert job is not None
    if not request.is_open:
        ended = f" on {words.day(request.ended_on)}" if request.ended_on else ""
        return f"Request {code} is on record as {request.get_outcome_display()}{ended}."
    if job.state == S.CANCELLED:
        return f"The home of request {code} is cancelled with us: withdraw the request."
    if request.closed_there_on is not None:
        return f"Request {code} is closed there since {words.day(request.closed_there_on)}: clear that first."
    if job.next_act.startswith("Confirm the fitting"):
        return f"Somebody says that the collar of request {code} is in: confirm it first."
    if job.pk in held:
        return f"A hold stops what goes to the utility about request {code}."
    if why := custody.trouble(known.get(job.pk, Facts([]))):
        return f"A visit for request {code} would be for nothing: {why}."
    return None


def _promised(requests_: Sequence[int]) -> dict[int, dt.date]:
    """The day that the last answer about each named, if it named one."""
    rows = Contact.objects.filter(request__in=requests_, withdrawn=False).exclude(answered="").order_by("on", "pk")
    last = dict(rows.values_list("request", "promised_by"))
    return {pk: day for pk, day in last.items() if day is not None}


def printed(request: FitRequest, *, promised_by: dt.date | None) -> dict[str, str]:
    """What one line says, as texts."""
    assert request.job is not None
    assert request.service is not None
    access = " ".join(request.job.site.access_note.split())
    return {
        "code": request.code,
        "reference": request.utility_reference,
        "meter": request.service.meter_number,
        "address": request.job.site.line,
        "sent_on": request.filed_on.isoformat(),
        "promised_by": promised_by.isoformat() if promised_by else "",
        "access": access if len(access) <= ACCESS else f"{access[: ACCESS - 1]}…",
    }


def rows_of(sheet: DeskSheet) -> list[dict[str, str]]:
    """The lines of a sheet: as they were given, or, before the release, as they would be."""
    lines = list(sheet.lines.filter(left_off="").select_related("request__job__site", "request__service"))
    if sheet.released_at is not None:
        return [line.printed for line in lines]
    promised = _promised([line.request_id for line in lines])
    return [printed(line.request, promised_by=promised.get(line.request_id)) for line in lines]
