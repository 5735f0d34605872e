"""Forms of the acts on one request; doings.py says which act each calls."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from jobs.core import clock
from jobs.core.facts import Said
from jobs.core.forms import DayField, OfficeForm
from jobs.core.models import Job
from utilities import endings, reports, requests, visits
from utilities.models import ChangeOrder, FitRequest, Service, Visit
from utilities.truth import FITTED_VISIT

NO_ANSWER = "Say what was answered; “nothing new” is an answer too."
TOLD_BY = [(role, role) for role in ("utility", "homeowner", "gateway", "our crew")]


class ActForm(OfficeForm):
    """A form about one thing of a job. `given` is what the act takes; `key` lets the second press of a button do nothing."""

    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, about: FitRequest | Service | Visit | ChangeOrder, **kwargs: Any) -> None:
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
        request = self.about.request if isinstance(self.about, Visit | ChangeOrder) else self.about
        return clock.today_in(request.utility.zone)


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
    complete = forms.BooleanField(label="It says that the package is complete", required=False)
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
    reason = forms.CharField(
        label="Reason, or a remark if fitted", max_length=240, required=False, help_text="Every outcome but “fitted” wants its reason."
    )
    missed_by = forms.ChoiceField(
        label="If missed, by whom", choices=[("", "as the outcome says"), *visits.MISSED_BY.items()], required=False
    )
    next_due_on = DayField(label="Next act due on", required=False, help_text="Left empty: after the days of the rules.")

    field_order = ["key", "on", "outcome", "role", "name", "reason", "serial", "after_on", "missed_by", "next_due_on"]

    def given(self) -> dict[str, Any]:
        told = super().given()
        if told["outcome"] == FITTED_VISIT:
            told["missed_by"], told["next_due_on"] = "", None
        return told


class AnnounceForm(ActForm):
    told_on = DayField(label="The utility told us on")
    window_from = DayField(label="Visit from")
    window_to = DayField(label="Visit until", help_text="The same day again where it named one day.")
    hours = forms.CharField(label="Hours", max_length=80, required=False, help_text="As the utility said them: 8 to 12.")
    person = forms.CharField(label="Who said so", max_length=120, required=False)
    homeowner_told_on = DayField(label="Homeowner told on", required=False)
    access_note = forms.CharField(
        label="Access on that day", max_length=240, required=False, help_text="Who opens, where the dog is. Never a gate code."
    )


class ReportForm(ActForm):
    """One source's word; nothing is chosen in advance but the day it was heard."""

    source = forms.ChoiceField(label="How we learned it", choices=list(reports.SOURCES.items()), widget=forms.RadioSelect)
    name = forms.CharField(label="Who said so", max_length=120, required=False)
    by_on = DayField(label="Day it was fitted, or first day it was known fitted")
    exact = forms.ChoiceField(
        label="Is that the day itself?",
        choices=[("yes", "Yes, it was fitted on that day"), ("no", "No, on that day or before it")],
        widget=forms.RadioSelect,
    )
    after_on = DayField(label="Last day it was seen not fitted", required=False)
    serial = forms.CharField(label="Serial on the collar", max_length=40, required=False)
    meter = forms.CharField(label="Number of the new meter", max_length=40, required=False, help_text="If the meter was exchanged too.")
    remark = forms.CharField(label="What was said or seen", max_length=160, required=False)

    def given(self) -> dict[str, Any]:
        told = super().given()
        told["exact"] = told["exact"] == "yes"
        if told["exact"]:
            told["after_on"] = None
        return told


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
    reason = forms.ChoiceField(label="How it ended", choices=list(endings.ENDS.items()), widget=forms.RadioSelect)
    note = forms.CharField(label="Note", required=False, max_length=160)


class ToldForm(ActForm):
    on = DayField(label="Homeowner told on")


class ClosedThereForm(ActForm):
    on = DayField(label="Closed there on")
    reason = forms.CharField(label="The utility's reason", max_length=160, help_text="“No reason given” is one too.")
    person = forms.CharField(label="Who said so", max_length=120, required=False)


class OpenThereForm(ActForm):
    on = DayField(label="Open there again since")
    person = forms.CharField(label="Who said so", max_length=120, required=False)


class HeardForm(ActForm):
    on = DayField(label="Acknowledged on")
    person = forms.CharField(label="Who acknowledged it", max_length=120)


class ChangeForm(ActForm):
    on = DayField(label="Proposed on")
    found = forms.CharField(label="What was found, and by whom", max_length=240)
    option = forms.ChoiceField(label="What is proposed to the owner", choices=ChangeOrder.Option.choices, widget=forms.RadioSelect)


class SignedForm(ActForm):
    on = DayField(label="Signed on")
    signed_by = forms.CharField(label="Owner who signed", max_length=120)


class SiteForm(ActForm):
    on = DayField(label="Confirmed on")
    name = forms.CharField(label="Who at the home confirmed it", max_length=120)
    bag = forms.CharField(label="Where the bag hangs, and how it looks", max_length=160)
    access = forms.CharField(label="How the utility gets in", max_length=160, help_text="Who opens, where the dog is. Never a gate code.")


class ExchangeForm(ActForm):
    asked_on = DayField(label="Meter exchange asked for on", required=False, help_text="Left empty: none is asked for.")
    done_on = DayField(label="Done on", required=False)


class DeskAnswerForm(OfficeForm):
    """An answer entered on a utility's own page: which home it is about is typed."""

    key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    which = forms.CharField(label="Our code, its number, or the meter", max_length=80, help_text="Of a home that waits for this utility.")
    on = DayField(label="Day")
    person = forms.CharField(label="From whom", max_length=120, required=False)
    answered = forms.CharField(label="What it says", max_length=400, error_messages={"required": NO_ANSWER})
    reference = forms.CharField(label="The utility's number for the request", max_length=80, required=False)
    complete = forms.BooleanField(label="It says that the package is complete", required=False)
    promised_by = DayField(label="Promised for, or by", required=False)
