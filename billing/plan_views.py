"""The plan of a job, payers, and milestones earned or waiting."""

from __future__ import annotations

import datetime as dt
import uuid

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from billing import exports, figures, invoices, milestones, payers, wanted
from billing.figures import Period
from billing.forms import PayerForm, PeriodForm, PlanForm, part_forms, parts_of
from billing.models import Agreement, Invoice, Milestone, MilestoneKind
from billing.triggers import TRIGGERS, words_of
from jobs.core import clock, lists, money, words
from jobs.core.actors import actor, member
from jobs.core.models import Contract, Job
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from utilities.models import Utility


@right("core.set_plan")
@require_http_methods(["GET", "HEAD", "POST"])
def job_plan(request: HttpRequest, code: str) -> HttpResponse:
    job = get_object_or_404(Job.objects.seen_by(member(request)).select_related("site"), code=code.upper())
    rows = list(job.milestones.select_related("payer", "invoice").order_by("position"))
    contract = Contract.objects.filter(job=job).first()
    payer = rows[0].payer if rows else None
    initial = {
        "contract_minor": contract.amount_minor if contract else None,
        "signed_on": contract.signed_on if contract else None,
        "payer": payer.uid if payer and payer.person_id is None else None,
    } | _frame(job, rows)
    form = PlanForm(request.POST or None, initial=initial)
    parts = part_forms(request.POST or None, parts_of(rows) or milestones.DEFAULT_PARTS)
    # Each is asked, so that everything that is wrong is said at once.
    valid = [form.is_valid(), *(part.is_valid() for part in parts)]
    if request.method == "POST" and all(valid):
        try:
            told = [part.part() for part in parts if not part.blank]
            milestones.set_plan(job, **form.contract(), parts=told, frame=form.frame(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Recorded. The plan of job {job.code}: {_summed(job)}.", "job_plan", code=job.code)
    refused = request.method == "POST"
    missing = wanted.missing_of(rows)
    context = {
        "job": job,
        "rows": [_plan_row(milestone, missing[milestone.pk]) for milestone in rows],
        "contract": contract,
        "form": form,
        "parts": parts,
        "agreement": Agreement.objects.filter(job=job).first(),
        "fixed": any(milestone.opening or _released(milestone) for milestone in rows) or job.change_orders.exists(),
        "may_bill": request.user.has_perm("core.bill"),
        "today": clock.office_today(),
    }
    return render(request, "billing/plan.html", context, status=422 if refused else 200)


def _summed(job: Job) -> str:
    return words.listed([f"{m.name} {money.shown(m.amount_minor)}" for m in job.milestones.order_by("position")])


def _released(milestone: Milestone) -> Invoice | None:
    invoice: Invoice | None = getattr(milestone, "invoice", None)
    return invoice if invoice is not None and invoice.released else None


def _frame(job: Job, rows: list[Milestone]) -> dict[str, object]:
    """What holds for the whole plan, for its form."""
    agreement = Agreement.objects.filter(job=job).first()
    retainage = next((milestone for milestone in rows if milestone.kind == MilestoneKind.RETAINAGE), None)
    if agreement is None:
        return {}
    return {
        "retainage": agreement.retainage_millionths or None,
        "retainage_clause": retainage.clause if retainage else "",
        "retainage_triggers": retainage.triggers if retainage else [],
        "funding_reference": agreement.funding_reference,
        "funding_expires_on": agreement.funding_expires_on,
        "proceed_on": agreement.proceed_on,
    }


def _plan_row(milestone: Milestone, missing: list[str]) -> dict[str, object]:
    return {
        "missing": missing,
        "milestone": milestone,
        "triggers": words_of(milestone.triggers),
        "payer_triggers": words_of(milestone.payer_triggers),
        "invoice": getattr(milestone, "invoice", None),
    }


@right("core.set_plan")
@require_http_methods(["GET", "HEAD", "POST"])
def payer_new(request: HttpRequest) -> HttpResponse:
    """A lender or third-party owner; then back to the plan from which it was asked for."""
    code = request.GET.get("job", "")
    job = Job.objects.seen_by(member(request)).filter(code=code.upper()).first()
    form = PayerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            payer = payers.add_payer(form.cleaned_data.pop("name"), **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            said = f"Recorded. {payer.name} can be chosen as payer."
            return recorded(request, said, "job_plan", code=job.code) if job else recorded(request, said, "invoices")
    back = reverse("job_plan", kwargs={"code": job.code}) if job else reverse("invoices")
    return render(request, "billing/payer_new.html", {"form": form, "back": back}, status=422 if form.errors else 200)


@right("core.see_money")
@require_safe
def milestones_earned(request: HttpRequest) -> HttpResponse:
    today = clock.office_today()
    found = figures.earned_not_invoiced()
    rows = list(found.with_invoice())
    missing = wanted.missing_of(rows)
    context = {
        "rows": [
            {
                "milestone": milestone,
                "invoice": getattr(milestone, "invoice", None),
                "age": _age(milestone.earned_on, today),
                "triggers": words_of(milestone.triggers),
                "payer_waits": [TRIGGERS.get(name, name) for name in milestone.payer_triggers] if not milestone.payer_met_on else [],
                "missing": missing[milestone.pk],
            }
            for milestone in rows
        ],
        "total": figures.total_minor(found),
        "drafts": sum(getattr(milestone, "invoice", None) is not None for milestone in rows),
        "may_bill": request.user.has_perm("core.bill"),
        "today": today,
    }
    return render(request, "billing/earned.html", context)


@right("core.bill")
@require_http_methods(["POST"])
def milestone_draft(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    milestone = get_object_or_404(Milestone.objects.seen_by(member(request)), uid=uid)
    try:
        drafted = invoices.draft(milestone, by=actor(request))
    except Refused as refusal:
        context = {"sentence": str(refusal), "back": reverse("milestones_earned")}
        return render(request, "billing/refused.html", context, status=422)
    return recorded(request, f"Recorded. The invoice over {money.shown(drafted.amount_minor)} is drafted.", "invoice", uid=drafted.uid)


@right("core.see_money")
@require_safe
def milestones_waiting(request: HttpRequest) -> HttpResponse:
    """Unbilled, waiting on utility: its own age, beside the receivables and never among them."""
    today = clock.office_today()
    uid = request.GET.get("utility", "")
    found = figures.unbilled_waiting_on_utility()
    utility = Utility.objects.filter(uid=uid).first() if _is_uid(uid) else None
    if utility is not None:
        found = figures.at_utility(found, str(utility.uid))
    rows = list(found.select_related("job__site", "payer").prefetch_related("job__parties__person"))
    context = {
        "utility": utility,
        "rows": [
            (milestone, words.count((today - since).days, "day") if (since := milestone.job.state_since) else "") for milestone in rows
        ],
        "sums": figures.unbilled_by_utility() if utility is None else [],
        "total": sum(milestone.amount_minor for milestone in rows),
        "today": today,
    }
    return render(request, "billing/waiting.html", context)


def _age(since: dt.date | None, today: dt.date) -> str:
    return "" if since is None else words.count((today - since).days, "day")


def _is_uid(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True


def _period_form(request: HttpRequest) -> PeriodForm:
    chosen = [(str(uid), name) for uid, name in Utility.objects.order_by("name").values_list("uid", "name")]
    today = clock.office_today()
    data = request.GET if request.GET else None
    return PeriodForm(data, utilities=chosen, initial={"from_on": today.replace(day=1), "to_on": today})


@right("core.see_money")
@require_safe
def milestone_report(request: HttpRequest) -> HttpResponse:
    """What was earned in a period, by the day on which it was recorded; nothing is shown before a period is chosen."""
    form = _period_form(request)
    context: dict[str, object] = {"form": form, "today": clock.office_today()}
    if form.is_bound and form.is_valid():
        told = form.cleaned_data
        rows = figures.earnings(Period(told["from_on"], told["to_on"]), utility=told["utility"])
        context |= {
            "rows": [(row, exports.number_of(row.milestone)) for row in rows],
            "sums": figures.by_utility(rows),
            "total": sum(row.amount_minor for row in rows),
            "period": told,
            "query": request.GET.urlencode(),
        }
    return render(request, "billing/report.html", context, status=422 if form.errors else 200)


@right("core.see_money")
@require_safe
def report_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    form = _period_form(request)
    if not (form.is_bound and form.is_valid()):
        return render(request, "billing/report.html", {"form": form, "today": clock.office_today()}, status=422)
    told = form.cleaned_data
    rows = figures.earnings(Period(told["from_on"], told["to_on"]), utility=told["utility"])
    name = f"milestones-{told['from_on']}-to-{told['to_on']}"
    return lists.table_file(name, ending, exports.REPORT, exports.report_lines(rows), title="Milestones", given=request.GET)
