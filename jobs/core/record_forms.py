"""Forms of the acts on one home; recordings.py says which act each calls."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from jobs.core import clock, facts, kinds, walltime
from jobs.core.forms import DayField, OfficeForm
from jobs.core.models import Crew, Job
from jobs.core.models.holds import HoldKind, Stops


class RecordForm(OfficeForm):
    """A form about one job. `given` is what the act takes; `key` lets the second press of a button do nothing."""

    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        self.job = job
        super().__init__(*args, **kwargs)

    def given(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if name != "key"}


class DayForm(RecordForm):
    """Begins with today at the home: what is done there is recorded the same day, most often."""

    on = DayField(label="Day at the home")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = clock.today_in(self.job.site.zone)


class ReferenceForm(DayForm):
    reference = forms.CharField(label="Number on the paper", required=False, max_length=160)


class RegisteredForm(DayForm):
    serial = forms.CharField(
        label="Serial of the collar", help_text="Typed or scanned, as the label shows it; letters, digits and hyphens.", max_length=40
    )
    sure = forms.BooleanField(label="The letters O and I in it were checked on the label: they are letters", required=False)
    revision = forms.CharField(label="Hardware revision", required=False, max_length=20)


class TimeForm(RecordForm):
    """A day and a time as the clock at the home shows them."""

    on = DayField(label="Day at the home")
    time = forms.TimeField(label="Time at the home", help_text="24 hours: 14:30.", input_formats=["%H:%M"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        day, time = cleaned.get("on"), cleaned.get("time")
        if day and time:
            try:
                # The hour that comes twice is taken as its first: either is within the hour for what is recorded here.
                cleaned["at"] = walltime.instant(day, local_time=time, zone=self.job.site.zone, fold=0)
            except ValueError as fault:
                self.add_error("time", str(fault))
        return cleaned

    def given(self) -> dict[str, Any]:
        return {name: value for name, value in super().given().items() if name not in ("on", "time")}


class GatewayForm(TimeForm):
    state = forms.ChoiceField(
        label="Collar as the gateway reports it", choices=[(c, c) for c in facts.KINDS[kinds.GATEWAY_REPORT].fields["state"].choices]
    )
    serial = forms.CharField(label="Serial as reported", required=False, max_length=40)
    firmware = forms.CharField(label="Firmware", required=False, max_length=40)


class SoftwareForm(DayForm):
    version = forms.CharField(label="Version after the update", required=False, max_length=40)


class MedicalForm(DayForm):
    answer = forms.ChoiceField(
        label="Does anyone at home rely on powered medical equipment?",
        choices=[(a, a) for a in facts.MEDICAL_ANSWERS],
        widget=forms.RadioSelect,
    )
    said_by = forms.CharField(label="Who said so", max_length=160)


class RemovedForm(RecordForm):
    after_on = DayField(label="Last day it was seen fitted", required=False)
    by_on = DayField(label="First day it was known gone")
    role = forms.ChoiceField(label="Told by", choices=[(r, r) for r in ("homeowner", "utility", "gateway", "our crew")])
    name = forms.CharField(label="Name", required=False, max_length=160)
    sign = forms.CharField(label="By what sign", required=False, max_length=160)

    def given(self) -> dict[str, Any]:
        given = super().given()
        given["said_by"] = facts.Said(given.pop("role"), given.pop("name"))
        return given


class ToldForm(DayForm):
    how = forms.ChoiceField(label="How", choices=[("telephone", "by telephone"), ("in writing", "in writing")], widget=forms.RadioSelect)
    who = forms.CharField(label="Who was told", max_length=160)


class CancelForm(DayForm):
    reason = forms.CharField(label="Reason", widget=forms.Textarea(attrs={"rows": 3}))


class HoldForm(RecordForm):
    kind = forms.ChoiceField(label="Kind of hold", choices=HoldKind.choices)
    stops = forms.MultipleChoiceField(label="It stops", choices=Stops.choices, widget=forms.CheckboxSelectMultiple)
    review_on = DayField(label="Look again on", help_text="It stands on Today that day.")
    reason = forms.CharField(label="Reason", widget=forms.Textarea(attrs={"rows": 3}))


class AssignForm(RecordForm):
    crew = forms.ModelChoiceField(label="Crew", queryset=Crew.objects.order_by("name"), required=False, empty_label="none yet")
    install_on = DayField(label="Install day", required=False)
    request_planned_on = DayField(label="Request planned for", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("crew", "install_on", "request_planned_on"):
            self.fields[name].initial = getattr(self.job, name)


class CodeForm(RecordForm):
    code = forms.CharField(label="Gate code", max_length=80, help_text="Kept encrypted; each showing is on record.")

    def given(self) -> dict[str, Any]:
        return {"name": "gate", "code": self.cleaned_data["code"]}


class RevealForm(RecordForm):
    purpose = forms.CharField(label="What the code is needed for", max_length=60)

    def given(self) -> dict[str, Any]:
        return {"name": "gate", "purpose": self.cleaned_data["purpose"]}


class CorrectForm(OfficeForm):
    """Another day for a fact, or that it did not happen."""

    withdraw = forms.ChoiceField(
        label="What is wrong",
        choices=[("no", "The day is another"), ("yes", "It did not happen")],
        initial="no",
        required=False,
        widget=forms.RadioSelect,
    )
    after_on = DayField(label="Last day it was seen not so", required=False)
    on = DayField(label="The right day", required=False)
    reason = forms.CharField(label="Reason", max_length=160)

    def when(self, happened_at: dt.datetime | None, zone: str) -> facts.When | None:
        """The corrected time; an instant keeps its time of day on the other day."""
        on, after = self.cleaned_data["on"], self.cleaned_data["after_on"]
        if on is None:
            return None
        if happened_at is not None:
            time = happened_at.astimezone(walltime.zone_of(zone)).time()
            return facts.When(at=walltime.instant(on, local_time=time, zone=zone, fold=0))
        return facts.When(after=after, by=on) if after else facts.When(on=on)
