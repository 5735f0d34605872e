"""Forms of booking, hours and the call."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from typing import Any

from django import forms

from jobs.appointments.callsteps import CAUSES, Readings
from jobs.appointments.limits import Balance
from jobs.appointments.models import Why
from jobs.appointments.slots import WeeklyHours
from jobs.appointments.times import Wish
from jobs.core.forms import DayField, KeyedForm, OfficeForm, WattsField
from jobs.core.models import Job, Person, User

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_SLOT = re.compile(r"(?P<verifier>[0-9a-f-]{36})\|(?P<wall>\d{4}-\d\d-\d\dT\d\d:\d\d)\|(?P<fold>[01])")
_STRETCH = re.compile(r"(\d{1,2}):(\d\d) ?[-\u2013] ?(\d{1,2}):(\d\d)")
MEDICAL = (("no", "No"), ("yes", "Yes"), ("not sure", "Not sure"), ("declined", "I would rather not say"))
REASON = forms.Textarea(attrs={"rows": 2})


def read_slot(typed: str) -> tuple[User, Wish] | None:
    """The verifier and the time that a choice names; None where it names none."""
    found = _SLOT.fullmatch(typed)
    try:
        uid, wall = (uuid.UUID(found["verifier"]), dt.datetime.fromisoformat(found["wall"])) if found else (None, None)
    except ValueError:  # 36 letters that are no uid, 31 February
        return None
    verifier = User.objects.filter(uid=uid).first() if uid else None
    return (verifier, Wish(wall.date(), wall.time(), int(found["fold"]))) if found and wall and verifier else None


class SlotField(forms.CharField):
    """One of the times shown: verifier, wall time at the home, first or second of a repeated one."""

    def __init__(self) -> None:
        super().__init__(label="Time", max_length=80, error_messages={"required": "Choose one of the times."})

    def clean(self, value: Any) -> Any:
        read = read_slot(super().clean(value))
        if read is None:
            raise forms.ValidationError("That is none of the times shown. Choose one of them.")
        return read


class BookForm(OfficeForm):
    slot = SlotField()
    person = forms.ModelChoiceField(Person.objects.none(), label="Who will be at home", empty_label=None, widget=forms.RadioSelect)
    how = forms.ChoiceField(
        label="What was agreed",
        choices=[
            ("offer", "Nothing yet: offer it by message, and the homeowner answers by link"),
            ("book", "Booked by telephone, still to be confirmed"),
            ("confirmed", "Booked by telephone, and confirmed"),
        ],
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["person"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Person.objects.filter(parties__job=job, parties__to_on__isnull=True).distinct().order_by("name")


class HoldTimeForm(OfficeForm):
    slot = SlotField()


class StandbyForm(OfficeForm):
    said_by = forms.CharField(label="Who said that they would take a time at short notice", max_length=160)
    note = forms.CharField(label="When they can, and with how much notice", required=False, max_length=200)


class MoveForm(OfficeForm):
    slot = SlotField()
    confirmed = forms.BooleanField(label="The person at home said yes to this very time", required=False)


class CancelForm(OfficeForm):
    why = forms.ChoiceField(
        label="Why, as the homeowner is told it",
        choices=[(Why.US.value, "We cannot hold it at that time"), (Why.HOMEOWNER.value, "The homeowner asked to give it up")],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="The reason, in our own words", help_text="It stands in the ledger and is not sent.", max_length=300, widget=REASON
    )


class AnswerForm(OfficeForm):
    answer = forms.ChoiceField(
        label="What the person at home said by telephone",
        choices=[("confirmed", "Yes, at this time"), ("declined", "No, this time is given up")],
        widget=forms.RadioSelect,
    )


class HoursForm(OfficeForm):
    """A week of hours, one line a day: "09:00-13:00, 14:00-17:00"; an empty line is a day without calls."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, name in enumerate(WEEKDAYS):
            self.fields[f"day{number}"] = forms.CharField(label=name, required=False, max_length=60)

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        hours = [span for number in range(7) for span in self._day(number, str(told.get(f"day{number}", "")))]
        return {"hours": hours}

    def _day(self, number: int, typed: str) -> list[WeeklyHours]:
        spans = []
        for part in filter(None, (part.strip() for part in typed.split(","))):
            found = _STRETCH.fullmatch(part)
            try:
                if found is None:
                    raise ValueError(f'"{part}" is not a stretch of hours. One such as 09:00-13:00 is wanted, several with commas between.')
                first, *others = (int(number) for number in found.groups())
                start, end = dt.time(first, others[0]), dt.time(others[1], others[2])
                spans.append(WeeklyHours(number, start, end))
            except ValueError as fault:
                self.add_error(f"day{number}", _sentence(str(fault), part))
        return spans


def _sentence(fault: str, part: str) -> str:
    return fault if fault.endswith(".") else f'"{part}" is not a stretch of hours: {fault}. One such as 09:00-13:00 is wanted.'


class OffForm(OfficeForm):
    from_on = DayField(label="From, day")
    from_time = forms.TimeField(label="From, time")
    to_on = DayField(label="Until, day")
    to_time = forms.TimeField(label="Until, time")
    reason = forms.CharField(label="Reason", required=False, max_length=160)


class CheckForm(KeyedForm):
    answer = forms.CharField(required=False, max_length=20)
    note = forms.CharField(required=False, max_length=160)


class ReadingsForm(KeyedForm):
    load_name = forms.CharField(
        label="Load on the backed-up panel, such as the refrigerator",
        help_text="The refrigerator, a lamp: one that is on now.",
        max_length=60,
    )
    load_w = WattsField(label="Load, W")
    soc_percent = forms.IntegerField(label="State of charge, %")
    battery_w = WattsField(label="Battery, W", help_text="Out of it is positive, into it negative.")
    pv_w = WattsField(label="PV, W")
    grid_w = WattsField(label="Utility, W", help_text="Import is positive, export negative.")
    leg_a_w = WattsField(label="120 V loads on leg A, W", required=False)
    leg_b_w = WattsField(label="120 V loads on leg B, W", required=False)
    across_w = WattsField(label="240 V loads, W", required=False)
    start_lra = forms.IntegerField(
        label="Locked-rotor current of the largest motor, A", help_text="LRA on its nameplate.", required=False, min_value=1, max_value=500
    )
    reserve_percent = forms.IntegerField(label="Reserve before the test, %", required=False)
    mode = forms.CharField(label="Mode before the test", required=False, max_length=40)

    def readings(self) -> Readings:
        return Readings(**self.told)


class SeeForm(KeyedForm):
    watts = WattsField(label="Watts", required=False)
    load = forms.CharField(label="Which load", required=False, max_length=60)
    words = forms.CharField(label="In their words", required=False, max_length=200)


class BalanceForm(KeyedForm):
    """Read at one moment, while the MID is open."""

    pv_w = WattsField(label="PV, W")
    battery_w = WattsField(label="Battery, W", help_text="Out of it is positive.")
    grid_w = WattsField(label="Utility, W")
    load_w = WattsField(label="Load, W")
    volts = forms.FloatField(label="Voltage, V", required=False)
    hertz = forms.FloatField(label="Frequency, Hz", required=False)

    @property
    def told(self) -> dict[str, Any]:
        given = dict(super().told)
        balance = Balance(*(given.pop(name) for name in ("pv_w", "battery_w", "grid_w", "load_w")))
        return {"balance": balance, **given}


class CorrectForm(KeyedForm):
    watts = WattsField(label="Watts that were seen", required=False)
    at = forms.TimeField(label="When it was seen, by the clock at the home", required=False)
    withdraw = forms.BooleanField(label="It was not seen at all: withdraw it", required=False)
    reason = forms.CharField(label="Why it is corrected", max_length=300)


class ResultForm(KeyedForm):
    """asks: whether the island test was begun and its return is seen or given up: reserve and mode may have been changed."""

    put_back = forms.ChoiceField(label="Reserve and mode put back", choices=[("yes", "Yes"), ("no", "No")], widget=forms.RadioSelect)
    statement = forms.CharField(label="What the person at home said of it", required=False, max_length=1000, widget=REASON)
    cause = forms.ChoiceField(
        label="Kind of reason, if not passed or not finished", choices=[("", "none"), *list(CAUSES.items())], required=False
    )
    reason = forms.CharField(
        label="Reason, if not passed or not finished",
        required=False,
        max_length=300,
        help_text="It is not sent to the homeowner.",
    )
    result = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20)

    def __init__(self, *args: Any, asks: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not asks:
            del self.fields["put_back"]


class VoidForm(OfficeForm):
    reason = forms.CharField(label="Why the record proves nothing", max_length=1000, widget=REASON)


class AddForm(OfficeForm):
    text = forms.CharField(label="What is added to the record", max_length=1000, widget=REASON)
