"""What a utility has told about itself, as plain values: lists it takes, its package, its people, the limits it publishes. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any, Final, Self

UTILITY_ONLY: Final = "utility personnel only"
ANY: Final = "any"

# From what day a published limit counts, and what the utility owes by its end.
BEGINS: Final = {
    "received": "the day the request came in there",
    "complete": "the day it was found complete",
    "fee": "the day the fee was paid",
    "built": "the day the system was commissioned",
}
STEPS: Final = {
    "acknowledge": "say that the request came in",
    "complete": "say whether it is complete",
    "review": "review it",
    "agreement": "send the agreement",
    "connect": "connect the system",
    "visit": "fit the collar",
}
BUSINESS, CALENDAR = "business", "calendar"


@dataclass(frozen=True)
class Person:
    """Somebody at the utility: a contact of the desk, or one of the steps above it. phone: E.164."""

    name: str
    role: str = ""
    phone: str = ""
    email: str = ""
    hours: str = ""


@dataclass(frozen=True)
class Limit:
    """One published limit. days None: its words name no number of days, so nothing is counted.

    source: where it is published, with the day it was read; a limit without a source is none.
    """

    step: str
    source: str
    days: int | None = None
    counts: str = BUSINESS
    begins: str = "received"
    words: str = ""

    @property
    def sentence(self) -> str:
        """ "review it within 15 business days of the day it was found complete", or its own words."""
        if self.days is None:
            return self.words
        unit = "business day" if self.counts == BUSINESS else "day"
        return f"{STEPS[self.step]} within {self.days} {unit}{'' if self.days == 1 else 's'} of {BEGINS[self.begins]}"


@dataclass(frozen=True)
class Terms:
    """All that a version of the profile says. A list that is empty was not told; [ANY] means that all are taken."""

    who_may_fit: str = UTILITY_ONLY
    who_may_fit_source: str = ""
    supplies_collar: str = ""
    revisions: Sequence[str] = ()
    meter_forms: Sequence[str] = ()
    meter_classes: Sequence[str] = ()
    sockets: Sequence[str] = ()
    voltages: Sequence[str] = ()
    in_socket: Sequence[str] = ()
    route: str = ""
    package: Sequence[str] = ()
    fee_minor: int | None = None
    fee_payer: str = ""
    signature_needed: str = ""
    customer_home: str = ""
    batch_preference: str = ""
    desk_phone: str = ""
    desk_email: str = ""
    desk_hours: str = ""
    reply_habit: str = ""
    notice_habit: str = ""
    contacts: Sequence[Person] = field(default=())
    steps_above: Sequence[Person] = field(default=())
    limits: Sequence[Limit] = field(default=())
    no_limit_asked_on: dt.date | None = None

    def columns(self) -> dict[str, Any]:
        """As a version keeps it."""
        told: dict[str, Any] = {one.name: getattr(self, one.name) for one in fields(self)}
        for name in ("contacts", "steps_above", "limits"):
            told[name] = [asdict(row) for row in told[name]]
        return {name: list(value) if isinstance(value, tuple) else value for name, value in told.items()}

    @classmethod
    def of(cls, columns: Mapping[str, Any]) -> Self:
        """Back from what a version keeps."""
        told = {one.name: columns[one.name] for one in fields(cls)}
        told["contacts"] = tuple(Person(**row) for row in told["contacts"])
        told["steps_above"] = tuple(Person(**row) for row in told["steps_above"])
        told["limits"] = tuple(Limit(**row) for row in told["limits"])
        return cls(**told)


def listed(text: str) -> tuple[str, ...]:
    """What was typed with commas or on lines, each once, in its order."""
    parts = [" ".join(part.split()) for part in text.replace("\n", ",").replace(";", ",").split(",")]
    return tuple(dict.fromkeys(part for part in parts if part))
