"""Lines of a bank's or lender's file: kept as they came, proposed to debts, and payments only once a person has confirmed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from billing import figures, payments
from billing.matching import Book, Line, Open, Proposal
from billing.models import BankLine, Payer, Payment, PaymentMethod
from billing.payments import Debt, Portion
from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused


@dataclass(frozen=True)
class Matched:
    """An open line, and what it may have paid; nothing where no debt is likelier than another."""

    line: BankLine
    payer: Payer | None
    parts: tuple[tuple[Debt, int], ...]
    by: tuple[str, ...] = ()
    rest_minor: int = 0
    short_minor: int = 0

    @property
    def even(self) -> bool:
        return bool(self.parts) and not self.rest_minor and not self.short_minor

    @property
    def seen(self) -> str:
        """What was shown, so that a press on a page that has aged is not taken for another match."""
        return " ".join(f"{debt.uid}:{minor}" for debt, minor in self.parts)

    @property
    def portions(self) -> list[Portion]:
        return [Portion(debt, minor) for debt, minor in self.parts]


def matched(lines: Sequence[BankLine]) -> list[Matched]:
    """Each line with its proposal, by the debts as they are now; a debt that one line would settle is not proposed to the next."""
    rows = {str(row.debt.uid): row for row in figures.receivables()}
    book = Book(
        Open(key, str(row.debt.payer.uid), payments.number_of(row.debt), row.left_minor, _names(row.debt)) for key, row in rows.items()
    )
    found = []
    for line in lines:
        proposal = book.propose(Line(line.payer_text, f"{line.invoices} {line.reference}", line.amount_minor))
        if proposal is None:
            found.append(Matched(line, None, ()))
        else:
            book.take(proposal)
            found.append(_of(line, proposal, rows))
    return found


def _of(line: BankLine, proposal: Proposal, rows: dict[str, figures.Receivable]) -> Matched:
    parts = tuple((rows[key].debt, minor) for key, minor in proposal.parts)
    return Matched(line, parts[0][0].payer, parts, proposal.by, proposal.rest_minor, proposal.short_minor)


def _names(debt: Debt) -> tuple[str, ...]:
    return tuple(name for name in (debt.payer.name, debt.job.homeowner) if name)


def keep(*, payer_text: str, received_on: dt.date, amount_minor: int, reference: str, invoices: str, nth: int, by: Actor) -> bool:
    """Keep a line of a file; False where it is on record, as a line or as a payment that somebody typed. Called inside an act."""
    if known(payer_text=payer_text, received_on=received_on, amount_minor=amount_minor, reference=reference, nth=nth):
        return False
    BankLine.objects.create(
        payer_text=payer_text,
        received_on=received_on,
        amount_minor=amount_minor,
        reference=reference,
        invoices=invoices,
        nth=nth,
        brought_in_at=clock.now(),
        brought_in_by=by.name,
    )
    return True


def known(*, payer_text: str, received_on: dt.date, amount_minor: int, reference: str, nth: int) -> bool:
    same = {"received_on": received_on, "amount_minor": amount_minor}
    if BankLine.objects.filter(payer_text__iexact=payer_text, reference__iexact=reference, nth=nth, **same).exists():
        return True
    typed = Payment.objects.filter(payer__name__iexact=payer_text, reference__iexact=_reference(reference, nth), **same)
    return typed.exists()


def _reference(reference: str, nth: int) -> str:
    """Of equal payments each has its own, as its natural key wants."""
    return f"{reference} ({nth})".strip() if nth > 1 else reference


@act(right="core.bill", on=BankLine)
def confirm(line: BankLine, *, payer: Payer, parts: Sequence[Portion], by: Actor, difference: str = "") -> Payment:
    """Say whose the money is and what it paid: only now is it a payment."""
    refuse_decided(line)
    payer = Payer.objects.select_for_update().get(pk=payer.pk)
    payment = payments.enter(
        payer,
        amount_minor=line.amount_minor,
        received_on=line.received_on,
        reference=_reference(line.reference, line.nth),
        parts=parts,
        method=PaymentMethod.BANK,
        difference=difference,
        by=by,
    )
    line.payment, line.decided_by = payment, by.name
    line.save(update_fields=["payment", "decided_by"])
    return payment


@act(right="core.bill", on=BankLine)
def set_aside(line: BankLine, *, reason: str, by: Actor) -> BankLine:
    """It is no payment of ours, or it is on record already."""
    refuse_decided(line)
    if not reason.strip():
        raise Refused("Say why it is set aside; it stands with the line.", field="reason")
    line.set_aside, line.decided_by = " ".join(reason.split()), by.name
    line.save(update_fields=["set_aside", "decided_by"])
    return line


def refuse_decided(line: BankLine) -> None:
    if line.payment_id:
        raise Refused(f"{line.decided_by} has confirmed this line already; nothing was recorded again.")
    if line.set_aside:
        raise Refused(f"{line.decided_by} has set this line aside: {line.set_aside.rstrip('.')}.")


def came(line: BankLine) -> str:
    """ "18 November 2026, as ACH 7731": for a heading."""
    return f"{words.day(line.received_on)}{f', as {line.reference}' if line.reference else ''}"
