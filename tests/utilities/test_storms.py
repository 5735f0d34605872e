"""A storm declared for a utility and an area: what rests, what goes on, and the wait with and without its days."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine

from jobs.core import homefacts
from jobs.core.models import Hold
from jobs.core.models.holds import HoldKind, Stops
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.make import SYSTEM, make_job, user_of
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import attention, deskday, meters, storms
from utilities.models import FitRequest, Storm, Utility

pytestmark = pytest.mark.django_db

D = dt.date
TODAY = D(2026, 11, 18)
WEEK = D(2026, 11, 25)


def declare(utility: Utility, **given: object) -> Storm:
    return storms.declare_storm(utility, source="its own notice of outages", review_on=WEEK, by=SYSTEM, **given)  # type: ignore[arg-type]


def test_every_home_under_way_rests_and_none_that_is_finished_or_elsewhere():
    utility = make_utility()
    request = make_request(make_service(utility=utility), on=D(2026, 10, 1))
    done = make_service(make_job(S.BACKUP_VERIFIED), utility=utility)
    elsewhere = make_service()

    storm = declare(utility)

    assert [hold.job for hold in Hold.objects.all()] == [request.job]
    assert homefacts.stopped(job_of(request)) == {Stops.CALLS, Stops.REMINDERS, Stops.UTILITY}
    assert not homefacts.stopped(done.job) | homefacts.stopped(elsewhere.job)
    assert deskday.desks(FitRequest.objects.all(), today=TODAY) == []
    assert Hold.objects.get().cause == storm.cause


def test_a_home_that_joins_later_is_held_too_and_all_are_lifted_together(dana):
    utility = make_utility()
    first = make_service(utility=utility)
    storm = declare(utility)
    later = make_service(utility=utility)
    wish = homefacts.hold(first.job, kind=HoldKind.WISH, stops=[Stops.CALLS], review_on=WEEK, reason="on holiday", by=dana)
    assert Stops.REMINDERS in homefacts.stopped(later.job)

    assert storms.lift_storm(storm, by=dana) == 2

    assert homefacts.stopped(later.job) == frozenset()
    assert list(Hold.objects.filter(lifted_at__isnull=True)) == [wish]
    storm.refresh_from_db()
    with pytest.raises(Refused, match="was lifted on 18 November 2026 by Dana Ruiz"):
        storms.lift_storm(storm, by=dana)
    assert homefacts.stopped(make_service(utility=utility).job) == frozenset()


def test_a_storm_over_one_area_leaves_the_others_alone_and_follows_a_home_that_is_moved_into_it():
    utility = make_utility()
    north, south = utility.districts.create(name="North"), utility.districts.create(name="South")
    inside, outside = make_service(utility=utility, district=north), make_service(utility=utility, district=south)

    declare(utility, district=north)

    assert homefacts.stopped(inside.job)
    assert not homefacts.stopped(outside.job)
    with pytest.raises(Refused, match="A storm stands at"):
        declare(utility, district=north)
    meters.change_service(outside, district=north, meter_number="1", meter_form="", account_number="", by=SYSTEM)
    assert homefacts.stopped(outside.job)


def test_a_storm_that_nobody_lifted_comes_back_on_its_day(dana):
    storm = declare(make_utility())

    def to_review() -> int:
        sections = attention.for_user(user_of(dana)).sections
        return next(section.count for section in sections if section.name == "storms")

    assert to_review() == 0
    with time_machine.travel(dt.datetime(2026, 11, 25, 18, tzinfo=dt.UTC)):
        assert to_review() == 1
        storms.review_storm(storm, review_on=D(2026, 12, 2), by=dana)
        assert to_review() == 0
    for day in (TODAY, D(2027, 3, 1)):
        with pytest.raises(Refused, match="within 60 days"):
            storms.review_storm(storm, review_on=day, by=dana)


def test_the_wait_is_said_whole_and_the_days_of_the_storm_beside_it():
    # By hand: sent on 1 October; storms stood 5 to 8 October (4 days), 8 to 10 October (2 more), from 16 November on (3 until the 18th).
    utility = make_utility()
    request = make_request(make_service(utility=utility), on=D(2026, 10, 1))
    for first, last in ((D(2026, 10, 5), D(2026, 10, 8)), (D(2026, 10, 8), D(2026, 10, 10)), (D(2026, 11, 16), None)):
        Storm.objects.create(
            utility=utility, from_on=first, lifted_on=last, lifted_at=None if last is None else dt.datetime(2026, 11, 1, tzinfo=dt.UTC),
            review_on=WEEK, source="its notice", declared_at=dt.datetime(2026, 10, 5, tzinfo=dt.UTC), declared_by_name="Dana Ruiz",
        )  # fmt: skip

    assert storms.held_days(request, Storm.objects.all(), today=TODAY) == 9
    assert storms.net_words(request, today=TODAY) == "39 without the nine days of storm"
    assert storms.held_days(request, [], today=TODAY) == 0
