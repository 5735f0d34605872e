"""A version of a profile in words, line by line; and two of them side by side."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core import money, phones, words
from utilities.models import ProfileVersion
from utilities.services import terms_of
from utilities.terms import STEPS, Person, Terms

_NOT = {"yes": "yes", "no": "no", "": "not known"}


@dataclass(frozen=True)
class Line:
    name: str
    earlier: str
    later: str

    @property
    def changed(self) -> bool:
        return self.earlier != self.later


def told(terms: Terms, *, today: dt.date) -> dict[str, str]:
    """Every point of a profile by name; what was not told says so."""
    return {
        "Who may fit": terms.who_may_fit,
        "Source of that rule": terms.who_may_fit_source or "no source on record",
        "Supplies the collar itself": _NOT[terms.supplies_collar],
        "Customer must be home": _NOT[terms.customer_home],
        "Collar revisions": _list(terms.revisions),
        "Meter forms": _list(terms.meter_forms),
        "Meter classes": _list(terms.meter_classes),
        "Sockets": _list(terms.sockets),
        "Service voltages": _list(terms.voltages),
        "Devices in the socket": _list(terms.in_socket),
        "How it wants requests": terms.route or "not told",
        "Sent along": "; ".join(terms.package) or "nothing asked for",
        "Fee": _fee(terms),
        "Account holder signs": _NOT[terms.signature_needed],
        "Several homes": terms.batch_preference or "not told",
        "Desk": desk(terms) or "not told",
        "How it answers": terms.reply_habit or "not told",
        "How it announces visits": terms.notice_habit or "not told",
        "People at the desk": "; ".join(person(one) for one in terms.contacts) or "none named",
        "Steps above the desk": "; ".join(person(one) for one in terms.steps_above) or "none named",
        "Published limits": limits(terms, today=today),
    }


def limits(terms: Terms, *, today: dt.date) -> str:
    """Each with its source; else the plain fact that none is published, and when that was asked."""
    if terms.limits:
        return "; ".join(f"to {limit.sentence} ({limit.source})" for limit in terms.limits)
    asked = f", asked {words.day_short(terms.no_limit_asked_on, today=today)}" if terms.no_limit_asked_on else ""
    return f"no published limit{asked}"


def visit_limit(terms: Terms, *, today: dt.date) -> tuple[str, str]:
    """For the fitting visit alone: the limit and its source; "None published" and when that was asked."""
    found = next((limit for limit in terms.limits if limit.step == "visit"), None)
    if found is not None:
        return f"To {found.sentence}", found.source
    asked = f"asked {words.day_short(terms.no_limit_asked_on, today=today)}" if terms.no_limit_asked_on else ""
    others = words.count(len(terms.limits), "limit") + f" for other steps: to {STEPS[terms.limits[0].step]} first" if terms.limits else ""
    return "None published", others or asked


def desk(terms: Terms) -> str:
    phone = phones.shown(terms.desk_phone) if terms.desk_phone else ""
    return ", ".join(part for part in (phone, terms.desk_email, terms.desk_hours) if part)


def person(one: Person) -> str:
    phone = phones.shown(one.phone) if one.phone else ""
    return ", ".join(part for part in (one.name, one.role, phone, one.email, one.hours) if part)


def _fee(terms: Terms) -> str:
    if terms.fee_minor is None:
        return "not known"
    payer = f", paid by {terms.fee_payer}" if terms.fee_payer else ""
    return f"{money.shown(terms.fee_minor)}{payer}" if terms.fee_minor else "none"


def _list(values: object) -> str:
    return ", ".join(map(str, values)) if isinstance(values, list | tuple) and values else "not told"


def side_by_side(earlier: ProfileVersion, later: ProfileVersion, *, today: dt.date) -> list[Line]:
    before, after = told(terms_of(earlier), today=today), told(terms_of(later), today=today)
    return [Line(name, before[name], after[name]) for name in after]
