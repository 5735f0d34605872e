"""Forms of site visits and of the on-call list."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from jobs.appointments.callsteps import CAUSES
from jobs.appointments.sitevisits import CALLED_OFF, MENDED, NOT_DONE, OnSite
from jobs.appointments.visitmodels import VisitReason
from jobs.core import clock, rules, walltime
from jobs.core.facts import CALL_RESULTS
from jobs.core.forms import DayField, KeyedForm, MoneyField, PhoneField, WattsField
from jobs.core.models import Job, Person

LINES = forms.Textarea(attrs={"rows": 2})


def _time(label: str) -> forms.TimeField:
    help_text = "24 hours, with seconds where they were noted: 14:30:05."
    return forms.TimeField(label=label, required=False, input_formats=["%H:%M:%S", "%H:%M"], help_text=help_text)


class PlanForm(KeyedForm):
    reason = forms.ChoiceField(label="Why somebody drives there", choices=VisitReason.choices, widget=forms.RadioSelect)
    words = forms.CharField(label="In our own words", required=False, max_length=300, widget=LINES)
    on = DayField(label="Day at the home")
    person = forms.ModelChoiceField(Person.objects.none(), label="Who will be at home", empty_label=None, widget=forms.RadioSelect)
    licensed_name = forms.CharField(label="Licensed person who goes there", max_length=160)
    license_number = forms.CharField(label="Number of the license", max_length=80)
    parts = forms.CharField(
        label="Parts to bring", help_text="A crew sent without the part drives twice.", required=False, max_length=300, widget=LINES
    )

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["person"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Person.objects.filter(parties__job=job, parties__to_on__isnull=True).distinct().order_by("name")


class _DayThere(KeyedForm):
    on = DayField(label="Day at the home")

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = clock.today_in(job.site.zone)


class EndVisitForm(_DayThere):
    how = forms.ChoiceField(label="How it ended", choices=[(how, how) for how in (MENDED, NOT_DONE, CALLED_OFF)], widget=forms.RadioSelect)
    found = forms.CharField(label="What was found, or why it did not take place", max_length=1000, widget=LINES)
    parts_used = forms.CharField(label="Parts used", required=False, max_length=300)
    minutes = forms.IntegerField(label="Minutes on site", required=False)
    chargeable = forms.ChoiceField(
        label="Is it charged to the homeowner?",
        choices=[("", "not decided"), ("no", "No"), ("yes", "Yes")],
        required=False,
        widget=forms.RadioSelect,
    )

    @property
    def told(self) -> dict[str, Any]:
        told = super().told
        told["chargeable"] = {"yes": True, "no": False}.get(told["chargeable"])
        return told


class CostForm(KeyedForm):
    cost_minor = MoneyField(label="What the visit cost us", least_minor=0)


class OnSiteForm(_DayThere):
    """Times and readings as they were noted on site; without them the test was not begun."""

    load = forms.CharField(label="Load on the backed-up panel", required=False, max_length=60)
    load_before_w = WattsField(label="Load before the test, W", required=False)
    opened = _time("MID seen open")
    utility_time = _time("Utility power read at")
    utility_w = WattsField(label="Utility power, W", required=False)
    load_time = _time("Load seen served at")
    load_w = WattsField(label="Load served, W", required=False)
    closed = _time("MID seen closed")
    put_back = forms.ChoiceField(
        label="Reserve and mode put back", choices=[("yes", "Yes"), ("no", "No")], required=False, widget=forms.RadioSelect
    )
    statement = forms.CharField(label="What the person at home said of it", required=False, max_length=1000, widget=LINES)
    result = forms.ChoiceField(label="Result", choices=[(result, result) for result in CALL_RESULTS], widget=forms.RadioSelect)
    cause = forms.ChoiceField(
        label="Kind of reason, if not passed or not finished", choices=[("", "none"), *CAUSES.items()], required=False
    )
    reason = forms.CharField(label="Reason, if not passed or not finished", required=False, max_length=300, widget=LINES)
    found = forms.CharField(label="What was found and done", required=False, max_length=1000, widget=LINES)
    parts_used = forms.CharField(label="Parts used", required=False, max_length=300)
    minutes = forms.IntegerField(label="Minutes on site", required=False)

    READ = ("load", "load_before_w", "opened", "utility_time", "utility_w", "load_time", "load_w", "closed")

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        missing = [name for name in self.READ if told.get(name) in (None, "") and name not in self.errors]
        if 0 < len(missing) < len(self.READ):
            for name in missing:
                self.add_error(name, "This reading is missing; a test is recorded with all of them, or with none where it was not begun.")
        return told

    @property
    def told(self) -> dict[str, Any]:
        told = super().told
        read = {name: told.pop(name) for name in self.READ}
        return {**told, "test": OnSite(**read) if read["opened"] is not None else None}


class OnCallForm(KeyedForm):
    name = forms.CharField(label="Licensed person", max_length=160)
    license_number = forms.CharField(label="Number of the license", max_length=80)
    phone = PhoneField(label="Telephone that they answer")
    from_on = DayField(label="From, day")
    from_time = forms.TimeField(label="From, time")
    to_on = DayField(label="Until, day")
    to_time = forms.TimeField(label="Until, time")

    @property
    def told(self) -> dict[str, Any]:
        """Raises ValueError for a time that the office's clock does not show."""
        told = super().told
        told.pop("name")  # the act's first argument
        starts, ends = (_instant(told.pop(f"{end}_on"), told.pop(f"{end}_time")) for end in ("from", "to"))
        return {**told, "starts_at": starts, "ends_at": ends}


def _instant(day: dt.date, time: dt.time) -> dt.datetime:
    return walltime.instant(day, local_time=time, zone=rules.text("office_zone"), fold=0)
