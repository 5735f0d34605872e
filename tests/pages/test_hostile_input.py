"""Every address that takes a POST, given what nobody should type: an answer with a sentence each time, never an error of ours.

The forms of a page are filled with what they ask for, and then one field at a time with something hostile; and all at once. Values
that only a database would refuse (too long, NUL, beyond a number's size) are among them, so this runs on PostgreSQL.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from typing import Any
from urllib.parse import urlencode

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse

from jobs.core.forms import CodeField, DayField, MoneyField, PhoneField, WattsField
from jobs.core.models import User
from jobs.core.recordings import RECORDINGS
from jobs.core.rights import RIGHTS, ROLES
from tests.make import PNG, make_user
from tests.pages.addresses import STRANGERS, table
from tests.pages.rows_core import recording

HOSTILE = (
    "x" * 20_000,
    "a\x00b",
    "🏠" * 80,
    "<script>alert(1)</script>' OR 1=1 --",
    "-1",
    "0001-01-01",
    "9999-12-31",
    "9" * 40,
    "1e400",
    "٣",
    "\u202etxt.exe\r\nBcc: all@example.com",
)
FILES = (
    ("empty.png", b""),
    ("text.png", b"no picture"),
    ("cut.png", PNG[:40]),
    ("run.exe", b"MZ"),
    ("bin.csv", b"\x00\xff\xfe\x00" * 50),
    ("no.xlsx", b"PK\x03\x04 not a workbook"),
    ("wide.csv", b"a," * 5000 + b"\n" + b"1," * 5000),
)
AT_A_TIME = 1  # hostile values a field: which ones differs from field to field
MOST_FIELDS = 20  # of one page, one at a time: a plan's rows are all alike
ANSWERED = {200, 302, 401, 403, 404, 405, 410, 413, 422}

TABLE = {name: row for name, row in table().items() if row.post}


def _forms_of(context: Any) -> Iterator[forms.BaseForm]:
    """The forms that a page was drawn with, those in lists and of subordinate parts too."""
    seen: set[int] = set()
    for layer in context or ():
        # A test client's context is a list of contexts, each a list of dictionaries.
        for level in layer if isinstance(layer, list) or hasattr(layer, "dicts") else [layer]:
            for value in level.values() if isinstance(level, dict) else ():
                for one in value if isinstance(value, list | tuple) else [value]:
                    for form in (one, getattr(one, "parts", None)):
                        if isinstance(form, forms.BaseForm) and id(form) not in seen:
                            seen.add(id(form))
                            yield form


def _choices(field: Any) -> list[tuple[Any, Any]]:
    return list(field.choices)  # the stubs do not know that it may be a callable's answer


def _wanted(field: Any) -> Any:
    """Something that the field takes."""
    if isinstance(field, forms.ModelMultipleChoiceField):
        return [str(field.prepare_value(one)) for one in field.queryset.all()[:1]]
    if isinstance(field, forms.ModelChoiceField):
        first = field.queryset.first()
        return str(field.prepare_value(first)) if first is not None else ""
    if isinstance(field, forms.ChoiceField):
        values = [str(value) for value, _ in _choices(field) if value]
        return values[:1] if isinstance(field, forms.MultipleChoiceField) else (values or [""])[0]
    plain = (
        (DayField, "17 Nov 2026"), (MoneyField, "$120.00"), (PhoneField, "303 555 0142"), (WattsField, "640"), (CodeField, ""),
        (forms.IntegerField, str(getattr(field, "min_value", None) or 5)), (forms.TimeField, "10:00"),
        (forms.EmailField, "dana@homes.example"), (forms.BooleanField, "on"), (forms.UUIDField, ""), (forms.FileField, None),
    )  # fmt: skip
    return next((value for kind, value in plain if isinstance(field, kind)), "some words")


def _fields(page: Any) -> dict[str, Any]:
    """Name to a value that is wanted, of all that the page's forms send."""
    found: dict[str, Any] = {}
    for form in _forms_of(page.context):
        for name, field in form.fields.items():
            found[form.add_prefix(name)] = _wanted(field)
    html = page.content.decode() if not page.streaming and page.status_code in (200, 422) else ""
    for tag in re.findall(r"<(?:input|textarea|select|button)\b[^>]*>", html):
        named, value = re.search(r'\bname="([^"]+)"', tag), re.search(r'\bvalue="([^"]*)"', tag)
        if named and named[1] not in ("csrfmiddlewaretoken", "q"):
            found.setdefault(unescape(named[1]), unescape(value[1]) if value else "some words")
    return found


ANYWHERE = ("key", "uids")  # sent by many pages, and only where there is something to send them of
# What is pressed on a page of another address, and has no page of its own.
PRESSED_ELSEWHERE = (
    "answer", "watts", "load", "reason", "result", "put_back", "load_w", "load_name", "soc_percent", "battery_w", "pv_w", "grid_w",
    "statement", "do", "time", "medical", "seen", "from_on", "from_time", "to_on", "to_time",
)  # fmt: skip


def _posts(fields: dict[str, Any], files: set[str]) -> Iterator[dict[str, Any]]:
    asked = {name: value for name, value in fields.items() if value is not None}
    for value in HOSTILE[:3]:
        yield dict.fromkeys(asked, value)
    for place, name in enumerate(list(asked)[:MOST_FIELDS]):
        for step in range(AT_A_TIME):
            yield asked | {name: HOSTILE[(place * AT_A_TIME + step) % len(HOSTILE)]}
    for name in files:
        for called, data in FILES:
            yield asked | {name: SimpleUploadedFile(called, data)}


@pytest.mark.django_db
@pytest.mark.parametrize("name", TABLE)
def test_hostile_values_get_an_answer_and_no_error(name, settings):
    settings.HOOK_SECRETS = {"texts": ["a secret"], "mail": ["a secret"]}  # without one the webhooks are closed
    row = TABLE[name]
    assert row.post is not None
    who = sorted(row.post - STRANGERS)[-1] if row.post - STRANGERS else ""
    user = make_user(who) if who else None
    query = f"?{urlencode(row.query)}" if row.query else ""
    _press_all(user, reverse(name, kwargs=row.kwargs(user) or None) + query)


@pytest.mark.django_db
@pytest.mark.parametrize("what", [what for what in RECORDINGS if what != "commissioned"])
def test_hostile_values_on_each_recording_of_a_job_get_an_answer_and_no_error(what):
    user = make_user(sorted(role for role in ROLES if role in RIGHTS[RECORDINGS[what].right.removeprefix("core.")][1])[-1])
    _press_all(user, reverse("record", kwargs=recording(what)(user)))


def _press_all(user: User | None, address: str) -> None:
    client = Client()
    if user is not None:
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(address)
    fields = dict.fromkeys(ANYWHERE, "some words") | _fields(page)
    if page.status_code == 405:
        fields |= dict.fromkeys(PRESSED_ELSEWHERE, "some words")
    uploads = {name for name, value in fields.items() if value is None}
    for data in _posts(fields, uploads):
        with transaction.atomic():
            answer = client.post(address, data)
            transaction.set_rollback(True)
        assert answer.status_code in ANSWERED, {word: str(value)[:60] for word, value in data.items()}
        if answer.status_code == 422 and not answer.streaming:
            assert "<script>alert" not in answer.content.decode()
