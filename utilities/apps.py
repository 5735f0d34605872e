from django.apps import AppConfig


class UtilitiesConfig(AppConfig):
    name = "utilities"
    label = "utilities"

    def ready(self) -> None:
        from django.core import checks as django_checks

        from jobs.core import followups, importing, takingback
        from utilities import answers, checks, extension, imports, letters, notices, truth, waking

        django_checks.register(checks.tag_fits)
        followups.register(truth.keep_requests_true)
        followups.register(waking.owe_forecasts)
        notices.register()
        letters.register()
        extension.register()
        importing.register(imports.KIND)
        importing.register(answers.KIND)
        takingback.goes_along("utilities.Forecast", quoted=False)
        takingback.afterwards("utilities.FitRequest", waking.wake)
