"""An invoice that its payer contests: flagged, still aged, not reminded of."""

from __future__ import annotations

from billing.models import Dispute, Invoice
from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused


def open_dispute(invoice: Invoice) -> Dispute | None:
    return invoice.disputes.filter(ended_on__isnull=True).first()


@act(right="core.bill", on=Invoice)
def dispute(invoice: Invoice, *, reason: str, by: Actor) -> Dispute:
    if not invoice.released:
        raise Refused("A draft cannot be disputed; nobody has read it.")
    if (standing := open_dispute(invoice)) is not None:
        raise Refused(f"Invoice {invoice.number} is disputed since {words.day(standing.since_on)}: {standing.reason.rstrip('.')}.")
    if not reason.strip():
        raise Refused("Say what the payer contests; whoever settles it must know.", field="reason")
    return Dispute.objects.create(invoice=invoice, since_on=clock.office_today(), reason=reason.strip(), by_name=by.name)


@act(right="core.bill", on=Invoice)
def settle_dispute(invoice: Invoice, *, outcome: str, by: Actor) -> Dispute:
    standing = open_dispute(invoice)
    if standing is None:
        raise Refused(f"Invoice {invoice.number} is not disputed, or somebody settled it meanwhile.")
    if not outcome.strip():
        raise Refused("Say how it was settled; a credit or a write-off is recorded by itself.", field="outcome")
    standing.ended_on, standing.outcome, standing.ended_by_name = clock.office_today(), outcome.strip(), by.name
    standing.save(update_fields=["ended_on", "outcome", "ended_by_name"])
    return standing
