"""What changes after the plan was set: change orders, the end of a contract, papers that a payer wants; and the job's account."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from billing import account, changes, wanted
from billing.asking import ask
from billing.milestones import Part
from billing.models import ChangeKind, Invoice
from billing.triggers import TRIGGERS
from jobs.core import clock, money
from jobs.core.actors import actor, member
from jobs.core.forms import DayField, MoneyField, OfficeForm
from jobs.core.models import Document, Job
from jobs.core.states import S
from jobs.core.web import right


class ChangeForm(OfficeForm):
    way = forms.ChoiceField(label="The price", choices=(("up", "rises"), ("down", "falls")), widget=forms.RadioSelect)
    amount_minor = MoneyField(label="By", least_minor=1)
    agreed_on = DayField(label="Agreed on")
    words = forms.CharField(label="What was agreed", max_length=400, widget=forms.Textarea(attrs={"rows": 3}))
    triggers = forms.MultipleChoiceField(
        label="Billed as a part of its own, earned by all of",
        required=False,
        choices=list(TRIGGERS.items()),
        widget=forms.CheckboxSelectMultiple,
        help_text="With none marked, it is spread over what is not invoiced yet, in proportion.",
    )
    name = forms.CharField(label="Name of that part", max_length=80, required=False)


class CloseForm(OfficeForm):
    kind = forms.ChoiceField(label="What ends", choices=[(k.value, k.label) for k in ChangeKind if k != ChangeKind.CHANGE])
    agreed_on = DayField(label="Agreed on")
    words = forms.CharField(label="Why, and what was agreed", max_length=400, widget=forms.Textarea(attrs={"rows": 3}))


class PaperForm(OfficeForm):
    words = forms.ChoiceField(label="Paper that is wanted")
    document = forms.ModelChoiceField(Document.objects.none(), label="It is this paper of the job", required=False, to_field_name="uid")
    file = forms.FileField(label="Or this file", required=False, help_text="PDF, JPEG or PNG, at most 20 MB.")

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        given = wanted.given_of(job)
        names = [name for wants in job.milestones.order_by("position").values_list("wants", flat=True) for name in wants]
        missing = [name for name in dict.fromkeys(names) if name not in given]
        self.fields["words"].choices = [(name, name) for name in missing]  # type: ignore[attr-defined]
        self.fields["document"].queryset = job.documents.order_by("-pk")  # type: ignore[attr-defined]


def _job(request: HttpRequest, code: str) -> Job:
    return get_object_or_404(Job.objects.seen_by(member(request)).select_related("site"), code=code.upper())


def _account(job: Job) -> str:
    return reverse("job_account", kwargs={"code": job.code})


@right("core.see_money")
@require_safe
def job_account(request: HttpRequest, code: str) -> HttpResponse:
    job = _job(request, code)
    invoices = Invoice.objects.released().with_left().filter(job=job).select_related("milestone", "payer").order_by("number")
    milestones = list(job.milestones.select_related("payer", "invoice").order_by("position"))
    missing = wanted.missing_of(milestones)
    context = {
        "job": job,
        "account": account.of(job),
        "invoices": invoices,
        "milestones": [(milestone, missing[milestone.pk]) for milestone in milestones],
        "given": wanted.given_of(job).values(),
        "may_bill": request.user.has_perm("core.bill"),
        "today": clock.office_today(),
    }
    return render(request, "billing/account.html", context)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def change_order(request: HttpRequest, code: str) -> HttpResponse:
    job = _job(request, code)
    whole = account.of(job)

    def do(told: dict[str, Any]) -> str:
        amount = told["amount_minor"] if told["way"] == "up" else -told["amount_minor"]
        part = Part(told["name"] or "Change order", told["words"], 0, tuple(told["triggers"])) if told["triggers"] else None
        done = changes.change_order(
            job, amount_minor=amount, agreed_on=told["agreed_on"], words=told["words"], part=part, by=actor(request)
        )
        return f"Recorded. {done}: the price was {money.shown(done.before_minor)} and is {money.shown(done.after_minor)}."

    still = money.shown(whole.earned_minor + whole.to_come_minor) if whole else ""
    return ask(
        request,
        ChangeForm(request.POST or None, initial={"agreed_on": clock.office_today()}),
        do,
        heading=f"Change order for job {job.code}",
        margin=job.code,
        happens=[
            f"The price is {money.shown(whole.price_minor)}, of which {still} is not invoiced. What is invoiced stays as it is."
            if whole
            else "This job has no plan yet."
        ],
        final="A change order is not taken back; a further one changes it.",
        act="Record the change order",
        keep="Leave the price",
        back=_account(job),
    )


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def close_contract(request: HttpRequest, code: str) -> HttpResponse:
    job = _job(request, code)

    def do(told: dict[str, Any]) -> str:
        done = changes.close(job, kind=told["kind"], agreed_on=told["agreed_on"], words=told["words"], by=actor(request))
        return f"Recorded. {money.shown(-done.amount_minor)} leaves the price, which is {money.shown(done.after_minor)} now."

    kind = ChangeKind.CANCELLED if job.state == S.CANCELLED else ChangeKind.BACKUP_DROPPED
    return ask(
        request,
        CloseForm(request.POST or None, initial={"kind": kind, "agreed_on": clock.office_today()}),
        do,
        heading=f"What ends of job {job.code}",
        margin=job.code,
        happens=[
            "What is not earned leaves the price: all of it where the contract is cancelled, what hangs on the utility's fitting where the "
            "backup is dropped. What was kept back of work that is done falls due.",
            "What is invoiced stays. What you give back of it is a credit note, and a refund of what was paid.",
            "A request at the utility is withdrawn on the job, and the collar fetched: neither follows from this.",
        ],
        act="Record it",
        keep="Leave the price",
        back=_account(job),
    )


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def give_paper(request: HttpRequest, code: str) -> HttpResponse:
    job = _job(request, code)

    def do(told: dict[str, Any]) -> str:
        file = told["file"]
        upload = (file.name, file.read()) if file else None
        given = wanted.give_paper(job, words=told["words"], document=told["document"], upload=upload, by=actor(request))
        return f"Recorded. “{given.words}” is there: {given.document.name}."

    form = PaperForm(
        request.POST if request.method == "POST" else None,
        request.FILES if request.method == "POST" else None,
        job=job,
        initial={"words": request.GET.get("words", "")},
    )
    return ask(
        request,
        form,
        do,
        heading=f"Paper that a payer wants, job {job.code}",
        margin=job.code,
        happens=["It is named on the invoice of the milestone that wants it, and no longer stands as missing."],
        act="Record the paper",
        keep="Not yet",
        back=_account(job),
    )
