"""What stands on every page: the contractor's name, the menu by rights, the way to the emergency page.

All of it is worked out only when a template asks for it, so that a page without a frame touches no database.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, resolve, reverse

from jobs.core import clock, phones, rules

# The nouns of the menu and the address each opens; who may open it is asked of the view itself.
NOUNS = (
    ("Today", "today"),
    ("Jobs", "jobs"),
    ("Utilities", "utilities"),
    ("Requests", "requests"),
    ("Calls", "calls"),
    ("Notices", "notices"),
    ("Invoices", "invoices"),
    ("Payments", "payments"),
    ("Reports", "report_milestones"),
    ("Imports", "imports"),
    ("People", "people"),
    ("Rules", "rules"),
)
# Addresses that belong under a noun though they do not begin with its own.
UNDER = {
    "/hours/": "calls",
    "/visits/": "calls",
    "/on-call/": "calls",
    "/verifications/": "calls",
    "/facts/": "jobs",
    "/crews/": "people",
    "/collars/": "requests",
    "/papers/": "requests",
    "/authorities/": "requests",
    "/bag-reports/": "requests",
    "/warranties/": "jobs",
}


@dataclass(frozen=True)
class Company:
    name: str
    phone: str
    zone: str
    licence: str = ""


@dataclass(frozen=True)
class Entry:
    words: str
    url: str
    current: bool


@dataclass(frozen=True)
class _Place:
    words: str
    url: str
    rights: tuple[str, ...]


# For the page that must be made when even the database is away.
_last_known = Company("The office", "", "UTC")


def frame(request: HttpRequest) -> dict[str, Any]:
    """Templates call what can be called, so nothing is read before it is shown."""
    return {
        "company": lambda: company(request),
        "menu": lambda: menu(request),
        "emergency_url": lambda: reverse("emergency"),
        "today": lambda: clock.today_in(company(request).zone),
        "office_zone": lambda: company(request).zone,
    }


def company(request: HttpRequest) -> Company:
    """The contractor's particulars, read once for a request."""
    global _last_known
    kept: Company | None = getattr(request, "_company", None)
    if kept is None:
        told = rules.several("company_name", "company_phone", "office_zone", "company_licence")
        kept = Company(
            name=str(told["company_name"]),
            phone=_number(str(told["company_phone"])),
            zone=str(told["office_zone"]),
            licence=str(told["company_licence"]),
        )
        request._company = kept  # type: ignore[attr-defined]
        _last_known = kept
    return kept


def _number(typed: str) -> str:
    """The telephone in its one form; nothing where the rule holds something that is no number."""
    try:
        return phones.e164(typed).number
    except ValueError:
        return ""


def last_known_company() -> Company:
    """As of the last page this process made; asks nothing."""
    return _last_known


def menu(request: HttpRequest) -> list[Entry]:
    """The places that this person may open, the current one marked."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    open_to_them = [place for place in _places() if not place.rights or any(user.has_perm(right) for right in place.rights)]
    # The longest address that the page's begins with; "/" begins every one and counts for itself only.
    path = next((reverse(noun) for start, noun in UNDER.items() if request.path.startswith(start)), request.path)
    fits = [place.url for place in open_to_them if path == place.url or (place.url != "/" and path.startswith(place.url))]
    current = max(fits, key=len, default="")
    return [Entry(place.words, place.url, place.url == current) for place in open_to_them]


@cache
def _places() -> tuple[_Place, ...]:
    """The addresses that exist, each with the rights of its view."""
    found = []
    for words, name in NOUNS:
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        found.append(_Place(words, url, tuple(getattr(resolve(url).func, "rights", ()))))
    return tuple(found)
