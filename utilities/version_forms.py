"""Forms of a utility's profile versions: what it takes, its desk, its people, the limits it publishes; a confirmation."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField

from jobs.core import facts
from jobs.core.forms import DayField, MoneyField, OfficeForm, PhoneField
from utilities.models import ProfileVersion
from utilities.models.desk import Answer
from utilities.services import terms_of
from utilities.terms import BEGINS, BUSINESS, CALENDAR, STEPS, UTILITY_ONLY, Limit, Person, Terms, listed

ANSWERS = [(Answer.YES.value, "yes"), (Answer.NO.value, "no"), (Answer.NOT_KNOWN.value, "not known")]
LISTS = {
    "revisions": ("Collar revisions it takes", "As on the collar's label, with commas between."),
    "meter_forms": ("Meter forms it takes", "As on the meter's face: 2S, 12S."),
    "meter_classes": ("Meter classes it takes", "200, 320."),
    "sockets": ("Sockets it takes", f"{', '.join(facts.SOCKETS)}."),
    "voltages": ("Service voltages it takes", "120/240, 120/208."),
    "in_socket": ("Other devices that may stand in the socket already", "Left empty it was not told, and then nobody can tell."),
}
ROWS = {"contacts": 3, "steps_above": 6, "limits": 6}
TITLES = {"contacts": "Contact", "steps_above": "Step", "limits": "Limit"}


@dataclass(frozen=True)
class Group:
    """Fields of one subject; those of a line stand side by side. told: how much of it says something. more: lines that are free."""

    legend: str
    told: str
    lines: list[list[BoundField]]
    more: Sequence[list[BoundField]] = ()
    open: bool = False


def _is_told(field: BoundField) -> bool:
    # Of which days a limit counts a browser always says something; that alone is no limit.
    return not field.name.endswith(("_counts", "_begins")) and field.value() not in (None, "")


class VersionForm(OfficeForm):
    """A whole version. Rows of people and limits that are left empty are none."""

    valid_from = DayField(label="Holds from", help_text="Day at the utility. A version without an end before it ends the day before.")
    valid_to = DayField(label="Holds until", required=False, help_text="Left empty: until further notice.")
    confirmed_with = forms.CharField(
        label="Confirmed with", max_length=120, required=False, help_text="Who at the utility said so, if somebody was asked today."
    )

    who_may_fit = forms.CharField(label="Who may fit the collar", max_length=160, required=False, initial=UTILITY_ONLY)
    who_may_fit_source = forms.CharField(
        label="Source of that rule", max_length=160, required=False, help_text="The rule, and who confirmed it when."
    )
    supplies_collar = forms.ChoiceField(
        label="Does it own or supply the collar itself?", choices=ANSWERS, required=False, widget=forms.RadioSelect, initial=""
    )

    route = forms.CharField(label="How it wants requests", max_length=160, required=False, help_text="Portal, a form by e-mail, a letter.")
    package = forms.CharField(
        label="What must be sent along, one on each line",
        widget=forms.Textarea(attrs={"rows": 6}),
        required=False,
        help_text="In its words. Meter number, account number and collar serial come from the home's record; all else is a file.",
    )
    fee = MoneyField(label="Its fee", required=False, help_text="$0 where none is asked; left empty it is not known.")
    fee_payer = forms.CharField(label="Who pays the fee", max_length=80, required=False)
    signature_needed = forms.ChoiceField(
        label="Must the account holder sign?", choices=ANSWERS, required=False, widget=forms.RadioSelect, initial=""
    )
    customer_home = forms.ChoiceField(
        label="Must the customer be home?", choices=ANSWERS, required=False, widget=forms.RadioSelect, initial=""
    )
    batch_preference = forms.CharField(
        label="How it wants to be asked about several homes", max_length=160, required=False, help_text="One list a month, each by itself."
    )

    desk_phone = PhoneField(label="Telephone of the desk", required=False)
    desk_email = forms.EmailField(label="E-mail of the desk", required=False)
    desk_hours = forms.CharField(label="Hours of the desk", max_length=120, required=False)
    reply_habit = forms.CharField(label="How it answers", max_length=160, required=False, help_text="Within a week, by e-mail only.")
    notice_habit = forms.CharField(label="How it announces visits", max_length=160, required=False, help_text="Calls the day before.")

    no_limit_asked_on = DayField(
        label="Asked whether any limit is published on", required=False, help_text="So that “no published limit” has its day."
    )

    GROUPS = (
        ("From when it holds", ("valid_from", "valid_to", "confirmed_with")),
        ("Who fits", ("who_may_fit", "who_may_fit_source", "supplies_collar", "customer_home")),
        ("What it takes, “any” where it takes all", tuple(LISTS)),
        ("A request", ("route", "package", "fee", "fee_payer", "signature_needed", "batch_preference")),
        ("Its desk", ("desk_phone", "desk_email", "desk_hours", "reply_habit", "notice_habit")),
    )

    def __init__(self, *args: Any, fixed_days: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if fixed_days:
            for name in ("valid_from", "valid_to", "confirmed_with"):
                del self.fields[name]

    @classmethod
    def base(cls) -> None:
        """Adds the fields of lists and rows, once."""
        for name, (label, hint) in LISTS.items():
            cls.base_fields[name] = forms.CharField(label=label, help_text=hint, max_length=400, required=False)
        for kind in ("contacts", "steps_above"):
            for place in range(ROWS[kind]):
                at = f"{kind}_{place}"
                cls.base_fields[f"{at}_name"] = forms.CharField(label="Name", max_length=120, required=False)
                cls.base_fields[f"{at}_role"] = forms.CharField(label="What they are there", max_length=120, required=False)
                cls.base_fields[f"{at}_phone"] = PhoneField(label="Telephone", required=False)
                cls.base_fields[f"{at}_email"] = forms.EmailField(label="E-mail", required=False)
                cls.base_fields[f"{at}_hours"] = forms.CharField(label="Hours", max_length=80, required=False)
        steps = [("", "none"), *((name, f"to {words}") for name, words in STEPS.items())]
        for place in range(ROWS["limits"]):
            at = f"limits_{place}"
            cls.base_fields[f"{at}_step"] = forms.ChoiceField(label="What it must do", choices=steps, required=False)
            cls.base_fields[f"{at}_days"] = forms.IntegerField(label="Days", required=False, min_value=1, max_value=730)
            cls.base_fields[f"{at}_counts"] = forms.ChoiceField(
                label="Which days", choices=[(BUSINESS, "its business days"), (CALENDAR, "days of the calendar")], required=False
            )
            cls.base_fields[f"{at}_begins"] = forms.ChoiceField(label="Counted from", choices=list(BEGINS.items()), required=False)
            cls.base_fields[f"{at}_words"] = forms.CharField(label="In its own words", max_length=160, required=False)
            cls.base_fields[f"{at}_source"] = forms.CharField(
                label="Where it is published, and the day it was read", max_length=160, required=False
            )

    def groups(self) -> list[Group]:
        """By subject, each to be folded; the first is open, and each with something to correct."""
        found = [self._subject(legend, [[self[name]] for name in names if name in self.fields]) for legend, names in self.GROUPS]
        people = (("contacts", "People at the desk"), ("steps_above", "Steps above the desk, the nearest first"))
        found += [self._rows(title, kind) for kind, title in people]
        found.append(self._rows("Limits it publishes, each with its source", "limits", [[self["no_limit_asked_on"]]]))
        found = [group for group in found if group.lines]
        return [dataclasses.replace(found[0], open=True), *found[1:]]

    def _subject(self, legend: str, lines: list[list[BoundField]]) -> Group:
        fields = [field for line in lines for field in line]
        told = sum(_is_told(field) for field in fields)
        return Group(legend, f"{told} of {len(fields)} told", lines, open=any(field.errors for field in fields))

    def _rows(self, legend: str, kind: str, before: Sequence[list[BoundField]] = ()) -> Group:
        """The rows that say something and one that is free; the others are folded once more."""
        rows = [self._row(kind, place) for place in range(ROWS[kind])]
        last = max((place for place, row in enumerate(rows, start=1) if any(_is_told(field) or field.errors for field in row)), default=0)
        said = f"{last} told" if last else "none told"
        wrong = any(field.errors for line in (*before, *rows) for field in line)
        return Group(legend, said, [*before, *rows[: last + 1]], rows[last + 1 :], open=wrong)

    def _row(self, kind: str, place: int) -> list[BoundField]:
        return [self[name] for name in self.fields if name.startswith(f"{kind}_{place}_")]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        for place in range(ROWS["limits"]):
            at = f"limits_{place}"
            if not told.get(f"{at}_step") and any(told.get(f"{at}_{name}") for name in ("days", "words", "source")):
                self.add_error(f"{at}_step", "Choose what the utility must do within this limit.")
        return told

    def terms(self) -> Terms:
        told = dict(self.cleaned_data)
        names = set(Terms.__dataclass_fields__)
        given: dict[str, Any] = {name: value for name, value in told.items() if name in names and value is not None}
        for name in LISTS:
            given[name] = listed(told[name])
        given["package"] = tuple(" ".join(line.split()) for line in told["package"].splitlines() if line.strip())
        given["fee_minor"] = told["fee"]
        given["desk_phone"] = told["desk_phone"].number if told["desk_phone"] else ""
        for kind in ("contacts", "steps_above"):
            given[kind] = tuple(person for place in range(ROWS[kind]) if (person := self._person(f"{kind}_{place}")) is not None)
        given["limits"] = tuple(limit for place in range(ROWS["limits"]) if (limit := self._limit(f"limits_{place}")) is not None)
        return Terms(**given)

    def _person(self, at: str) -> Person | None:
        told = {name: self.cleaned_data[f"{at}_{name}"] for name in ("name", "role", "phone", "email", "hours")}
        told["phone"] = told["phone"].number if told["phone"] else ""
        return Person(**told) if any(told.values()) else None

    def _limit(self, at: str) -> Limit | None:
        told = {name: self.cleaned_data[f"{at}_{name}"] for name in ("step", "days", "counts", "begins", "words", "source")}
        if not told["step"]:
            return None
        return Limit(**told | {"counts": told["counts"] or BUSINESS, "begins": told["begins"] or "received"})

    @staticmethod
    def initial_of(version: ProfileVersion | None, *, today: dt.date) -> dict[str, Any]:
        """What the version in force says, to be changed: nobody types a profile twice."""
        terms = terms_of(version)
        told: dict[str, Any] = {name: getattr(terms, name) for name in Terms.__dataclass_fields__}
        told |= {name: ", ".join(told[name]) for name in LISTS}
        told |= {"package": "\n".join(terms.package), "fee": terms.fee_minor, "valid_from": today}
        for kind in ("contacts", "steps_above", "limits"):
            for place, row in enumerate(told.pop(kind)):
                told |= {f"{kind}_{place}_{name}": getattr(row, name) for name in type(row).__dataclass_fields__}
        return told


VersionForm.base()


class ConfirmVersionForm(OfficeForm):
    on = DayField(label="Asked on")
    confirmed_with = forms.CharField(label="Who at the utility confirmed it", max_length=120)
