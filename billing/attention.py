"""What of the money needs a person today: finance's sections, and for the manager what the utilities hold up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.urls import reverse

from billing import figures
from billing.figures import Receivable
from billing.models import BankLine, Dispute, Invoice, Milestone, Payment
from jobs.core import clock, money
from jobs.core.attention import Attention, Figure, Row, Section, says
from jobs.core.models import Job, User
from jobs.core.words import count, day_short

MOST = 10


def for_user(user: User) -> Attention:
    """At most ten rows of each. Who bills sees all; who sees amounts of money and does not bill sees what the utilities hold up."""
    if not user.has_perm("core.see_money"):
        return Attention()
    today = clock.office_today()
    unbilled = _unbilled(today)
    waiting = Figure(
        "Unbilled, waiting on utility",
        money.shown_whole(figures.total_minor(figures.unbilled_waiting_on_utility())),
        reverse("milestones_waiting"),
        "not a receivable; it has no due day yet",
    )
    if not user.has_perm("core.bill"):
        return Attention(sections=(unbilled,), figures=(waiting,))
    receivables = figures.receivables()
    earned = figures.earned_not_invoiced()
    return Attention(
        sections=(
            _earned(today),
            _overdue(receivables, today),
            _questions(today),
            _lines(today),
            _ended(today),
            _disputed(today),
            _short(today),
            _unapplied(today),
            unbilled,
        ),
        figures=(
            Figure("Earned, not invoiced", money.shown(figures.total_minor(earned)), reverse("milestones_earned")),
            Figure("Invoiced, not paid", money.shown(sum(row.left_minor for row in receivables)), reverse("receivables")),
            waiting,
        ),
    )


def home_of(job: Job) -> str:
    return f"{job.homeowner or job.code}, {job.site.street}"


def _age(since: dt.date | None, today: dt.date) -> str:
    return "" if since is None else count((today - since).days, "day")


def _earned(today: dt.date) -> Section:
    found, drafts = figures.earned_not_invoiced(), figures.drafts()
    drafted = drafts.count()
    return Section(
        name="money_earned",
        title="Milestones earned, not invoiced",
        headings=("Earned", "Home", "Milestone", "Payer", "Age", "Amount", "Next act"),
        rows=[_earned_row(milestone, today) for milestone in found.with_invoice()[:MOST]],
        nothing="Every milestone that is earned is invoiced.",
        note=f"{count(drafted, 'draft')}, together {money.shown(figures.total_minor(drafts))}: one button releases them" if drafted else "",
        all_url=reverse("milestones_earned"),
        total=found.count(),
        order=10,
        kinds=("", "", "num", "num"),
        says=says("milestone is earned and not invoiced", "milestones are earned and not invoiced"),
    )


def _earned_row(milestone: Milestone, today: dt.date) -> Row:
    invoice: Invoice | None = getattr(milestone, "invoice", None)
    assert milestone.earned_on is not None
    return Row(
        margin=day_short(milestone.earned_on, today=today),
        title=home_of(milestone.job),
        under=milestone.job.code,
        url=reverse("invoice", kwargs={"uid": invoice.uid}) if invoice else reverse("milestones_earned"),
        cells=(milestone.name, milestone.payer.name, _age(milestone.earned_on, today), money.shown(milestone.amount_minor)),
        next_act="Release invoice" if invoice else "Draft invoice",
    )


def _overdue(receivables: Iterable[Receivable], today: dt.date) -> Section:
    late = [row for row in receivables if row.days_past_due(today) > 0]
    part = set(figures.short_paid().values_list("pk", flat=True))
    sums = figures.by_bucket(late, today=today)
    parts = [f"{bucket.value} days {money.shown(minor)}" for bucket, minor in sums.items() if minor]
    return Section(
        name="money_overdue",
        title="Overdue",
        headings=("Due", "Home", "Invoice", "Payer", "Open", "Next act"),
        rows=[
            Row(
                margin=day_short(row.due_on, today=today),
                late=f"{count(row.days_past_due(today), 'day')} late",
                title=home_of(row.job),
                under=f"{row.job.code}, paid in part" if row.invoice and row.invoice.pk in part else row.job.code,
                url=reverse("invoice", kwargs={"uid": row.invoice.uid}) if row.invoice else reverse("receivables"),
                cells=(row.name, row.payer_name, money.shown(row.left_minor)),
                next_act="Ask or write off" if row.invoice and row.invoice.pk in part else "Record payment",
            )
            for row in late[:MOST]
        ],
        nothing="No invoice is overdue.",
        note=", ".join(parts),
        all_url=reverse("receivables"),
        total=len(late),
        order=12,
        kinds=("", "", "num"),
        says=says("invoice is overdue", "invoices are overdue"),
    )


def _questions(today: dt.date) -> Section:
    found = figures.questions()
    return Section(
        name="money_questions",
        title="Facts that changed after their invoice",
        headings=("Asked", "Home", "Question", "Next act"),
        rows=[
            Row(
                margin=day_short(milestone.question_on, today=today) if milestone.question_on else "",
                title=home_of(milestone.job),
                under=milestone.job.code,
                url=reverse("invoice", kwargs={"uid": milestone.invoice.uid}),
                cells=(milestone.question,),
                next_act="Answer",
            )
            for milestone in found.with_invoice()[:MOST]
        ],
        nothing="Every released invoice still rests on its facts.",
        note="the invoice stays as it is until you decide",
        total=found.count(),
        order=9,
        says=says("invoice rests on facts that changed", "invoices rest on facts that changed"),
    )


def _lines(today: dt.date) -> Section:
    found = BankLine.objects.open()
    return Section(
        name="money_bank",
        title="Lines of the bank to confirm",
        headings=("Received", "As the bank names it", "Reference", "Amount", "Next act"),
        rows=[
            Row(
                margin=day_short(line.received_on, today=today),
                title=line.payer_text,
                url=reverse("bank_line", kwargs={"uid": line.uid}),
                cells=(line.reference, money.shown(line.amount_minor)),
                next_act="Confirm",
            )
            for line in found[:MOST]
        ],
        nothing="Every line of the bank is decided.",
        all_url=reverse("bank_lines"),
        total=found.count(),
        order=15,
        kinds=("", "num"),
        says=says("line of the bank waits to be confirmed", "lines of the bank wait to be confirmed"),
    )


def _ended(today: dt.date) -> Section:
    """Cancelled contracts whose price still holds what will never be earned."""
    found = figures.to_close()
    return Section(
        name="money_ended",
        title="Cancelled contracts to settle",
        headings=("Cancelled", "Home", "Not earned", "Next act"),
        rows=[
            Row(
                margin=day_short(job.state_since, today=today) if job.state_since else "",
                title=home_of(job),
                under=job.code,
                url=reverse("job_account", kwargs={"code": job.code}),
                cells=(money.shown(job.to_close_minor),),
                next_act="Settle",
            )
            for job in found[:MOST]
        ],
        nothing="Every cancelled contract is settled.",
        note="what is invoiced stays until you credit it",
        total=found.count(),
        order=10,
        kinds=("num",),
        says=says("cancelled contract is to be settled", "cancelled contracts are to be settled"),
    )


def _disputed(today: dt.date) -> Section:
    found = Dispute.objects.filter(ended_on__isnull=True).select_related("invoice__job__site", "invoice__payer").order_by("since_on", "pk")
    return Section(
        name="money_disputed",
        title="Invoices disputed",
        headings=("Since", "Home", "Invoice", "What is contested", "Next act"),
        rows=[
            Row(
                margin=day_short(dispute.since_on, today=today),
                title=home_of(dispute.invoice.job),
                under=dispute.invoice.job.code,
                url=reverse("invoice", kwargs={"uid": dispute.invoice.uid}),
                cells=(str(dispute.invoice), dispute.reason),
                next_act="Settle",
            )
            for dispute in found.prefetch_related("invoice__job__parties__person")[:MOST]
        ],
        nothing="No invoice is disputed.",
        note="they age with the others",
        total=found.count(),
        order=16,
        says=says("invoice is disputed", "invoices are disputed"),
    )


def _short(today: dt.date) -> Section:
    """Those overdue stand under Overdue."""
    found = figures.short_paid().exclude(due_on__lt=today)
    return Section(
        name="money_short",
        title="Short-paid",
        headings=("Due", "Home", "Invoice", "Payer", "Still open", "Next act"),
        rows=[
            Row(
                margin=day_short(invoice.due_on, today=today) if invoice.due_on else "",
                title=home_of(invoice.job),
                under=invoice.job.code,
                url=reverse("invoice", kwargs={"uid": invoice.uid}),
                cells=(str(invoice), invoice.payer.name, money.shown(invoice.left_minor)),
                next_act="Ask or write off",
            )
            for invoice in found.select_related("job__site", "payer").prefetch_related("job__parties__person")[:MOST]
        ],
        nothing="No invoice that is not overdue was paid in part.",
        note="and not overdue; the overdue ones stand above",
        total=found.count(),
        order=13,
        kinds=("", "", "num"),
        says=says("invoice not yet overdue was paid short", "invoices not yet overdue were paid short"),
    )


def _unapplied(today: dt.date) -> Section:
    found = figures.unapplied()
    return Section(
        name="money_unapplied",
        title="Payments unapplied",
        headings=("Received", "Payer", "Reference", "Amount", "Unapplied", "Next act"),
        rows=[_unapplied_row(payment, today) for payment in found.select_related("payer")[:MOST]],
        nothing="Every payment is put to what it paid.",
        all_url=f"{reverse('payments')}?unapplied=yes",
        total=found.count(),
        order=14,
        kinds=("", "num", "num"),
        says=says("payment is not applied", "payments are not applied"),
    )


def _unapplied_row(payment: Payment, today: dt.date) -> Row:
    return Row(
        margin=day_short(payment.received_on, today=today),
        title=payment.payer.name,
        url=reverse("payment", kwargs={"uid": payment.uid}),
        cells=(payment.reference, money.shown(payment.amount_minor), money.shown(payment.left_minor)),
        next_act="Apply",
    )


def _unbilled(today: dt.date) -> Section:
    rows = figures.unbilled_by_utility()
    return Section(
        name="money_waiting",
        title="Money held up by the utility",
        headings=("Since", "Utility", "Homes", "Longest wait", "Unbilled", "Next act"),
        rows=[
            Row(
                margin=day_short(row.since, today=today) if row.since else "",
                title=row.name,
                url=f"{reverse('milestones_waiting')}?utility={row.uid or ''}",
                cells=(str(row.homes), _age(row.since, today), money.shown(row.minor)),
                next_act="See homes",
            )
            for row in rows[:MOST]
        ],
        nothing="No milestone waits on a utility.",
        note="unbilled, waiting on the utility: not a receivable; it has no due day yet",
        all_url=reverse("milestones_waiting"),
        total=len(rows),
        order=30,
        kinds=("num", "num", "num"),
        says=says("utility holds up milestones", "utilities hold up milestones"),
        part="overview",
    )
