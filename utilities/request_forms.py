"""Forms of the acts on one request; doings.py says which act each calls."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from jobs.core import clock
from jobs.core.facts import Said
from jobs.core.forms import DayField, OfficeForm
from jobs.core.models import Document, Job
from utilities import requests, visits
from utilities.models import FitRequest, Outcome, Service, Visit
from utilities.truth import FITTED_VISIT

NO_ANSWER = "Say what was answered; “nothing new” is an answer too."
TOLD_BY = [(role, role) for role in ("utility", "homeowner", "gateway", "our crew")]
YES_NO = [("yes", "Yes: a new wait begins"), ("no", "No: it keeps its place")]


class ActForm(OfficeForm):
    """A form about one thing of a job. `given` is what the act takes; `key` lets the second press of a button do nothing."""

    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, about: FitRequest | Service | Visit, **kwargs: Any) -> None:
        self.about = about
        super().__init__(*args, **kwargs)

    @property
    def job(self) -> Job:
        job = self.about.job
        assert job is not None  # the views show no form for history
        return job

    def given(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if name != "key"}

    def today(self) -> dt.date:
        """The day at the utility: today is what is most often recorded."""
        request = self.about.request if isinstance(self.about, Visit) else self.about
        return clock.today_in(request.utility.zone)


class _Documents(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.subject}: {obj.name}"


def _answer(text: str) -> bool | None:
    return {"yes": True, "no": False}.get(text)


class SentForm(ActForm):
    on = DayField(label="Sent on")
    route = forms.CharField(label="How it was sent", max_length=80, required=False, help_text="The utility's portal, e-mail, a letter.")
    reference = forms.CharField(label="Number the utility gave it", max_length=80, required=False)
    counts_as_new = forms.ChoiceField(label="Does the utility count this as new?", choices=YES_NO, widget=forms.RadioSelect, required=False)
    documents = _Documents(label="What was sent along", queryset=Document.objects.none(), to_field_name="uid", required=False)
    note = forms.CharField(label="Note", required=False, max_length=160)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        documents = Document.objects.filter(job=self.job)
        if documents.exists():
            self.fields["documents"].queryset = documents  # type: ignore[attr-defined]
        else:
            del self.fields["documents"]
        if isinstance(self.about, Service):
            self.fields["route"].initial = self.about.utility.route[:80]
            if not self.about.requests.exclude(outcome=Outcome.VOID).exists():
                del self.fields["counts_as_new"]

    def given(self) -> dict[str, Any]:
        told = super().given()
        if "counts_as_new" in told:
            told["counts_as_new"] = _answer(told["counts_as_new"])
        return told


class AgainForm(SentForm):
    because = forms.ChoiceField(
        label="Why it was sent once more", choices=list(requests.AGAIN.items()), widget=forms.RadioSelect, initial=requests.REPEATED
    )

    field_order = ["key", "on", "because", "counts_as_new", "route", "reference", "documents", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields[
            "counts_as_new"
        ].help_text = "Asked of a package that was returned, closed or changed. Repeating an unanswered one is never new."


class ContactForm(ActForm):
    on = DayField(label="Day")
    channel = forms.ChoiceField(label="How", choices=list(requests.CHANNELS.items()), initial="telephone")
    person = forms.CharField(label="Who answered", max_length=120, required=False)
    asked = forms.CharField(label="What we asked", max_length=240, required=False)
    answered = forms.CharField(
        label="What was answered", max_length=400, help_text="“Nothing new” is an answer too.", error_messages={"required": NO_ANSWER}
    )
    promised_by = DayField(
        label="Promised for, or by", required=False, help_text="The day the utility named; it stands on Today when it has passed."
    )
    next_on = DayField(label="Ask again on", required=False, help_text="Left empty: after the days of the rule.")


class AnswerForm(ActForm):
    on = DayField(label="Day")
    channel = forms.ChoiceField(label="How it came", choices=list(requests.CHANNELS.items()), initial="e-mail")
    person = forms.CharField(label="From whom", max_length=120, required=False)
    answered = forms.CharField(label="What it says", max_length=400, error_messages={"required": NO_ANSWER})
    reference = forms.CharField(label="The utility's number for the request", max_length=80, required=False)
    promised_by = DayField(label="Promised for, or by", required=False)
    next_on = DayField(label="Ask again on", required=False)


class _Told(ActForm):
    """With who said so."""

    role = forms.ChoiceField(label="Told by", choices=TOLD_BY)
    name = forms.CharField(label="Name", max_length=120, required=False)

    def given(self) -> dict[str, Any]:
        told = super().given()
        told["said_by"] = Said(told.pop("role"), told.pop("name").strip())
        return told


class VisitForm(_Told):
    on = DayField(label="Day of the visit")
    outcome = forms.ChoiceField(label="What came of it", choices=[(o, o) for o in visits.OUTCOMES], widget=forms.RadioSelect)
    after_on = DayField(
        label="If fitted on a day not known exactly: last day it was seen not fitted",
        required=False,
        help_text="The day of the visit is then the first day it was known fitted.",
    )
    serial = forms.CharField(label="If fitted: the serial on the collar", max_length=40, required=False)
    reason = forms.CharField(label="Remark or reason", max_length=240, required=False)
    missed_by = forms.ChoiceField(
        label="If missed, by whom", choices=[("", "as the outcome says"), *visits.MISSED_BY.items()], required=False
    )

    field_order = ["key", "on", "outcome", "role", "name", "reason", "serial", "after_on", "missed_by"]

    def given(self) -> dict[str, Any]:
        told = super().given()
        if told["outcome"] == FITTED_VISIT:
            told["missed_by"] = ""
        return told


class AnnounceForm(ActForm):
    told_on = DayField(label="The utility told us on")
    window_from = DayField(label="Visit from")
    window_to = DayField(label="Visit until", help_text="The same day again where it named one day.")
    hours = forms.CharField(label="Hours", max_length=80, required=False, help_text="As the utility said them: 8 to 12.")
    person = forms.CharField(label="Who said so", max_length=120, required=False)
    homeowner_told_on = DayField(label="Homeowner told on", required=False)


class FittedForm(_Told):
    by_on = DayField(label="Day it was fitted, or first day it was known fitted")
    exact = forms.ChoiceField(
        label="Is that the day itself?",
        choices=[("yes", "Yes, it was fitted on that day"), ("no", "No, on that day or before it")],
        widget=forms.RadioSelect,
    )
    after_on = DayField(
        label="Last day it was seen not fitted",
        required=False,
        help_text="Left empty: the last visit that found none, else the day of sending.",
    )
    serial = forms.CharField(
        label="Serial on the collar",
        max_length=40,
        required=False,
        help_text="From a photo or the gateway. Without it the home waits on us.",
    )

    field_order = ["key", "by_on", "exact", "after_on", "role", "name", "serial"]

    def given(self) -> dict[str, Any]:
        told = super().given()
        told["exact"] = told["exact"] == "yes"
        if told["exact"]:
            told["after_on"] = None
        return told


class EndForm(ActForm):
    on = DayField(label="Day it ended")
    reason = forms.ChoiceField(label="How it ended", choices=list(requests.ENDS.items()), widget=forms.RadioSelect)
    note = forms.CharField(label="Note", required=False, max_length=160)


class ToldForm(ActForm):
    on = DayField(label="Homeowner told on")
