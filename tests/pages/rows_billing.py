from __future__ import annotations

from typing import Any

from billing import bank, credits, payments, waivers
from billing.models import BankLine
from jobs.core.models import User
from jobs.core.states import S
from tests.billing.made import IMPORT, TODAY, draft_of, plan, planned_job, released
from tests.make import SYSTEM, make_job
from tests.pages.addresses import F, M, Row, roles

Kwargs = dict[str, Any]


def _draft(user: User | None) -> Kwargs:
    return {"uid": draft_of(planned_job()).uid}


def _released(user: User | None) -> Kwargs:
    return {"uid": released(planned_job()).uid}


def _payment(user: User | None) -> Kwargs:
    payer = released(planned_job()).payer
    return {"uid": payments.record_payment(payer, amount_minor=500, received_on=TODAY, reference="1", parts=[], by=SYSTEM).uid}


def _quietly_earned(user: User | None) -> Kwargs:
    job = make_job(S.GRID_TIED)
    return {"uid": plan(job, by=IMPORT)[0].uid}


def _credit(user: User | None) -> Kwargs:
    invoice = released(planned_job())
    return {"uid": credits.credit(invoice, amount_minor=100, reason="agreed", by=SYSTEM).uid}


def _waiver(user: User | None) -> Kwargs:
    waivers.set_wording("conditional_progress", text="{amount}", source="counsel", by=SYSTEM)
    return {"uid": released(planned_job()).waivers.get().uid}


def _line(user: User | None) -> Kwargs:
    bank.keep(payer_text="HERNANDEZ", received_on=TODAY, amount_minor=500, reference="1", invoices="", nth=1, by=SYSTEM)
    return {"uid": BankLine.objects.get().uid}


def _payer(user: User | None) -> Kwargs:
    return {"uid": released(planned_job()).payer.uid}


def _planned(user: User | None) -> Kwargs:
    return {"code": planned_job().code}


def _csv(user: User | None) -> Kwargs:
    return {"ending": "csv"}


SEES = roles(M, F)
BILLS = roles(F)
OFFICE = roles(M)
PERIOD = {"from_on": "1 Nov 2026", "to_on": "30 Nov 2026"}

ROWS: dict[str, Row] = {
    "invoices": Row(SEES),
    "invoices_export": Row(SEES, kwargs=_csv),
    "invoices_release": Row(BILLS, BILLS),
    "receivables": Row(SEES),
    "invoice": Row(SEES, kwargs=_draft),
    "invoice_pdf": Row(SEES, kwargs=_released),
    "invoice_release": Row(BILLS, BILLS, kwargs=_draft),
    "invoice_answer": Row(BILLS, BILLS, kwargs=_released),
    "invoice_write_off": Row(BILLS, BILLS, kwargs=_released),
    "invoice_remind": Row(BILLS, BILLS, kwargs=_released),
    "invoice_credit": Row(BILLS, BILLS, kwargs=_released),
    "invoice_dispute": Row(BILLS, BILLS, kwargs=_released),
    "invoice_send_again": Row(BILLS, BILLS, kwargs=_released),
    "waiver_new": Row(BILLS, BILLS, kwargs=_released),
    "waiver_pdf": Row(SEES, kwargs=_waiver),
    "credit_note": Row(SEES, kwargs=_credit),
    "credit_note_pdf": Row(SEES, kwargs=_credit),
    "state_terms": Row(OFFICE),
    "cap_new": Row(OFFICE, OFFICE),
    "tax_new": Row(OFFICE, OFFICE),
    "wording_new": Row(OFFICE, OFFICE),
    "bank_lines": Row(BILLS, BILLS),
    "bank_line": Row(BILLS, BILLS, kwargs=_line),
    "bank_line_aside": Row(BILLS, BILLS, kwargs=_line),
    "payer": Row(SEES, kwargs=_payer),
    "statement_pdf": Row(SEES, kwargs=_payer),
    "payment_refund": Row(BILLS, BILLS, kwargs=_payment),
    "payment_returned": Row(BILLS, BILLS, kwargs=_payment),
    "payment_take_off": Row(BILLS, BILLS, kwargs=_payment),
    "job_account": Row(SEES, kwargs=_planned),
    "change_order": Row(BILLS, BILLS, kwargs=_planned),
    "close_contract": Row(BILLS, BILLS, kwargs=_planned),
    "give_paper": Row(BILLS, BILLS, kwargs=_planned),
    "payments": Row(SEES),
    "payments_export": Row(SEES, kwargs=_csv),
    "payment_new": Row(BILLS, BILLS),
    "payment": Row(SEES, kwargs=_payment),
    "payment_apply": Row(None, BILLS, kwargs=_payment),
    "payer_new": Row(SEES, SEES),
    "milestones_earned": Row(SEES),
    "milestones_waiting": Row(SEES),
    "milestone_draft": Row(None, BILLS, kwargs=_quietly_earned),
    "report_milestones": Row(SEES, query=PERIOD),
    "report_milestones_export": Row(SEES, kwargs=_csv, query=PERIOD),
    "job_plan": Row(SEES, SEES, kwargs=lambda user: {"code": planned_job().code}),
}
