from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "jobs.core"
    label = "core"
    verbose_name = "Homes"

    def ready(self) -> None:
        from jobs.core import custody, followups, journal, secrets

        followups.register(secrets.forget_at_close)
        followups.register(custody.follow)
        journal.listen()
