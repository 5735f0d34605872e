"""The kind `payments`: what a bank or lender says it paid. Natural key: payer, reference, day and amount.

A row becomes a line that waits for a person, who confirms whose the money is and what it paid. Nothing is posted by the file itself.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from billing import bank
from billing.models import BankLine
from jobs.core import clock, words
from jobs.core.actors import Actor
from jobs.core.acts import one_at_a_time
from jobs.core.sheets import doubles, parsers
from jobs.core.sheets.check import Applied, CheckedRow, Objection, Preview, Question
from jobs.core.sheets.columns import Column

KEY = ("payer", "reference", "received_on", "amount", "nth")


class Payments:
    """Rows of one payment each. Equal rows are asked about: each after the first says which it is, or is taken out."""

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
        Column("invoice", "Invoice number", ("invoice", "invoice no", "invoices"), parse=parsers.text(at_most=240), code=True),
        Column("nth", "Of equal payments the", ("equal payment", "nth"), parse=parsers.integer(at_least=1, at_most=99)),
    )

    def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        for objection in doubles([_keyed(row) for row in rows], KEY, what="A payment of this payer, reference, day and amount"):
            wanted = objection.wanted.removesuffix("keep one of these rows.")
            ask = 'or, if each came, write 2 for the second (3 for the third) in a column "Of equal payments the".'
            yield dataclasses.replace(objection, wanted=f"{wanted}take one of them out, {ask}")
        for row in rows:
            yield from _objections(row)

    def preview(self, rows: Sequence[CheckedRow]) -> Preview:
        known = sum(bank.known(**_of(row)) for row in rows)
        new = len(rows) - known
        said = (
            f"{words.count(new, 'line').capitalize()} will be kept, {words.count(known, 'line')} already on record.",
            "A match is proposed for each under Payments; nothing is put to an invoice before somebody confirms it.",
        )
        return Preview(new=new, changed=0, unchanged=known, words=said)

    def hold(self, rows: Sequence[CheckedRow]) -> None:
        one_at_a_time(BankLine._meta.label)

    def apply_row(self, row: CheckedRow, by: Actor) -> Applied:
        return "new" if bank.keep(**_of(row), invoices=row.values.get("invoice") or "", by=by) else "unchanged"


KIND = Payments()


def _keyed(row: CheckedRow) -> CheckedRow:
    """With an empty reference as a value, so that two equal rows without one are asked about too."""
    told = row.values
    return dataclasses.replace(row, values={**told, "reference": told.get("reference") or "", "nth": told.get("nth") or 1})


def _of(row: CheckedRow) -> dict[str, Any]:
    told = row.values
    return {
        "payer_text": told["payer"],
        "received_on": told["received_on"],
        "amount_minor": told["amount"],
        "reference": told.get("reference") or "",
        "nth": told.get("nth") or 1,
    }


def _objections(row: CheckedRow) -> Iterator[Objection]:
    told = row.values
    if told.get("amount") is not None and told["amount"] <= 0:
        yield Objection(row.number, "amount", "A payment must be more than zero; money sent back is not brought in by this file.")
    if told.get("received_on") and told["received_on"] > clock.office_today():
        yield Objection(row.number, "received_on", f"{words.day(told['received_on'])} has not come yet.")
