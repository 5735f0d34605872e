from django.apps import AppConfig


class AppointmentsConfig(AppConfig):
    name = "jobs.appointments"
    label = "appointments"

    def ready(self) -> None:
        from jobs.appointments import endings, notices, verification
        from jobs.core import followups, secrets

        notices.register()
        followups.register(endings.call_off)
        followups.register(endings.want_no_call)
        secrets.register(verification.on_own_call)
