from __future__ import annotations

from typing import Any

from billing import payments
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


def _csv(user: User | None) -> Kwargs:
    return {"ending": "csv"}


SEES = roles(M, F)
BILLS = roles(F)
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
