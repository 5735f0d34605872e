from __future__ import annotations

from functools import partial

import pytest
from django.contrib.auth.models import Group

from jobs.core import actors, dayone, homefacts, links
from jobs.core import kinds as k
from jobs.core.models import Fact, IdempotencyKey, Trace
from jobs.core.refusals import NotAllowed, OutOfSight, Refused
from jobs.core.rights import RIGHTS, ROLES
from tests.make import DAY_ONE, make_job
from tests.races import race

pytestmark = pytest.mark.django_db


def test_the_migration_gives_each_group_the_rights_of_the_table():
    for role in ROLES:
        held = set(Group.objects.get(name=role).permissions.values_list("codename", flat=True))
        assert held == {name for name, (_, roles) in RIGHTS.items() if role in roles}


def test_an_act_leaves_one_trace_with_who_what_and_from_where(joel, crew):
    job = make_job(crew=crew)
    before = Trace.objects.count()

    dayone.record_commissioned(job, on=DAY_ONE, by=joel)

    assert Trace.objects.count() == before + 1
    trace = Trace.objects.last()
    assert (trace.actor, trace.act, trace.job_id, trace.source) == ("Joel Amadi", "jobs.core.dayone.record_commissioned", job.pk, "page")


def test_the_same_key_with_other_contents_is_refused(dana):
    job = make_job()
    first = dayone.record_commissioned(job, on=DAY_ONE, by=dana, key="k1")

    assert dayone.record_commissioned(job, on=DAY_ONE, by=dana, key="k1") == first
    with pytest.raises(Refused, match="other contents"):
        dayone.record_installed(job, on=DAY_ONE, by=dana, key="k1")

    assert Fact.objects.filter(job=job).count() == 1


def test_a_key_of_a_refused_act_may_be_used_again(dana):
    job = make_job()
    with pytest.raises(Refused):
        homefacts.open_emergency(job, what="", by=dana, key="k2")

    homefacts.open_emergency(job, what="smoke", by=dana, key="k2")

    assert IdempotencyKey.objects.filter(key="k2").count() == 1


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_one_key_pressed_twice_at_once_records_one_fact(dana):
    job = make_job()

    def press() -> int:
        return dayone.record_commissioned(job, on=DAY_ONE, by=dana, key="phone-1").pk

    one, other = race(press, press)

    assert one == other
    assert job.facts.of_kind(k.COMMISSIONED).count() == 1


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_a_serial_wanted_by_two_homes_at_once_goes_to_one(dana):
    jobs = [make_job(), make_job()]

    def register(job) -> str:
        dayone.record_collar_registered(job, on=DAY_ONE, serial="LL-515151", by=dana)
        return "done"

    answers = race(*(partial(register, job) for job in jobs))

    assert sorted(answer == "done" for answer in answers) == [False, True]
    assert Fact.objects.of_kind(k.COLLAR_REGISTERED).count() == 1


def test_a_links_holder_may_do_one_thing_on_one_home_only():
    job, other = make_job(), make_job()
    person = job.parties.first().person
    by = actors.link(links.opened(links.make("call", job=job, person=person), purpose="call"))

    with pytest.raises(NotAllowed):
        dayone.record_commissioned(job, on=DAY_ONE, by=by)
    assert actors.sees(by, job)
    assert not actors.sees(by, other)


def test_a_person_who_has_left_may_do_nothing(dana):
    job = make_job()
    assert dana.user is not None
    dana.user.is_active = False

    with pytest.raises(NotAllowed):
        dayone.record_commissioned(job, on=DAY_ONE, by=dana)


def test_a_stranger_to_a_job_is_told_that_there_is_none(joel, crew):
    with pytest.raises(OutOfSight):
        homefacts.open_emergency(make_job(), what="smoke", by=joel)


def test_a_key_that_no_page_of_ours_makes_is_refused_and_no_error(dana):
    job = make_job()
    for key in ("x" * 121, "a\x00b"):
        with pytest.raises(Refused, match="Open the page anew"):
            dayone.record_installed(job, on=DAY_ONE, by=dana, key=key)
