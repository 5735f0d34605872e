from django.urls import path

from jobs.pages import import_views

urlpatterns = [
    path("imports/", import_views.run_list, name="imports"),
    path("imports/<uuid:uid>/", import_views.run_page, name="import_run"),
    path("imports/<uuid:uid>/columns/", import_views.columns, name="import_columns"),
    path("imports/<uuid:uid>/apply/", import_views.apply, name="import_apply"),
    path("imports/<uuid:uid>/drop/", import_views.drop, name="import_drop"),
    path("imports/<uuid:uid>/take-back/", import_views.take_back, name="import_take_back"),
    path("imports/<uuid:uid>/progress/", import_views.progress, name="import_progress"),
    path("imports/<uuid:uid>/to-correct.csv", import_views.errors, {"ending": "csv"}, name="import_errors"),
    path("imports/<uuid:uid>/to-correct.xlsx", import_views.errors, {"ending": "xlsx"}, name="import_errors_xlsx"),
]
