from django.apps import AppConfig


class PagesConfig(AppConfig):
    name = "jobs.pages"
    label = "pages"

    def ready(self) -> None:
        from jobs.pages import imports

        imports.register()
