"""Stored forecasts against what became of the requests: which are judged, by what was known, and under which heading."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import time_machine

from jobs.core import clock
from tests.utilities.made import make_past, make_utility
from utilities import forecasts, leadtimes, scoring, tasks
from utilities.models import FitRequest, Forecast, ForecastRun, Outcome, Score, Utility
from utilities.models.scores import Source

pytestmark = pytest.mark.django_db

D = dt.date
TODAY = D(2026, 11, 18)  # the tests' present; known up to the 17th
SUNDAY = D(2026, 8, 2)
NEARLY = 0.021  # 1 - 0.99 x 0.99, and a little for the last hundredth's way to the horizon


def said(request: FitRequest, *, days: int, as_of: dt.date = SUNDAY, rule: str = "nightly") -> Forecast:
    """A forecast that is certain of a day."""
    run, _ = ForecastRun.objects.get_or_create(as_of=as_of, rule=rule, defaults={"begun_at": clock.now(), "method": forecasts.METHOD})
    return Forecast.objects.create(
        run=run,
        utility=request.utility,
        request=request,
        as_of=as_of,
        filed_on=request.filed_on,
        offsets=leadtimes.pack(np.full(99, days)),
        p_never_millionths=0,
        newest=False,
    )


def waiting(utility: Utility, *, filed: int, fitted: int | None = None, outcome: str = "") -> FitRequest:
    """Filed so many days before the Sunday; ended so many days after it."""
    waited = None if fitted is None else filed + fitted
    return make_past(utility, filed_on=SUNDAY - dt.timedelta(days=filed), waited=waited, outcome=outcome)


def told(source: Source = Source.SAID, utility: Utility | None = None) -> scoring.Table:
    scoring.rescore(today=TODAY)
    found = scoring.table(source, utility)
    assert found is not None
    return found


@pytest.fixture
def every_day() -> Utility:
    """Its calendar days are its working days, so that sums can be done by hand."""
    return make_utility(worked_weekdays=list(range(7)), holidays="none")


def test_open_and_fitted_homes_are_judged_by_what_is_known(every_day):
    said(waiting(every_day, filed=10, fitted=14), days=10)  # four days late
    said(waiting(every_day, filed=40, fitted=6), days=10)  # four days early
    said(waiting(every_day, filed=95), days=10)  # not yet, after the 107 days that are known: 98 days of error

    table = told()

    ours = table.whole.ours
    assert (table.days, table.first_on, table.last_on, table.whole.homes) == (1, SUNDAY, SUNDAY, 3)
    # On the day itself F is 0.99, its last kept quantile: errors of 0.9801 a day.
    assert ours.mean_crps == pytest.approx((4 + 4 + 98) / 3, rel=NEARLY)
    assert ours.median_error == pytest.approx((4 + 4 + 97) / 3)
    assert ours.coverage.tolist() == pytest.approx([1 / 3] * 3)
    assert ours.passed.tolist() == [3, 3, 3]
    assert {name: part.n for name, part in table.leads()} == {"0 to 30": 1, "31 to 90": 1, "91 or more": 1}
    assert [(month, part.n) for month, part in table.months()] == [("2026-08", 3)]


def test_each_utility_stands_by_itself_and_all_together(every_day):
    other = make_utility(worked_weekdays=list(range(7)), holidays="none")
    quiet = make_utility()
    said(waiting(every_day, filed=10, fitted=14), days=10)
    said(waiting(other, filed=10, fitted=30), days=10)

    assert told().whole.ours.mean_crps == pytest.approx((4 + 20) / 2, rel=NEARLY)
    assert told(utility=other).whole.ours.mean_crps == pytest.approx(20, rel=NEARLY)
    assert told(utility=quiet).whole.n == 0
    assert [utility for utility, part in scoring.by_utility(Source.SAID)] == sorted([every_day, other], key=lambda row: row.name)


def test_the_spreadsheet_and_kaplan_meier_are_judged_on_the_same_homes(every_day):
    # Finished before that Sunday after 20 and 40 days: the mean is 30. Of two fittings the curve is all utilities' together.
    for waited in (20, 40):
        make_past(every_day, filed_on=D(2026, 3, 1), waited=waited)
    said(waiting(every_day, filed=10, fitted=24), days=10)

    whole = told().whole

    assert whole.spreadsheet.mean_crps == pytest.approx(4)  # named: 20 days after the Sunday
    assert whole.ours.mean_crps == pytest.approx(14, rel=NEARLY)
    assert whole.ours.skill(whole.spreadsheet) == pytest.approx(1 - 14 / 4, abs=14 / 4 * NEARLY)
    assert whole.kaplan_meier.n == 1
    assert 0 < whole.kaplan_meier.mean_crps < 40


def test_what_was_said_and_what_is_replayed_are_never_mixed(every_day):
    request = waiting(every_day, filed=10, fitted=14)
    said(request, days=10)
    said(request, days=14, rule="replayed")

    assert told(Source.SAID).whole.ours.mean_crps == pytest.approx(4, rel=NEARLY)
    assert told(Source.REPLAYED).whole.ours.mean_crps == pytest.approx(0, abs=0.01)


def test_what_an_older_method_replayed_is_not_judged_as_todays(every_day):
    said(waiting(every_day, filed=10, fitted=14), days=10, rule="replayed")
    assert told(Source.REPLAYED).whole.n == 1

    ForecastRun.objects.update(method="an older one")

    assert told(Source.REPLAYED).whole.n == 0


def test_only_mondays_runs_that_were_followed_for_four_weeks_are_judged(every_day):
    request = waiting(every_day, filed=10, fitted=100)
    said(request, days=10, as_of=SUNDAY + dt.timedelta(days=1))  # Tuesday's
    said(request, days=10, rule="history changed")
    said(request, days=10, as_of=D(2026, 10, 25))  # followed for 23 days
    assert told().whole.n == 0

    said(request, days=10, as_of=D(2026, 10, 18))

    table = told()
    assert (table.whole.n, table.first_on) == (1, D(2026, 10, 18))


def test_of_two_runs_of_a_day_the_later_one_counts(every_day):
    request = waiting(every_day, filed=10, fitted=14)
    said(request, days=10)
    again = said(request, days=13)
    run = ForecastRun.objects.create(as_of=SUNDAY, rule="nightly", begun_at=clock.now(), method="by hand")
    Forecast.objects.filter(pk=again.pk).update(run=run)

    assert told().whole.ours.mean_crps == pytest.approx(1, rel=NEARLY)


def test_a_home_found_to_have_been_fitted_before_is_left_out_and_counted(every_day):
    said(waiting(every_day, filed=10, fitted=14), days=10)
    late = waiting(every_day, filed=10)
    said(late, days=10)
    FitRequest.objects.filter(pk=late.pk).update(outcome=Outcome.FITTED, ended_on=SUNDAY, fitted_by=SUNDAY)

    table = told()

    assert (table.whole.n, table.left_out) == (1, 1)
    assert told(utility=every_day).left_out == 1


def test_a_request_sent_on_the_monday_itself_is_no_part_of_it(every_day):
    request = make_past(every_day, filed_on=SUNDAY + dt.timedelta(days=1), waited=9)
    said(request, days=10)

    table = told()

    assert (table.whole.n, table.left_out) == (0, 0)


def test_a_cancelled_home_weighs_nothing_and_the_others_more(every_day):
    said(waiting(every_day, filed=10, fitted=14), days=10)
    said(waiting(every_day, filed=10, fitted=5, outcome=Outcome.CANCELLED), days=10)

    ours = told().whole.ours

    assert ours.n == 2
    assert ours.passed.tolist() == [1, 1, 1]
    assert ours.weight == pytest.approx(2)
    # Up to day 4 both are there, from day 5 on one stands for two: errors on days 10 to 13.
    assert ours.mean_crps == pytest.approx(4, rel=NEARLY)


def test_scores_are_worked_out_once_a_night_and_pages_read_what_is_stored(every_day):
    said(waiting(every_day, filed=10, fitted=14), days=10)
    assert scoring.table(Source.SAID) is None

    with time_machine.travel(dt.datetime(2026, 11, 18, 8, 40, tzinfo=dt.UTC), tick=False):  # 1:40 in Denver
        assert tasks.score() == "nothing has changed"
    with time_machine.travel(dt.datetime(2026, 11, 18, 9, 40, tzinfo=dt.UTC), tick=False):
        assert tasks.score() == "1 forecasts judged"
        assert tasks.score() == "nothing has changed"

    table = scoring.table(Source.SAID)
    assert table is not None
    assert (table.whole.n, table.known_to) == (1, D(2026, 11, 17))
    assert Score.objects.count() == 3  # all and the utility, and that there is nothing replayed


def test_without_any_history_there_are_scores_of_nothing():
    assert scoring.rescore(today=TODAY) == 0
    table = scoring.table(Source.REPLAYED)
    assert table is not None
    assert (table.whole.n, table.months(), table.leads()) == (0, [], [])


def test_the_forecasts_of_the_application_itself_are_judged(every_day):
    for row in range(12):
        make_past(every_day, filed_on=D(2026, 2, 1) + dt.timedelta(days=7 * row), waited=100 + 5 * row)
    waiting(every_day, filed=10, fitted=50)
    forecasts.refresh(as_of=SUNDAY, rule="nightly")

    whole = told().whole

    assert whole.n == 6  # the last five of them, and the one open before: 7 x row + 100 + 5 x row > 182
    assert 0 < whole.ours.mean_crps < 60
