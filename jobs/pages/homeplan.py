"""What a row adds to the records, and where the two contradict each other. A blank cell says nothing; a record is never overwritten."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from billing.milestones import Opening
from billing.shares import percent_text
from jobs.core import facts, money, phones, words
from jobs.core import kinds as k
from jobs.core.models import Person
from jobs.core.models.people import Language
from jobs.pages.homecolumns import PARTS
from jobs.pages.homerecords import Home, Records
from jobs.pages.homerows import Told, Values, facts_told, fitted_when, money_told

Conflict = tuple[str, str]  # the column, and the sentence


@dataclass
class Planned:
    home: Home | None
    zone: str
    person: dict[str, Any] = field(default_factory=dict)  # blanks of the owner that the row fills
    site: dict[str, Any] = field(default_factory=dict)
    job: dict[str, Any] = field(default_factory=dict)
    service: dict[str, Any] = field(default_factory=dict)
    facts: list[Told] = field(default_factory=list)
    sends_request: bool = False
    fits: bool = False
    sets_plan: bool = False
    openings: tuple[Opening, ...] = ()
    conflicts: list[Conflict] = field(default_factory=list)

    @property
    def new(self) -> bool:
        return self.home is None

    @property
    def changes(self) -> bool:
        return bool(
            self.person
            or self.site
            or self.job
            or self.service
            or self.facts
            or self.sends_request
            or self.fits
            or self.sets_plan
            or self.openings
        )


def plan(values: Values, records: Records) -> Planned:
    home = records.home(values)
    planned = Planned(home, records.zone(values))
    _particulars(values, records, planned)
    _facts(values, records.today(values), planned)
    _utilities(values, planned)
    _money(values, planned)
    return planned


def source_key(home: Home, kind: str, day: dt.date) -> str:
    return f"import:jobs:{home.job.code}:{kind}:{day}"


def _has(value: bool) -> str:
    return "yes" if value else "no"


def _language(code: str) -> str:
    return Language(code).label


# Of site, job and owner: the attribute, the column, what the sentence calls it, and how a value is shown.
_Row = tuple[str, str, str, Callable[[Any], str]]
_SITE: tuple[_Row, ...] = (
    ("street", "street", "street", str),
    ("unit", "unit", "unit", str),
    ("city", "city", "city", str),
    ("region", "region", "state", str),
    ("postal_code", "postal_code", "postal code", str),
    ("zone", "zone", "time zone", str),
)
_JOB: tuple[_Row, ...] = (
    ("contractor_number", "number", "job number", str),
    ("has_battery", "battery", "battery", _has),
    ("install_on", "install_on", "planned install day", words.day),
    ("request_planned_on", "request_planned_on", "day the request is planned for", words.day),
)
_OWNER: tuple[_Row, ...] = (
    ("name", "owner", "owner", str),
    ("email", "email", "e-mail address", str),
    ("language", "language", "language", _language),
)
_SERVICE = ("utility", "district", "meter_number", "meter_form", "account_number")


def _particulars(values: Values, records: Records, planned: Planned) -> None:
    home = planned.home
    utility = records.utilities.get((values.get("utility") or "").casefold())
    district = records.districts.get((utility.pk, (values.get("district") or "").casefold())) if utility else None
    service = {name: values.get(name) for name in _SERVICE} | {"utility": utility, "district": district}
    crew = records.crews.get((values.get("crew") or "").casefold())
    if home is None:
        planned.service = {name: value for name, value in service.items() if value}
        planned.job = {"crew": crew} if crew else {}
        return

    for adds, on, table in ((planned.site, home.job.site, _SITE), (planned.job, home.job, _JOB)):
        for name, column, label, shown in table:
            _compare(planned, adds, name, getattr(on, name), values.get(column), label, column=column, shown=shown)
    _compare(planned, planned.job, "crew", home.job.crew, crew, "crew", column="crew")
    for name, told in service.items():
        recorded = getattr(home.service, name) if home.service else None
        _compare(planned, planned.service, name, recorded, told, name.replace("_", " "), column=name)
    if home.owner:
        person = home.owner.person
        for name, column, label, shown in _OWNER:
            _compare(planned, planned.person, name, getattr(person, name), values.get(column), label, column=column, shown=shown)
        _phone(person, values, planned)


def _phone(person: Person, values: Values, planned: Planned) -> None:
    told = values.get("phone")
    if not told:
        return
    if not person.phone:
        planned.person |= {"phone": told[0], "phone_ext": told[1]}
    elif (person.phone, person.phone_ext) != tuple(told):
        recorded = phones.shown(person.phone, extension=person.phone_ext)
        planned.conflicts.append(("phone", _both("telephone number", recorded, phones.shown(told[0], extension=told[1]))))


def _compare(
    planned: Planned,
    adds: dict[str, Any],
    name: str,
    recorded: Any,
    told: Any,
    label: str,
    *,
    column: str,
    shown: Callable[[Any], str] = str,
) -> None:
    """What the row adds where nothing is recorded; a conflict where something else is."""
    if told in (None, ""):
        return
    if recorded in (None, ""):
        adds[name] = told
    elif _plain(recorded) != _plain(told):
        planned.conflicts.append((column, _both(label, shown(recorded), shown(told))))


def _plain(value: Any) -> Any:
    return " ".join(value.split()).casefold() if isinstance(value, str) else value


def _both(label: str, recorded: str, told: str) -> str:
    return f"The {label} on record is {recorded}, the file says {told}: correct the record on the job's page, or this cell."


def _facts(values: Values, today: dt.date, planned: Planned) -> None:
    for told in facts_told(values, zone=planned.zone, today=today):
        if planned.home is None:
            planned.facts.append(told)
            continue
        standing = planned.home.facts.of(told.kind)
        day = told.when.day_at(planned.zone)
        if told.kind == k.COLLAR_REGISTERED:
            serial = planned.home.facts.serial
            if serial and serial != told.value["serial"]:
                planned.conflicts.append((told.column, _both("serial", serial, told.value["serial"])))
            elif not serial:
                planned.facts.append(told)
        elif any(fact.day == day for fact in standing):
            continue
        elif standing:
            label = f"day of “{facts.KINDS[told.kind].words}”"
            recorded = words.listed([words.day(fact.day) for fact in standing])
            planned.conflicts.append((told.column, _both(label, recorded, words.day(day))))
        elif (told.kind, day) in planned.home.brought_in:
            planned.conflicts.append((told.column, _taken_back(day)))
        else:
            planned.facts.append(told)


def _taken_back(day: dt.date) -> str:
    return f"{words.day(day)} was brought in before and has been corrected since: leave this cell empty, or record it on the job's page."


def _utilities(values: Values, planned: Planned) -> None:
    """The request to fit and the fitting, which the utilities' own records keep."""
    home, sent, fitted = planned.home, values.get("request_sent_on"), fitted_when(values)
    recorded = home.requests[0].filed_on if home and home.requests else None
    if sent and home and recorded is None and (k.REQUEST_SENT, sent) in home.brought_in:
        planned.conflicts.append(("request_sent_on", _taken_back(sent)))
    elif sent and recorded is None:
        planned.sends_request = True
    elif sent and recorded and sent != recorded:
        planned.conflicts.append(("request_sent_on", _both("day the request was first sent", words.day(recorded), words.day(sent))))

    if fitted is None:
        return
    column, when = fitted
    standing = home.facts.fitted if home else None
    assert when.by is not None
    if standing is None:
        if home and (k.COLLAR_FITTED, when.by) in home.brought_in:
            planned.conflicts.append((column, _taken_back(when.by)))
        planned.fits = True
        return
    told_serial, fitted_serial = values.get("fitted_serial"), standing.value.get("serial")
    # The record may know the day more closely than the list; it contradicts it only where it reaches outside.
    after = standing.after or standing.day - dt.timedelta(days=1)
    if after < (when.after or dt.date.min) or standing.day > when.by:
        recorded_days, told_days = _bracket(after, standing.day), _bracket(when.after, when.by)
        planned.conflicts.append((column, _both("fitting", recorded_days, told_days)))
    elif told_serial and fitted_serial and told_serial != fitted_serial:
        planned.conflicts.append(("fitted_serial", _both("fitted serial", str(fitted_serial), told_serial)))


def _bracket(after: dt.date | None, by: dt.date) -> str:
    return words.bracket(after, by, today=dt.date.min)  # with its year always: the two days may differ by nothing else


def _money(values: Values, planned: Planned) -> None:
    told = money_told(values)
    home = planned.home
    milestones = home.milestones if home else []
    if home is None or home.contract is None:
        planned.sets_plan = told.contract_minor is not None and None not in told.shares
        planned.openings = told.openings
        return
    if told.contract_minor is not None and told.contract_minor != home.contract.amount_minor:
        recorded = money.shown(home.contract.amount_minor)
        planned.conflicts.append(("contract_amount", _both("contract's amount", recorded, money.shown(told.contract_minor))))
    ends = [milestones[0], milestones[-1]] if len(milestones) > 1 else []
    for part, share, milestone in zip(PARTS, told.shares, ends, strict=False):
        if share is not None and share != milestone.share_millionths:
            both = _both(f"share of {milestone.name}", percent_text(milestone.share_millionths), percent_text(share))
            planned.conflicts.append((f"{part}_share", both))
    planned.openings = tuple(_new_openings(told.openings, planned))


def _new_openings(openings: tuple[Opening, ...], planned: Planned) -> Iterator[Opening]:
    """Those that are not on record yet; `position` is that of the plan on record, whose last milestone is the final one."""
    assert planned.home is not None
    milestones = planned.home.milestones
    for opening in openings:
        part = PARTS[opening.position - 1]
        milestone = milestones[0 if part == "first" else -1]
        if not milestone.opening:
            yield Opening(milestone.position, opening.earned_on, opening.invoice_ref, opening.invoiced_minor, opening.paid_minor)
            continue
        told: tuple[tuple[str, str, Any, Any, Callable[[Any], str]], ...] = (
            ("earned_on", "day it was earned", milestone.earned_on, opening.earned_on, words.day),
            ("ref", "invoice", milestone.opening_ref, opening.invoice_ref, str),
            ("invoiced", "amount invoiced", milestone.opening_invoiced_minor, opening.invoiced_minor, money.shown),
            ("paid", "amount paid", milestone.opening_paid_minor, opening.paid_minor, money.shown),
        )
        for column, label, recorded, said, shown in told:
            if recorded != said:
                planned.conflicts.append((f"{part}_{column}", _both(f"{label} of {milestone.name}", shown(recorded), shown(said))))
