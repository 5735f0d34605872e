"""How templates say days, times, money and numbers, and how they show a caution. `{% load office %}`.

Nothing filled in stays nothing: each filter gives "" for None.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django import forms, template
from django.forms import BoundField
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

from jobs.core import cautions, clock, crew_es, money, phones, words
from jobs.core.forms import DayField, Wrong, things_to_correct
from jobs.core.models.people import Language

register = template.Library()


@register.filter
def in_zone(value: dt.datetime | None, zone: str) -> dt.datetime | None:
    """An instant as the clock of an IANA zone shows it, before `day` or `time`."""
    return None if value is None else value.astimezone(ZoneInfo(zone))


@register.filter
def day(value: dt.date | None) -> str:
    """For sentences: "3 June 2026"."""
    return "" if value is None else words.day(_day_of(value))


@register.filter
def day_short(value: dt.date | None, today: dt.date | None = None) -> str:
    """For tables: "Thu 12 Nov", "3 Jun 2026". Give `today` from the page: without it each call asks the office's zone again."""
    if value is None:
        return ""
    return words.day_short(_day_of(value), today=today or clock.office_today())


@register.filter
def weekday(value: dt.date | None) -> str:
    """ "Wednesday"."""
    return "" if value is None else words.day_long_home(_day_of(value), lang="en").split(",")[0]


@register.filter
def month_year(value: dt.date | None) -> str:
    """For the margin of Today, under weekday and day: "Nov 2026"."""
    if value is None:
        return ""
    return words.day_short(_day_of(value), today=dt.date.min).split(" ", 1)[1]


@register.filter
def day_home(value: dt.date | None, lang: words.Lang = "en") -> str:
    """For homeowners: "Thursday, November 19"."""
    return "" if value is None else words.day_long_home(_day_of(value), lang=lang)


@register.filter
def time(value: dt.time | dt.datetime | None) -> str:
    """For the office: "14:30". An instant goes through `in_zone` first."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        _refuse_utc(value)
    return words.time_office(value)


@register.filter
def seconds(value: dt.time | dt.datetime | None) -> str:
    """On the call: "14:45:12"."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        _refuse_utc(value)
    return words.time_office(value, seconds=True)


@register.filter("money")
def money_shown(value: int | None) -> str:
    """ "$8,640.00" of minor units."""
    return "" if value is None else money.shown(value)


@register.filter
def money_whole(value: int | None) -> str:
    """ "$3,412,960": for large figures only."""
    return "" if value is None else money.shown_whole(value)


@register.filter
def number(value: int | None) -> str:
    """ "1,204"."""
    return "" if value is None else words.number(value)


@register.filter
def plural_words(value: int, noun: str) -> str:
    """How many, in words up to ten: {{ n|plural_words:"home" }} is "three homes"."""
    return words.count(value, noun)


@register.filter
def ended(value: str) -> str:
    """What somebody wrote, ended as a sentence is, once."""
    told = value.strip()
    return told if told.endswith((".", "!", "?", "…")) else f"{told}."


@register.filter
def capital(value: str) -> str:
    """The same with its first letter a capital, for the beginning of a sentence; the rest is left as it is."""
    return value[:1].upper() + value[1:]


@register.filter
def breaking(value: object) -> SafeString:
    """An e-mail address may go on to the next line after its sign, and not in the middle of a word."""
    return mark_safe(str(conditional_escape(value if isinstance(value, str) else str(value))).replace("@", "@<wbr>"))


@register.filter
def languages(value: list[str]) -> str:
    """The languages of somebody in words; who has none on record speaks English: "English, Spanish"."""
    return ", ".join(str(Language(one).label) for one in value or [Language.ENGLISH])


@register.filter
def zone_name(value: str) -> str:
    """What people call an IANA zone, "Mountain Time"; a zone that homes never stand in is shown as it is."""
    return words.zone_words(value, lang="en") if value in words.HOME_ZONES else value


@register.filter
def phone(value: str | None, extension: str = "") -> str:
    """ "(303) 555-0142" of a stored number; what is stored in another form is shown as it is."""
    return phones.shown(value, extension=extension) if value and value.startswith("+") else value or ""


@register.filter
def phone_link(value: str | None, extension: str = "") -> str:
    """The tel: address of a stored number."""
    return phones.link(value, extension=extension) if value else ""


@register.simple_tag
def as_of(zone: str) -> str:
    """When a page was made, for its foot on paper: "18 Nov 2026, 08:50 MST"."""
    at = clock.now().astimezone(ZoneInfo(zone or "UTC"))
    return f"{words.day_short(at.date(), today=dt.date.min)}, {words.time_zone_office(at)}"


@register.filter
def to_correct(form: forms.BaseForm) -> list[Wrong]:
    """What the errors box lists."""
    return things_to_correct(form)


@register.filter
def read_as(field: BoundField) -> str:
    """How a typed day was read, in words."""
    if not (isinstance(field.field, DayField) and field.form.is_bound):
        return ""
    return field.field.read_as(field.value(), lang=getattr(field.form, "lang", "en"))


@register.filter
def is_box(field: BoundField) -> bool:
    """Whether it is a single box to tick, whose label stands beside it."""
    return isinstance(field.field.widget, forms.CheckboxInput)


@register.filter
def signal(kind: str, lang: str = "en") -> str:
    """The signal word of a kind of caution: "DANGER"."""
    return cautions.signal(cautions.Kind(kind), lang)


@register.inclusion_tag("_caution.html")
def caution(name: str, lang: str = "en") -> dict[str, object]:
    """One of the cautions the tool must show, in its panel: {% caution "live_conductors" "en" %}."""
    found = cautions.of(name)
    return {"kind": found.kind.value, "text": found.text(lang), "lang": lang}


def _day_of(value: dt.date) -> dt.date:
    if not isinstance(value, dt.datetime):
        return value
    _refuse_utc(value)
    return value.date()


def _refuse_utc(value: dt.datetime) -> None:
    # What comes from the database is in UTC, where half the evenings belong to another day than at the home.
    if value.tzinfo is dt.UTC:
        raise ValueError("An instant is shown in somebody's zone: use in_zone before day or time.")


@register.filter
def crew_words(text: str, lang: str = "en") -> str:
    """A label or sentence of the crew's form in the crew's language."""
    return crew_es.said(text) if lang == "es" else text


@register.filter
def photo_words(subject: str, lang: str = "en") -> str:
    """A photo's subject as the crew's form names it."""
    return crew_es.said(f"Photo: {subject}").partition(": ")[2] if lang == "es" else subject


@register.filter
def same(one: str, other: str) -> bool:
    return one == other
