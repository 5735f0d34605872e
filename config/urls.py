"""Each app keeps its own addresses; an app without views yet has no urls module."""

from __future__ import annotations

from importlib import import_module

from django.urls import URLPattern, URLResolver, include, path
from django.utils.module_loading import module_has_submodule

_APPS = ("jobs.pages", "jobs.core", "utilities", "jobs.notices", "jobs.appointments", "billing")

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include(f"{app}.urls")) for app in _APPS if module_has_submodule(import_module(app), "urls")
]

handler403 = "jobs.pages.errors.refused"
handler404 = "jobs.pages.errors.not_found"
handler500 = "jobs.pages.errors.our_fault"
