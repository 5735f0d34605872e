"""How often a page asks the database: as often for fifty rows as for five."""

from __future__ import annotations

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.core.actors import Actor
from tests.make import user_of


def signed_in(client: Client, who: Actor) -> Client:
    client.force_login(user_of(who), backend="django.contrib.auth.backends.ModelBackend")
    return client


def counted(client: Client, url: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        response = client.get(url)
    assert response.status_code == 200
    return len(asked)
