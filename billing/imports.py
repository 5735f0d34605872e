"""The kind `payments`: what a bank or lender says it paid. Natural key: payer, reference, day and amount."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from django.db.models import Q
from django.db.models.functions import Lower

from billing import payments
from billing.models import Invoice, Milestone, Payer, PaymentMethod
from billing.payments import Debt, Portion
from jobs.core import clock, money, words
from jobs.core.actors import Actor
from jobs.core.sheets import doubles, parsers
from jobs.core.sheets.check import Applied, CheckedRow, Objection, Preview, Question
from jobs.core.sheets.columns import Column


class Payments:
    """Rows of one payment each; with the number of an invoice or opening balance the payment is put to it, else it stays unapplied."""

    name = "payments"
    words = "Payments, from a bank's or lender's file"
    right = "core.bill"
    questions: Sequence[Question] = ()
    columns: Sequence[Column] = (
        Column("payer", "Payer", ("name", "from", "paid by"), required=True, parse=parsers.text(at_most=160), wanted="the payer's name"),
        Column(
            "received_on",
            "Received on",
            ("date", "day", "value date", "posted"),
            required=True,
            parse=parsers.day,
            wanted="the day it came in, such as 18 Nov 2026",
        ),
        Column("amount", "Amount", ("paid", "credit"), required=True, parse=parsers.money, wanted="an amount such as 8640.00"),
        Column("reference", "Reference", ("ref", "description", "memo"), parse=parsers.text(at_most=120), code=True),
        Column("invoice", "Invoice number", ("invoice", "invoice no"), parse=parsers.text(at_most=60), code=True),
    )

    def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        key = ("payer", "reference", "received_on", "amount")
        yield from doubles([_keyed(row) for row in rows], key, what="A payment of this payer, reference, day and amount")
        payers = _payers(rows)
        wanted: dict[tuple[type, int], int] = defaultdict(int)
        for row in rows:
            yield from self._objections(row, payers, wanted)

    def _objections(self, row: CheckedRow, payers: dict[str, list[Payer]], wanted: dict[tuple[type, int], int]) -> Iterator[Objection]:
        told = row.values
        if told.get("amount") is not None and told["amount"] <= 0:
            yield Objection(row.number, "amount", "A payment must be more than zero; money sent back is not brought in by this file.")
        if told.get("received_on") and told["received_on"] > clock.office_today():
            yield Objection(row.number, "received_on", f"{words.day(told['received_on'])} has not come yet.")
        debt = _debt(told.get("invoice"))
        if told.get("invoice") and debt is None:
            yield Objection(row.number, "invoice", f'There is no released invoice or opening balance "{told["invoice"]}".')
        if not told.get("payer"):
            return
        payer = _chosen(payers.get(told["payer"].casefold(), []), debt)
        if payer is None:
            yield Objection(row.number, "payer", _payer_wanted(told["payer"], payers.get(told["payer"].casefold(), []), debt))
        elif debt is not None and row.good and not _known(payer, row):
            key = (type(debt), debt.pk)
            wanted[key] += told["amount"]
            left = payments.left_of(debt)
            if wanted[key] > left:
                yield Objection(
                    row.number,
                    "amount",
                    f"{payments.name_of(debt)} has {money.shown(left)} open, and this file would put {money.shown(wanted[key])} to it: "
                    "leave its number out to keep the payment unapplied.",
                )

    def preview(self, rows: Sequence[CheckedRow]) -> Preview:
        payers = _payers(rows)
        known = 0
        for row in rows:
            payer = _chosen(payers.get(row.values["payer"].casefold(), []), _debt(row.values.get("invoice")))
            known += payer is not None and _known(payer, row)
        new = len(rows) - known
        loose = sum(not row.values.get("invoice") for row in rows)
        said = [f"{words.count(new, 'payment')} will be recorded, {words.count(known, 'payment')} already on record."]
        if loose:
            said.append(f"{words.count(loose, 'row')} without an invoice number: unapplied until somebody says what they paid.")
        return Preview(new=new, changed=0, unchanged=known, words=tuple(said))

    def hold(self, rows: Sequence[CheckedRow]) -> None:
        named = [payer.pk for payers in _payers(rows).values() for payer in payers]
        list(Payer.objects.select_for_update().filter(pk__in=named).order_by("pk").values_list("pk"))

    def apply_row(self, row: CheckedRow, by: Actor) -> Applied:
        debt = _debt(row.values.get("invoice"))
        payer = _chosen(_payers([row]).get(row.values["payer"].casefold(), []), debt)
        assert payer is not None, "the row was checked"
        if _known(payer, row):
            return "unchanged"
        payments.enter(
            payer,
            amount_minor=row.values["amount"],
            received_on=row.values["received_on"],
            reference=row.values.get("reference") or "",
            parts=[Portion(debt, row.values["amount"])] if debt else [],
            method=PaymentMethod.BANK,
            by=by,
        )
        return "new"


KIND = Payments()


def _keyed(row: CheckedRow) -> CheckedRow:
    """With an empty reference as a value, so that two equal rows without one are asked about too."""
    return dataclasses.replace(row, values={**row.values, "reference": row.values.get("reference") or ""})


def _payers(rows: Sequence[CheckedRow]) -> dict[str, list[Payer]]:
    written = {row.values["payer"] for row in rows if row.values.get("payer")}
    found: dict[str, list[Payer]] = defaultdict(list)
    for payer in (
        Payer.objects.annotate(lower=Lower("name"))
        .filter(
            # As written too, because SQLite knows the case of plain letters only.
            Q(lower__in={name.lower() for name in written}) | Q(name__in=written)
        )
        .order_by("pk")
    ):
        found[payer.name.casefold()].append(payer)
    return found


def _chosen(payers: Sequence[Payer], debt: Debt | None) -> Payer | None:
    """The payer of this name; of several with one name, the one whose debt is named."""
    if debt is not None:
        return next((payer for payer in payers if payer.pk == debt.payer_id), None)
    return payers[0] if len(payers) == 1 else None


def _payer_wanted(name: str, payers: Sequence[Payer], debt: Debt | None) -> str:
    if not payers:
        return f'There is no payer "{name}": the name of a payer on record is wanted.'
    if debt is not None:
        return f"{payments.name_of(debt)} is billed to {debt.payer.name}, not to {name}."
    return f"{words.count(len(payers), 'payer').capitalize()} are called {name}: give the invoice number, which tells them apart."


def _debt(number: str | None) -> Debt | None:
    if not number:
        return None
    if number.isdecimal() and len(number) < 19:
        invoice = Invoice.objects.released().filter(number=int(number)).select_related("payer", "milestone").first()
        if invoice is not None:
            return invoice
    openings = list(Milestone.objects.openings().filter(opening_ref__iexact=number).select_related("payer")[:2])
    return openings[0] if len(openings) == 1 else None


def _known(payer: Payer, row: CheckedRow) -> bool:
    told = row.values
    key = {"amount_minor": told["amount"], "received_on": told["received_on"], "reference": told.get("reference") or ""}
    return payments.find(payer, **key) is not None
