"""Generated over the registry: each act asks its right, and is done whole or not at all. test_races.py lets two press at once."""

from __future__ import annotations

import datetime as dt
import importlib
import pkgutil
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from pytest_django import DjangoDbBlocker

import billing
import jobs
import utilities
from jobs.core import actors
from jobs.core.acts import REGISTRY
from jobs.core.refusals import NotAllowed, OutOfSight
from jobs.core.rights import CREW, ROLES, VERIFIER
from tests.acts.examples import all_examples
from tests.acts.snapshot import snapshot
from tests.conftest import NOW
from tests.make import make_user


def _import_all() -> None:
    for package in (jobs, utilities, billing):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if ".migrations" not in module.name:
                importlib.import_module(module.name)


_import_all()
EXAMPLES = all_examples()
OFFICE = [name for name, example in EXAMPLES.items() if not example.link]


def test_each_act_has_an_example_and_each_example_an_act():
    assert set(EXAMPLES) == set(REGISTRY)


# Who touches mostly what is their own: a crew its homes, a verifier the own calls. The others do it on what anybody made.
WITH_OWN = {CREW, VERIFIER}


@dataclass(frozen=True)
class Made:
    """An act's example, made for the first role that may."""

    name: str
    by: actors.Actor
    thing: Any
    kwargs: dict[str, Any]
    before: dict[str, list[tuple[object, ...]]]  # all that the database held then

    def press(self, **more: Any) -> Any:
        return REGISTRY[self.name].function(self.thing, by=self.by, **self.kwargs, **more)


@pytest.fixture(scope="module", params=OFFICE)
def made(request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Made]:
    """Made once for all tests of the act; what a test does on it is rolled back, as ever."""
    name = request.param
    # A minute ago: each test begins at NOW again, and what it stands on is past by then.
    with django_db_blocker.unblock(), time_machine.travel(NOW - dt.timedelta(minutes=1), tick=True), transaction.atomic():
        by = actors.person(make_user(sorted(EXAMPLES[name].roles)[0]))
        thing, kwargs = EXAMPLES[name].make(by)
        yield Made(name, by, thing, kwargs, snapshot())
        transaction.set_rollback(True)


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_an_act_asks_its_right(made, role):
    example, function = EXAMPLES[made.name], REGISTRY[made.name].function
    by = made.by if role == sorted(example.roles)[0] else actors.person(make_user(role))

    if role in example.roles:
        thing, kwargs = example.make(by) if by is not made.by and role in WITH_OWN else (made.thing, made.kwargs)
        before = snapshot()
        try:
            function(thing, by=by, **kwargs)
        except OutOfSight:  # an import is for whoever began it
            thing, kwargs = example.make(by)
            before = snapshot()
            function(thing, by=by, **kwargs)
        assert snapshot() != before
    else:
        before = snapshot()
        with pytest.raises((NotAllowed, OutOfSight)):
            function(made.thing, by=by, **made.kwargs)
        assert snapshot() == before


class Broken(Exception):
    pass


class Breaks:
    """Lets the first n-1 writes pass and breaks the n-th; counts them all."""

    def __init__(self, at: int) -> None:
        self.at, self.seen = at, 0

    def __call__(self, execute, sql, params, many, context):
        if sql.lstrip().split(" ", 1)[0].upper() in {"INSERT", "UPDATE", "DELETE"}:
            self.seen += 1
            if self.seen == self.at:
                raise Broken
        return execute(sql, params, many, context)


@pytest.mark.django_db
def test_an_act_that_breaks_at_any_write_leaves_nothing(made):
    for n in range(1, 200):
        breaks = Breaks(n)
        with connection.execute_wrapper(breaks):
            try:
                made.press()
            except Broken:
                assert snapshot() == made.before, f"write {n} left something behind"
                continue
        assert breaks.seen == n - 1
        assert n > 1
        return
    pytest.fail("the act writes without end")


@pytest.mark.django_db
def test_the_same_key_sent_twice_is_done_once(made):
    first = made.press(key="made on the phone")
    before = snapshot()
    second = made.press(key="made on the phone")

    assert snapshot() == before
    assert second == first or not hasattr(first, "pk")
