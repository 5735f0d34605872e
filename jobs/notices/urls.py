from django.urls import path

from jobs.notices import approving, askpages, bagphotos, homepages, received, releasing, views, webhooks

urlpatterns = [
    path("notices/", views.notices, name="notices"),
    path("notices/messages.<str:ending>", views.export, name="notices_export"),
    path("notices/release/", releasing.release_many, name="notices_release"),
    path("notices/by-themselves/", approving.by_themselves, name="notices_by_themselves"),
    path("notices/received/", received.received_list, name="received_list"),
    path("notices/received/<uuid:uid>/", received.received, name="received"),
    path("notices/<uuid:uid>/", views.notice, name="notice"),
    path("notices/<uuid:uid>/mail/", views.mail, name="notice_mail"),
    path("notices/<uuid:uid>/files/<int:position>/", views.attachment, name="notice_file"),
    path("notices/<uuid:uid>/release/", releasing.release, name="notice_release"),
    path("notices/<uuid:uid>/at-once/", releasing.at_once, name="notice_at_once"),
    path("notices/<uuid:uid>/take-back/", releasing.take_back, name="notice_take_back"),
    path("notices/<uuid:uid>/withdraw/", releasing.withdraw, name="notice_withdraw"),
    path("notices/<uuid:uid>/send-again/", releasing.send_again, name="notice_send_again"),
    path("notices/<uuid:uid>/arrived/", releasing.arrived, name="notice_arrived"),
    path("notices/<uuid:uid>/look-again/", releasing.look_again, name="notice_look_again"),
    path("notices/<uuid:uid>/consent/", releasing.consent_of, name="notice_consent"),
    path("jobs/<str:code>/consents/", homepages.consents, name="consents"),
    path("jobs/<str:code>/consents/give/", homepages.consent_give, name="consent_give"),
    path("jobs/<str:code>/consents/end/", homepages.consent_end, name="consent_end"),
    path("jobs/<str:code>/telephone/", homepages.telephone, name="telephone"),
    path("jobs/<str:code>/ask/photo/", askpages.ask_photo, name="ask_photo"),
    path("jobs/<str:code>/ask/paper/", askpages.ask_paper, name="ask_paper"),
    path("b/<str:token>/", bagphotos.bag_photo, name="bag_photo"),
    path("hooks/texts/", webhooks.hook, {"name": "texts"}, name="hook_texts"),
    path("hooks/mail/", webhooks.hook, {"name": "mail"}, name="hook_mail"),
]
