from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "jobs.core"
    label = "core"
    verbose_name = "Homes"
