"""Days and times of calls in the homeowner's words."""

from __future__ import annotations

import datetime as dt

from jobs.core import words
from jobs.core.words import Lang

_LOCAL = {"en": "your local time", "es": "hora local de su casa"}


def lang_of(language: str) -> Lang:
    return "es" if language == "es" else "en"


def day(on: dt.date, *, lang: Lang) -> str:
    return words.day_long_home(on, lang=lang)


def time(at: dt.time, *, zone: str, lang: Lang) -> str:
    """ "5:30 p.m. Mountain Time"; in a zone without a name of its own, "5:30 p.m. your local time"."""
    try:
        named = words.zone_words(zone, lang=lang)
    except ValueError:
        named = _LOCAL[lang]
    return words.time_home(at, zone_words=named, lang=lang)
