from __future__ import annotations

from django.urls import path

from jobs.appointments import callviews, homeviews, hourviews, paperviews, views, visitviews

urlpatterns = [
    path("calls/", views.calls, name="calls"),
    path("calls/calls.<str:ending>", views.export, name="calls_export"),
    path("calls/ready/", views.ready, name="calls_ready"),
    path("calls/book/<str:code>/", views.book, name="call_book"),
    path("calls/<uuid:uid>/", views.call, name="call"),
    path("calls/<uuid:uid>/move/", views.move, name="call_move"),
    path("calls/<uuid:uid>/cancel/", views.cancel, name="call_cancel"),
    path("calls/<uuid:uid>/answer/", views.answer, name="call_answer"),
    path("calls/<uuid:uid>/begin/", views.begin, name="call_begin"),
    path("calls/<uuid:uid>/caution/<str:name>/", callviews.caution, name="call_caution"),
    path("calls/<uuid:uid>/check/<str:name>/", callviews.check, name="call_check"),
    path("calls/<uuid:uid>/readings/", callviews.readings, name="call_readings"),
    path("calls/<uuid:uid>/balance/", callviews.balance, name="call_balance"),
    path("calls/<uuid:uid>/seen/<str:what>/", callviews.see, name="call_seen"),
    path("calls/<uuid:uid>/correct/<uuid:press_uid>/", callviews.correct, name="call_correct"),
    path("calls/<uuid:uid>/result/", callviews.result, name="call_result"),
    path("calls/<uuid:uid>/void/", callviews.void, name="call_void"),
    path("calls/<uuid:uid>/add/", callviews.add, name="call_add"),
    path("verifications/<uuid:uid>.pdf", paperviews.record, name="verification_pdf"),
    path("verifications/<uuid:uid>/sheet-two.<str:lang>.pdf", paperviews.sheet_two, name="sheet_two"),
    path("visits/", visitviews.visits, name="site_visits"),
    path("visits/plan/<str:code>/", visitviews.plan, name="site_visit_new"),
    path("visits/<uuid:uid>/", visitviews.visit, name="site_visit"),
    path("visits/<uuid:uid>/end/", visitviews.end, name="site_visit_end"),
    path("visits/<uuid:uid>/cost/", visitviews.cost, name="site_visit_cost"),
    path("visits/<uuid:uid>/test/", visitviews.on_site, name="site_visit_test"),
    path("on-call/", visitviews.on_call, name="on_call"),
    path("on-call/<uuid:uid>/withdraw/", visitviews.withdraw, name="on_call_withdraw"),
    path("hours/", hourviews.everybody, name="hours"),
    path("hours/<uuid:uid>/", hourviews.one, name="verifier_hours"),
    path("hours/<uuid:uid>/off/", hourviews.take_off, name="time_off"),
    path("hours/off/<uuid:uid>/withdraw/", hourviews.withdraw, name="time_off_withdraw"),
    path("h/<str:token>/", homeviews.call, name="homeowner_call"),
]
