"""Addresses of what shows several apps. A job's code has five to eight characters, so that "/jobs/new/" is no job."""

from __future__ import annotations

from importlib import import_module

from django.urls import URLPattern, URLResolver, include, path, register_converter
from django.utils.module_loading import module_has_submodule

from jobs.pages import emergency, health, help, homesheet, joblist, jobpage, savepages, search, today


class TypedCode:
    """A job's code as it was typed, right or not: what is wrong with it the page says."""

    regex = "[0-9A-Za-z-]{5,8}"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(TypedCode, "typed_code")

urlpatterns: list[URLPattern | URLResolver] = [
    path("", today.today, name="today"),
    path("jobs/", joblist.jobs, name="jobs"),
    path("jobs.<str:ending>", joblist.export, name="jobs_export"),
    path("homes.<str:ending>", homesheet.export, name="homes_export"),
    path("jobs/<typed_code:code>/", jobpage.job, name="job"),
    path("jobs/<typed_code:code>/all.zip", savepages.whole_job, name="whole_job"),
    path("columns/<slug:export>/", savepages.columns, name="columns"),
    path("search/", search.search, name="search"),
    path("emergency/", emergency.emergency, name="emergency"),
    path("help/forecasts/", help.forecasts, name="help_forecasts"),
    path("health/live", health.live, name="health_live"),
    path("health/ready", health.ready, name="health_ready"),
]

# The imports' pages keep their own list.
if module_has_submodule(import_module("jobs.pages"), "import_urls"):
    urlpatterns.append(path("", include("jobs.pages.import_urls")))
