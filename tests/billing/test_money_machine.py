"""Facts, change orders, invoices, credits, payments, refunds in any order: after each step `reconcile` holds."""

from __future__ import annotations

import contextlib
import datetime as dt

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from billing import account, changes, credits, invoices, milestones, moneyback, payments, reconcile, statement
from billing.milestones import Frame, Part
from billing.models import Allocation, Invoice, Milestone, Payment
from billing.payments import Portion
from jobs.core import dayone, homefacts
from jobs.core.models import Contract
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.billing.made import SIGNED, TODAY
from tests.make import SYSTEM, make_job

PARTS = (
    Part("Deposit", "", 0, ("contract_signed",), amount_minor=100_000, deposit=True),
    Part("Installation", "", 600_000, ("installed",)),
    Part("Second", "", 250_000, ("commissioned",)),
    Part("Final", "", 150_000, ("permission_to_operate",)),
)
MINOR = st.integers(1, 1_500_000)


class Money(RuleBasedStateMachine):
    """One job of one payer. What is refused changes nothing; what is done keeps every sum."""

    def __init__(self) -> None:
        super().__init__()
        self.within = transaction.atomic()
        self.within.__enter__()
        self.job = make_job(S.IN_BUILD)
        self.day = dt.date(2026, 5, 1)
        self.reference = 0
        frame = Frame(50_000, "", ("permission_to_operate",))
        milestones.set_plan(self.job, contract_minor=3_123_457, signed_on=SIGNED, parts=PARTS, frame=frame, by=SYSTEM)
        self.payer = Milestone.objects.filter(job=self.job)[0].payer

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.within.__exit__(None, None, None)

    def attempt(self, act, *args, **kwargs) -> None:
        # An act opens its own transaction: what is refused leaves nothing behind.
        with contextlib.suppress(Refused):
            act(*args, **kwargs, by=SYSTEM)

    @rule(what=st.sampled_from(["contract_signed", "installed", "commissioned", "permission_to_operate"]))
    def a_fact_comes(self, what: str) -> None:
        record = {
            "contract_signed": dayone.record_contract_signed,
            "installed": dayone.record_installed,
            "commissioned": dayone.record_commissioned,
            "permission_to_operate": homefacts.record_permission_to_operate,
        }[what]
        self.attempt(record, self.job, on=self.day)

    @rule(place=st.integers(0, 3))
    def a_fact_falls(self, place: int) -> None:
        standing = list(self.job.facts.standing().order_by("pk"))
        if standing:
            self.attempt(homefacts.correct, standing[place % len(standing)], reason="it was another home", withdraw=True)

    @rule(amount=st.integers(-900_000, 900_000), own=st.booleans())
    def the_price_changes(self, amount: int, own: bool) -> None:
        part = Part("Extra", "", 0, ("installed",)) if own else None
        self.attempt(changes.change_order, self.job, amount_minor=amount, agreed_on=TODAY, words="agreed", part=part)

    @rule()
    def the_backup_is_dropped(self) -> None:
        self.attempt(changes.close, self.job, kind="backup_dropped", agreed_on=TODAY, words="agreed")

    @rule()
    def all_drafts_are_released(self) -> None:
        for milestone in Milestone.objects.filter(job=self.job, earned_on__isnull=False):
            self.attempt(invoices.draft, milestone)
        for draft in Invoice.objects.drafts().filter(job=self.job):
            self.attempt(invoices.release, draft)

    @rule(place=st.integers(0, 9), amount=MINOR, whole=st.booleans())
    def an_invoice_is_credited(self, place: int, amount: int, whole: bool) -> None:
        rows = list(Invoice.objects.released().filter(job=self.job).order_by("pk"))
        if rows:
            invoice = rows[place % len(rows)]
            can = credits.creditable(invoice)
            self.attempt(credits.credit, invoice, amount_minor=can if whole else amount, reason="agreed")

    @rule(amount=MINOR, share=st.integers(0, 100), kind=st.sampled_from(["fee", "tax_withheld"]))
    def money_comes(self, amount: int, share: int, kind: str) -> None:
        debts = payments.open_debts(self.payer)
        parts = [Portion(debt, min(debt.left_minor, amount * share // 100)) for debt in debts[:1]]
        parts += [Portion(debt, debt.left_minor // 50, kind) for debt in debts[1:2]]
        self.reference += 1
        told = {"received_on": TODAY, "reference": str(self.reference), "difference": "a charge"}
        parts = [part for part in parts if part.amount_minor]
        self.attempt(payments.record_payment, self.payer, amount_minor=amount, parts=parts, **told)

    @rule(amount=MINOR, way=st.sampled_from(["apply", "refund", "return", "take off"]), place=st.integers(0, 9))
    def a_payment_moves(self, amount: int, way: str, place: int) -> None:
        rows = list(Payment.objects.with_left().filter(payer=self.payer).order_by("pk"))
        if not rows:
            return
        payment = rows[place % len(rows)]
        told = {"payment": payment, "on": TODAY, "reason": "agreed"}
        if way == "apply":
            debts = payments.open_debts(self.payer)
            parts = [Portion(debt, min(debt.left_minor, payment.left_minor)) for debt in debts[:1] if payment.left_minor > 0]
            self.attempt(payments.apply_rest, self.payer, payment=payment, parts=parts)
        elif way == "refund":
            self.attempt(moneyback.refund, self.payer, amount_minor=min(amount, payment.left_minor), reference="", **told)
        elif way == "return":
            self.attempt(moneyback.record_returned, self.payer, **told)
        else:
            self.attempt(moneyback.take_off, self.payer, payment=payment, reason="wrong")

    @rule(amount=MINOR)
    def part_of_a_debt_is_given_up(self, amount: int) -> None:
        for debt in payments.open_debts(self.payer)[:1]:
            self.attempt(payments.write_off, self.payer, debt=debt, amount_minor=min(amount, debt.left_minor), reason="agreed")

    @invariant()
    def reconcile_holds(self) -> None:
        assert list(reconcile.breaches()) == []

    @invariant()
    def the_price_the_account_and_the_statement_add_up(self) -> None:
        told = account.of(self.job)
        assert told is not None
        assert told.price_minor == Contract.objects.get(job=self.job).amount_minor
        assert told.price_minor == told.billed_net_minor + told.earned_minor + told.to_come_minor
        assert told.open_minor == told.invoiced_minor - told.credited_minor - told.received_minor - told.given_up_minor
        said = statement.of(self.payer, from_on=dt.date(2026, 1, 1), to_on=TODAY)
        assert said.balance_minor == told.open_minor - said.unapplied_minor
        assert not Allocation.objects.filter(amount_minor=0).exists()


@pytest.mark.django_db
def test_whatever_happens_in_whatever_order_the_books_add_up():
    run_state_machine_as_test(
        Money,
        settings=settings(max_examples=6, stateful_step_count=16, deadline=None, suppress_health_check=list(HealthCheck)),
    )
