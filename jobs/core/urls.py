from django.contrib.auth.views import LogoutView
from django.urls import path

from jobs.core import crew_views, office_views, tagpage, views

urlpatterns = [
    path("sign-in/", office_views.SignIn.as_view(), name="sign_in"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
    path("password/", office_views.Password.as_view(), name="password"),
    path("people/", office_views.people_list, name="people"),
    path("people/new/", office_views.person_new, name="person_new"),
    path("people/<uuid:uid>/", office_views.person, name="person"),
    path("crews/new/", office_views.crew_new, name="crew_new"),
    path("rules/", office_views.rule_list, name="rules"),
    path("rules/<slug:name>/", office_views.rule, name="rule"),
    path("jobs/new/", views.job_new, name="job_new"),
    path("jobs/<str:code>/record/<slug:what>/", views.record, name="record"),
    path("jobs/<str:code>/gate-code/", views.reveal, name="reveal"),
    path("facts/<uuid:uid>/correct/", views.correct, name="correct"),
    path("facts/<uuid:uid>/ct-check/", views.ct_check, name="ct_check"),
    path("facts/<uuid:uid>/cut-over/", views.cut_over, name="cut_over"),
    path("jobs/<str:code>/collar/", views.fitted_collar, name="fitted_collar"),
    path("holds/<uuid:uid>/lift/", views.lift, name="lift"),
    # In capitals, as the code on the tag packs it tightest.
    path("T/<str:token>/", tagpage.tag, name="tag_page"),
    # Below /crew/ lies what a phone keeps for the time without reception; its worker answers for these addresses alone.
    path("crew/", crew_views.day, name="crew_day"),
    path("crew/hello/", crew_views.hello, name="crew_hello"),
    path("crew/worker.js", crew_views.worker, name="crew_worker"),
    path("crew/versions/<uuid:uid>/", crew_views.versions, name="crew_versions"),
    path("crew/<str:code>/", crew_views.form, name="crew_form"),
    path("crew/<str:code>/<slug:name>/", crew_views.part, name="crew_part"),
    path("documents/<uuid:uid>/", views.document, name="document"),
]
