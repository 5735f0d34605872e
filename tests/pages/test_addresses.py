"""Who may open and press what: the table beside the URL configuration, role by role."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import pytest
import time_machine
from django.db import transaction
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from jobs.core.models import User
from jobs.core.refusals import Refused
from jobs.core.rights import ROLES
from tests.conftest import NOW
from tests.make import make_user
from tests.pages.addresses import STRANGERS, Row, named, table

TABLE = table()
WHO = ("stranger", *ROLES)
A_MINUTE_AGO = NOW - dt.timedelta(minutes=1)  # each test begins at NOW again, and what it is about is past by then


def test_each_address_has_a_row_and_each_row_an_address():
    assert set(named()) == set(TABLE)


@dataclass(frozen=True)
class Made:
    """What an address is about, made for the first role that may open or press."""

    name: str
    row: Row
    first: str
    kwargs: dict[str, Any]


@pytest.fixture(scope="module")
def people(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[dict[str, User]]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield {role: make_user(role) for role in ROLES}
        transaction.set_rollback(True)


@pytest.fixture(scope="module", params=TABLE)
def made(request: pytest.FixtureRequest, people: dict[str, User], django_db_blocker: DjangoDbBlocker) -> Iterator[Made]:
    """Made once for all who try the address; what one of them changes there is rolled back, as ever."""
    row = TABLE[request.param]
    first = min(row_of_any(row), key=WHO.index)
    with django_db_blocker.unblock(), time_machine.travel(A_MINUTE_AGO, tick=True), transaction.atomic():
        yield Made(request.param, row, first, row.kwargs(people.get(first)))
        transaction.set_rollback(True)


def _expect(response, row: Row, allowed: frozenset[str] | None, who: str) -> None:
    if allowed is None:
        assert response.status_code in ({405} if who in row_of_any(row) else {302, 403, 404, 405})
    elif who in allowed:
        assert response.status_code in {200, 302, 422, 503}
        assert not _asks_to_sign_in(response) or who == "stranger"
    elif who == "stranger":
        assert _asks_to_sign_in(response)
    else:
        assert response.status_code == row.refusal


def row_of_any(row: Row) -> frozenset[str]:
    return (row.get or frozenset()) | (row.post or frozenset())


def _asks_to_sign_in(response) -> bool:
    return bool(response.status_code == 302 and response.headers["Location"].startswith(f"{reverse('sign_in')}?next="))


@pytest.mark.django_db
@pytest.mark.parametrize("who", WHO)
def test_who_may_open_and_press(made, people, who):
    row, user, client = made.row, people.get(who), Client()
    if user is not None:
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    kwargs = made.kwargs
    if who in row_of_any(row) and who != made.first:
        # Who may has often something of the own there, a crew its home, a verifier the call; unless there can be but one of it.
        with suppress(Refused):
            kwargs = row.kwargs(user)
    address = reverse(made.name, kwargs=kwargs or None)

    opened = client.get(address, row.query)
    _expect(opened, row, row.get, who)
    if row.get is not None and who in row.get and who not in STRANGERS and opened.status_code == 200:
        assert "Content-Security-Policy" in opened.headers
    pressed = client.post(address, {})
    _expect(pressed, row, row.post, who)
