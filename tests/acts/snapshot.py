"""All that the database holds, to show that nothing changed."""

from __future__ import annotations

from django.apps import apps

OURS = ("core", "notices", "utilities", "billing", "appointments")


def snapshot() -> dict[str, list[tuple[object, ...]]]:
    return {
        model._meta.label: sorted((tuple(map(_plain, row)) for row in model._base_manager.values_list()), key=repr)
        for app in OURS
        for model in apps.get_app_config(app).get_models(include_auto_created=True)
    }


def _plain(value: object) -> object:
    return bytes(value) if isinstance(value, memoryview) else value
