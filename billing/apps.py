from django.apps import AppConfig


class BillingConfig(AppConfig):
    name = "billing"
    label = "billing"
    verbose_name = "Money"

    def ready(self) -> None:
        from billing import earning, imports, notices
        from jobs.core import followups, importing

        followups.register(earning.earn)
        notices.register()
        importing.register(imports.KIND)
