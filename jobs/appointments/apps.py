from django.apps import AppConfig


class AppointmentsConfig(AppConfig):
    name = "jobs.appointments"
    label = "appointments"
