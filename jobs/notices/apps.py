from django.apps import AppConfig


class NoticesConfig(AppConfig):
    name = "jobs.notices"
    label = "notices"
    verbose_name = "Messages"

    def ready(self) -> None:
        from jobs.core import followups, rules
        from jobs.notices import approving, asking, confirming, fitted, removal

        confirming.register()
        removal.register()
        fitted.register()
        asking.register()
        rules.check_by(approving.RULE, approving.refuse_unknown)
        followups.register(removal.follow)
        followups.register(fitted.follow)
        followups.register(asking.follow)
