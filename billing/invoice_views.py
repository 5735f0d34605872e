"""Invoices on pages: the list, one invoice and its paper, release, question, write-off, and what is owed to us."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, cast

from django.db.models import Sum
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from billing import credits, disputes, earning, exports, figures, invoices, paper, payments, questions, terms, wanted
from billing.filters import InvoiceFilter
from billing.forms import AnswerForm, WriteOffForm
from billing.milestones import terms_of
from billing.models import Invoice, InvoiceQuerySet, Milestone
from billing.pdf.invoice import Plain
from billing.pdf.invoice import invoice as invoice_pdf
from billing.triggers import TRIGGERS
from jobs.core import clock, files, lists, money, rules, words
from jobs.core.actors import actor, member
from jobs.core.refusals import Refused
from jobs.core.web import download, recorded, right

AT_A_TIME = 50  # drafts read and released together
COLUMNS = (
    ("Invoice", "number", "m"), ("Home", "", ""), ("Milestone and payer", "payer", ""), ("Issued", "", ""), ("Due", "due", ""),
    ("State", "", ""), ("Amount", "amount", "num"), ("Open", "", "num"), ("Next act", "", "act"),
)  # fmt: skip


def seen_by(request: HttpRequest) -> InvoiceQuerySet:
    rows = Invoice.objects.seen_by(member(request)).with_left()
    return rows.select_related("job__site", "payer__person", "milestone", "pdf").prefetch_related("job__parties__person")


def seen_invoice(request: HttpRequest, uid: uuid.UUID) -> Invoice:
    return get_object_or_404(seen_by(request), uid=uid)


def state_words(invoice: Invoice, today: dt.date) -> str:
    """What stands: draft, open, paid in part, paid; how late is said beside it."""
    if not invoice.released:
        return "draft"
    if invoice.left_minor <= 0:
        return "paid" if invoice.bills_id else "credited"
    return "open" if invoice.left_minor == invoice.amount_minor else "paid in part"


def late_words(invoice: Invoice, today: dt.date) -> str:
    if invoice.due_on is None or invoice.left_minor <= 0:
        return ""
    days = terms.days_past_due(invoice.due_on, as_of=today)
    return f"{words.count(days, 'day')} late" if days > 0 else ""


@right("core.see_money")
@require_safe
def invoice_list(request: HttpRequest) -> HttpResponse:
    found = InvoiceFilter(request.GET or None, queryset=seen_by(request))
    sheet = lists.sheet_of(request.GET, found.rows, sort=found.sort, columns=COLUMNS)
    page = sheet["page"]
    today = clock.office_today()
    rows = [
        {"invoice": invoice, "state": state_words(invoice, today), "late": late_words(invoice, today), "act": _act(request, invoice)}
        for invoice in page
    ]
    context = sheet | {
        "form": found.form,
        "heading": found.in_words,
        "lines": rows,
        "today": today,
        "page_amount": sum(invoice.amount_minor for invoice in page),
        "page_left": sum(invoice.left_minor for invoice in page if invoice.released),
        "totals": _totals(found.rows) if lists.totals_told(page, request.GET, "state", "issued_from") else None,
        "drafts": figures.drafts().count() if request.user.has_perm("core.bill") else 0,
    }
    return render(request, "billing/invoices.html", context, status=422 if found.refused else 200)


def _totals(rows: InvoiceQuerySet) -> dict[str, int]:
    """Over all pages; of a draft nothing is open yet."""
    amount = rows.order_by().aggregate(amount=Sum("amount_minor"))["amount"]
    left = rows.released().order_by().aggregate(left=Sum("left_minor"))["left"]
    return {"amount": amount or 0, "left": left or 0}


def _act(request: HttpRequest, invoice: Invoice) -> tuple[str, str]:
    """The next act of a row: its words and address."""
    page = reverse("invoice", kwargs={"uid": invoice.uid})
    if not request.user.has_perm("core.bill"):
        return "Read", page
    if not invoice.released:
        return "Release invoice", reverse("invoice_release", kwargs={"uid": invoice.uid})
    if invoice.left_minor > 0:
        return "Record payment", f"{reverse('payment_new')}?payer={invoice.payer.uid}"
    return "Read", page


@right("core.see_money")
@require_safe
def invoices_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    found = InvoiceFilter(request.GET or None, queryset=Invoice.objects.seen_by(member(request)).with_left())
    if found.refused:
        return lists.back_to_the_list(request, "invoices")
    return lists.table_file("invoices", ending, exports.INVOICES, exports.invoice_lines(found.rows), given=request.GET)


@right("core.see_money")
@require_safe
def invoice(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)
    today = clock.office_today()
    plain = paper_of(one)
    context = {
        "invoice": one,
        "milestone": one.milestone,
        "paper": plain,
        "cells": _cells(one, today),
        "state": state_words(one, today),
        "late": late_words(one, today),
        "triggers": [(TRIGGERS.get(name, name)) for name in one.milestone.triggers],
        "payer_triggers": [(TRIGGERS.get(name, name)) for name in one.milestone.payer_triggers],
        "allocations": one.allocations.select_related("payment"),
        "messages_of": invoices.messages_of(one),
        "notes": one.credit_notes.all(),
        "waivers": one.waivers.all(),
        "dispute": disputes.open_dispute(one),
        "disputes": one.disputes.filter(ended_on__isnull=False),
        "missing": wanted.missing_of([one.milestone])[one.milestone_id],
        "creditable": credits.creditable(one) if one.released else 0,
        "may_bill": request.user.has_perm("core.bill"),
        "today": today,
    }
    return render(request, "billing/invoice.html", context)


def paper_of(one: Invoice) -> dict[str, Any]:
    """What the invoice says: frozen, or as a draft would read today."""
    if one.released:
        return cast(dict[str, Any], one.contents)
    return dict(_draft_paper(one).__dict__)


def _draft_paper(one: Invoice) -> Plain:
    today = clock.office_today()
    # With the tax as it would be released today; nothing of it is kept.
    earning.figure(one)
    return paper.plain_of(one, number=None, issued_on=today, due_on=terms.due_on(today, net_days=terms_of(one.payer)))


def _cells(one: Invoice, today: dt.date) -> list[tuple[str, ...]]:
    def day(on: dt.date | None) -> str:
        return words.day_short(on, today=today) if on else "on release"

    return [
        ("Payer", one.payer.name, one.payer.get_kind_display()),
        ("Home", one.job.homeowner or one.job.code, one.job.site.street),
        ("Job", one.job.code, one.job.state_words),
        ("Issued", day(one.issued_on)),
        ("Due", day(one.due_on), late_words(one, today)),
        ("Open", money.shown(one.left_minor) if one.released else "not yet due", f"of {money.shown(one.amount_minor)}"),
    ]


@right("core.see_money")
@require_safe
def pdf(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The paper, as a download: the one that was released, or how the draft would read today."""
    one = seen_invoice(request, uid)
    data = files.read(one.pdf) if one.pdf is not None else invoice_pdf(_draft_paper(one))
    return download(data, f"invoice-{one.number}.pdf" if one.number else f"draft-{one.job.code}.pdf", "application/pdf")


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def release(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)
    refused = ""
    if request.method == "POST":
        try:
            done = invoices.release(one, seen_minor=_seen(request, one), by=actor(request))
        except Refused as refusal:
            refused = str(refusal)
        else:
            return recorded(request, f"Recorded. {invoices.release_words(done)}", "invoice", uid=uid)
    return render(request, "billing/release.html", _releasing([one]) | {"refused": refused, "one": one}, status=422 if refused else 200)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def release_many(request: HttpRequest) -> HttpResponse:
    """All drafts with one button: an act for each, and what came of each."""
    drafts = list(seen_by(request).drafts().order_by("drafted_at", "pk")[:AT_A_TIME])
    if request.method != "POST":
        return render(request, "billing/release.html", _releasing(drafts))
    chosen = set(request.POST.getlist("uids"))
    done, refused = [], []
    for draft in drafts:
        if str(draft.uid) not in chosen:
            continue
        try:
            done.append(invoices.release_words(invoices.release(draft, seen_minor=_seen(request, draft), by=actor(request))))
        except Refused as refusal:
            refused.append(f"{draft.payer.name}, {money.shown(draft.amount_minor)}: {refusal}")
    if gone := len(chosen) - len(done) - len(refused):
        refused.append(f"{words.count(gone, 'draft')} had been released or dropped meanwhile.")
    if not chosen:
        refused.append("No draft is chosen; choose at least one.")
    if not refused:
        return recorded(request, f"Recorded. {' '.join(done)}", "invoices")
    left = list(seen_by(request).drafts().order_by("drafted_at", "pk")[:AT_A_TIME])
    context = _releasing(left) | {"results": done, "refused_rows": refused, "recorded": f"Recorded. {' '.join(done)}" if done else ""}
    return render(request, "billing/release.html", context, status=422)


def _seen(request: HttpRequest, draft: Invoice) -> int | None:
    """The amount that stood on the page; nothing where the page did not say it."""
    told = request.POST.get(f"seen-{draft.uid}", "")
    return int(told) if told.isdecimal() and len(told) < 19 else None


def _releasing(drafts: list[Invoice]) -> dict[str, Any]:
    missing = wanted.missing_of([draft.milestone for draft in drafts])
    return {
        "drafts": [
            {
                "invoice": draft,
                "paper": _draft_paper(draft),
                "to": draft.payer.mail_to,
                "payer_waits": _payer_waits(draft),
                "missing": missing[draft.milestone_id],
            }
            for draft in drafts
        ],
        "total": sum(draft.amount_minor for draft in drafts),
        "says_how_to_pay": bool(rules.text("payment_instructions")),
    }


def _payer_waits(draft: Invoice) -> str:
    """Said before release: the contract's facts are met, and the payer's own are not."""
    milestone = draft.milestone
    if not milestone.payer_triggers or milestone.payer_met_on:
        return ""
    return f"{draft.payer.name} pays only on: {words.listed([TRIGGERS.get(name, name) for name in milestone.payer_triggers])}."


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)
    form = AnswerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            questions.answer_question(one.milestone, answer=form.cleaned_data["answer"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "Recorded. The question is answered; the invoice stays as it is.", "invoice", uid=uid)
    context = {
        "heading": f"Answer the question about {one}",
        "margin": str(one.number or "draft"),
        "happens": [one.milestone.question or "There is no open question about this invoice."],
        "form": form,
        "act": "Record the answer",
        "keep": "Leave it open",
        "back": reverse("invoice", kwargs={"uid": uid}),
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def write_off(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = seen_invoice(request, uid)
    form = WriteOffForm(request.POST or None, initial={"amount_minor": one.left_minor})
    if request.method == "POST" and form.is_valid():
        try:
            payments.write_off(one.payer, debt=one, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            given_up = money.shown(form.cleaned_data["amount_minor"])
            return recorded(request, f"Recorded. {given_up} of invoice {one.number} is written off.", "invoice", uid=uid)
    context = {
        "heading": f"Write off part of {one}",
        "margin": str(one.number or "draft"),
        "happens": [f"{money.shown(one.left_minor)} is open. What is written off is no longer asked for; its reason stands in the books."],
        "final": "A write-off is not undone here.",
        "form": form,
        "act": "Write off",
        "keep": "Keep asking",
        "back": reverse("invoice", kwargs={"uid": uid}),
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)


@right("core.see_money")
@require_safe
def receivables(request: HttpRequest) -> HttpResponse:
    """All that is owed to us, by days past due; opening balances among it."""
    today = clock.office_today()
    rows = figures.receivables()
    openings = list(Milestone.objects.open())
    contested = set(Invoice.objects.released().disputed().values_list("pk", flat=True))
    context = {
        "rows": [
            (
                row,
                f"{words.count(days, 'day')} late" if (days := row.days_past_due(today)) > 0 else "",
                row.invoice is not None and row.invoice.pk in contested,
            )
            for row in rows
        ],
        "buckets": [(bucket.value, minor) for bucket, minor in figures.by_bucket(rows, today=today).items()],
        "total": sum(row.left_minor for row in rows),
        "late": sum(row.left_minor for row in rows if row.days_past_due(today) > 0),
        "openings": len(openings),
        "unapplied": figures.left_minor(figures.unapplied()),
        "may_bill": request.user.has_perm("core.bill"),
        "today": today,
    }
    return render(request, "billing/receivables.html", context)
