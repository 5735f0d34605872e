"""Health for the machines that watch."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import OperationalError, connection

from jobs.core import clock
from jobs.core.models import Heartbeat


def test_alive_touches_no_database(client):
    # Without the django_db mark every query fails the test.
    answer = client.get("/health/live")

    assert (answer.status_code, answer.content) == (200, b"alive\n")


@pytest.mark.django_db
def test_ready_shows_the_age_of_the_heartbeat(client):
    assert client.get("/health/ready").json() == {"database": "answers", "heartbeat_age_seconds": None}
    Heartbeat.objects.create(name="worker", at=clock.now() - dt.timedelta(seconds=75))

    answer = client.get("/health/ready")

    assert answer.status_code == 200
    assert 75 <= answer.json()["heartbeat_age_seconds"] <= 80


@pytest.mark.django_db
def test_not_ready_while_the_database_is_away(client, monkeypatch):
    def away() -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(connection, "ensure_connection", away)

    answer = client.get("/health/ready")

    assert (answer.status_code, answer.json()) == (503, {"database": "away"})
