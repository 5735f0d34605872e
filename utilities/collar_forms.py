"""Forms of collars and their custody, of bag tags, hand-over sheets and what was told at a bag."""

from __future__ import annotations

from django import forms

from jobs.core import custody
from jobs.core.forms import DayField, OfficeForm
from jobs.core.models.people import Language

CHECKED = "The letters O and I in it were checked on the label: they are letters"


class ReceiveForm(OfficeForm):
    serial = forms.CharField(label="Serial", max_length=40, help_text="Typed or scanned, as the label shows it.")
    sure = forms.BooleanField(label=CHECKED, required=False)
    revision = forms.CharField(label="Hardware revision", max_length=20, required=False)
    on = DayField(label="Received on")
    order_number = forms.CharField(label="Purchase order", max_length=40, required=False)
    where = forms.CharField(label="Where in the store", max_length=160, required=False)


class MoveForm(OfficeForm):
    to = forms.ChoiceField(label="Where it is now", choices=[(place.value, place.label) for place in custody.BY_HAND])
    where = forms.CharField(label="Which van, shelf or hook", max_length=160, required=False)
    on = DayField(label="Since")
    reason = forms.CharField(label="Why it moved", max_length=240, required=False)


class LiftForm(OfficeForm):
    reason = forms.CharField(label="Who looked at it, and what was found", max_length=200)


class WithdrawForm(OfficeForm):
    revision = forms.CharField(label="Revision", max_length=20, help_text="As the label shows it.")
    on = DayField(label="Withdrawn from")
    notice = forms.CharField(label="Whose notice, with its number or day", max_length=240)


class FinishForm(OfficeForm):
    how = forms.CharField(label="What was done", max_length=240)


class TagForm(OfficeForm):
    size = forms.ChoiceField(
        label="Paper", choices=[("one", "one tag, 4 by 6 inches"), ("two", "two tags on a Letter page, with marks to cut along")],
        widget=forms.RadioSelect, initial="one",
    )  # fmt: skip
    older = forms.ChoiceField(
        label="A tag printed before",
        choices=[("keep", "may hang there still: its code goes on"), ("end", "is gone or was seen by others: its code ends")],
        widget=forms.RadioSelect,
        initial="keep",
    )


class SheetForm(OfficeForm):
    language = forms.ChoiceField(label="Language", choices=Language.choices, widget=forms.RadioSelect)


class ReportForm(OfficeForm):
    how = forms.CharField(label="What was done with it", max_length=240, help_text="Recorded as a visit; set aside, and why.")
