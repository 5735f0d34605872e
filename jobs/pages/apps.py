from django.apps import AppConfig


class PagesConfig(AppConfig):
    name = "jobs.pages"
    label = "pages"
