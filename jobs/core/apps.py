from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "jobs.core"
    label = "core"
    verbose_name = "Homes"

    def ready(self) -> None:
        from jobs.core import journal

        journal.listen()
