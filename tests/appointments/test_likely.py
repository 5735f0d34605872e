"""Homes likely ready and the hours ahead, from forecasts that are stored. Pages never fit."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.appointments import demand, keeping, likely, worklists
from jobs.appointments.times import Wish
from jobs.core import expiring, homefacts
from jobs.core.models import Job
from tests.appointments.homes import TOMORROW, give_hours, ready_job
from tests.appointments.test_pages import client_of
from tests.appointments.test_plan_page import text
from tests.billing.made import plan
from tests.make import user_of
from tests.utilities.made import job_of, make_past, make_request, make_service, make_utility
from utilities import forecasts, outlooks, said

pytestmark = pytest.mark.django_db

D = dt.date
AS_OF = D(2026, 11, 17)
BY = D(2026, 12, 2)  # two weeks after the tests' present


@pytest.fixture
def waiting() -> list[Job]:
    """At one utility that took 40 to 62 days: homes asked for from long ago to this week."""
    utility = make_utility()
    for number in range(60):
        make_past(utility, filed_on=D(2026, 3, 2) + dt.timedelta(days=3 * number), waited=40 + 7 * number % 23)
    asked = [D(2026, 10, 1), D(2026, 10, 6), D(2026, 10, 12), D(2026, 10, 30), D(2026, 11, 12)]
    return [job_of(make_request(make_service(utility=utility), on=on)) for on in asked]


def test_a_home_is_likely_ready_where_its_stored_chance_is_a_half_or_more(waiting, theo, monkeypatch):
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    monkeypatch.setattr("utilities.leadtimes.fit", None)  # a page that fitted would break

    rows = likely.likely(Job.objects.all())

    chances = {job: said.chance_by(job.fit_requests.get(), BY) or 0 for job in waiting}
    assert {row.job for row in rows} == {job for job, chance in chances.items() if chance >= 0.5}
    assert 0 < len(rows) < len(waiting)
    assert all(row.chance == pytest.approx(chances[row.job]) for row in rows)
    page = text(client_of(theo).get(reverse("calls_ready")).content.decode())
    assert f"{len(rows)} Likely ready in the next two weeks" in page
    assert f"{round(100 * rows[0].chance)} in 100" in page


def test_a_hold_on_calls_or_a_medical_yes_leaves_a_home_out_and_a_tentative_time_stands_beside_it(waiting, theo, mara):
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    first, second, *_ = (row.job for row in likely.likely(Job.objects.all()))
    kept = keeping.hold_time(second, verifier=give_hours(user_of(mara)), wish=Wish(BY, dt.time(10)), by=theo)

    homefacts.hold(first, kind="storm", stops=["calls"], review_on=TOMORROW, reason="ice", by=theo)

    rows = {row.job: row for row in likely.likely(Job.objects.all())}
    assert first not in rows
    assert rows[second].kept == kept
    assert kept.chance_millionths == pytest.approx(1_000_000 * rows[second].chance, abs=2)
    assert "when it was kept" in client_of(theo).get(reverse("calls_ready")).content.decode()


def test_hours_ahead_hold_the_stored_weeks_against_free_places(waiting, theo, mara):
    assert "No forecast is stored yet" in client_of(theo).get(reverse("calls_hours_ahead")).content.decode()
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    ready_job()
    give_hours(user_of(mara), start=9, end=10)

    told = demand.hours_ahead(Job.objects.all())

    assert told is not None
    assert told.mondays == tuple(D(2026, 11, 16) + dt.timedelta(weeks=number) for number in range(13))
    # One place a day. Of this week Thursday to Sunday are ahead; Thanksgiving, Christmas and New Year's Day are closed (TRADE.md H1, H2).
    assert [week.places for week in told.ahead.weeks] == [4, 6, 7, 7, 7, 6, 6, 7, 7, 6, 7, 7, 7]
    # Nothing was held yet: the first guesses stand, a week from collar to call and 1.2 calls a home.
    assert (told.waiting, told.lag_weeks) == (1, 1)
    assert told.calls_a_home == pytest.approx(1.2)
    means = [mean for _, mean, _ in outlooks.spread_together()]
    assert [week.expected for week in told.ahead.weeks[1:]] == pytest.approx([1.2 * mean for mean in means[:12]], abs=0.05)
    assert "Hours likely suffice in all these weeks" in client_of(theo).get(reverse("calls_hours_ahead")).content.decode()


def test_without_hours_they_fall_short_in_the_first_week(waiting, theo):
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    ready_job()

    page = text(client_of(theo).get(reverse("calls_hours_ahead")).content.decode())

    assert "Hours fall short in the week of 16 November 2026, with a chance of 100 in 100." in page


def test_a_paper_that_expires_soon_makes_a_days_delay_dearer(dana):
    """By hand: a hundredth of $31,234.57 is $312.35 for the permit inside thirty days; the one of next year counts nothing."""
    job = ready_job()
    plan(job, contract_minor=3_123_457)
    for kind, day in (("permit", D(2026, 12, 10)), ("incentive", D(2027, 3, 1))):
        expiring.add_paper(job, kind=kind, issued_on=D(2026, 1, 5), expires_on=day, by=dana)

    [row] = worklists.lists(Job.objects.all()).ready

    assert [part.amount_minor for part in row.worth.parts if part.words.startswith("1 paper")] == [31_235]
