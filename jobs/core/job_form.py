"""The form for a new job."""

from __future__ import annotations

from django import forms

from jobs.core.ctsignatures import Service
from jobs.core.forms import DayField, OfficeForm, PhoneField, ZoneField
from jobs.core.models import Crew
from jobs.core.models.people import Language


class JobForm(OfficeForm):
    owner = forms.CharField(label="Owner", max_length=160)
    at_home = forms.CharField(label="Person at home, if another", max_length=160, required=False)
    phone = PhoneField(label="Telephone", required=False)
    email = forms.EmailField(label="E-mail", required=False)
    language = forms.ChoiceField(label="Language", choices=Language.choices)
    needs_relay = forms.BooleanField(label="Calls go through a relay service", required=False)
    street = forms.CharField(label="Street", max_length=160)
    unit = forms.CharField(label="Unit", max_length=40, required=False)
    city = forms.CharField(label="City", max_length=80)
    region = forms.RegexField(
        label="State", max_length=2, regex=r"^[A-Za-z]{2}$", error_messages={"invalid": "Two letters are wanted, such as CO."}
    )
    postal_code = forms.CharField(label="Postal code", max_length=10, required=False)
    zone = ZoneField(label="Time zone of the home")
    access_note = forms.CharField(label="Access: gate, dog", widget=forms.Textarea(attrs={"rows": 2}), required=False)
    contractor_number = forms.CharField(label="Our own job number", max_length=40, required=False)
    has_battery = forms.BooleanField(label="The home gets a battery", required=False, initial=True)
    has_pv = forms.BooleanField(label="The home gets solar", required=False, initial=True)
    service = forms.ChoiceField(label="Service", choices=[(service.value, f"{service.value} V") for service in Service])
    crew = forms.ModelChoiceField(label="Crew", queryset=Crew.objects.order_by("name"), required=False, empty_label="none yet")
    install_on = DayField(label="Install day planned", required=False)
    request_planned_on = DayField(label="Request to fit planned for", required=False)
