"""A reminder goes to the payer of a late invoice, after finance has read it, and not every day."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from billing import payments, reminders
from billing.payments import Portion
from jobs.core import clock, homefacts
from jobs.core.refusals import Refused
from jobs.notices.models import Message
from tests.billing.made import TODAY, lender, planned_job, released
from tests.make import SYSTEM, user_of
from tests.notices.make import agreed

pytestmark = pytest.mark.django_db


def late(**fields):
    with clock.pretend(clock.now() - dt.timedelta(days=60)):
        return released(planned_job(**fields))


def reminded():
    return Message.objects.filter(kind__startswith="payment_reminder")


def test_finance_reads_the_reminder_and_sends_it(client, farida):
    invoice = late()
    agreed(invoice.job, scope="billing")
    client.force_login(user_of(farida))
    page = reverse("invoice_remind", kwargs={"uid": invoice.uid})

    shown = client.get(page).content.decode()
    seen = reminders.digest(reminders.preview(invoice))
    client.post(page, {"seen": seen})

    assert f"Invoice {invoice.number} was due by" in shown
    assert "A text message: " in shown
    assert seen in shown
    assert sorted(reminded().values_list("channel", "state")) == [("email", "released"), ("text", "released")]
    assert reminded().get(channel="email").attachments.count() == 1


def test_a_text_that_changed_since_it_was_read_is_not_sent(farida):
    invoice = late()
    seen = reminders.digest(reminders.preview(invoice))
    payments.record_payment(invoice.payer, amount_minor=100, received_on=TODAY, reference="1", parts=[Portion(invoice, 100)], by=farida)

    with pytest.raises(Refused, match="The text has changed"):
        reminders.remind(invoice, seen=seen, by=farida)

    reminders.remind(invoice, seen=reminders.digest(reminders.preview(invoice)), by=farida)
    assert "Part of its payment has not reached us" in reminded().get().text


def test_a_lender_is_reminded_by_mail_and_not_told_of_backup(farida):
    invoice = late(payer=lender())

    reminders.remind(invoice, by=farida)

    assert reminded().get().kind == "payment_reminder_to_lender"
    assert "backup" not in reminded().get().text


def test_what_is_not_late_paid_on_hold_or_was_reminded_this_week_is_not_reminded_of(farida, dana):
    with pytest.raises(Refused, match="a reminder comes after that day"):
        reminders.remind(released(planned_job()), by=farida)

    invoice = late()
    reminders.remind(invoice, by=farida)
    with pytest.raises(Refused, match="the next reminder comes 7 days later"):
        reminders.remind(invoice, by=farida)

    held = late()
    homefacts.hold(held.job, kind="dispute", stops=["collection"], review_on=TODAY + dt.timedelta(days=9), reason="a leak", by=dana)
    with pytest.raises(Refused, match="A hold on this home stops collection"):
        reminders.remind(held, by=farida)

    paid = late()
    payments.record_payment(
        paid.payer, amount_minor=paid.amount_minor, received_on=TODAY, reference="2", parts=[Portion(paid, paid.amount_minor)], by=SYSTEM
    )
    with pytest.raises(Refused, match="sent and is not paid"):
        reminders.remind(paid, by=farida)
