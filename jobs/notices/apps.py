from django.apps import AppConfig


class NoticesConfig(AppConfig):
    name = "jobs.notices"
    label = "notices"
    verbose_name = "Messages"

    def ready(self) -> None:
        from jobs.core import followups
        from jobs.notices import asking, confirming, fitted, removal

        confirming.register()
        removal.register()
        fitted.register()
        asking.register()
        followups.register(removal.follow)
        followups.register(fitted.follow)
