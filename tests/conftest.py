"""People: one of each role."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.db import connections
from pytest_django.plugin import DjangoDbBlocker

from jobs.core import actors, rights
from jobs.core.models import Crew, CrewMember
from tests import database
from tests.make import make_user

# The tests' present, but for those that say another: noon in the office of a Wednesday.
NOW = dt.datetime(2026, 11, 18, 18, 0, tzinfo=dt.UTC)


@pytest.fixture(autouse=True, scope="session")
def _quick() -> None:
    # The real hash is slow on purpose; a person is made in most tests.
    from django.conf import settings

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # Else every client looks through all fonts and styles at its first page; so they are looked for when asked for.
    settings.WHITENOISE_AUTOREFRESH = True


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """In place of pytest-django's, which migrates each time."""
    with django_db_blocker.unblock():
        database.prepare()
    yield
    with django_db_blocker.unblock():
        connections.close_all()


@pytest.fixture(autouse=True)
def _today(request: pytest.FixtureRequest):
    if request.node.get_closest_marker("real_clock"):
        yield
        return
    with time_machine.travel(NOW, tick=True):
        yield


@pytest.fixture
def dana(db: None) -> actors.Actor:
    """The operations manager."""
    return actors.person(make_user(rights.MANAGER, "Dana Ruiz"))


@pytest.fixture
def theo(db: None) -> actors.Actor:
    """The scheduler."""
    return actors.person(make_user(rights.SCHEDULER, "Theo Lindgren"))


@pytest.fixture
def farida(db: None) -> actors.Actor:
    """Finance."""
    return actors.person(make_user(rights.FINANCE, "Farida Novak"))


@pytest.fixture
def mara(db: None) -> actors.Actor:
    """A verifier."""
    return actors.person(make_user(rights.VERIFIER, "Mara Quist", languages=["en", "es"]))


@pytest.fixture
def crew(db: None) -> Crew:
    return Crew.objects.create(name="North crew")


@pytest.fixture
def joel(crew: Crew) -> actors.Actor:
    """Of the north crew."""
    user = make_user(rights.CREW, "Joel Amadi")
    CrewMember.objects.create(crew=crew, user=user, from_on=dt.date(2026, 1, 1))
    return actors.person(user)
