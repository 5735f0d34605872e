from django.urls import path

from billing import invoice_views, payment_views, plan_views, reminder_views

urlpatterns = [
    path("invoices/", invoice_views.invoice_list, name="invoices"),
    path("invoices/invoices.<str:ending>", invoice_views.invoices_export, name="invoices_export"),
    path("invoices/release/", invoice_views.release_many, name="invoices_release"),
    path("invoices/receivables/", invoice_views.receivables, name="receivables"),
    path("invoices/<uuid:uid>/", invoice_views.invoice, name="invoice"),
    path("invoices/<uuid:uid>/invoice.pdf", invoice_views.pdf, name="invoice_pdf"),
    path("invoices/<uuid:uid>/release/", invoice_views.release, name="invoice_release"),
    path("invoices/<uuid:uid>/answer/", invoice_views.answer, name="invoice_answer"),
    path("invoices/<uuid:uid>/write-off/", invoice_views.write_off, name="invoice_write_off"),
    path("invoices/<uuid:uid>/remind/", reminder_views.remind, name="invoice_remind"),
    path("payments/", payment_views.payment_list, name="payments"),
    path("payments/payments.<str:ending>", payment_views.payments_export, name="payments_export"),
    path("payments/new/", payment_views.payment_new, name="payment_new"),
    path("payments/payers/new/", plan_views.payer_new, name="payer_new"),
    path("payments/<uuid:uid>/", payment_views.payment, name="payment"),
    path("payments/<uuid:uid>/apply/", payment_views.payment_apply, name="payment_apply"),
    path("milestones/earned/", plan_views.milestones_earned, name="milestones_earned"),
    path("milestones/waiting/", plan_views.milestones_waiting, name="milestones_waiting"),
    path("milestones/<uuid:uid>/draft/", plan_views.milestone_draft, name="milestone_draft"),
    path("reports/milestones/", plan_views.milestone_report, name="report_milestones"),
    path("reports/milestones.<str:ending>", plan_views.report_export, name="report_milestones_export"),
    path("jobs/<str:code>/plan/", plan_views.job_plan, name="job_plan"),
]
