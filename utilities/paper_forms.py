"""Forms of papers that run out, of the authorities that give them, of design papers and of warranty terms."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms

from jobs.core import designs, expiring, warranties
from jobs.core.drawn import Equipment
from jobs.core.forms import DayField, OfficeForm, WattsField
from jobs.core.models import Authority, DesignDocument, Document, ExpiringPaper, Job, PaperKind, User
from jobs.core.models.papers import Answer

ANSWERS = [(Answer.NOT_KNOWN.value, "not known"), (Answer.YES.value, "yes"), (Answer.NO.value, "no")]


def _owners() -> Any:
    return User.objects.filter(is_active=True, groups__permissions__codename="record_papers").distinct().order_by("name")


class _Documents(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.subject}: {obj.name}"


class OwnerForm(OfficeForm):
    owner = forms.ModelChoiceField(
        label="Who renews it", queryset=User.objects.none(), to_field_name="uid", required=False, empty_label="nobody yet"
    )
    lead_days = forms.IntegerField(label="Days that renewing takes", min_value=0, max_value=365)
    renewing = forms.CharField(label="What renewing takes", max_length=240, required=False, help_text="A form, a fee, a letter; to whom.")
    utility_wants_final = forms.ChoiceField(
        label="The utility wants the authority's final before it fits", choices=ANSWERS, widget=forms.RadioSelect, required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["owner"].queryset = _owners()  # type: ignore[attr-defined]

    @staticmethod
    def initial_of(paper: ExpiringPaper) -> dict[str, Any]:
        owner = paper.owner.uid if paper.owner else None
        return {
            "owner": owner,
            "lead_days": paper.lead_days,
            "renewing": paper.renewing,
            "utility_wants_final": paper.utility_wants_final,
        }


class PaperForm(OwnerForm):
    kind = forms.ChoiceField(label="Paper", choices=PaperKind.choices)
    number = forms.CharField(label="Its number", max_length=80, required=False)
    authority = forms.ModelChoiceField(
        label="Authority that gave it", queryset=Authority.objects.all(), to_field_name="uid", required=False, empty_label="none"
    )
    issued_on = DayField(label="Issued on")
    expires_on = DayField(label="Last day on which it holds")
    document = _Documents(
        label="The paper itself", queryset=Document.objects.none(), to_field_name="uid", required=False, empty_label="not kept here"
    )

    field_order = [
        "kind", "number", "authority", "issued_on", "expires_on", "lead_days", "renewing", "owner", "utility_wants_final", "document",
    ]  # fmt: skip

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lead_days"].initial = 14
        self.fields["document"].queryset = job.documents.all()  # type: ignore[attr-defined]
        if job.looked_after_by is not None:
            self.fields["owner"].initial = job.looked_after_by.uid


class ExtendForm(OfficeForm):
    granted_on = DayField(label="Granted on")
    expires_on = DayField(label="Holds until, now")
    reference = forms.CharField(label="Number of the extension", max_length=80, required=False)


class EndPaperForm(OfficeForm):
    why = forms.CharField(label="Why it matters no more", max_length=240, help_text="Closed by its final, entered in error, replaced.")


class LetterForm(OfficeForm):
    until = DayField(label="Ask for an extension until")


class AuthorityForm(OfficeForm):
    name = forms.CharField(label="Name", max_length=120)
    email = forms.EmailField(label="E-mail of its office", required=False)
    finals_before_collar = forms.ChoiceField(
        label="It gives its final before the collar is in", choices=ANSWERS, widget=forms.RadioSelect, required=False
    )
    note = forms.CharField(label="Note", max_length=240, required=False)


class DesignForm(OfficeForm):
    kind = forms.ChoiceField(label="Paper", choices=DesignDocument.Kind.choices)
    revision = forms.CharField(label="Revision", max_length=8, help_text="As it stands on the paper; A for the first.")
    dated_on = DayField(label="Day on the paper")
    file = forms.FileField(label="The paper", help_text="PDF, JPEG or PNG, at most 20 MB.")
    battery_kwh = forms.DecimalField(
        label="Battery it shows, kWh",
        required=False,
        min_value=0,
        max_digits=6,
        decimal_places=1,
        help_text="0 for none; empty if it does not say.",
    )
    inverter_w = WattsField(label="Inverter it shows, W", required=False)
    service = forms.ChoiceField(
        label="Service it shows", choices=[("", "does not say"), ("120/240", "120/240 V"), ("120/208", "120/208 V")], required=False
    )
    pv = forms.ChoiceField(label="Solar it shows", choices=[("", "does not say"), ("yes", "yes"), ("no", "none")], required=False)
    collar_revision = forms.CharField(label="Revision of the collar it shows", max_length=20, required=False)

    def shows(self) -> Equipment:
        told = self.cleaned_data
        battery = told["battery_kwh"]
        return Equipment(
            battery_wh=round(float(battery) * 1000) if battery is not None else None,
            inverter_w=told["inverter_w"],
            pv={"yes": True, "no": False}.get(told["pv"]),
            service=told["service"],
            collar_revision=told["collar_revision"].strip(),
        )

    @staticmethod
    def initial_of(job: Job) -> dict[str, Any]:
        """As on record: most papers show what is there, and what differs is typed over."""
        there = designs.on_record(job)
        return {
            "battery_kwh": None if there.battery_wh is None else there.battery_wh / 1000,
            "inverter_w": there.inverter_w,
            "service": there.service,
            "pv": {True: "yes", False: "no"}.get(there.pv) if there.pv is not None else "",
            "collar_revision": there.collar_revision,
        }


class TermForm(OfficeForm):
    part = forms.ChoiceField(label="Part", choices=[(part, part) for part in warranties.PARTS])
    event = forms.ChoiceField(label="Runs from", choices=[(name, words) for name, (words, _) in warranties.EVENTS.items()])
    months = forms.IntegerField(label="For so many months", min_value=1, max_value=600)
    document = forms.CharField(
        label="Which paper says so", max_length=160, help_text="The maker's terms, with their edition; the contract's clause."
    )
    valid_from = DayField(label="For contracts signed from")


# What is done with a paper: the page's title, its button, its form, its act.
ACTS: dict[str, tuple[str, str, type[OfficeForm], Callable[..., Any]]] = {
    "extend": ("Record an extension", "Record extension", ExtendForm, expiring.extend_paper),
    "owner": ("Who renews it, and what that takes", "Record", OwnerForm, expiring.hand_over),
    "end": ("Close this paper", "Close the paper", EndPaperForm, expiring.end_paper),
}
