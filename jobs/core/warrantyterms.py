"""Terms of warranties as the office enters them, and those that hold for a home: of its contract's day, whatever comes later."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core import clock
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job, WarrantyTerm
from jobs.core.refusals import Refused
from jobs.core.states import Facts
from jobs.core.warranties import EVENTS, PARTS, Start, start

LONGEST_MONTHS = 600


@act(right="core.run_office")
def set_term(part: str, *, event: str, months: int, document: str, valid_from: dt.date, by: Actor) -> WarrantyTerm:
    """The terms of a part from a day on, for contracts signed from then."""
    if part not in PARTS:
        raise Refused(f"“{part}” is no part we know; wanted one of: {', '.join(PARTS)}.", field="part")
    if event not in EVENTS:
        raise Refused(f"“{event}” is no event we know; wanted one of: {', '.join(EVENTS)}.", field="event")
    if not 1 <= months <= LONGEST_MONTHS:
        raise Refused(f"A term is 1 to {LONGEST_MONTHS} months long.", field="months")
    if not document.strip():
        raise Refused("Say which paper says so; the maker's terms decide, not this list.", field="document")
    return WarrantyTerm.objects.create(
        part=part,
        event=event,
        months=months,
        document=document.strip(),
        valid_from=valid_from,
        set_by_name=by.name,
        set_at=clock.now(),
    )


@dataclass(frozen=True)
class Warranty:
    term: WarrantyTerm
    start: Start


def of_job(job: Job, known: Facts) -> list[Warranty]:
    signed = known.first(k.CONTRACT_SIGNED)
    day = signed.day if signed is not None else clock.today_in(job.site.zone)
    # A later row of the same part takes the place of an earlier one.
    terms = {term.part: term for term in WarrantyTerm.objects.filter(valid_from__lte=day).order_by("valid_from", "pk")}
    wanted = [term for part, term in terms.items() if job.has_battery or part != "battery"]
    return [Warranty(term, start(term.event, months=term.months, facts=known)) for term in wanted]
