"""What one row of a list of homes says: its home, its dated facts, its contract. Reads only the row's values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from billing.milestones import DEFAULT_PARTS, Opening, Part
from jobs.core import kinds as k
from jobs.core import regions
from jobs.core.facts import Said, When
from jobs.core.intake import NewHome, NewPerson
from jobs.core.states import AS_LISTED
from jobs.pages.homecolumns import PARTS

Values = Mapping[str, Any]

LIST = "contractor's list"
SAID = Said(LIST)


@dataclass(frozen=True)
class Told:
    """One fact as the list tells it. `column`: the cell it rests on."""

    column: str
    kind: str
    when: When
    value: Mapping[str, Any] = field(default_factory=dict)
    said_by: Said = SAID
    note: str = ""


@dataclass(frozen=True)
class Money:
    """Contract and milestones as the list tells them; shares in millionths, amounts in minor units."""

    contract_minor: int | None
    shares: tuple[int | None, int | None]
    openings: tuple[Opening, ...]

    def parts(self) -> list[Part]:
        """The usual two milestones, with the list's shares."""
        return [
            Part(part.name, part.clause, share or 0, part.triggers, part.payer_triggers)
            for part, share in zip(DEFAULT_PARTS, self.shares, strict=True)
        ]


def key_of(values: Values) -> tuple[str, ...] | None:
    """What names the home inside the file: the job's code, our number, else street, city and owner; None where the row lacks all."""
    if values.get("code"):
        return ("code", values["code"])
    if values.get("number"):
        return (values["number"].casefold(),)
    named = [values.get(name) for name in ("street", "city", "owner")]
    return tuple(part.casefold() for part in named if part) if all(named) else None


def zone_of(values: Values) -> str | None:
    region = values.get("region")
    return values.get("zone") or (regions.only_zone(region) if region else None)


def new_home(values: Values) -> NewHome:
    phone = values.get("phone") or ("", "")
    zone = zone_of(values)
    assert zone is not None, "the checks ask for a zone"
    return NewHome(
        street=values["street"],
        unit=values.get("unit") or "",
        city=values["city"],
        region=values["region"],
        postal_code=values.get("postal_code") or "",
        zone=zone,
        owner=NewPerson(
            values["owner"], language=values.get("language") or "en", phone=phone[0], phone_ext=phone[1], email=values.get("email") or ""
        ),
        contractor_number=values.get("number") or "",
        has_battery=values.get("battery") is not False,
        install_on=values.get("install_on"),
        request_planned_on=values.get("request_planned_on"),
    )


def fitted_when(values: Values) -> tuple[str, When] | None:
    """The day of fitting: exact, or a bracket (last known not fitted, first known fitted]. With the column it rests on."""
    if on := values.get("fitted_on"):
        # A day that is known is a bracket of one day.
        return "fitted_on", When(after=on - dt.timedelta(days=1), by=on)
    if by := values.get("fitted_by"):
        return "fitted_by", When(after=values.get("fitted_after"), by=by)
    return None


def facts_told(values: Values, *, zone: str, today: dt.date) -> list[Told]:
    """The facts of day one, of papers and of the call. Request and fitting are the utilities' own records. `today`: at the home."""
    told: list[Told] = []

    def on(column: str, kind: str, value: Mapping[str, Any] | None = None) -> None:
        if day := values.get(column):
            told.append(Told(column, kind, When(on=day), value or {}))

    on("contract_signed_on", k.CONTRACT_SIGNED)
    on("commissioned_on", k.COMMISSIONED)
    # A list holds no readings, so nothing can be computed from it: that the check was consistent is what the contractor's list says, and
    # the fact says so. A check made here replaces it.
    on("ct_consistent_on", k.CT_CHECK, {"verdict": "consistent", "readings": {}, "numbers": {"source": "import"}})
    if serial := values.get("collar_serial"):
        # Lists keep the serial without its day. It was registered by the day it was staged or the home was commissioned.
        day = values.get("staged_on") or values.get("commissioned_on") or today
        told.append(Told("collar_serial", k.COLLAR_REGISTERED, When(on=day), {"serial": serial}))
    # Photos do not come in a sheet.
    on("staged_on", k.COLLAR_STAGED, {"place": values.get("staged_place") or "", "reason": AS_LISTED})
    on("sheet_given_on", k.SHEET_GIVEN)
    on("permission_on", k.PERMISSION_TO_OPERATE)
    if day := values.get("verified_on"):
        # The list knows the day and not the time; the hour that stands for it is said in the note.
        at = dt.datetime.combine(day, dt.time(12), ZoneInfo(zone))
        said = Said(LIST, values.get("verified_by") or "")
        value = {"result": "passed", "record": "contractor's list"}
        told.append(Told("verified_on", k.VERIFICATION, When(at=at), value, said, note="The day is from the list; its time is not known."))
    return told


def money_told(values: Values) -> Money:
    """The contract, and of each milestone what was invoiced before."""
    openings = tuple(
        Opening(
            position=position,
            earned_on=values[f"{part}_earned_on"],
            invoice_ref=values.get(f"{part}_ref") or "",
            invoiced_minor=values[f"{part}_invoiced"],
            paid_minor=values.get(f"{part}_paid") or 0,
        )
        for position, part in enumerate(PARTS, start=1)
        if values.get(f"{part}_invoiced") and values.get(f"{part}_earned_on")
    )
    return Money(values.get("contract_amount"), (values.get("first_share"), values.get("final_share")), openings)
