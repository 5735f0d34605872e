"""What is on record beside the rows of a list of requests, fetched for all of them in a few queries; and what each row would do."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q
from django.db.models.functions import Lower

from jobs.core import clock, codes
from jobs.core.dayone import normal_serial
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.sheets import Cell, cell_text
from utilities.models import District, FitRequest, Outcome, Service, Utility

Values = Mapping[str, Any]
_AT_ONCE = 500  # names in one query; SQLite takes a limited number of them


@dataclass
class Records:
    """Utilities, districts, jobs with their services, and requests that the rows may be about."""

    today: dt.date
    utilities: dict[str, Utility] = field(default_factory=dict)
    names: tuple[str, ...] = ()
    districts: dict[tuple[int, str], District] = field(default_factory=dict)
    jobs: dict[str, Job] = field(default_factory=dict)
    services: dict[int, list[Service]] = field(default_factory=dict)
    of_job: dict[int, list[FitRequest]] = field(default_factory=dict)
    history: dict[str, FitRequest] = field(default_factory=dict)

    def utility(self, values: Values) -> Utility | None:
        return self.utilities.get(str(values.get("utility") or "").casefold())

    def district(self, values: Values) -> District | None:
        utility = self.utility(values)
        return self.districts.get((utility.pk, str(values.get("district") or "").casefold())) if utility else None

    def job(self, values: Values) -> Job | None:
        return self.jobs.get(str(values.get("number") or "").casefold())

    def request(self, values: Values) -> FitRequest | None:
        """The request that the row is about, by its natural key."""
        job = self.job(values)
        if job is None:
            key = source_key(self.utility(values), values)
            return self.history.get(key) if key else None
        route = str(values.get("route") or "").casefold()
        same_day = [request for request in self.of_job.get(job.pk, []) if request.filed_on == values.get("sent_on")]
        named = [request for request in same_day if request.route.casefold() == route]
        # A list that does not say the route means the request of that day.
        return next(iter(named or ([] if route else same_day)), None)

    def service(self, values: Values) -> Service | None:
        """The home's service at the row's utility; of two meters the one named."""
        job, utility = self.job(values), self.utility(values)
        if job is None or utility is None:
            return None
        here = [service for service in self.services.get(job.pk, []) if service.utility_id == utility.pk]
        meter = values.get("meter_number")
        return next((service for service in here if not meter or service.meter_number in ("", meter)), None)


def serial_of(cell: Cell) -> str:
    try:
        return normal_serial(cell_text(cell))
    except Refused as refusal:
        raise ValueError(str(refusal)) from refusal


def names_on_record() -> list[str]:
    return list(Utility.objects.order_by("name").values_list("name", flat=True))


def source_key(utility: Utility | None, values: Values) -> str | None:
    """What names a row without a job for ever: utility, day of sending and the list's own reference."""
    if utility is None or values.get("number") or not values.get("sent_on") or not values.get("reference"):
        return None
    return f"history {utility.uid} {values['sent_on']} {str(values['reference']).casefold()}"


def outcome_of(values: Values) -> str:
    """The row's outcome; a row that says none is open."""
    return str(values.get("outcome") or Outcome.OPEN.value)


def known_from(values: Values, today: dt.date) -> dt.date | None:
    """First day under observation, where that is later than the sending. Of a list of open requests only, the day of the list."""
    told: dt.date | None = values.get("known_from")
    day = told or (today if values.get("complete") == "no" else None)
    sent: dt.date = values["sent_on"]
    return day if day is not None and day > sent else None


def records(values: Sequence[Values]) -> Records:
    found = Records(today=clock.office_today())
    names = {str(row["utility"]) for row in values if row.get("utility")}
    for batch in _batches(names):
        rows = Utility.objects.alias(low=Lower("name")).filter(Q(low__in=[name.lower() for name in batch]) | Q(name__in=batch))
        found.utilities |= {utility.name.casefold(): utility for utility in rows}
    if len(found.utilities) < len({name.casefold() for name in names}):
        found.names = tuple(Utility.objects.values_list("name", flat=True))
    in_use = [utility.pk for utility in found.utilities.values()]
    found.districts = {(d.utility_id, d.name.casefold()): d for d in District.objects.filter(utility__in=in_use)}
    _jobs(found, {str(row["number"]) for row in values if row.get("number")})
    keys = {key for row in values if (key := source_key(found.utility(row), row))}
    for batch in _batches(keys):
        found.history |= {str(request.source_key): request for request in FitRequest.objects.filter(source_key__in=batch)}
    return found


def _jobs(found: Records, numbers: set[str]) -> None:
    for batch in _batches(numbers):
        lower = [number.lower() for number in batch]
        own = Q(low__in=lower) | Q(contractor_number__in=batch) | Q(code__in=[codes.normal(number) for number in batch])
        for job in Job.objects.alias(low=Lower("contractor_number")).filter(own).select_related("site"):
            for number in batch:
                # The contractor's own number goes before a code of ours that happens to be spelt the same.
                if job.contractor_number.casefold() == number.casefold():
                    found.jobs[number.casefold()] = job
                elif job.code == codes.normal(number):
                    found.jobs.setdefault(number.casefold(), job)
    pks = {job.pk for job in found.jobs.values()}
    services, requests = defaultdict(list), defaultdict(list)
    for batch in _batches(pks):
        for service in Service.objects.filter(job__in=batch).select_related("utility"):
            services[service.job_id].append(service)
        for request in FitRequest.objects.waits().filter(job__in=batch).order_by("filed_on", "pk"):
            requests[request.job_id].append(request)
    found.services, found.of_job = dict(services), {pk: rows for pk, rows in requests.items() if pk is not None}


def _batches(things: Iterable[Any]) -> Iterator[list[Any]]:
    ordered = sorted(things)
    for start in range(0, len(ordered), _AT_ONCE):
        yield ordered[start : start + _AT_ONCE]
