"""What a request's page and its forms show besides the request itself: limits, the utility's list, reports, misses, access."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import Any

from jobs.core import clock, facts, secrets
from jobs.core import kinds as k
from jobs.core.models import Trace
from utilities import reports, services, standing, storms
from utilities.compat import Compared, Surveyed, compare
from utilities.models import FitRequest, Outcome, Service
from utilities.terms import STEPS
from utilities.visits import MISSED_BY


@dataclass(frozen=True)
class LimitLine:
    what: str
    sentence: str
    stands: str
    late: str
    calendar: str
    source: str


def of(request: FitRequest, *, today: dt.date, may_see_codes: bool) -> dict[str, Any]:
    rows = reports.reports_of(request, today=today)
    terms = standing.terms_under(request)
    missed = Counter(request.visits.standing().exclude(missed_by="").exclude(outcome="").values_list("missed_by", flat=True))
    job = request.job
    return {
        "terms": terms,
        "net_words": storms.net_words(request, today=clock.today_in(request.utility.zone)),
        "limits": [
            LimitLine(
                f"To {STEPS[one.limit.step]}",
                one.limit.sentence,
                standing.sentence(one),
                one.over_words if one.met_on is None else "",
                one.calendar,
                one.limit.source,
            )
            for one in standing.of_request(request)
        ],
        "no_limit_asked_on": terms.no_limit_asked_on,
        "compared": compared(request.service) if request.service else None,
        "reports": rows,
        "agreed": reports.agreed(request, rows),
        "to_confirm": reports.to_confirm(request),
        "missed": [(f"missed by {MISSED_BY[who]}", count) for who, count in sorted(missed.items())],
        "missed_total": sum(missed.values()),
        "site": _site(request),
        "changes": list(request.change_orders.all()),
        "code_kept": may_see_codes and job is not None and secrets.is_kept(job, name="gate"),
        "code_log": _code_log(request) if may_see_codes else [],
        "withdrawn": request.outcome == Outcome.CANCELLED and request.end_reason == "withdrawn by us",
    }


def _site(request: FitRequest) -> Any:
    """The newest word on bag and access, if it came after the last missed visit; else it is asked anew."""
    if request.job is None:
        return None
    found = request.job.facts.standing().of_kind(k.SITE_CONFIRMED).filter(value__request=str(request.uid)).order_by("day", "pk").last()
    last = request.visits.standing().exclude(missed_by="").exclude(outcome="").order_by("-visited_on").first()
    if found is not None and last is not None and last.visited_on is not None and found.day < last.visited_on:
        return None
    return found


def _code_log(request: FitRequest) -> list[Trace]:
    """Who saw the gate code, when and for what; newest first."""
    if request.job is None:
        return []
    return list(Trace.objects.filter(job=request.job, act__startswith="shown: gate").order_by("-at")[:5])


def compared(service: Service) -> Compared:
    """The home's survey against the list that the utility's profile holds today."""
    known = facts.of(service.job)
    surveyed, registered = known.latest(k.SURVEYED), known.latest(k.COLLAR_REGISTERED)
    seen = surveyed.value if surveyed else {}
    return compare(
        Surveyed(
            meter_form=service.meter_form or str(seen.get("meter_form") or ""),
            meter_class=seen.get("meter_class"),
            socket=str(seen.get("socket") or ""),
            voltage=str(seen.get("service_voltage") or ""),
            in_socket=str(seen.get("in_socket") or ""),
            revision=str(registered.value.get("revision") or "") if registered else "",
        ),
        services.terms_now(service.utility),
    )


def proposed(request: FitRequest) -> dict[str, Any]:
    """What the form of confirming begins with where all reports agree; where they conflict nothing is chosen for anybody."""
    found = reports.agreed(request, reports.reports_of(request, today=dt.date.min))
    if found is None or found.conflicts or found.by is None:
        return {}
    exact = found.after is not None and (found.by - found.after).days == 1
    told: dict[str, Any] = {"by_on": found.by, "exact": "yes" if exact else "no", "serial": found.serial}
    if not exact:
        told["after_on"] = found.after
    return told
