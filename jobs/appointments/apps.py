from django.apps import AppConfig


class AppointmentsConfig(AppConfig):
    name = "jobs.appointments"
    label = "appointments"

    def ready(self) -> None:
        from jobs.appointments import endings, notices
        from jobs.core import followups

        notices.register()
        followups.register(endings.call_off)
