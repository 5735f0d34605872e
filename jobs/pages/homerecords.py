"""What is on record for the homes of a list, fetched for all its rows in a few queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.db.models import Q
from django.db.models.functions import Lower

from billing.models import Milestone
from jobs.core import clock, facts, rules
from jobs.core import kinds as k
from jobs.core.models import Contract, Crew, Fact, Job, Party
from jobs.core.models.people import PartyRole
from jobs.core.states import Facts
from jobs.pages.homerows import Values, key_of, zone_of
from utilities.models import District, FitRequest, Service, Utility

_AT_ONCE = 500  # names in one query; SQLite takes a limited number of them


@dataclass
class Home:
    """One job as the records have it."""

    job: Job
    facts: Facts = field(default_factory=lambda: Facts([]))
    brought_in: frozenset[tuple[str, dt.date]] = frozenset()  # kind and day of what imports said before, standing or corrected since
    owner: Party | None = None
    service: Service | None = None
    requests: list[FitRequest] = field(default_factory=list)  # in the order of their sending
    contract: Contract | None = None
    milestones: list[Milestone] = field(default_factory=list)


class Records:
    """The records beside a list's rows: their homes by the row's key, utilities, crews, and who holds which serial."""

    def __init__(self, values: Sequence[Values]) -> None:
        self.homes, self.ambiguous = _homes(values)
        self.utilities = _utilities({row["utility"] for row in values if row.get("utility")})
        named = [utility.pk for utility in self.utilities.values()]
        self.districts = {(d.utility_id, d.name.casefold()): d for d in District.objects.filter(utility__in=named)}
        self.crews = {crew.name.casefold(): crew for crew in Crew.objects.all()}
        self.holders = _holders(values)
        self.meters = _meters(values)
        self.office_zone = rules.text("office_zone")

    @cached_property
    def all_utilities(self) -> list[str]:
        return list(Utility.objects.values_list("name", flat=True))

    @cached_property
    def office_today(self) -> dt.date:
        return clock.today_in(self.office_zone)

    def home(self, values: Values) -> Home | None:
        key = key_of(values)
        return self.homes.get(key) if key else None

    def zone(self, values: Values) -> str:
        """The home's zone, on record or in the row; the office's where neither says, so that a day can be judged at all."""
        home = self.home(values)
        return home.job.site.zone if home else zone_of(values) or self.office_zone

    def today(self, values: Values) -> dt.date:
        return clock.today_in(self.zone(values))

    def holder(self, serial: str, *, other_than: Home | None) -> Job | None:
        """Another job that holds the serial."""
        jobs = self.holders.get(serial, [])
        return next((job for job in jobs if other_than is None or job.pk != other_than.job.pk), None)


def _homes(values: Sequence[Values]) -> tuple[dict[tuple[str, ...], Home], dict[tuple[str, ...], list[Job]]]:
    """The homes by the rows' keys; and those keys for which several jobs stand, which only a number tells apart."""
    jobs = Job.objects.select_related("site", "crew")
    numbers = {row["number"] for row in values if row.get("number")}
    by_number = {job.contractor_number.casefold(): job for batch in _batches(numbers) for job in jobs.filter(contractor_number__in=batch)}
    codes = {row["code"] for row in values if row.get("code")}
    by_code = {job.code: job for batch in _batches(codes) for job in jobs.filter(code__in=batch)}
    # Only for rows that no number finds: a street is looked for in any case of its letters, which no index helps.
    by_street = [row for row in values if (row.get("number") or "").casefold() not in by_number]
    streets = {row["street"] for row in by_street if row.get("street") and row.get("city") and row.get("owner")}
    by_address: dict[tuple[str, ...], list[Job]] = defaultdict(list)
    for batch in _batches(streets):
        found = jobs.alias(low=Lower("site__street")).filter(_named("site__street", batch)).prefetch_related("parties__person")
        for job in found:
            by_address[(job.site.street.casefold(), job.site.city.casefold(), job.homeowner.casefold())].append(job)

    chosen: dict[tuple[str, ...], Job] = {}
    ambiguous: dict[tuple[str, ...], list[Job]] = {}
    for row in values:
        key = key_of(row)
        if key is None:
            continue
        if row.get("code"):
            if row["code"] in by_code:
                chosen[key] = by_code[row["code"]]
            continue
        if row.get("number") and key[0] in by_number:
            chosen[key] = by_number[key[0]]
            continue
        address = tuple((row.get(name) or "").casefold() for name in ("street", "city", "owner"))
        # A home entered before it had a number is known by its address; one with another number is another job.
        there = [job for job in by_address.get(address, []) if not (row.get("number") and job.contractor_number)]
        if len(there) > 1:
            ambiguous[key] = there
        elif there:
            chosen[key] = there[0]
    homes = {job.pk: Home(job) for job in chosen.values()}
    _fill(homes)
    return {key: homes[job.pk] for key, job in chosen.items()}, ambiguous


def homes_of(jobs: Sequence[Job]) -> list[Home]:
    """These jobs, in their order, with what is on record for them."""
    homes = {job.pk: Home(job) for job in jobs}
    _fill(homes)
    return list(homes.values())


def _fill(homes: dict[int, Home]) -> None:
    rows: dict[int, list[Fact]] = defaultdict(list)
    brought_in: dict[int, set[tuple[str, dt.date]]] = defaultdict(set)
    for batch in _batches(homes):
        standing = set(Fact.objects.standing().filter(job__in=batch).values_list("pk", flat=True))
        for fact in Fact.objects.filter(job__in=batch):
            if fact.pk in standing:
                rows[fact.job_id].append(fact)
            if fact.source == "import":
                brought_in[fact.job_id].add((fact.kind, fact.day))
        for party in Party.objects.filter(job__in=batch, role=PartyRole.OWNER, to_on__isnull=True).select_related("person").order_by("pk"):
            homes[party.job_id].owner = party
        for service in Service.objects.filter(job__in=batch).select_related("utility", "district").order_by("-pk"):
            homes[service.job_id].service = service
        for request in FitRequest.objects.waits().filter(job__in=batch).order_by("filed_on", "pk"):
            assert request.job_id is not None
            homes[request.job_id].requests.append(request)
        for contract in Contract.objects.filter(job__in=batch):
            homes[contract.job_id].contract = contract
        for milestone in Milestone.objects.filter(job__in=batch).order_by("position"):
            homes[milestone.job_id].milestones.append(milestone)
    for pk, home in homes.items():
        home.facts = Facts(facts.known(rows[pk]))
        home.brought_in = frozenset(brought_in[pk])


def _holders(values: Sequence[Values]) -> dict[str, list[Job]]:
    """By serial the open jobs whose newest registered serial it is."""
    serials = {row["collar_serial"] for row in values if row.get("collar_serial")}
    found: dict[int, Job] = {}
    for batch in _batches(serials):
        rows = Fact.objects.standing().of_kind(k.COLLAR_REGISTERED).filter(value__serial__in=batch).exclude(job__state="cancelled")
        found |= {fact.job_id: fact.job for fact in rows.select_related("job__site")}
    newest: dict[int, Fact] = {}
    for batch in _batches(found):
        newest |= {
            fact.job_id: fact for fact in Fact.objects.standing().of_kind(k.COLLAR_REGISTERED).filter(job__in=batch).order_by("day", "pk")
        }
    holders: dict[str, list[Job]] = defaultdict(list)
    for pk, fact in newest.items():
        holders[fact.value["serial"]].append(found[pk])
    return holders


def _meters(values: Sequence[Values]) -> dict[tuple[int, str], list[Job]]:
    """By utility and meter number the jobs that have it on record."""
    meters: dict[tuple[int, str], list[Job]] = defaultdict(list)
    for batch in _batches({row["meter_number"] for row in values if row.get("meter_number")}):
        for service in Service.objects.filter(meter_number__in=batch).select_related("job__site"):
            meters[service.utility_id, service.meter_number].append(service.job)
    return meters


def _utilities(names: set[str]) -> dict[str, Utility]:
    rows = (row for batch in _batches(names) for row in Utility.objects.alias(low=Lower("name")).filter(_named("name", batch)))
    return {utility.name.casefold(): utility for utility in rows}


def _named(column: str, names: Sequence[str]) -> Q:
    # The same letters in any case; and as written, because SQLite knows the case of plain letters only.
    return Q(low__in=[name.lower() for name in names]) | Q(**{f"{column}__in": names})


def _batches(things: Iterable[Any]) -> Iterator[list[Any]]:
    ordered = sorted(things)
    for start in range(0, len(ordered), _AT_ONCE):
        yield ordered[start : start + _AT_ONCE]
