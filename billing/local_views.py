"""What a state's law sets, and the wordings of waivers: entered by the operations manager, each with its source."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from billing import local, waivers
from billing.asking import ask
from billing.deposits import BUILT_IN
from billing.forms import ShareField
from billing.models import DepositCap, Rounding, TaxRate, WaiverKind, WaiverWording
from billing.shares import percent_text
from jobs.core import clock
from jobs.core.actors import actor
from jobs.core.forms import DayField, MoneyField, OfficeForm
from jobs.core.regions import REGIONS
from jobs.core.web import right

STATES = [("", "choose one"), *((code, name) for code, (name, _) in REGIONS.items())]


class CapForm(OfficeForm):
    region = forms.ChoiceField(label="State", choices=STATES)
    most_minor = MoneyField(label="At most", required=False, least_minor=0)
    share_millionths = ShareField(
        label="At most, per cent of the price",
        required=False,
        help_text="Where both stand, the lesser holds; with neither there is no cap.",
    )
    source = forms.CharField(label="Where it is written", max_length=160)
    read_on = DayField(label="Read on")
    valid_from = DayField(label="Holds from")


class TaxForm(OfficeForm):
    region = forms.ChoiceField(label="State", choices=STATES)
    words = forms.CharField(label="Name on the invoice", max_length=80)
    rate_millionths = ShareField(label="Rate in per cent", help_text="0 ends the tax.")
    rounding = forms.ChoiceField(label="Half a cent is rounded", choices=Rounding.choices)
    source = forms.CharField(label="Where it is written", max_length=160)
    valid_from = DayField(label="Holds from")


class WordingForm(OfficeForm):
    kind = forms.ChoiceField(label="Waiver", choices=WaiverKind.choices)
    region = forms.ChoiceField(label="State", required=False, choices=[("", "every state without its own"), *STATES[1:]])
    text = forms.CharField(
        label="Wording",
        max_length=waivers.LONGEST,
        widget=forms.Textarea(attrs={"rows": 14}),
        help_text="Filled in: " + ", ".join(f"{{{name}}} {words}" for name, words in waivers.BLANKS.items()) + ".",
    )
    source = forms.CharField(label="Whose wording it is", max_length=160)


@right("core.run_office")
@require_safe
def state_terms(request: HttpRequest) -> HttpResponse:
    """The newest of each state that has begun or will begin; the caps we come with besides."""
    today = clock.office_today()
    caps = [(row, local.cap_words(local.cap_of(row))) for row in DepositCap.objects.all()]
    own = {row.region for row, _ in caps}
    built_in = [(cap, local.cap_words(cap)) for region, cap in BUILT_IN.items() if region not in own]
    context = {
        "caps": caps,
        "built_in": built_in,
        "count": len(caps) + len(built_in),
        "rates": [(row, percent_text(row.rate_millionths)) for row in TaxRate.objects.all()],
        "wordings": WaiverWording.objects.all(),
        "today": today,
    }
    return render(request, "billing/state_terms.html", context)


@right("core.run_office")
@require_http_methods(["GET", "HEAD", "POST"])
def cap_new(request: HttpRequest) -> HttpResponse:
    def do(told: dict[str, object]) -> str:
        row = local.set_deposit_cap(told.pop("region"), **told, by=actor(request))  # type: ignore[arg-type]
        return f"Recorded. The cap of deposits in {row.region}."

    today = clock.office_today()
    return ask(
        request,
        CapForm(request.POST or None, initial={"read_on": today, "valid_from": today}),
        do,
        heading="Cap of deposits in a state",
        margin="Deposit",
        happens=["Plans set from that day on are held to it. Plans on record keep what they were set under."],
        act="Record the cap",
        keep="Leave it",
        back=reverse("state_terms"),
    )


@right("core.run_office")
@require_http_methods(["GET", "HEAD", "POST"])
def tax_new(request: HttpRequest) -> HttpResponse:
    def do(told: dict[str, object]) -> str:
        row = local.set_tax_rate(told.pop("region"), **told, by=actor(request))  # type: ignore[arg-type]
        return f"Recorded. {row.words} in {row.region}."

    return ask(
        request,
        TaxForm(request.POST or None, initial={"valid_from": clock.office_today()}),
        do,
        heading="Tax on what is billed in a state",
        margin="Tax",
        happens=[
            "Invoices released from that day on for homes in this state carry it as a line of its own, on top of the milestone's amount.",
            "What is taxed, and at which rate, your tax adviser says; this only works it out.",
        ],
        act="Record the rate",
        keep="Leave it",
        back=reverse("state_terms"),
    )


@right("core.run_office")
@require_http_methods(["GET", "HEAD", "POST"])
def wording_new(request: HttpRequest) -> HttpResponse:
    def do(told: dict[str, object]) -> str:
        row = waivers.set_wording(told.pop("kind"), **told, by=actor(request))  # type: ignore[arg-type]
        return f"Recorded. The wording of a waiver, {row}."

    return ask(
        request,
        WordingForm(request.POST or None),
        do,
        heading="Wording of a waiver of lien",
        margin="Waiver",
        happens=["Waivers made from now on use it. Have it given by counsel or the statute of the state; we bring none of our own."],
        act="Record the wording",
        keep="Leave it",
        back=reverse("state_terms"),
    )
