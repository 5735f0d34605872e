"""The columns of a list of homes: what a heading may say, how a cell is read, and who may fill it."""

from __future__ import annotations

import re
from fractions import Fraction

from billing.shares import MILLION
from jobs.core import codes, regions
from jobs.core.dayone import normal_serial
from jobs.core.models import Job, Person, Site
from jobs.core.refusals import Refused
from jobs.core.sheets import Cell, Column, cell_text, parsers
from jobs.core.words import HOME_ZONES
from utilities.importrows import names_on_record

MONEY = "core.set_plan"
PARTS = ("first", "final")  # the milestones that a list can tell of, in their order

_DAY = "a day such as 3 Jun 2026"


def _room(model: type[Job | Person | Site], field: str) -> parsers.Parser:
    return parsers.text(at_most=getattr(model._meta.get_field(field), "max_length", None) or 500)


def _region(cell: Cell) -> str:
    return regions.region(cell_text(cell).strip())


def _zone(cell: Cell) -> str:
    zone = parsers.zone(cell)
    if zone not in HOME_ZONES:
        raise ValueError(f'"{zone}" is no zone of the United States: a name such as America/Denver is wanted.')
    return zone


def share(cell: Cell) -> int:
    """A share in millionths: "40 %", "40", "33.3333", and 0.4, as a workbook keeps a cell shown as 40 %."""
    written = cell_text(cell).strip()
    found = re.fullmatch(r"([0-9]{1,3}(?:\.[0-9]+)?|\.[0-9]+)\s*(%?)", written)
    if not found:
        raise ValueError(f'"{written}" is not a share: a part of a hundred is wanted, such as 40 %.')
    value = Fraction(found[1])
    if not found[2] and value == 1:
        raise ValueError('"1" may be the whole or one in a hundred: 100 % or 1 % is wanted.')
    of_one = value if not found[2] and value < 1 else value / 100
    millionths = of_one * MILLION
    if of_one > 1:
        raise ValueError(f"{written} is more than the whole: at most 100 % is wanted.")
    if millionths.denominator != 1:
        raise ValueError(f"{written} is too fine: at most four decimals of a per cent are wanted.")
    return int(millionths)


def _amount(cell: Cell) -> int:
    amount = parsers.money(cell)
    if amount < 0:
        raise ValueError(f"{cell_text(cell).strip()} is below zero: an amount of zero or more is wanted.")
    return amount


def _day(name: str, label: str, *aliases: str, right: str = "") -> Column:
    return Column(name, label, aliases, parse=parsers.day, wanted=_DAY, right=right)


def _milestone(part: str) -> tuple[Column, ...]:
    label = f"{part.capitalize()} milestone"
    return (
        Column(f"{part}_share", f"{label} share", (f"{part} share", f"{part} milestone share %", f"{part} %"), parse=share, right=MONEY),
        _day(f"{part}_earned_on", f"{label} earned on", f"{part} milestone earned", f"{part} earned on", right=MONEY),
        Column(
            f"{part}_ref", f"{label} invoice", (f"{part} invoice ref", f"{part} invoice", f"{part} invoice number"),
            parse=parsers.text(at_most=60), right=MONEY, code=True,
        ),
        Column(f"{part}_invoiced", f"{label} invoiced", (f"{part} invoiced amount", f"{part} invoiced"), parse=_amount, right=MONEY),
        Column(f"{part}_paid", f"{label} paid", (f"{part} paid amount", f"{part} paid"), parse=_amount, right=MONEY),
    )  # fmt: skip


def _serial(cell: Cell) -> str:
    try:
        return normal_serial(cell_text(cell))
    except Refused as refusal:
        raise ValueError(str(refusal)) from refusal


def _code(cell: Cell) -> str:
    return codes.normal(cell_text(cell).strip())


_LANGUAGES = {"en": ("English", "eng"), "es": ("Spanish", "Español", "spa")}

COLUMNS: tuple[Column, ...] = (
    Column(
        "number", "Job number", ("our number", "job", "job no", "job #", "project number"), parse=_room(Job, "contractor_number"), code=True
    ),
    # Of a list that was saved here; a contractor's own list calls its number "Job", which goes before.
    Column("code", "Job code", ("code of the job", "our code", "job"), parse=_code, code=True),
    Column(
        "owner",
        "Owner",
        ("homeowner", "customer", "name", "owner name", "person"),
        parse=_room(Person, "name"),
        wanted="the owner's name",
    ),
    Column(
        "street",
        "Street",
        ("address", "site address", "street address", "address 1"),
        parse=_room(Site, "street"),
        wanted="the street and number of the home",
    ),
    Column("unit", "Unit", ("apartment", "apt", "address 2"), parse=_room(Site, "unit")),
    Column("city", "City", ("town",), parse=_room(Site, "city"), wanted="the city"),
    Column("region", "State", ("region", "st"), parse=_region, wanted="two letters such as CO", known=regions.words_for),
    Column("postal_code", "Postal code", ("zip", "zip code", "postcode"), parse=parsers.postal_code, code=True),
    Column("zone", "Time zone", ("zone", "tz", "iana zone"), parse=_zone),
    Column("phone", "Telephone", ("phone", "phone number", "telephone number", "mobile"), parse=parsers.phone),
    Column("email", "E-mail", ("e-mail address",), parse=parsers.email),
    Column("language", "Language", ("spoken language",), parse=parsers.choice(_LANGUAGES)),
    Column("battery", "Battery", ("has battery", "battery yes/no", "storage"), parse=parsers.yes_no),
    Column("utility", "Utility", ("electric utility", "utility name", "power company"), known=names_on_record),
    Column("district", "District", ("utility district", "service area")),
    Column("meter_number", "Meter number", ("meter", "meter no", "meter #"), parse=parsers.text(at_most=40), code=True),
    Column("meter_form", "Meter form", ("form",), parse=parsers.text(at_most=10)),
    Column(
        "account_number",
        "Account number",
        ("utility account", "account", "account no", "account #"),
        parse=parsers.text(at_most=40),
        code=True,
    ),
    Column("crew", "Crew", ("team",)),
    _day("install_on", "Install day planned", "install planned", "planned install", "install date"),
    _day("request_planned_on", "Request planned", "request planned on", "planned request"),
    _day("contract_signed_on", "Contract signed", "contract signed on", "signed", "contract date"),
    Column("contract_amount", "Contract amount", ("contract", "contract price", "price"), parse=_amount, right=MONEY),
    _day("commissioned_on", "Commissioned on", "commissioned", "commissioning date", "grid-tied on"),
    _day("ct_consistent_on", "CT check consistent on", "consistent on", "ct check", "ct check on"),
    Column("collar_serial", "Collar serial", ("serial", "collar", "collar serial number", "serial number"), parse=_serial, code=True),
    _day("staged_on", "Collar staged on", "staged on", "staged"),
    Column("staged_place", "Staged where", ("place", "staged place", "where staged"), parse=parsers.text(at_most=160)),
    _day("sheet_given_on", "Sheet given on", "hand-over sheet given", "sheet given", "hand-over sheet given on"),
    _day("permission_on", "Permission to operate on", "permission to operate", "pto", "pto date"),
    _day("request_sent_on", "Request sent on", "request sent", "req sent", "sent on", "sent to utility"),
    Column("request_route", "Request route", ("route", "sent by")),
    _day("fitted_on", "Fitted on", "collar fitted", "collar fitted on", "fitted"),
    _day("fitted_after", "Last known not fitted", "fitted after", "fitted between", "last seen not fitted"),
    _day("fitted_by", "First known fitted", "fitted by", "fitted before", "and", "first seen fitted"),
    Column("fitted_serial", "Fitted serial", ("serial fitted", "fitted collar"), parse=_serial, code=True),
    _day("verified_on", "Backup verified on", "verified on", "verified", "backup verified"),
    Column("verified_by", "Verified by", ("verifier",), parse=_room(Person, "name")),
    *_milestone("first"),
    *_milestone("final"),
)
