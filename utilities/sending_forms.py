"""Forms of a sending: what the utility's list asks for, one line an item, and all that leaves with it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.forms import BoundField

from jobs.core import money
from jobs.core.dayone import Photo
from jobs.core.forms import DayField, MoneyField
from jobs.core.models import Document
from utilities import requests, services
from utilities.models import FitRequest, Outcome, Service
from utilities.package import ON_RECORD, Package, Packed
from utilities.request_forms import ActForm

YES_NO = [("yes", "Yes: a new wait begins"), ("no", "No: it keeps its place")]
ONE_VISIT = [("yes", "Yes, one visit for both was asked for"), ("no", "No, the utility does them apart")]


class Documents(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.subject}: {obj.name}"


class OneDocument(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.subject}: {obj.name}"


def _answer(text: str) -> bool | None:
    return {"yes": True, "no": False}.get(text)


class SentForm(ActForm):
    on = DayField(label="Sent on")
    route = forms.CharField(label="How it was sent", max_length=80, required=False, help_text="The utility's portal, e-mail, a letter.")
    reference = forms.CharField(label="Number the utility gave it", max_length=80, required=False)
    counts_as_new = forms.ChoiceField(label="Does the utility count this as new?", choices=YES_NO, widget=forms.RadioSelect, required=False)
    one_visit = forms.ChoiceField(
        label="A meter exchange is pending here too. Was one visit asked for?", choices=ONE_VISIT, widget=forms.RadioSelect, required=False
    )
    fee = MoneyField(label="Fee paid", required=False)
    fee_paid_on = DayField(label="Fee paid on", required=False)
    fee_reference = forms.CharField(label="Number of the payment", max_length=80, required=False)
    signed_on = DayField(label="Account holder signed on", required=False)
    signed_by = forms.CharField(label="Account holder who signed", max_length=120, required=False)
    access_note = forms.CharField(
        label="What was said of access",
        max_length=240,
        required=False,
        help_text="As disclosed to the utility: a dog, who opens. Never a gate code.",
    )
    documents = Documents(label="What was sent along besides", queryset=Document.objects.none(), to_field_name="uid", required=False)
    note = forms.CharField(label="Note", required=False, max_length=160)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        assert isinstance(self.about, FitRequest | Service)
        utility = self.about.utility
        service = self.about if isinstance(self.about, Service) else self.about.service
        self.version = services.version_of(utility, self.today())
        self.wanted = services.terms_of(self.version)
        documents = Document.objects.filter(job=self.job)
        self._package(documents)
        if documents.exists():
            self.fields["documents"].queryset = documents  # type: ignore[attr-defined]
        else:
            del self.fields["documents"]
        if service is None or not service.exchange_pending:
            del self.fields["one_visit"]
        if isinstance(self.about, Service):
            self.fields["route"].initial = self.wanted.route[:80]
            if not self.about.requests.exclude(outcome=Outcome.VOID).exists():
                del self.fields["counts_as_new"]

    def _package(self, documents: Any) -> None:
        """Of each item of the list a choice of the home's documents and a file of one's own; the newest that names it is chosen."""
        newest = {document.subject.casefold(): document for document in documents.order_by("pk")}
        if self.wanted.fee_minor:
            self.fields["fee"].initial = self.wanted.fee_minor
            self.fields["fee"].help_text = f"It asks for {money.shown(self.wanted.fee_minor)}{self._payer()}."
        for place, item in enumerate(self.wanted.package):
            if item.casefold() in ON_RECORD:
                continue
            self.fields[f"item_{place}"] = OneDocument(
                label=item, queryset=documents, to_field_name="uid", required=False, empty_label="none on record"
            )
            self.fields[f"file_{place}"] = forms.FileField(
                label=f"{item}: a new file", required=False, help_text="PDF, JPEG or PNG, at most 20 MB."
            )
            for name in (f"item_{place}", f"file_{place}"):
                self.fields[name].widget.attrs.update({"class": "w-mid"})
            if (found := newest.get(item.casefold())) is not None:
                self.fields[f"item_{place}"].initial = found.uid

    def _payer(self) -> str:
        return f", paid by {self.wanted.fee_payer}" if self.wanted.fee_payer else ""

    def lists(self) -> list[tuple[str, list[BoundField]]]:
        """What the page shows apart: the items of the utility's list."""
        return [
            (item, [self[f"item_{place}"], self[f"file_{place}"]])
            for place, item in enumerate(self.wanted.package)
            if f"item_{place}" in self.fields
        ]

    def rest(self) -> list[BoundField]:
        return [field for field in self.visible_fields() if not field.name.startswith(("item_", "file_"))]

    def given(self) -> dict[str, Any]:
        told = super().given()
        packed = []
        for place, item in enumerate(self.wanted.package):
            document, upload = told.pop(f"item_{place}", None), told.pop(f"file_{place}", None)
            if upload is not None:
                packed.append(Packed(item, upload=Photo(upload.name, upload.read())))
            elif document is not None:
                packed.append(Packed(item, document=document))
        told["package"] = Package(
            packed=tuple(packed),
            fee_minor=told.pop("fee"),
            one_visit=_answer(told.pop("one_visit", "")),
            **{name: told.pop(name) for name in ("fee_paid_on", "fee_reference", "signed_on", "signed_by", "access_note")},
        )
        if "counts_as_new" in told:
            told["counts_as_new"] = _answer(told["counts_as_new"])
        return told


class AgainForm(SentForm):
    because = forms.ChoiceField(
        label="Why it was sent once more", choices=list(requests.AGAIN.items()), widget=forms.RadioSelect, initial=requests.REPEATED
    )

    field_order = ["key", "on", "because", "counts_as_new", "one_visit", "route", "reference"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields[
            "counts_as_new"
        ].help_text = "Asked of a package that was returned, closed or changed. Repeating an unanswered one is never new."
        if isinstance(self.about, FitRequest):
            self.fields["route"].initial = self.wanted.route[:80]
