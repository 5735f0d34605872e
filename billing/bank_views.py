"""Lines of a bank's file that wait for a person: what is proposed for each, confirmed one by one or all that come out even."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from billing import bank, payments
from billing.asking import ask
from billing.bank import Matched
from billing.forms import PartsForm
from billing.models import BankLine, Payer
from jobs.core import clock, money, words
from jobs.core.actors import actor, member
from jobs.core.forms import OfficeForm
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right

AT_A_TIME = 100
BY = {"number": "by number", "amount": "by amount", "name": "by name"}


class AsideForm(OfficeForm):
    reason = forms.CharField(label="Why it is no payment of ours, or where it stands already", max_length=240)


class LineForm(PartsForm):
    """What a line paid, by hand: any debts of one payer, with what stays explained."""

    difference = forms.CharField(label="What a difference is about", max_length=240, required=False)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def bank_lines(request: HttpRequest) -> HttpResponse:
    lines = list(BankLine.objects.open()[:AT_A_TIME])
    found = bank.matched(lines)
    refused: list[str] = []
    if request.method == "POST":
        done, refused = _confirm(request, found)
        if not refused:
            return recorded(request, f"Recorded. {words.count(done, 'payment').capitalize()} confirmed.", "bank_lines")
        found = bank.matched(list(BankLine.objects.open()[:AT_A_TIME]))
    even = [match for match in found if match.even]
    context = {
        "rows": [
            {"match": match, "by": words.listed([BY[way] for way in match.by]), "parts": [(payments.name_of(d), m) for d, m in match.parts]}
            for match in found
        ],
        "even": len(even),
        "even_minor": sum(match.line.amount_minor for match in even),
        "total": sum(match.line.amount_minor for match in found),
        "more": BankLine.objects.open().count() - len(found),
        "refused_rows": refused,
        "today": clock.office_today(),
    }
    return render(request, "billing/bank_lines.html", context, status=422 if refused else 200)


def _confirm(request: HttpRequest, found: list[Matched]) -> tuple[int, list[str]]:
    """Each line that is marked, by an act of its own, if what was proposed is what was read."""
    chosen = set(request.POST.getlist("uids"))
    done, refused = 0, []
    for match in found:
        uid = str(match.line.uid)
        if uid not in chosen:
            continue
        chosen.discard(uid)
        named = f"{match.line.payer_text}, {money.shown(match.line.amount_minor)}"
        if match.payer is None or match.seen != request.POST.get(f"seen-{uid}"):
            refused.append(f"{named}: what is proposed has changed since you read it; nothing was recorded of it.")
            continue
        try:
            bank.confirm(match.line, payer=match.payer, parts=match.portions, by=actor(request))
            done += 1
        except Refused as refusal:
            refused.append(f"{named}: {refusal}")
    if chosen:
        refused.append(f"{words.count(len(chosen), 'line').capitalize()} had been decided meanwhile.")
    if not done and not refused:
        refused.append("No line is marked; mark at least one.")
    return done, refused


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def bank_line(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """One line, put to debts by hand: the payer that is proposed, or one that is chosen."""
    line = get_object_or_404(BankLine.objects.seen_by(member(request)), uid=uid)
    [match] = bank.matched([line])
    payer = _payer(request) or match.payer
    form: LineForm | None = None
    if payer is not None:
        initial = {f"paid_{debt.uid.hex}": minor for debt, minor in match.parts if debt.payer_id == payer.pk}
        form = LineForm(request.POST or None, debts=payments.open_debts(payer), initial=initial)
        if request.method == "POST" and form.is_valid():
            difference = form.cleaned_data["difference"]
            try:
                payment = bank.confirm(line, payer=payer, parts=form.portions(), difference=difference, by=actor(request))
            except Refused as refusal:
                form.refuse(refusal)
            else:
                said = f"Recorded. {money.shown(payment.amount_minor)} of {payer.name} is confirmed."
                return recorded(request, said, "bank_lines")
    query = request.GET.get("q", "").strip()
    context = {
        "line": line,
        "payer": payer,
        "form": form,
        "came": bank.came(line),
        "query": query,
        "found": Payer.objects.filter(name__icontains=query).order_by("name", "pk")[:20] if query else [],
        "decided": line.payment_id is not None or line.set_aside,
        "today": clock.office_today(),
    }
    return render(request, "billing/bank_line.html", context, status=422 if request.method == "POST" else 200)


def _payer(request: HttpRequest) -> Payer | None:
    chosen = request.GET.get("payer", "")
    if not chosen:
        return None
    try:
        key = uuid.UUID(chosen)
    except ValueError:
        raise Http404("There is no such payer.") from None
    return get_object_or_404(Payer.objects.seen_by(member(request)), uid=key)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def bank_line_aside(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    line = get_object_or_404(BankLine.objects.seen_by(member(request)), uid=uid)

    def do(told: dict[str, Any]) -> str:
        bank.set_aside(line, reason=told["reason"], by=actor(request))
        return "Recorded. The line is set aside."

    return ask(
        request,
        AsideForm(request.POST or None),
        do,
        heading=f"Set aside {money.shown(line.amount_minor)} of {line.payer_text}",
        margin="Bank line",
        happens=[f"It came on {bank.came(line)}. It becomes no payment; the line stays on record with the reason."],
        act="Set it aside",
        keep="Leave it open",
        back=reverse("bank_lines"),
    )
