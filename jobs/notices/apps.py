from django.apps import AppConfig


class NoticesConfig(AppConfig):
    name = "jobs.notices"
    label = "notices"
