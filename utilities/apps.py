from django.apps import AppConfig


class UtilitiesConfig(AppConfig):
    name = "utilities"
    label = "utilities"

    def ready(self) -> None:
        from jobs.core import followups, importing, takingback
        from utilities import answers, imports, letters, notices, truth, waking

        followups.register(truth.keep_requests_true)
        followups.register(waking.owe_forecasts)
        notices.register()
        letters.register()
        importing.register(imports.KIND)
        importing.register(answers.KIND)
        takingback.goes_along("utilities.Forecast", quoted=False)
