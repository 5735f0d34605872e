"""Homes as the list of homes that can be brought in (`homecolumns`): with their facts, their contract and what was billed before.

The list of jobs is short and says what waits; this one says all that such a list can, so that brought in again it changes nothing, and
brought into other records it makes the same homes, half done as they are. A plan of another shape than the list's two milestones has its
amount and no shares here, what we invoiced ourselves goes out with the invoices, and who verified with the calls.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import islice

from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from billing.models import Milestone, MilestoneKind
from billing.shares import MILLION, percent_text
from jobs.core import kinds as k
from jobs.core import lists, money, phones
from jobs.core.actors import member
from jobs.core.models import User
from jobs.core.models.job import JobQuerySet
from jobs.core.models.people import Language
from jobs.core.states import Facts, Known, counting_ct_check
from jobs.core.web import right
from jobs.pages.homecolumns import COLUMNS, MONEY, PARTS
from jobs.pages.homerecords import Home, homes_of
from jobs.pages.jobfilter import narrowed

_CHUNK = 500
_NOT_HERE = {"verified_by"}


@right("core.add_jobs")
@require_safe
def export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """The homes that the list of jobs shows, as a list to bring in."""
    user = member(request)
    narrowing = narrowed(user, request.GET)
    if narrowing.refused:
        return lists.back_to_the_list(request, "jobs")
    return lists.table_file("homes", ending, headings(user), table(narrowing.rows, user=user), given=request.GET)


def headings(user: User | None) -> tuple[str, ...]:
    return tuple(_heading(label) for _, label in _columns(user))


def table(found: JobQuerySet, *, user: User | None) -> Iterator[Sequence[object]]:
    wanted = [name for name, _ in _columns(user)]
    rows = found.select_related("site", "crew").iterator(chunk_size=_CHUNK)
    while chunk := list(islice(rows, _CHUNK)):
        for home in homes_of(chunk):
            cells = _particulars(home) | _facts(home) | _money(home)
            yield [cells.get(name) for name in wanted]


def _columns(user: User | None) -> list[tuple[str, str]]:
    sees_money = user is None or user.has_perm("core.see_money")
    return [(column.name, column.label) for column in COLUMNS if column.name not in _NOT_HERE and (column.right != MONEY or sees_money)]


def _heading(label: str) -> str:
    return label.casefold().replace("-", "").replace(" ", "_")


def _particulars(home: Home) -> dict[str, object]:
    job, service = home.job, home.service
    person = home.owner.person if home.owner else None
    return {
        "number": job.contractor_number,
        "code": job.code,
        "owner": person.name if person else "",
        "street": job.site.street,
        "unit": job.site.unit,
        "city": job.site.city,
        "region": job.site.region,
        "postal_code": job.site.postal_code,
        "zone": job.site.zone,
        "phone": phones.shown(person.phone, extension=person.phone_ext) if person and person.phone else "",
        "email": person.email if person else "",
        "language": Language(person.language).label if person else "",
        "battery": "yes" if job.has_battery else "no",
        "utility": service.utility.name if service else "",
        "district": service.district.name if service and service.district else "",
        "meter_number": service.meter_number if service else "",
        "meter_form": service.meter_form if service else "",
        "account_number": service.account_number if service else "",
        "crew": job.crew.name if job.crew else "",
        "install_on": job.install_on,
        "request_planned_on": job.request_planned_on,
    }


def _facts(home: Home) -> dict[str, object]:
    facts = home.facts
    checked = counting_ct_check(facts) if home.job.has_battery else None
    staged = facts.latest(k.COLLAR_STAGED)
    asked = home.requests[0] if home.requests else None
    return {
        "contract_signed_on": _day(facts.first(k.CONTRACT_SIGNED)),
        "commissioned_on": _day(facts.first(k.COMMISSIONED)),
        "ct_consistent_on": _day(checked) if checked and checked.value.get("verdict") == "consistent" else None,
        "collar_serial": facts.serial,
        "staged_on": _day(staged),
        "staged_place": staged.value.get("place", "") if staged else "",
        "sheet_given_on": _day(facts.first(k.SHEET_GIVEN)),
        "permission_on": _day(facts.first(k.PERMISSION_TO_OPERATE)),
        "request_sent_on": asked.filed_on if asked else None,
        "request_route": asked.route if asked else "",
        "verified_on": _day(facts.verified),
    } | _fitting(facts)


def _fitting(facts: Facts) -> dict[str, object]:
    fitted = facts.fitted
    if fitted is None:
        return {}
    serial = {"fitted_serial": fitted.value.get("serial") or ""}
    if fitted.after is None or fitted.after == fitted.day - dt.timedelta(days=1):
        return serial | {"fitted_on": fitted.day}
    return serial | {"fitted_after": fitted.after, "fitted_by": fitted.day}


def _money(home: Home) -> dict[str, object]:
    if home.contract is None:
        return {}
    cells: dict[str, object] = {"contract_amount": _amount(home.contract.amount_minor)}
    milestones = home.milestones
    if len(milestones) != len(PARTS):
        return cells
    if _is_of_the_list(milestones):
        cells |= {f"{part}_share": _share(one) for part, one in zip(PARTS, milestones, strict=True)}
    for part, one in zip(PARTS, milestones, strict=True):
        if one.opening:
            cells |= {
                f"{part}_earned_on": one.earned_on,
                f"{part}_ref": one.opening_ref,
                f"{part}_invoiced": _amount(one.opening_invoiced_minor),
                f"{part}_paid": _amount(one.opening_paid_minor),
            }
    return cells


def _is_of_the_list(milestones: Sequence[Milestone]) -> bool:
    shares = all(one.kind == MilestoneKind.PART and not one.fixed and not one.retained_minor for one in milestones)
    return shares and sum(one.share_millionths for one in milestones) == MILLION


def _share(milestone: Milestone) -> str:
    return percent_text(milestone.share_millionths).replace("\u202f", " ")


def _amount(minor: int) -> Decimal:
    return Decimal(money.decimal_text(minor))


def _day(fact: Known | None) -> dt.date | None:
    return fact.day if fact else None
