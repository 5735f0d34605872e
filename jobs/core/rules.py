"""Rules with a number or a word that the manager sets: each typed, bounded and with a default; the newest that has begun holds.

A record keeps the value it was made under, so a rule is read when a record is made and stored with it where it matters later.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from jobs.core import clock, money, phones, walltime
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Rule
from jobs.core.refusals import Refused


@dataclass(frozen=True)
class RuleKind:
    words: str
    default: str | int
    low: int | None = None
    high: int | None = None
    unit: str = ""
    source: str = "our own choice, no source"
    group: str = "Days"
    page: str = ""  # the name of a page of its own on which it is set by marks instead of typed

    def shown(self, value: str | int) -> str:
        """The value with its unit: "30 days", "$20"; "none" for an empty word."""
        if self.unit == "dollars":
            return money.shown_whole(int(value) * 10 ** money.exponent())
        return f"{value} {self.unit}".strip() or "none"

    @property
    def bounds(self) -> str:
        """What may be typed: "In days, from 0 to 120."; nothing for words."""
        if self.low is None:
            return ""
        return f"{f'In {self.unit}, from' if self.unit else 'From'} {self.low} to {self.high}."


RULES: dict[str, RuleKind] = {
    "company_name": RuleKind("Name of the contractor", "Our company", group="Company"),
    "company_address": RuleKind("Address on papers", "", group="Company"),
    "company_phone": RuleKind("Telephone for homeowners", "", group="Company"),
    "company_email": RuleKind("E-mail for homeowners", "", group="Company"),
    "company_licence": RuleKind("License number on papers", "", group="Company"),
    "emergency_on_call": RuleKind("Licensed person on call, name and telephone", "", group="Company"),
    "payment_instructions": RuleKind("How to pay, printed on invoices", "", group="Company"),
    "office_zone": RuleKind("Zone of the office (IANA name)", "America/Denver", group="Company"),
    "quiet_opens": RuleKind("Messages and calls from, hour at the home", 9, 8, 12, "o'clock", "floor: 47 CFR 64.1200(c)(1)", "Hours"),
    "quiet_closes": RuleKind("Messages and calls until, hour at the home", 20, 17, 21, "o'clock", "floor: 47 CFR 64.1200(c)(1)", "Hours"),
    "calls_on_holidays": RuleKind("Calls on federal holidays: 0 none, 1 as on other days", 0, 0, 1, group="Hours"),
    "follow_up_days": RuleKind("Ask a utility again after", 14, 3, 90, "days"),
    "acknowledge_days": RuleKind("A request is to be acknowledged within", 5, 1, 60, "business days of the utility"),
    "desk_gap_days": RuleKind("Between two askings of one desk lie at least", 3, 0, 20, "business days of the utility"),
    "profile_days": RuleKind("A utility's profile is confirmed again after", 180, 14, 730, "days"),
    "act_days": RuleKind("Our own acts fall due after", 3, 1, 30, "days"),
    "answer_days": RuleKind("Ask a homeowner again after", 3, 1, 30, "days"),
    "medical_answer_days": RuleKind("A medical answer counts for", 30, 1, 30, "days"),
    "communications_days": RuleKind("Communications count as seen lately for", 3, 1, 30, "days"),
    "own_correction_days": RuleKind("One's own facts may be corrected for", 7, 1, 60, "days"),
    "payment_days": RuleKind("Invoices are due after", 30, 0, 120, "days", group="Money"),
    "first_invoice_number": RuleKind("Our first invoice gets the number", 1001, 1, 999_999_999, "", group="Money"),
    "first_credit_number": RuleKind("Our first credit note gets the number", 1, 1, 999_999_999, "", group="Money"),
    "delay_day_denominator": RuleKind("A day's delay costs the final milestone divided by", 30, 1, 365, "", group="Money"),
    "delay_paper_percent": RuleKind(
        "A day's delay costs, for each paper that expires soon, of the contract", 1, 0, 100, "percent", group="Money"
    ),
    "delay_paper_days": RuleKind("A paper expires soon within", 30, 1, 365, "days"),
    "link_days": RuleKind("A homeowner's link opens for", 30, 1, 365, "days"),
    "thin_history": RuleKind("A utility's history is thin below", 5, 1, 50, "fittings"),
    "bag_photo_days": RuleKind("Ask for a photo of the bag again after", 60, 14, 365, "days"),
    "paper_watch_days": RuleKind("Papers stand on Today from before they run out", 90, 14, 365, "days"),
    "delay_week_dollars": RuleKind("A day's delay costs, for each week since the collar", 20, 0, 1000, "dollars", group="Money"),
    "notices_by_themselves": RuleKind(
        "Kinds of message that leave without a person's release, with commas between", "", group="Messages", page="notices_by_themselves"
    ),
}


# What an app above knows of a value and this module cannot: it raises Refused.
_checks: dict[str, Callable[[str], None]] = {}


def check_by(name: str, function: Callable[[str], None]) -> None:
    """Registered once for each rule, when the app is made ready."""
    _checks[name] = function


def value(name: str, *, on: dt.date | None = None) -> str | int:
    """The value in force on a day (now, if none is given)."""
    day = on or clock.now().date()
    row = Rule.objects.filter(name=name, valid_from__lte=day).order_by("-valid_from", "-pk").values_list("value", flat=True).first()
    return RULES[name].default if row is None else row


def several(*names: str) -> dict[str, str | int]:
    """The values of several rules now, in one query, in the order asked."""
    rows = Rule.objects.filter(name__in=names, valid_from__lte=clock.now().date()).order_by("valid_from", "pk").values_list("name", "value")
    told = dict(rows)  # a later row of the same name takes the place of an earlier one
    return {name: told.get(name, RULES[name].default) for name in names}


def number(name: str, *, on: dt.date | None = None) -> int:
    return int(value(name, on=on))


def text(name: str, *, on: dt.date | None = None) -> str:
    return str(value(name, on=on))


@act(right="core.run_office")
def set_rule(name: str, *, value: str | int, valid_from: dt.date, by: Actor) -> Rule:
    """Set a rule from a day on; a legal floor cannot be undercut."""
    kind = RULES.get(name)
    if kind is None:
        raise Refused(f"There is no rule named {name}.", field="name")
    if isinstance(kind.default, int):
        try:
            value = int(value)
        except ValueError:
            raise Refused(f"{kind.words}: a whole number is wanted, not “{value}”.", field="value") from None
        if (kind.low is not None and value < kind.low) or (kind.high is not None and value > kind.high):
            raise Refused(f"{kind.words}: {value} is outside {kind.low} to {kind.high} {kind.unit}.".replace("  ", " "), field="value")
    elif name == "office_zone" and str(value) not in walltime.zones():
        raise Refused(f"“{value}” is not an IANA zone; wanted a name such as America/Denver.", field="value")
    elif name == "company_phone" and value:
        try:
            phones.e164(str(value))
        except ValueError as fault:
            raise Refused(str(fault), field="value") from fault
    if name in _checks:
        _checks[name](str(value))
    if valid_from < clock.now().date() - dt.timedelta(days=1):
        raise Refused("A rule begins today or later; records already made keep the value they were made under.", field="valid_from")
    return Rule.objects.create(name=name, value=value, valid_from=valid_from, set_by_name=by.name, set_at=clock.now())
