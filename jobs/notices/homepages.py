"""Pages of one home about writing and telephoning to its people: what they agreed to, and a call on the telephone."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.core import clock, codes, phones, rules, walltime
from jobs.core.actors import actor, member
from jobs.core.forms import DayField, OfficeForm, PhoneField
from jobs.core.models import Job, Person
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from jobs.notices import calls, consent
from jobs.notices.models import CallOutcome, Channel, Consent, Direction, Scope
from jobs.notices.shown import instant

# The words to read out or show; kept with the consent as they were shown.
SHOWN = (
    "May we send you text messages about {what}? You need not agree. A few a month; your carrier may charge for them. "
    "Reply STOP at any time to end them."
)
ABOUT = {Scope.NOTICES: "the work on your home", Scope.BILLING: "invoices and payments"}


def _home(request: HttpRequest, code: str) -> Job:
    return get_object_or_404(Job.objects.seen_by(member(request)).select_related("site"), code=codes.normal(code))


def _people(job: Job) -> list[Person]:
    """Those of the home, each once."""
    parties = job.parties.select_related("person").order_by("pk")
    return list({party.person_id: party.person for party in parties}.values())


class _PersonForm(OfficeForm):
    person = forms.ModelChoiceField(label="Who", queryset=Person.objects.none(), empty_label=None)

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chooser = self.fields["person"]
        assert isinstance(chooser, forms.ModelChoiceField)
        chooser.queryset = Person.objects.filter(pk__in=[person.pk for person in _people(job)]).order_by("pk")


class GiveForm(_PersonForm):
    scope = forms.ChoiceField(label="To texts about", choices=[(scope.value, scope.label) for scope in (Scope.NOTICES, Scope.BILLING)])
    words = forms.CharField(label="Words they were shown or read", max_length=800, widget=forms.Textarea(attrs={"rows": 3}))
    how = forms.CharField(label="How and when they agreed", max_length=200, help_text="Such as: on the telephone with Theo, 18 Nov.")
    checked = forms.BooleanField(label="The number was barred, and I have checked that it is theirs", required=False)


class EndForm(_PersonForm):
    channel = forms.ChoiceField(label="No more", choices=[("text", "text messages"), ("email", "e-mails")])
    how = forms.CharField(label="How and when they told us", max_length=200, help_text="Such as: on the telephone, 18 Nov.")
    words = forms.CharField(label="What they said", max_length=400, required=False)


class TelephoneForm(_PersonForm):
    direction = forms.ChoiceField(label="Who telephoned", choices=Direction.choices)
    person = forms.ModelChoiceField(label="With", queryset=Person.objects.none(), required=False, empty_label="somebody else")
    name = forms.CharField(label="Name, if somebody else", max_length=160, required=False)
    number = PhoneField(label="Number, if another", required=False)
    on = DayField(label="Day at the home")
    time = forms.TimeField(label="Time at the home", help_text="In 24 hours, such as 14:30.")
    outcome = forms.ChoiceField(label="How it ended", choices=CallOutcome.choices)
    words = forms.CharField(label="What was said", max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}))
    cause = forms.CharField(label="About", max_length=120, required=False, help_text="Such as: the utility's visit on Tuesday.")

    def given(self, job: Job) -> dict[str, Any]:
        told = dict(self.cleaned_data)
        day, at = told.pop("on"), told.pop("time")
        assert day is not None, "the field is required"
        phone = told.pop("number")
        try:
            told["at"] = walltime.instant(day, local_time=at, zone=job.site.zone, fold=0)
        except ValueError as fault:
            raise Refused(str(fault), field="time") from fault
        return told | {"number": phone.number if phone else ""}


@right("core.release_notices")
@require_safe
def consents(request: HttpRequest, code: str) -> HttpResponseBase:
    """What each person of the home agreed to, at which address, to which words; and how it ended."""
    job = _home(request, code)
    people = [_shown(person) for person in _people(job)]
    return render(request, "notices/consents.html", {"job": job, "people": people})


def _shown(person: Person) -> dict[str, Any]:
    rows = Consent.objects.filter(person=person).order_by("-pk")
    of_address = Consent.objects.filter(address__in=[address for address in (person.phone, person.email.lower()) if address], person=None)
    told = sorted([*rows, *of_address], key=lambda row: -row.pk)
    return {
        "person": person,
        "phone": phones.shown(person.phone, extension=person.phone_ext) if person.phone else "",
        "may": [scope.label for scope in ABOUT if consent.may_text(person, person.phone, scope=scope)],
        "no_mail": bool(person.email) and consent.all_ended(Channel.EMAIL, person.email),
        "rows": [{"row": row, "at": instant(row.given_at or row.revoked_at)} for row in told],
    }


@right("core.release_notices")
@require_http_methods(["GET", "HEAD", "POST"])
def consent_give(request: HttpRequest, code: str) -> HttpResponseBase:
    job = _home(request, code)
    words = SHOWN.format(what=ABOUT[Scope.NOTICES])
    form = GiveForm(request.POST or None, job=job, initial={"words": f"{rules.text('company_name')}: {words}"})
    if request.method == "POST" and form.is_valid():
        try:
            consent.give(job, channel=Channel.TEXT, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "Recorded: they agreed to text messages.", "consents", code=job.code)
    return _asked(request, job, form, heading="They agree to text messages", act="Record that they agree")


@right("core.release_notices")
@require_http_methods(["GET", "HEAD", "POST"])
def consent_end(request: HttpRequest, code: str) -> HttpResponseBase:
    job = _home(request, code)
    form = EndForm(request.POST or None, job=job)
    if request.method == "POST" and form.is_valid():
        try:
            consent.revoke(job, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "Recorded: nothing more leaves to that address.", "consents", code=job.code)
    return _asked(request, job, form, heading="They want no more messages", act="Record that they want no more")


@right("core.release_notices")
@require_http_methods(["GET", "HEAD", "POST"])
def telephone(request: HttpRequest, code: str) -> HttpResponseBase:
    """A call with somebody of the home, in or out."""
    job = _home(request, code)
    local = clock.now().astimezone(walltime.zone_of(job.site.zone))
    begins = {"on": local.date(), "time": f"{local:%H:%M}", "direction": Direction.OUT, "person": next(iter(_people(job)), None)}
    form = TelephoneForm(request.POST or None, job=job, initial=begins)
    if request.method == "POST" and form.is_valid():
        try:
            calls.record_call(job, **form.given(job), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "Recorded: the call on the telephone.", "job", code=job.code)
    return _asked(request, job, form, heading="Record a call on the telephone", act="Record the call", back="job")


def _asked(request: HttpRequest, job: Job, form: OfficeForm, *, heading: str, act: str, back: str = "consents") -> HttpResponseBase:
    context = {"job": job, "form": form, "heading": heading, "act": act, "back": reverse(back, kwargs={"code": job.code})}
    return render(request, "notices/of_home.html", context, status=422 if form.errors else 200)
