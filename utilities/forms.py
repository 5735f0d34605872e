"""Forms of a utility's page: its particulars, districts, calendar; which meter of a home it serves."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Q
from django.forms import BoundField

from jobs.core.forms import DayField, OfficeForm, PhoneField, ZoneField
from jobs.core.models import Job, User
from utilities.models import Closure, District, Service, Utility, UtilityKind
from utilities.models.utility import HOLIDAYS
from utilities.profile import Profile

WEEKDAYS = [(0, "Monday"), (1, "Tuesday"), (2, "Wednesday"), (3, "Thursday"), (4, "Friday"), (5, "Saturday"), (6, "Sunday")]


class PersonChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """Somebody who may record requests."""

    def __init__(self, **kwargs: Any) -> None:
        may = Q(groups__permissions__codename="record_requests") | Q(user_permissions__codename="record_requests")
        super().__init__(queryset=User.objects.filter(may, is_active=True).distinct().order_by("name"), **kwargs)


class UtilityForm(OfficeForm):
    name = forms.CharField(label="Name", max_length=120)
    kind = forms.ChoiceField(label="Kind", choices=UtilityKind.choices)
    zone = ZoneField(label="Time zone")
    emergency_phone = PhoneField(
        label="Emergency line", required=False, help_text="Without it no call for its homes can be booked or begun."
    )

    clerk = PersonChoice(label="Who of us asks it", required=False, empty_label="nobody named")
    stand_in = PersonChoice(label="Stand-in", required=False, empty_label="nobody named")
    away_from = DayField(label="Away from", required=False)
    away_to = DayField(label="Away until", required=False)

    note = forms.CharField(label="Note", widget=forms.Textarea(attrs={"rows": 3}), required=False)

    worked_weekdays = forms.TypedMultipleChoiceField(
        label="Days of the week it works", choices=WEEKDAYS, coerce=int, widget=forms.CheckboxSelectMultiple, initial=[0, 1, 2, 3, 4]
    )
    holidays = forms.ChoiceField(label="Public holidays it keeps", choices=HOLIDAYS)

    GROUPS = (
        ("The utility", ("name", "kind", "zone", "emergency_phone")),
        ("Who asks it", ("clerk", "stand_in", "away_from", "away_to")),
        ("Note", ("note",)),
        ("Its working days", ("worked_weekdays", "holidays")),
    )

    def groups(self) -> list[tuple[str, list[BoundField]]]:
        return [(legend, [self[name] for name in names]) for legend, names in self.GROUPS]

    def profile(self) -> Profile:
        told = dict(self.cleaned_data)
        told["emergency_phone"] = told["emergency_phone"].number if told["emergency_phone"] else ""
        return Profile(**told)

    @staticmethod
    def initial_of(utility: Utility) -> dict[str, Any]:
        names = [name for _, fields in UtilityForm.GROUPS for name in fields]
        return {name: getattr(utility, name) for name in names}


class DistrictsForm(OfficeForm):
    names = forms.CharField(
        label="Districts, one on each line",
        widget=forms.Textarea(attrs={"rows": 8}),
        required=False,
        help_text="Parts of the utility with a desk or crews of their own.",
    )


class CalendarForm(OfficeForm):
    first = DayField(label="First day")
    last = DayField(label="Last day")
    kind = forms.ChoiceField(
        label="On these days the utility",
        choices=[
            (Closure.Kind.CLOSED.value, "is closed"),
            (Closure.Kind.OPEN.value, "works"),
            ("usual", "does as its week and holidays say"),
        ],
        widget=forms.RadioSelect,
    )


class DistrictChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.utility}, {obj.name}"


class ServiceForm(OfficeForm):
    """What is on record of one meter. `given` is what the act takes."""

    district = DistrictChoice(label="District", queryset=District.objects.none(), required=False, empty_label="none")
    meter_number = forms.CharField(label="Meter number", max_length=40, required=False, help_text="As on the meter's face.")
    meter_form = forms.CharField(label="Meter form", max_length=20, required=False, help_text="As on the meter's face: 2S.")
    account_number = forms.CharField(label="Account number with the utility", max_length=40, required=False)

    def __init__(self, *args: Any, utility: Utility | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        districts = District.objects.select_related("utility").order_by("utility__name", "name")
        self.fields["district"].queryset = districts.filter(utility=utility) if utility else districts  # type: ignore[attr-defined]

    def given(self) -> dict[str, Any]:
        return dict(self.cleaned_data)

    @staticmethod
    def initial_of(service: Service) -> dict[str, Any]:
        return {name: getattr(service, name) for name in ("district", "meter_number", "meter_form", "account_number")}


class ConnectForm(ServiceForm):
    utility = forms.ModelChoiceField(label="Utility", queryset=Utility.objects.order_by("name"), empty_label="choose")

    field_order = ["utility", "district", "meter_number", "meter_form", "account_number"]

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job = job
