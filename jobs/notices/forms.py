from __future__ import annotations

from django import forms

from jobs.core.forms import OfficeForm


class WithdrawForm(OfficeForm):
    reason = forms.CharField(label="Why it does not go", max_length=200, help_text="Such as: the booking was settled on the telephone.")


class AtOnceForm(OfficeForm):
    why = forms.CharField(label="What the emergency is", max_length=120, help_text="Such as: the house is without power.")


class ArrivedForm(OfficeForm):
    how = forms.CharField(label="How you know that it arrived", max_length=160, help_text="Such as: they said so on the telephone.")


class ConsentForm(OfficeForm):
    how = forms.CharField(label="How they told us", max_length=200, help_text="Such as: on the telephone, 18 Nov.")
    words = forms.CharField(label="What they said", max_length=400, required=False)
