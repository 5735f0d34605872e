"""What finance meets besides plain invoices: a dispute, a credit, a change order, a refund, and yesterday's file of the bank."""

from __future__ import annotations

import datetime as dt
from functools import partial
from random import Random

from billing import changes, credits, disputes, moneyback, waivers
from billing.models import Invoice, MilestoneKind, Payment, WaiverKind
from jobs.core import clock, importing, money
from jobs.core.csvout import write_csv
from jobs.core.states import S
from jobs.pages.demo.story import World

# Invented, for the demo alone: a real wording comes from counsel or the statute.
WORDING = (
    "%s {amount} from {customer}, {claimant} waives its right of lien on the home at {home} "
    "for work done through {through}.\n\n"
    "This is an invented wording of the demo. Have yours given by counsel or by the statute of the state."
)


def money_cases(world: World) -> None:
    # Entered before the last invoices, so that a few of them carry a waiver.
    world.diary.on(world.diary.ago(14), Random("wording"), partial(_word, world))
    world.diary.on(world.diary.ago(1), Random("money cases"), partial(_happen, world))


def _word(world: World) -> None:
    for kind in WaiverKind:
        begins = "Having received" if kind.startswith("unconditional") else "Upon receipt of"
        waivers.set_wording(kind, text=WORDING % begins, source="invented for the demo", by=world.office.dana)


def _happen(world: World) -> None:
    farida, today = world.office.farida, clock.office_today()
    late = list(
        Invoice.objects.open().filter(due_on__lt=today, job__state__in=[S.AWAITING_UTILITY, S.BACKUP_VERIFIED]).order_by("due_on", "pk")
    )
    if late:
        reason = "says that the hand-over sheet was never signed"
        disputes.dispute(late[0], reason=reason, by=farida)
    fresh = list(Invoice.objects.open().filter(due_on__gte=today).exclude(pk__in=[one.pk for one in late]).order_by("-number"))
    if fresh:
        credited = fresh.pop(0)
        credits.credit(credited, amount_minor=25_000, reason="the old disconnect was left in place, as agreed by telephone", by=farida)
    # Only what is not invoiced can take a change.
    changeable = next((one for one in fresh if any(part.kind == MilestoneKind.PART for part in changes.not_billed(one.job))), None)
    if changeable is not None:
        fresh.remove(changeable)
        words = "A second subpanel is put on the backed-up side."
        changes.change_order(changeable.job, amount_minor=185_000, agreed_on=today - dt.timedelta(days=2), words=words, by=farida)
    over = Payment.objects.unapplied().order_by("received_on", "pk").first()
    if over is not None:
        moneyback.refund(
            over.payer,
            payment=over,
            amount_minor=over.left_minor,
            on=today,
            reference="check 20118",
            reason="more came than was asked",
            by=farida,
        )
    _bank(world, fresh[:4])


def _bank(world: World, invoices: list[Invoice]) -> None:
    """One line names its invoice, one only its payer, one pays short, one is nobody we know."""
    day = clock.office_today() - dt.timedelta(days=1)
    shown = f"{day.day} {day:%b} {day.year}"
    rows: list[list[object]] = []
    for place, invoice in enumerate(invoices):
        last, first = invoice.payer.name.upper().split()[-1], invoice.payer.name.upper()[:1]
        amount = invoice.amount_minor - (3_500 if place == 2 else 0)
        rows.append([f"{last} {first}", shown, money.decimal_text(amount), f"ACH {7100 + place}", invoice.number if place % 2 == 0 else ""])
    rows.append(["QUILL & REED INSURANCE", shown, "412.60", "CLAIM 88-1204", ""])
    data = "".join(write_csv(["Payer", "Received on", "Amount", "Reference", "Invoice number"], rows)).encode()
    by = world.office.farida
    importing.apply(importing.prepare("payments", name="bank-november.csv", data=data, columns={}, by=by), by=by)
