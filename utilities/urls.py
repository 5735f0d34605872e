from django.urls import path

from utilities import forecast_views, letter_views, request_views, scoreviews, views

urlpatterns = [
    path("utilities/", views.utility_list, name="utilities"),
    path("utilities/utilities.<str:ending>", views.utility_export, name="utilities_export"),
    path("utilities/scores/", scoreviews.scores, name="scores"),
    path("utilities/scores/progress/", scoreviews.scores_progress, name="scores_progress"),
    path("utilities/scores/replay/", scoreviews.scores_replay, name="scores_replay"),
    path("utilities/scores/scores.<str:ending>", scoreviews.scores_export, name="scores_export"),
    path("utilities/new/", views.utility_new, name="utility_new"),
    path("utilities/<uuid:uid>/", views.utility, name="utility"),
    path("utilities/<uuid:uid>/forecast.pdf", forecast_views.utility_forecast, name="utility_forecast"),
    path("utilities/<uuid:uid>/edit/", views.utility_edit, name="utility_edit"),
    path("utilities/<uuid:uid>/districts/", views.utility_districts, name="utility_districts"),
    path("utilities/<uuid:uid>/calendar/", views.utility_calendar, name="utility_calendar"),
    path("utilities/<uuid:uid>/contacts/", views.utility_contacts, name="utility_contacts"),
    path("requests/", request_views.request_list, name="requests"),
    path("requests/requests.<str:ending>", request_views.request_export, name="requests_export"),
    path("requests/<str:code>/", request_views.request_page, name="request"),
    path("requests/homes/<str:code>/connect/", request_views.connect, name="home_connect"),
    path("requests/services/<uuid:uid>/", request_views.service, name="service"),
    path("requests/services/<uuid:uid>/sent/", request_views.sent, name="request_sent"),
    path("requests/<uuid:uid>/contact/", request_views.do, {"what": "contact"}, name="request_contact"),
    path("requests/<uuid:uid>/answer/", request_views.do, {"what": "answer"}, name="request_answer"),
    path("requests/<uuid:uid>/visit/", request_views.do, {"what": "visit"}, name="request_visit"),
    path("requests/<uuid:uid>/announce/", request_views.do, {"what": "announce"}, name="request_announce"),
    path("requests/<uuid:uid>/fitted/", request_views.do, {"what": "fitted"}, name="request_fitted"),
    path("requests/<uuid:uid>/again/", request_views.do, {"what": "again"}, name="request_again"),
    path("requests/<uuid:uid>/end/", request_views.end, name="request_end"),
    path("requests/<uuid:uid>/write/", letter_views.write, name="request_write"),
    path("requests/visits/<uuid:uid>/told/", request_views.told, name="visit_told"),
]
