"""One job: its title block, on whom it waits, its ledger with the today line, and what hangs beside it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from functools import cached_property
from zoneinfo import ZoneInfo

from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_safe

from jobs.appointments import readiness
from jobs.appointments.models import TAKING, Appointment
from jobs.core import clock, codes, facts, lifecycle, phones, words
from jobs.core import kinds as k
from jobs.core.actors import actor
from jobs.core.models import Contract, Document, Fact, Hold, Job, Party, Person, Secret, User
from jobs.core.models.people import PartyRole
from jobs.core.rights import CREW, VERIFIER
from jobs.core.states import Facts, JobState, S, state_of
from jobs.core.waiting import UTILITY, Waiting, open_emergency, unreported_seal
from jobs.core.web import right
from jobs.notices import asking
from jobs.pages import conversation, jobacts, jobcustody, jobmoney, ledger, outlook, waitwords
from jobs.pages.expected import expected
from utilities import services
from utilities.models import FitRequest, Service, Utility, Visit
from utilities.said import Shown

NEWEST = 8  # documents and calls shown beside the ledger


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def job(request: HttpRequest, code: str) -> HttpResponseBase:
    if code != codes.normal(code):
        return HttpResponseRedirect(reverse("job", kwargs={"code": codes.normal(code)}))
    user = actor(request).user
    assert user is not None
    found = Job.objects.seen_by(user).filter(code=code).select_related("site", "crew", "looked_after_by", "contract").first()
    if found is None:
        raise Http404
    return _shown(request, Home(found, user))


class Home:
    """What one person may see of one job; each part is asked for once."""

    def __init__(self, job: Job, user: User) -> None:
        self.job, self.user = job, user
        self.today = clock.today_in(job.site.zone)

    def may(self, right: str) -> bool:
        return self.user.has_perm(f"core.{right}")

    @cached_property
    def facts(self) -> list[Fact]:
        return list(self.job.facts.prefetch_related("evidence").order_by("day", "pk"))

    @cached_property
    def standing(self) -> list[Fact]:
        replaced = {fact.replaces_id for fact in self.facts if fact.replaces_id}
        return [fact for fact in self.facts if fact.pk not in replaced and not fact.withdrawn]

    @cached_property
    def known(self) -> Facts:
        return Facts(facts.known(self.standing))

    @cached_property
    def state(self) -> JobState:
        return state_of(self.known, self.job.home_kind)

    @cached_property
    def waiting(self) -> Waiting:
        return lifecycle.waiting_of(self.job, self.known, self.state, within=lifecycle.limits())

    @property
    def sees_medical(self) -> bool:
        """A crew sees the answer on the day it is at the home; nobody else of those without the right does."""
        of_its_crew = not self.may("see_jobs") and self.may("see_own_jobs")
        return self.may("see_medical") or (of_its_crew and self.job.install_on == self.today)

    @property
    def shown_facts(self) -> list[Fact]:
        return self.facts if self.sees_medical else [fact for fact in self.facts if fact.kind != k.MEDICAL_ANSWER]

    @cached_property
    def services(self) -> list[Service]:
        closures = Prefetch("utility__closures")
        found = Service.objects.filter(job=self.job).select_related("utility__clerk", "utility__stand_in", "district").order_by("pk")
        return list(found.prefetch_related(closures))

    @property
    def utility(self) -> Utility | None:
        return self.services[0].utility if self.services else None

    @cached_property
    def requests(self) -> list[FitRequest]:
        return list(FitRequest.objects.waits().filter(job=self.job).order_by("filed_on", "pk"))

    @cached_property
    def visits(self) -> list[Visit]:
        """Announced, with their day not passed and nothing come of them yet."""
        found = Visit.objects.filter(request__job=self.job, withdrawn=False, outcome="", window_to__gte=self.today)
        return list(found.order_by("window_from", "pk"))

    @cached_property
    def outlook(self) -> Shown | None:
        return outlook.outlooks([self.job.pk]).get(self.job.pk) if self.may("see_utilities") else None

    @cached_property
    def parties(self) -> list[Party]:
        return list(self.job.parties.on(self.today).select_related("person").order_by("pk"))

    def party(self, role: PartyRole) -> Party | None:
        return next((party for party in self.parties if party.role == role), None)

    @cached_property
    def holds(self) -> list[Hold]:
        return list(self.job.holds.standing(clock.office_today()).order_by("pk"))

    @cached_property
    def documents(self) -> list[Document]:
        return list(self.job.documents.order_by("-pk")[: NEWEST + 1])

    @cached_property
    def calls(self) -> list[Appointment]:
        return list(Appointment.objects.filter(job=self.job).select_related("verifier").order_by("-starts_at")[:NEWEST])

    @property
    def open_call(self) -> Appointment | None:
        return next((call for call in self.calls if call.state in TAKING), None)

    @cached_property
    def owed(self) -> jobmoney.Owed | None:
        if not self.may("see_money"):
            return None
        contract: Contract | None = getattr(self.job, "contract", None)
        return jobmoney.owed(self.job, contract, today=clock.office_today())

    @cached_property
    def has_code(self) -> bool:
        return Secret.objects.filter(job=self.job, name="gate").exists()

    @property
    def next_person(self) -> str:
        """Who does the next act, by name where one is known."""
        wait, call = self.waiting, self.open_call
        if wait.role == VERIFIER:
            return call.verifier.name if call else ""
        if wait.role == CREW:
            return self.job.crew.name if self.job.crew else ""
        clerk = services.who_asks(self.utility, clock.office_today()) if wait.on == UTILITY and self.utility else None
        asked = clerk or self.job.looked_after_by
        return asked.name if asked else ""

    def newest(self, kind: str) -> Fact | None:
        return next((fact for fact in reversed(self.standing) if fact.kind == kind), None)


def _shown(request: HttpRequest, home: Home) -> HttpResponse:
    job = home.job
    told = ledger.ledger(home.shown_facts, zone=job.site.zone, today=home.today, may_correct=home.may("correct_facts"))
    rows = expected(
        job,
        home.state,
        today=home.today,
        outlook=home.outlook,
        visits=home.visits,
        call=home.open_call,
        owed=home.owed,
    )
    buttons = jobacts.buttons(
        home.user, job, home.state.state, home.services, home.requests, home.open_call, waiting=home.waiting, known=home.known
    )
    context = {
        "job": job,
        "home": home,
        "cells": _cells(home),
        "sentence": waitwords.sentence(_told(home)),
        "holds": list(zip(home.holds, waitwords.on_hold(home.holds, since=home.waiting.since, today=home.today), strict=True)),
        "margin": _margin(home),
        "first_acts": buttons.first,
        "other_acts": buttons.others,
        "filled": buttons.filled,
        "ledger": told,
        "emergency": open_emergency(home.known),
        "seal": unreported_seal(home.known),
        "unpermitted": _unpermitted(home),
        "wanted": jobacts.wanted(home.user, job, home.waiting, _before_the_call(home)),
        "expected": rows,
        "months": next((row.drawn.head for row in rows if row.drawn), None),
        "no_backup": home.state.state not in (S.BACKUP_VERIFIED, S.CANCELLED),
        "people": _people(home),
        "custody": jobcustody.of(job, home.known, home.user, today=home.today),
        "equipment": _equipment(job),
        "requests": [(one, reverse("request", kwargs={"code": one.code})) for one in reversed(home.requests)],
        "calls": [(call, reverse("call", kwargs={"uid": call.uid})) for call in home.calls],
        "documents": home.documents[:NEWEST],
        "more_documents": len(home.documents) > NEWEST,
        "sees_calls": home.may("see_calls"),
        "conversation": conversation.conversation(job, home.user, today=home.today) if home.may("see_notices") else None,
        "may_ask": home.state.state != S.CANCELLED,
        "bag_hangs": asking.place_of_bag(home.known, home.state.state) is not None,
        "sees_requests": home.may("see_utilities"),
        "sees_codes": home.may("reveal_codes"),
    }
    return render(request, "pages/job.html", context)


def _unpermitted(home: Home) -> bool:
    """Commissioned, and no word of the utility's permission to operate."""
    return home.state.state != S.CANCELLED and bool(home.known.of(k.COMMISSIONED)) and not home.known.of(k.PERMISSION_TO_OPERATE)


def _before_the_call(home: Home) -> list[readiness.Missing]:
    """What the call of a home with its collar in still needs; that it hangs on the medical answer only those learn who may see it."""
    if home.state.state != S.COLLAR_ENERGIZED or home.open_call is not None:
        return []
    stopped = frozenset(what for hold in home.holds for what in hold.stops)
    line = home.utility.emergency_phone if home.utility else ""
    gathered = readiness.gathered(home.job, home.standing, stopped=stopped, emergency_line=line)
    if not home.sees_medical:
        gathered = dataclasses.replace(gathered, medical=readiness.Medical("no", home.today, "not shown"))
    return readiness.missing_of(gathered, today=home.today, within=readiness.within())


def _told(home: Home) -> waitwords.Told:
    utility = home.utility
    limit = services.visit_limit(utility) if utility else None
    verified = home.newest(k.VERIFICATION) if home.state.state == S.BACKUP_VERIFIED else None
    return waitwords.Told(
        state=home.state,
        facts=home.known,
        waiting=home.waiting,
        today=home.today,
        zone=home.job.site.zone,
        utility=utility.name if utility else "",
        limit=limit.sentence if limit else "",
        limit_source=limit.source if limit else "",
        calendar=services.calendar_of(utility) if utility else None,
        outlook=home.outlook,
        next_person=home.next_person,
        fitted=home.newest(k.COLLAR_FITTED),
        removed=home.newest(k.COLLAR_REMOVED),
        verified_by=(verified.said_by_name or verified.recorded_by_name) if verified else "",
        cancelled=home.newest(k.CANCELLED),
        left_minor_words=home.owed.in_words if home.owed else "",
    )


@dataclasses.dataclass(frozen=True)
class Margin:
    """The count that hangs beside the sentence: days waited, by whose calendar."""

    count: str
    words: str


def _margin(home: Home) -> Margin | None:
    wait = home.waiting
    if wait.since is None or home.state.state in (S.BACKUP_VERIFIED, S.CANCELLED):
        return None
    if wait.on == UTILITY and home.utility is not None:
        days = services.calendar_of(home.utility).elapsed(wait.since, home.today)
        return Margin(words.number(days), "business day" if days == 1 else "business days")
    days = (home.today - wait.since).days
    return Margin(words.number(days), "day" if days == 1 else "days")


def _cells(home: Home) -> list[tuple[str, ...]]:
    """The title block: fixed particulars, each said even where it is not known."""
    job, site = home.job, home.job.site
    here = clock.now().astimezone(ZoneInfo(site.zone))
    service = home.services[0] if home.services else None
    request = home.requests[-1] if home.requests else None
    at_home = home.party(PartyRole.AT_HOME) or home.party(PartyRole.OWNER)
    person = at_home.person if at_home else None
    meters = ", ".join(str(one) for one in home.services)
    cells: list[tuple[str, ...]] = [
        ("Site", site.street if not site.unit else f"{site.street}, {site.unit}", f"{site.city}, {site.region} {site.postal_code}".strip()),
        ("Time there", words.time_zone_office(here)),
        ("Utility", service.utility.name if service else "not entered", service.district.name if service and service.district else ""),
        ("Its number", request.utility_reference if request and request.utility_reference else "none yet"),
        ("Meter, form", meters or "not known", _meter_form(home, service)),
        ("Collar", home.known.serial or "none registered"),
        ("Person at home", person.name if person else "not entered"),
        ("Telephone", _telephone(person) if person and person.phone else "not known"),
        ("Language", person.get_language_display() if person else "", "by relay service" if person and person.needs_relay else ""),
        ("Crew", job.crew.name if job.crew else "none yet"),
        ("Looked after by", job.looked_after_by.name if job.looked_after_by else "nobody yet"),
    ]
    if home.sees_medical:
        cells.append(_medical(home))
    else:
        cells.append(("Our number", job.contractor_number or "none"))
    return cells


def _meter_form(home: Home, service: Service | None) -> str:
    """As the utility's account says it, else as our survey read it off the meter's face."""
    surveyed = home.newest(k.SURVEYED)
    return (service.meter_form if service else "") or str(surveyed.value.get("meter_form", "") if surveyed else "")


def _telephone(person: Person) -> str:
    """In one piece; its extension may stand on the next line."""
    extension = f" ext. {person.phone_ext}" if person.phone_ext else ""
    return format_html('<span class="whole">{}</span>{}', phones.shown(person.phone), extension)


def _medical(home: Home) -> tuple[str, ...]:
    answer = home.newest(k.MEDICAL_ANSWER)
    if answer is None:
        return ("Medical equipment", "not asked")
    return ("Medical equipment", str(answer.value["answer"]), f"{answer.said_by_name}, {words.day_short(answer.day, today=home.today)}")


def _people(home: Home) -> list[tuple[str, Party]]:
    """Each person once, with all that they are to the job."""
    roles: dict[int, list[str]] = {}
    first: dict[int, Party] = {}
    for party in home.parties:
        roles.setdefault(party.person_id, []).append(party.get_role_display())
        first.setdefault(party.person_id, party)
    return [(words.listed(roles[person_id]), party) for person_id, party in first.items()]


def _equipment(job: Job) -> Sequence[tuple[str, str]]:
    return (
        ("Solar", "yes" if job.has_pv else "none"),
        ("Battery", words.kilowatt_hours(float(job.battery_kwh) * 1000) if job.battery_kwh else "yes" if job.has_battery else "none"),
        ("Inverter", words.watts(job.inverter_w) if job.inverter_w else "not known"),
        ("Service", job.get_service_display()),
    )
