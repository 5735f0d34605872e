"""Waivers of lien: conditional with an invoice, unconditional once its money has cleared; in the contractor's own wording."""

from __future__ import annotations

import datetime as dt
import string

from billing.models import Allocation, AllocationKind, Invoice, Milestone, Waiver, WaiverKind, WaiverWording
from billing.paper import company, day
from billing.pdf.waiver import Waived
from billing.pdf.waiver import waiver as waiver_pdf
from jobs.core import clock, files, money, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused
from jobs.core.regions import REGIONS

# What a wording may leave open, and what is filled in.
BLANKS = {
    "claimant": "our company",
    "customer": "the payer",
    "owner": "the homeowner",
    "home": "the address of the home",
    "job": "the job's code",
    "invoice": "the invoice's number",
    "amount": "the amount of the payment",
    "through": "the day through which work is covered",
    "day": "the day of signing",
}
LONGEST = 12_000


@act(right="core.run_office")
def set_wording(kind: str, *, text: str, source: str, by: Actor, region: str = "") -> WaiverWording:
    """The wording that counsel or the state gives; {amount} and the like are filled in. The newest holds; old waivers keep theirs."""
    if kind not in WaiverKind.values:
        raise Refused(f"“{kind}” is not a kind of waiver; wanted one of: {', '.join(WaiverKind.values)}.", field="kind")
    if region and region not in REGIONS:
        raise Refused(f"“{region}” is not a state; wanted its two letters, or nothing for all others.", field="region")
    text = text.replace("\r\n", "\n").strip()
    if not text or len(text) > LONGEST:
        raise Refused(f"The wording is empty or longer than {LONGEST:,} characters.", field="text")
    if not source.strip():
        raise Refused("Say whose wording it is: the statute, or who drafted it.", field="source")
    _refuse_unknown_blanks(text)
    return WaiverWording.objects.create(kind=kind, region=region, text=text, source=source.strip(), at=clock.now(), by_name=by.name)


def _refuse_unknown_blanks(text: str) -> None:
    known = ", ".join("{" + name + "}" for name in BLANKS)
    try:
        named = {
            f"{name}{'!' + conversion if conversion else ''}{':' + spec if spec else ''}"
            for _, name, spec, conversion in string.Formatter().parse(text)
            if name is not None
        }
    except ValueError:
        raise Refused(f"A curly bracket stands alone in the wording; they may only hold one of: {known}.", field="text") from None
    if unknown := sorted(named - set(BLANKS)):
        raise Refused(f"“{{{unknown[0]}}}” is not known; wanted any of: {known}.", field="text")


def wording_for(kind: str, region: str) -> WaiverWording | None:
    """The newest of this kind for the state, else the newest for every state."""
    rows = WaiverWording.objects.filter(kind=kind).order_by("-pk")
    return rows.filter(region=region).first() or rows.filter(region="").first()


def conditional(invoice: Invoice, *, by: Actor) -> Waiver | None:
    """Made with the invoice where there is a wording. Called inside the act of its release."""
    kind = WaiverKind.CONDITIONAL_FINAL if _is_final(invoice) else WaiverKind.CONDITIONAL_PROGRESS
    wording = wording_for(kind, invoice.job.site.region)
    if wording is None:
        return None
    return _made(invoice, kind, wording, amount_minor=invoice.amount_minor, cleared_on=None, by=by)


@act(right="core.bill", on=Invoice)
def give_unconditional(invoice: Invoice, *, cleared_on: dt.date, by: Actor) -> Waiver:
    """Once the bank says that the money has cleared: it cannot be taken back, so it is refused before all is paid."""
    if not invoice.released:
        raise Refused("A draft has no waiver; release the invoice first.")
    left = Invoice.objects.with_left().get(pk=invoice.pk).left_minor
    if left > 0:
        raise Refused(
            f"{money.shown(left)} of invoice {invoice.number} is still open. An unconditional waiver gives up the lien for good: "
            "it is given only after all is paid."
        )
    came = _money(invoice)
    if not came:
        raise Refused(f"No money came for invoice {invoice.number}, so there is nothing to waive a lien for.")
    last = max(row.payment.received_on for row, _ in came if row.payment is not None)
    if cleared_on < last:
        raise Refused(f"The last payment came on {words.day(last)}; it cannot have cleared before.", field="cleared_on")
    if cleared_on > clock.office_today():
        raise Refused(f"{words.day(cleared_on)} has not come yet; wanted the day on which the bank says it cleared.", field="cleared_on")
    if (given := invoice.waivers.filter(kind__startswith="unconditional").first()) is not None:
        raise Refused(f"The unconditional waiver of invoice {invoice.number} was given already, by {given.by_name}.")
    kind = WaiverKind.UNCONDITIONAL_FINAL if _is_final(invoice) else WaiverKind.UNCONDITIONAL_PROGRESS
    wording = wording_for(kind, invoice.job.site.region)
    if wording is None:
        raise Refused(
            f"No wording of a waiver of lien, {kind.label}, is on record; "
            "the operations manager enters it under Invoices, Deposits, taxes and waivers by state."
        )
    amount = sum(stands for _, stands in came)
    return _made(invoice, kind, wording, amount_minor=amount, cleared_on=cleared_on, by=by)


def _money(invoice: Invoice) -> list[tuple[Allocation, int]]:
    """What came for it and still stands: each with so much of it as was not taken back, by a credit note or otherwise."""
    rows = invoice.allocations.filter(kind=AllocationKind.PAYMENT, reverses__isnull=True)
    standing = [
        (row, row.amount_minor + sum(reversal.amount_minor for reversal in row.reversals.all()))
        for row in rows.select_related("payment").prefetch_related("reversals")
    ]
    return [(row, stands) for row, stands in standing if stands > 0]


def _is_final(invoice: Invoice) -> bool:
    """The last part of the price to be invoiced."""
    others = Milestone.objects.filter(job=invoice.job, amount_minor__gt=0).exclude(pk=invoice.milestone_id)
    return not others.exclude(opening=True).exclude(invoice__state="released").exists()


def _made(
    invoice: Invoice, kind: WaiverKind, wording: WaiverWording, *, amount_minor: int, cleared_on: dt.date | None, by: Actor
) -> Waiver:
    job, today = invoice.job, clock.office_today()
    told = company()
    assert invoice.milestone.earned_on is not None
    text = wording.text.format_map(
        {
            "claimant": told.name,
            "customer": invoice.payer.name,
            "owner": job.homeowner or "the owner",
            "home": job.site.line,
            "job": job.code,
            "invoice": invoice.number,
            "amount": money.shown(amount_minor),
            "through": day(invoice.milestone.earned_on),
            "day": day(today),
        }
    )
    paper = Waived(
        company=told,
        title=f"Waiver of lien, {kind.label}",
        invoice=str(invoice.number),
        job=job.code,
        to=invoice.payer.name,
        home=job.site.line,
        amount=money.shown(amount_minor),
        through=day(invoice.milestone.earned_on),
        cleared=day(cleared_on) if cleared_on else "not before the money has cleared",
        text=text,
        source=wording.source,
        foot=f"{told.name}, waiver of lien, invoice {invoice.number}, as of {day(today)}",
    )
    return Waiver.objects.create(
        invoice=invoice,
        kind=kind,
        wording=wording,
        amount_minor=amount_minor,
        cleared_on=cleared_on,
        pdf=files.store(waiver_pdf(paper)),
        at=clock.now(),
        by_name=by.name,
    )
