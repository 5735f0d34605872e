from django.apps import AppConfig


class NoticesConfig(AppConfig):
    name = "jobs.notices"
    label = "notices"
    verbose_name = "Messages"

    def ready(self) -> None:
        from jobs.core import followups
        from jobs.notices import confirming, removal

        confirming.register()
        removal.register()
        followups.register(removal.follow)
