"""What goes with a released invoice: credit notes, waivers of lien, a dispute, the paper once more."""

from __future__ import annotations

import uuid

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from billing import credits, disputes, invoices, waivers
from billing.asking import ask
from billing.invoice_views import seen_invoice
from billing.models import CreditNote, Invoice, Waiver
from jobs.core import clock, files, money, words
from jobs.core.actors import actor, member
from jobs.core.forms import DayField, MoneyField, OfficeForm
from jobs.core.web import download, right


class CreditForm(OfficeForm):
    amount_minor = MoneyField(label="Amount credited", least_minor=1)
    reason = forms.CharField(label="Why", max_length=240, help_text="Printed on the credit note.")


class ClearedForm(OfficeForm):
    cleared_on = DayField(label="Cleared on", help_text="The day on which the bank says that the money cannot be taken back.")


class ReasonForm(OfficeForm):
    reason = forms.CharField(label="What the payer contests", max_length=400, widget=forms.Textarea(attrs={"rows": 3}))


class OutcomeForm(OfficeForm):
    outcome = forms.CharField(label="How it was settled", max_length=400, widget=forms.Textarea(attrs={"rows": 3}))


def _page(one: Invoice) -> str:
    return reverse("invoice", kwargs={"uid": one.uid})


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def credit(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)
    can = credits.creditable(one)

    def do(told: dict[str, object]) -> str:
        note = credits.credit(one, amount_minor=told["amount_minor"], reason=told["reason"], by=actor(request))  # type: ignore[arg-type]
        return f"Recorded. {note} over {money.shown(note.amount_minor)} goes to {one.payer.name}."

    paid = one.amount_minor - one.left_minor if one.released else 0
    return ask(
        request,
        CreditForm(request.POST or None, initial={"amount_minor": can}),
        do,
        heading=f"Credit {one}",
        margin=str(one.number or "draft"),
        happens=[
            f"{money.shown(can)} of {one} can be credited. The invoice stays as it was released; the credit note gets a number of its own.",
            f"{money.shown(paid)} was put to it. What of that is beyond the rest becomes unapplied: refund it or put it elsewhere."
            if paid
            else "",
            "Credited in full, its milestone can be invoiced anew, as long as its facts stand.",
        ],
        final="A credit note is never changed or taken back. Its message leaves a minute after it is made.",
        act="Make the credit note",
        keep="Leave the invoice as it is",
        back=_page(one),
    )


@right("core.see_money")
@require_safe
def credit_note(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    note = _seen(request, uid)
    cells = [
        ("Payer", note.payer.name, note.payer.get_kind_display()),
        ("Home", note.job.homeowner or note.job.code, note.job.site.street),
        ("Job", note.job.code, note.job.state_words),
        ("Of invoice", str(note.invoice.number)),
        ("Issued", words.day_short(note.issued_on, today=clock.office_today()), note.released_by_name),
        ("Credited", money.shown(note.amount_minor), f"{money.shown(note.tax_minor)} of it tax" if note.tax_minor else ""),
    ]
    return render(request, "billing/credit_note.html", {"note": note, "cells": cells})


@right("core.see_money")
@require_safe
def credit_note_pdf(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    note = _seen(request, uid)
    return download(files.read(note.pdf), f"credit-note-{note.number}.pdf", "application/pdf")


def _seen(request: HttpRequest, uid: uuid.UUID) -> CreditNote:
    rows = CreditNote.objects.seen_by(member(request)).select_related("payer", "job__site", "invoice", "pdf")
    return get_object_or_404(rows, uid=uid)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def dispute(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """Flag it as disputed; or, where it is, say how it was settled."""
    one = seen_invoice(request, uid)
    standing = disputes.open_dispute(one)
    if standing is None:

        def contest(told: dict[str, object]) -> str:
            disputes.dispute(one, reason=str(told["reason"]), by=actor(request))
            return f"Recorded. Invoice {one.number} is disputed; nobody is reminded of it until that is settled."

        return ask(
            request,
            ReasonForm(request.POST or None),
            contest,
            heading=f"{one} is disputed",
            margin=str(one.number or "draft"),
            happens=["It ages as before and stands among what is owed, marked as disputed. Reminders of it are refused."],
            act="Record the dispute",
            keep="It is not disputed",
            back=_page(one),
        )

    def settle(told: dict[str, object]) -> str:
        disputes.settle_dispute(one, outcome=str(told["outcome"]), by=actor(request))
        return f"Recorded. The dispute about invoice {one.number} is settled."

    return ask(
        request,
        OutcomeForm(request.POST or None),
        settle,
        heading=f"Settle the dispute about {one}",
        margin=str(one.number),
        happens=[f"Disputed since {words.day(standing.since_on)}: {standing.reason}", "A credit or a write-off is recorded by itself."],
        act="Record how it was settled",
        keep="It is still disputed",
        back=_page(one),
    )


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def send_again(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)

    def do(told: dict[str, object]) -> str:
        invoices.send_again(one, by=actor(request))
        waiting = [message for message in invoices.messages_of(one) if message.reason and message.sent_at is None]
        return f"Recorded. Invoice {one.number} goes to {one.payer.name} again." + (f" {waiting[-1].reason}" if waiting else "")

    return ask(
        request,
        OfficeForm(request.POST if request.method == "POST" else None),
        do,
        heading=f"Send {one} again",
        margin=str(one.number or "draft"),
        happens=[f"The same paper goes once more to {one.payer.name}, {one.payer.mail_to or 'who has no e-mail address on record'}."],
        act="Send it again",
        keep="Leave it",
        back=_page(one),
    )


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def waiver_new(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)

    def do(told: dict[str, object]) -> str:
        given = waivers.give_unconditional(one, cleared_on=told["cleared_on"], by=actor(request))  # type: ignore[arg-type]
        return f"Recorded. The {given} over {money.shown(given.amount_minor)} is made; print it, have it signed and send it."

    return ask(
        request,
        ClearedForm(request.POST or None),
        do,
        heading=f"Unconditional waiver of lien for {one}",
        margin=str(one.number or "draft"),
        happens=[
            f"{money.shown(one.amount_minor - one.left_minor if one.released else 0)} of {money.shown(one.amount_minor)} is settled. "
            "The waiver is made in the wording on record and waits to be signed.",
        ],
        final="Signed and sent, an unconditional waiver gives up the lien even if the money is taken back later.",
        act="Make the waiver",
        keep="Not yet",
        back=_page(one),
    )


@right("core.see_money")
@require_safe
def waiver_pdf(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    rows = Waiver.objects.filter(invoice__in=Invoice.objects.seen_by(member(request))).select_related("pdf", "invoice")
    waiver = get_object_or_404(rows, uid=uid)
    return download(files.read(waiver.pdf), f"waiver-{waiver.invoice.number}-{waiver.kind}.pdf".replace("_", "-"), "application/pdf")
