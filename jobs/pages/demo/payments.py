"""Steps of the money: drafts released, and paid as each payer pays."""

from __future__ import annotations

import datetime as dt
from functools import partial

from billing import invoices
from billing import payments as books
from billing.models import Invoice, Payment
from billing.payments import Portion
from jobs.core import clock
from jobs.pages.demo.calls import sweep
from jobs.pages.demo.diary import workday
from jobs.pages.demo.story import Home, step

HABITS = (("in time", 70), ("late", 16), ("never", 6), ("short", 4), ("over", 4))


@step
def bill(home: Home) -> None:
    """Finance releases what is drafted; its message leaves with the paper."""
    # Of the last days some wait still.
    if home.diary.day >= home.diary.ago(4) and home.chance(60):
        return
    for draft in Invoice.objects.drafts().filter(job=home.job).order_by("pk"):
        invoice = invoices.release(draft, by=home.office.farida)
        home.diary.soon(sweep, minutes=2)
        _expect_payment(home, invoice)


def _expect_payment(home: Home, invoice: Invoice) -> None:
    lends = invoice.payer.person_id is None
    how = home.story.pays or home.draw.choices([name for name, _ in HABITS], [share for _, share in HABITS])[0]
    if how == "never":
        return
    days = home.draw.randint(9, 21) if lends else home.draw.randint(44, 110) if how == "late" else home.draw.randint(4, 30)
    day = workday(home.diary.day + dt.timedelta(days=days))
    home.diary.on(day, home.draw, partial(pay, home, invoice, how=how))


def pay(home: Home, invoice: Invoice, *, how: str = "in time") -> Payment:
    """All of it; with a part kept back; or with more than was asked, which stays unapplied."""
    left = books.left_of(invoice)
    amount = {"short": left - left // 13, "over": left + 7_500}.get(how, left)
    return books.record_payment(
        invoice.payer,
        amount_minor=amount,
        received_on=clock.office_today(),
        reference=f"{'ACH' if home.chance(60) else 'check'} {1000 + home.draw.randrange(9000)}-{invoice.number}",
        method="bank" if home.chance(60) else "check",
        parts=[Portion(invoice, min(amount, left))],
        by=home.office.farida,
    )
