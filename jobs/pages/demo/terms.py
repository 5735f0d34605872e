"""What the demo's utilities have told about themselves: versions of their profiles, all invented."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import TYPE_CHECKING

from jobs.core import phones
from jobs.core.actors import Actor
from utilities import versions
from utilities.models import Utility
from utilities.terms import Limit, Person, Terms

if TYPE_CHECKING:
    from jobs.pages.demo.habits import Habit

HANDBOOK = "its interconnection handbook, invented, read 4 Aug 2026"
TARIFF = "its tariff, sheet 41, invented"


def _limits(name: str) -> tuple[Limit, ...]:
    """Two publish limits for the application, one for the visit too; the others none, which is what is found most often."""
    if name.startswith("Ottermere"):
        return (Limit("complete", HANDBOOK, days=5), Limit("review", HANDBOOK, days=15, begins="complete"))
    if name.startswith("Tamarisk"):
        return (Limit("acknowledge", TARIFF, days=3), Limit("visit", TARIFF, days=60, counts="calendar"))
    return ()


def tell(habit: Habit, utility: Utility, *, today: dt.date, by: Actor) -> None:
    """A first version, long ago; of one utility a second, in which much has changed; most confirmed lately, one long ago, one never."""
    first = today - dt.timedelta(days=2200)
    name, area = habit.name.split()[0], habit.areas[0]
    desk = name.lower()
    above = "board, meets on the second Tuesday" if habit.kind in ("municipal", "cooperative") else "interconnection ombudsperson"
    terms = Terms(
        meter_forms=("2S",),
        meter_classes=("200",),
        sockets=("ring", "ringless"),
        voltages=("120/240",),
        revisions=("any",),
        route=habit.route,
        desk_phone=phones.e164(f"({area}) 555-0180").number,
        desk_email=f"meters@{desk}.example",
        desk_hours="Monday to Friday, 8 to 4",
        package=("meter number", "collar serial"),
        limits=_limits(habit.name),
        no_limit_asked_on=None if _limits(habit.name) else today - dt.timedelta(days=113),
        contacts=(Person("Lena Abbott", "meter desk", phones.e164(f"({area}) 555-0181").number, f"lena@{desk}.example", "mornings"),),
        steps_above=(
            Person("R. Olsen", "supervisor of the meter desk", phones.e164(f"({area}) 555-0182").number),
            Person("", above),
        ),
        customer_home="no",
        reply_habit="by e-mail, within two weeks",
        notice_habit="calls the home the day before",
        batch_preference="one list a month" if habit.batch_weekday is not None else "",
    )
    kept = versions.record_version(utility, terms=terms, valid_from=first, confirmed_with="Lena Abbott", by=by)
    if name == "Ottermere":
        newer = dataclasses.replace(
            terms,
            meter_forms=("2S", "12S"),
            package=(*terms.package, "one-line diagram", "photo of the closed meter"),
            fee_minor=7_500,
            fee_payer="the contractor",
            signature_needed="yes",
            reply_habit="on the portal, within five business days",
        )
        kept = versions.record_version(utility, terms=newer, valid_from=today - dt.timedelta(days=40), confirmed_with="Lena Abbott", by=by)
    days = {"Big": 260, "Calder": 200}.get(name, 12)
    kept.confirmed_on = None if name == "Juniper" else today - dt.timedelta(days=days)
    kept.save(update_fields=["confirmed_on"])
