"""Generated over the registry: each act asks its right, lets one of two win, and is done whole or not at all."""

from __future__ import annotations

import importlib
import pkgutil

import pytest
from django.db import connection

import billing
import jobs
import utilities
from jobs.core import actors
from jobs.core.acts import REGISTRY
from jobs.core.refusals import NotAllowed, OutOfSight
from jobs.core.rights import ROLES
from jobs.pages import reconcile
from tests.acts.examples import BOTH, all_examples
from tests.acts.snapshot import snapshot
from tests.make import make_user
from tests.races import race


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


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", OFFICE)
def test_an_act_asks_its_right(name, role):
    example = EXAMPLES[name]
    by = actors.person(make_user(role))
    thing, kwargs = example.make(by)
    before = snapshot()

    if role in example.roles:
        REGISTRY[name].function(thing, by=by, **kwargs)
        assert snapshot() != before
    else:
        with pytest.raises((NotAllowed, OutOfSight)):
            REGISTRY[name].function(thing, by=by, **kwargs)
        assert snapshot() == before


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("name", OFFICE)
def test_of_two_at_once_one_wins_or_both_stand(name):
    example = EXAMPLES[name]
    by = actors.person(make_user(sorted(example.roles)[0]))
    thing, kwargs = example.make(by)

    def press() -> str:
        REGISTRY[name].function(thing, by=by, **kwargs)
        return "done"

    answers = race(press, press)

    sentences = [answer for answer in answers if answer != "done"]
    if example.twice == BOTH:
        assert sentences == []
    else:
        assert len(sentences) == 1
        assert sentences[0].endswith(".")
    assert list(reconcile.breaches()) == []


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
@pytest.mark.parametrize("name", OFFICE)
def test_an_act_that_breaks_at_any_write_leaves_nothing(name):
    example = EXAMPLES[name]
    by = actors.person(make_user(sorted(example.roles)[0]))
    thing, kwargs = example.make(by)
    before = snapshot()

    for n in range(1, 200):
        breaks = Breaks(n)
        with connection.execute_wrapper(breaks):
            try:
                REGISTRY[name].function(thing, by=by, **kwargs)
            except Broken:
                assert snapshot() == before, f"write {n} left something behind"
                continue
        assert breaks.seen == n - 1
        assert n > 1
        return
    pytest.fail("the act writes without end")


@pytest.mark.django_db
@pytest.mark.parametrize("name", OFFICE)
def test_the_same_key_sent_twice_is_done_once(name):
    example = EXAMPLES[name]
    by = actors.person(make_user(sorted(example.roles)[0]))
    thing, kwargs = example.make(by)

    first = REGISTRY[name].function(thing, by=by, key="made on the phone", **kwargs)
    before = snapshot()
    second = REGISTRY[name].function(thing, by=by, key="made on the phone", **kwargs)

    assert snapshot() == before
    assert second == first or not hasattr(first, "pk")
