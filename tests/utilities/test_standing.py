"""Which open requests are past a published limit, found without reading those that wait within theirs."""

import datetime as dt
import itertools

import pytest

from jobs.core import clock
from jobs.core import kinds as k
from jobs.core.states import S
from tests.make import make_job, put
from tests.utilities.made import make_request, make_service, make_utility
from utilities import requests, standing
from utilities.models import FitRequest, Outcome
from utilities.terms import BEGINS, CALENDAR, STEPS, Limit


@pytest.mark.django_db
def test_only_requests_that_may_be_over_are_read_and_none_that_is_over_is_missed():
    """Each step, counted from each day, of requests in each stand: what Today reads beside every request looked at by itself."""
    today, permitted, plain = dt.date(2026, 11, 18), make_job(S.GRID_TIED), make_job(S.GRID_TIED)
    put(permitted, k.PERMISSION_TO_OPERATE, on=dt.date(2026, 11, 10))
    for step, begins in itertools.product(STEPS, BEGINS):
        limits = (
            Limit(step, "a source", days=5, counts=CALENDAR, begins=begins),
            Limit("complete", "a source", days=10, counts=CALENDAR),
            Limit(step, "a source", words="soon"),
        )
        utility = make_utility(limits=limits)
        for job, days, said in itertools.product((permitted, plain), (6, 11), ("", "seen", "complete")):
            FitRequest.objects.create(
                code=requests.fresh_code(), utility=utility, job=job, filed_on=today - dt.timedelta(days), version=utility.versions.get(),
                acknowledged_on=today if said else None, complete_on=today - dt.timedelta(1) if said == "complete" else None,
                recorded_at=clock.now(), changed_at=clock.now(), outcome=Outcome.OPEN, recorded_by_name="tests",
            )  # fmt: skip
    rows = FitRequest.objects.all()

    over = {(one.pk, told.limit.step, told.over) for one, told in standing.over(rows)}

    by_itself = {
        (one.pk, told.limit.step, told.over)
        for one in rows.open().select_related("version", "utility")
        for told in standing.of_request(one)
        if told.over and told.met_on is None
    }
    assert over == by_itself
    assert len({pk for pk, _, _ in over}) > 60
    within = make_utility(limits=(Limit("connect", "a source", days=60),))
    request = make_request(make_service(utility=within), on=dt.date(2026, 11, 2))
    assert request.version_id is not None
    assert not standing._may_be_over(rows.filter(pk=request.pk), {request.version_id: (Limit("connect", "a source", days=60),)})
