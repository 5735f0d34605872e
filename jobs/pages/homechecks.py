"""What is wrong with the rows of a list of homes: each row alone, beside the other rows, and beside the records."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from billing import triggers
from billing.milestones import DEFAULT_PARTS
from billing.shares import percent_text, split
from jobs.core import facts, money, words
from jobs.core import kinds as k
from jobs.core.ctsignatures import Service as Voltage
from jobs.core.sheets import CheckedRow, Column, Objection, doubles
from jobs.core.states import Facts, HomeKind, Known
from jobs.pages.homecolumns import COLUMNS, PARTS
from jobs.pages.homeplan import Planned, plan
from jobs.pages.homerecords import Records
from jobs.pages.homerows import Values, fitted_when, key_of, money_told, zone_of
from utilities.models import District

Fault = tuple[str, str]  # the column, and the sentence

_COLUMN: dict[str, Column] = {column.name: column for column in COLUMNS}
_NEEDED = ("owner", "street", "city", "region")


@dataclass(frozen=True)
class Case:
    """One row beside the records."""

    values: Values
    records: Records
    planned: Planned

    @cached_property
    def today(self) -> dt.date:
        return self.records.today(self.values)

    def has(self, *columns: str) -> bool:
        return any(self.values.get(column) not in (None, "") for column in columns)


def objections(rows: Sequence[CheckedRow]) -> Iterator[Objection]:
    records = Records([row.values for row in rows])
    in_sheet = {name for row in rows for name in row.values}
    for row in rows:
        planned = plan(row.values, records)
        case = Case(row.values, records, planned)
        # A cell that could not be read has its own error; that it is then missing is no second one.
        unread = in_sheet - set(row.values) if row.errors else set()
        faults = dict.fromkeys([*planned.conflicts, *(fault for check in CHECKS for fault in check(case))])
        yield from (Objection(row.number, column, sentence) for column, sentence in faults if column not in unread)
    yield from doubles(rows, ["number"], what="The job number")
    yield from doubles(rows, ["code"], what="The job code")
    unnumbered = [row for row in rows if not (row.values.get("number") or row.values.get("code"))]
    yield from doubles(unnumbered, ["street", "city", "owner"], what="This home of this owner")
    yield from doubles(rows, ["collar_serial"], what="The serial")


def _home(case: Case) -> Iterator[Fault]:
    values = case.values
    if found := case.records.ambiguous.get(key_of(values) or ()):
        codes = words.listed([job.code for job in found])
        yield "number", f"Jobs {codes} are at this address for this owner: give the job number, so that one of them is meant."
    if not case.planned.new:
        return
    if case.has("code"):
        yield "code", f"There is no job {values['code']}: a job's code, or an empty cell for a new home, is wanted."
        return
    for name in _NEEDED:
        if not case.has(name):
            yield name, _COLUMN[name].empty_sentence()
    if case.has("region") and zone_of(values) is None:
        yield "zone", f"{values['region']} has more than one time zone: the home's own is wanted, such as America/Chicago."


def _names(case: Case) -> Iterator[Fault]:
    values, records = case.values, case.records
    if name := values.get("utility"):
        utility = records.utilities.get(name.casefold())
        if utility is None:
            yield "utility", _unknown(f"The utility “{name}”", name, records.all_utilities, add="add it under Utilities")
        elif (district := values.get("district")) and (utility.pk, district.casefold()) not in records.districts:
            known = list(District.objects.filter(utility=utility).values_list("name", flat=True))
            yield "district", _unknown(f"The district “{district}” of {utility.name}", district, known, add="add it to the utility")
    elif case.has("district", "meter_number", "meter_form", "account_number", "request_sent_on") and not _has_service(case):
        yield "utility", "The utility is empty: its name is wanted for district, meter, account or a request sent."
    if (crew := values.get("crew")) and crew.casefold() not in records.crews:
        yield "crew", _unknown(f"The crew “{crew}”", crew, [known.name for known in records.crews.values()], add="add it under People")


def _has_service(case: Case) -> bool:
    return case.planned.home is not None and case.planned.home.service is not None


def _unknown(what: str, name: str, known: Iterable[str], *, add: str) -> str:
    by_case = {other.casefold(): other for other in known}
    near = [by_case[other] for other in difflib.get_close_matches(name.casefold(), list(by_case), n=3, cutoff=0.5)]
    hint = f"near it {'is' if len(near) == 1 else 'are'} {words.listed(near)}" if near else "no known name is near it"
    return f"{what} is not known here; {hint}: write a known name, or {add} first."


def _serial(case: Case) -> Iterator[Fault]:
    serial = case.values.get("collar_serial")
    holder = case.records.holder(serial, other_than=case.planned.home) if serial else None
    if holder is not None:
        yield (
            "collar_serial",
            (
                f"Serial {serial} is registered for job {holder.code} at {holder.site.street}; a serial belongs to one site at a time: "
                "check the label, or move it from there first."
            ),
        )


def _meter(case: Case) -> Iterator[Fault]:
    utility = case.records.utilities.get((case.values.get("utility") or "").casefold())
    number = case.values.get("meter_number")
    home = case.planned.home
    for job in case.records.meters.get((utility.pk, number), []) if utility and number else []:
        if home is None or job.site_id != home.job.site_id:
            where = f"job {job.code} at {job.site.street}"
            yield "meter_number", f"Meter {number} of {utility} is on record for {where}: read the number on the meter's face again."


def _pairs(case: Case) -> Iterator[Fault]:
    """Cells that say nothing without another."""
    home = case.planned.home
    for column, needs, wanted in (
        ("staged_place", "staged_on", "the day it was staged"),
        ("request_route", "request_sent_on", "the day the request was sent"),
        ("verified_by", "verified_on", "the day backup was verified"),
        ("fitted_after", "fitted_by", "the first day it was known fitted"),
    ):
        if case.has(column) and not case.has(needs):
            yield needs, f"{_COLUMN[needs].label} is empty beside {_COLUMN[column].label}: {wanted} is wanted."
    if case.has("fitted_serial") and not case.has("fitted_on", "fitted_by"):
        yield "fitted_on", "A fitted serial is given without a fitting: the day it was fitted, or the days between, are wanted."
    if case.has("fitted_on") and case.has("fitted_by"):
        yield "fitted_on", "The fitting has a day and a bracket: one of the two is wanted."
    battery = case.values.get("battery")
    has_battery = battery if battery is not None else home is None or home.job.has_battery
    if not has_battery and case.has("ct_consistent_on"):
        yield "ct_consistent_on", "This home has no battery, so it has no consumption CTs to check: leave the cell empty."
    known = home.facts if home else Facts([])
    if case.has("fitted_on", "fitted_by") and not (case.has("request_sent_on") or known.of(k.REQUEST_SENT)):
        yield "request_sent_on", "A collar is fitted and no request was sent: the day the request was sent is wanted."
    if case.has("verified_on") and not (case.has("fitted_on", "fitted_by") or known.fitted):
        yield "fitted_on", "Backup is verified and no collar is fitted: the day it was fitted, or the days between, are wanted."


def _days(case: Case) -> Iterator[Fault]:
    """Days that have not come, and days before their cause."""
    values, planned = case.values, case.planned
    told = [(fact.column, fact.kind, fact.when.day_at(planned.zone)) for fact in planned.facts]
    if planned.sends_request:
        told.append(("request_sent_on", k.REQUEST_SENT, values["request_sent_on"]))
    fitted = fitted_when(values)
    if planned.fits and fitted is not None:
        column, when = fitted
        assert when.by is not None
        told.append((column, k.COLLAR_FITTED, when.by))
        if values.get("fitted_after") and column == "fitted_by" and values["fitted_after"] >= when.by:
            yield "fitted_after", "The last day it was known not fitted must come before the first day it was known fitted."
    standing = [(fact.kind, fact.day) for fact in planned.home.facts.rows] if planned.home else []
    for place, (column, kind, day) in enumerate(told):
        others = standing + [(other, other_day) for at, (_, other, other_day) in enumerate(told) if at != place]
        # Of two days in the wrong order one sentence is enough: the effect's.
        causes = [(other, other_day) for other, other_day in others if other in facts.KINDS[kind].after or (other, other_day) in standing]
        if fault := facts.day_fault(kind, day, others=causes, today=case.today):
            yield column, fault
    if case.has("install_on") and case.has("request_planned_on") and values["request_planned_on"] < values["install_on"]:
        yield "request_planned_on", "The request cannot be planned before the install day: a later day is wanted."


def _plan(case: Case) -> Iterator[Fault]:
    """Contract and shares."""
    told = money_told(case.values)
    home = case.planned.home
    on_record = home is not None and home.contract is not None
    given = [share for share in told.shares if share is not None]
    if len(given) == 1:
        part = PARTS[told.shares.index(None)]
        yield f"{part}_share", f"{_COLUMN[f'{part}_share'].label} is empty: both shares are wanted, together 100 %."
    elif len(given) == 2 and sum(given) != 1_000_000:
        yield "final_share", f"The shares add up to {percent_text(sum(given))}: together 100 % are wanted."
    if on_record:
        return
    if given and told.contract_minor is None:
        yield "contract_amount", "The shares have no contract amount: the contract's price is wanted."
    if told.contract_minor is not None and not given:
        yield (
            "first_share",
            "The contract amount has no milestones: the shares of the first and final milestone are wanted, together 100 %.",
        )
    if told.contract_minor == 0:
        yield "contract_amount", "The contract amount is zero: an amount above zero is wanted."


def _openings(case: Case) -> Iterator[Fault]:
    """What the books before ours had billed."""
    values = case.values
    for position, part in enumerate(PARTS):
        earned, ref, invoiced, paid = (values.get(f"{part}_{name}") for name in ("earned_on", "ref", "invoiced", "paid"))
        if earned and earned > case.records.office_today:
            yield f"{part}_earned_on", f"{words.day(earned)} has not come yet: the day on which the milestone was earned is wanted."
        if (ref or paid) and not invoiced:
            yield f"{part}_invoiced", "An invoice or a payment is given without the amount invoiced: that amount is wanted."
        if not invoiced:
            if earned:
                yield from _earned_by_facts(case, part, position, earned)
            continue
        if not earned:
            yield f"{part}_earned_on", "An amount was invoiced and no day of earning is given: the day it was earned is wanted."
        if not ref:
            yield f"{part}_ref", "An amount was invoiced and its invoice is not named: the invoice's number is wanted."
        if paid and paid > invoiced:
            yield f"{part}_paid", f"{money.shown(paid)} paid is more than the {money.shown(invoiced)} invoiced: at most that is wanted."
        amount = _amount(case, position)
        if amount is None and not (case.has("contract_amount") and case.has("first_share") and case.has("final_share")):
            yield "contract_amount", "A milestone was invoiced and the contract is not known: its amount and both shares are wanted."
        elif amount is not None and invoiced > amount:
            yield f"{part}_invoiced", f"{money.shown(invoiced)} invoiced is more than the milestone's {money.shown(amount)} in the plan."


def _amount(case: Case, position: int) -> int | None:
    """The milestone's amount by the plan on record, else by the row; None where neither has one."""
    home = case.planned.home
    if home is not None and home.milestones:
        return home.milestones[0 if position == 0 else -1].amount_minor
    told = money_told(case.values)
    shares = [share for share in told.shares if share is not None]
    if told.contract_minor is None or len(shares) != 2 or sum(shares) != 1_000_000:
        return None
    return split(told.contract_minor, shares)[position]


def _earned_by_facts(case: Case, part: str, position: int, earned: dt.date) -> Iterator[Fault]:
    """Earned and not invoiced: then its facts earn it here, on their own day, and the day given must be that one."""
    known = _known(case)
    battery = case.values.get("battery")
    home = case.planned.home.job.home_kind if case.planned.home else HomeKind(battery is not False, Voltage.SPLIT_120_240)
    day = triggers.earned_on(DEFAULT_PARTS[position].triggers, known, triggers.ever_reached(known, home))
    if day is None:
        yield (
            f"{part}_earned_on",
            "The facts given do not earn this milestone: the missing facts, or the invoice and its amount, are wanted.",
        )
    elif day != earned:
        yield f"{part}_earned_on", f"The facts given earn this milestone on {words.day(day)}: that day, or an empty cell, is wanted."


def _known(case: Case) -> Facts:
    """The facts that will stand once the row is applied."""
    planned, values = case.planned, case.values
    rows = list(planned.home.facts.rows) if planned.home else []
    order = max((fact.order for fact in rows), default=0)
    new = [(fact.kind, fact.when.day_at(planned.zone), dict(fact.value)) for fact in planned.facts]
    if planned.sends_request:
        new.append((k.REQUEST_SENT, values["request_sent_on"], {}))
    fitted = fitted_when(values)
    if planned.fits and fitted is not None and fitted[1].by is not None:
        serial = values.get("fitted_serial") or values.get("collar_serial") or ""
        new.append((k.COLLAR_FITTED, fitted[1].by, {"serial": serial}))
    return Facts([*rows, *(Known(kind, day, order + place, value) for place, (kind, day, value) in enumerate(new, start=1))])


CHECKS: tuple[Callable[[Case], Iterable[Fault]], ...] = (_home, _names, _serial, _meter, _pairs, _days, _plan, _openings)
