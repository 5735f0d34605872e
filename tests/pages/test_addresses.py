"""Who may open and press what: the table beside the URL configuration, role by role."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from jobs.core.models import User
from jobs.core.rights import ROLES
from tests.make import make_user
from tests.pages.addresses import STRANGERS, Row, named, table

TABLE = table()
WHO = ("stranger", *ROLES)


def test_each_address_has_a_row_and_each_row_an_address():
    assert set(named()) == set(TABLE)


def _client(who: str) -> tuple[Client, User | None]:
    client = Client()
    if who == "stranger":
        return client, None
    user = make_user(who)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client, user


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
@pytest.mark.parametrize("name", TABLE)
def test_who_may_open_and_press(name, who):
    row = TABLE[name]
    client, user = _client(who)
    address = reverse(name, kwargs=row.kwargs(user) or None)

    opened = client.get(address, row.query)
    _expect(opened, row, row.get, who)
    if row.get is not None and who in row.get and who not in STRANGERS and opened.status_code == 200:
        assert "Content-Security-Policy" in opened.headers
    pressed = client.post(address, {})
    _expect(pressed, row, row.post, who)
