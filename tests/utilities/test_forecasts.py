from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest
import time_machine

from jobs.core import clock
from jobs.core.facts import Said
from jobs.core.models import ImportRun
from jobs.core.states import S
from tests.make import SYSTEM, make_job
from tests.utilities.made import make_past, make_request, make_service, make_utility
from utilities import forecasts, history, leadtimes, profile, requests, said, tasks, visits
from utilities.leadtimes import Calendars, History, OpenRequests
from utilities.models import Contact, FitRequest, Forecast, ForecastRun, Outcome, Utility
from utilities.workdays import WorkCalendar, date_of, day_number

pytestmark = pytest.mark.django_db

D = dt.date
AS_OF = D(2026, 11, 17)  # the day before the tests' present


def past(utility: Utility, *waits: int | None) -> list[FitRequest]:
    """One request each third day from 5 January on, fitted after so many days."""
    return [make_past(utility, filed_on=D(2026, 1, 5) + dt.timedelta(days=3 * row), waited=waited) for row, waited in enumerate(waits)]


def test_a_stored_forecast_is_what_the_core_says_when_asked_directly():
    utility = make_utility()
    past(utility, 40, 55, 61, 70, 84, 90, None, None)
    request = make_request(make_service(utility=utility), on=D(2026, 8, 3))

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    rows = list(FitRequest.objects.order_by("pk"))
    calendar = WorkCalendar("Monday to Friday")
    told = History.from_columns(
        utility=[0] * len(rows),
        filed=[day_number(row.filed_on) for row in rows],
        outcome=[leadtimes.FITTED if row.fitted_by else leadtimes.OPEN for row in rows],
        by=[day_number(row.fitted_by) if row.fitted_by else leadtimes.NO_DAY for row in rows],
    )
    day = day_number(AS_OF)
    first, last = leadtimes.span(told, day)
    calendars = Calendars.of([calendar.worked_between(date_of(first), date_of(last))], first)
    direct = leadtimes.forecast(
        leadtimes.fit(told, calendars, day), OpenRequests.from_columns(utility=[0], filed=[day_number(D(2026, 8, 3))])
    )
    kept = Forecast.objects.get(request=request)
    assert np.array_equal(leadtimes.unpack(kept.offsets), direct.offsets()[0])
    assert kept.p_never_millionths == round(float(direct.p_never[0]) * 1_000_000)
    shown = said.current(request)
    assert shown is not None
    assert shown.q50 == date_of(direct.q_at(50)[0])
    assert shown.q90 == date_of(direct.q_at(90)[0])
    assert said.chance_by(request, D(2026, 12, 15)) == pytest.approx(float(leadtimes.chance_by(direct, day_number(D(2026, 12, 15)))[0]))


def test_a_forecast_never_sees_the_future():
    utility = make_utility()
    rows = past(utility, 40, 55, 61, 70, 84, 90, 300, 310)
    request = make_past(utility, filed_on=D(2026, 8, 3), waited=None)
    as_of = D(2026, 10, 1)
    forecasts.refresh(as_of=as_of, rule="nightly")
    before = bytes(Forecast.objects.get(request=request).offsets)

    # What happened after the as-of day changes, and a request sent later is gone again.
    for row in rows[-2:]:
        row.ended_on = row.fitted_by = D(2026, 10, 2)
        row.save()
    make_past(utility, filed_on=D(2026, 10, 3), waited=2)
    forecasts.refresh(as_of=as_of, rule="nightly")

    assert bytes(Forecast.objects.get(request=request, newest=True).offsets) == before


def test_a_bracketed_and_a_withdrawn_request_count_as_such():
    utility = make_utility()
    past(utility, 40, 55, 61, 70, 84, 90)
    request = make_past(utility, filed_on=D(2026, 8, 3), waited=None)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    first = said.current(request)

    FitRequest.objects.filter(utility=utility, outcome=Outcome.FITTED).update(outcome=Outcome.CANCELLED, fitted_by=None)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    second = said.current(request)
    assert first is not None
    assert second is not None
    assert (first.why.own, first.why.pooled, second.why.own, second.why.pooled) == (6, False, 0, True)
    assert second.p_never > first.p_never


def test_half_and_nine_in_ten_stand_in_one_sentence():
    utility = make_utility()
    past(utility, *([30] * 5), *([60] * 5))
    request = make_past(utility, filed_on=D(2026, 11, 16), waited=None)

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    shown = said.current(request)
    assert shown is not None
    assert shown.sentence == f"half of such requests are fitted by {_words(shown.q50)}, nine in ten by {_words(shown.q90)}"
    assert re.fullmatch(r"From ten own fittings(, which count as \d+ today,)? and borrowed history worth \d+\.", shown.why.whole)


def _words(day: dt.date | None) -> str:
    assert day is not None
    return f"{day.day} {day:%B %Y}"


def test_a_day_far_away_is_said_as_later_than():
    assert said.day_words(None, as_of=D(2026, 11, 17)) == "later than November 2028"
    assert said.day_words(D(2029, 1, 3), as_of=D(2026, 11, 17)) == "later than November 2028"
    assert said.day_words(D(2028, 2, 28), as_of=D(2026, 2, 28)) == "28 February 2028"


def test_thin_history_is_said():
    utility, other = make_utility(), make_utility()
    past(other, 30, 40, 50, 60, 70, 80)
    past(utility, 200, 210)
    request = make_past(utility, filed_on=D(2026, 9, 1), waited=None)

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    shown = said.current(request)
    assert shown is not None
    assert (shown.why.own, shown.why.borrowed, shown.why.pooled, shown.why.thin) == (2, 6, True, True)
    assert shown.why.whole == "Only two requests are finished here, so these days come from all utilities together (eight fittings)."


def test_with_no_history_at_all_there_are_dates_and_a_warning():
    request = make_request(on=D(2026, 11, 2))

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    shown = said.current(request)
    assert shown is not None
    assert shown.q50 is not None
    assert shown.q50 > AS_OF
    assert shown.why.whole == "No request is finished anywhere yet, so these days say little."


def test_a_home_not_asked_for_yet_is_forecast_as_if_asked():
    utility = make_utility()
    past(utility, 40, 55, 61, 70, 84, 90)
    ready = make_service(utility=utility).job
    planned = make_service(make_job(S.GRID_TIED, request_planned_on=D(2026, 12, 7)), utility=utility).job
    building = make_service(make_job(install_on=D(2027, 1, 12)), utility=utility).job
    undecided = make_service(make_job(), utility=utility).job
    nowhere = make_job(S.GRID_TIED)

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    told = [said.if_asked(job) for job in (ready, planned, building)]
    assert all(isinstance(shown, said.Shown) and not shown.asked for shown in told)
    assert [shown.filed_on for shown in told if isinstance(shown, said.Shown)] == [D(2026, 11, 18), D(2026, 12, 7), D(2027, 1, 12)]
    assert isinstance(told[1], said.Shown)
    assert told[1].sentence.startswith("if asked by 7 December 2026, half of such requests are fitted by")
    assert said.if_asked(undecided) == "the planned install day"
    assert said.if_asked(nowhere) == "which utility serves the home"
    assert not Forecast.objects.filter(job=ready).get().first


def test_in_build_the_request_is_planned_by_the_contractors_own_median():
    utility = make_utility()
    # Commissioned on 4 May; asked 10, 30 and 50 days later: the median is 30.
    for days in (10, 30, 50):
        make_request(make_service(utility=utility), on=D(2026, 5, 4) + dt.timedelta(days=days))
    job = make_service(make_job(install_on=D(2026, 12, 1)), utility=utility).job

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    shown = said.if_asked(job)
    assert isinstance(shown, said.Shown)
    assert shown.filed_on == D(2026, 12, 31)


def test_when_the_request_is_sent_the_forecast_if_asked_is_gone():
    service = make_service()
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    request = make_request(service, on=D(2026, 11, 18))
    forecasts.refresh(as_of=AS_OF, rule="history changed", utilities=[service.utility.pk])

    assert not Forecast.objects.filter(job=service.job, newest=True).exists()
    shown = said.current(request)
    assert shown is not None
    assert (shown.filed_on, shown.asked) == (D(2026, 11, 18), True)


def test_what_was_said_is_kept_and_the_newest_is_read():
    utility = make_utility()
    past(utility, 40, 55, 61, 70, 84, 90)
    request = make_past(utility, filed_on=D(2026, 10, 1), waited=None)
    forecasts.refresh(as_of=D(2026, 11, 10), rule="nightly")
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    forecasts.refresh(as_of=D(2026, 11, 12), rule="replayed")

    kept = list(Forecast.objects.filter(request=request).order_by("as_of").values_list("as_of", "newest", "first"))

    assert kept == [(D(2026, 11, 10), False, True), (D(2026, 11, 12), False, False), (AS_OF, True, False)]
    assert said.current(request).as_of == AS_OF


def test_a_fitted_request_shows_no_forecast_any_more(theo):
    request = make_request(on=D(2026, 8, 3))
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    visits.confirm_fitting(request, by_on=D(2026, 11, 17), said_by=Said("homeowner"), by=theo)

    request.refresh_from_db()
    assert said.current(request) is None


def test_how_long_requests_wait_at_a_utility_is_stored_too():
    utility = make_utility()
    past(utility, 40, 55, 61, 70, 84, 90)

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    shown = said.of_utility(utility)
    assert shown is not None
    assert shown.filed_on == AS_OF
    assert shown.q50 is not None
    assert shown.q50 > AS_OF


def test_nights_old_and_without_a_use_are_taken_away():
    utility = make_utility()
    request = make_past(utility, filed_on=D(2026, 8, 3), waited=None)
    for day in (D(2026, 9, 1), D(2026, 9, 2), D(2026, 9, 6), D(2026, 11, 10), AS_OF):  # 6 September is a Sunday: Monday's run
        forecasts.refresh(as_of=day, rule="nightly")

    forecasts.prune(today=D(2026, 11, 18))

    kept = Forecast.objects.filter(request=request).order_by("as_of").values_list("as_of", flat=True)
    assert list(kept) == [D(2026, 9, 1), D(2026, 9, 6), D(2026, 11, 10), AS_OF]


def test_the_night_is_done_once_however_often_the_clock_strikes():
    make_utility()

    with time_machine.travel(dt.datetime(2026, 11, 18, 8, 10, tzinfo=dt.UTC), tick=False):  # 1:10 in Denver
        tasks.nightly()
    assert not ForecastRun.objects.filter(night_of__isnull=False).exists()
    for hour in (9, 10):
        with time_machine.travel(dt.datetime(2026, 11, 18, hour, 10, tzinfo=dt.UTC), tick=False):
            tasks.nightly()

    run = ForecastRun.objects.get(night_of__isnull=False)
    assert (run.night_of, run.as_of) == (D(2026, 11, 18), AS_OF)


def test_a_change_of_history_refreshes_the_utility_it_is_about(theo):
    busy, quiet = make_utility(), make_utility()
    with time_machine.travel(dt.datetime(2026, 11, 18, 10, 10, tzinfo=dt.UTC), tick=True):
        tasks.nightly()
        assert tasks.stale() == []

    request = make_request(make_service(utility=busy), on=D(2026, 11, 18))

    assert tasks.stale() == [busy.pk]
    tasks.refresh_stale()
    assert tasks.stale() == []
    assert said.current(request) is not None
    assert Forecast.objects.filter(utility=quiet).count() == 1

    profile.set_closures(quiet, first=D(2026, 12, 24), last=D(2026, 12, 31), kind="closed", by=SYSTEM)

    assert tasks.stale() == [quiet.pk]
    tasks.refresh_stale()

    # A day promised before the last forecasts' day moves them; one promised today is known from tonight on.
    requests.record_contact(request, on=D(2026, 11, 18), answered="before December", promised_by=D(2026, 11, 30), by=theo)
    assert tasks.stale() == []
    earlier = make_request(make_service(utility=busy), on=D(2026, 11, 2))
    tasks.refresh_stale()
    requests.record_contact(earlier, on=D(2026, 11, 16), answered="before December", promised_by=D(2026, 11, 30), by=theo)
    assert tasks.stale() == [busy.pk]


def test_no_forecast_is_made_between_the_rows_of_an_import():
    make_past(make_utility(), filed_on=D(2026, 8, 3), waited=None)
    run = ImportRun.objects.create(
        kind="requests", name="r.csv", sha256="0" * 64, by_name="tests", started_at=clock.now(), counts={"at": clock.now().isoformat()}
    )

    tasks.refresh_stale()
    assert not ForecastRun.objects.exists()

    run.finished_at = clock.now()
    run.save()
    tasks.refresh_stale()
    assert ForecastRun.objects.count() == 1


def test_a_sending_wakes_a_worker_once_it_stands(theo, django_capture_on_commit_callbacks, monkeypatch):
    woken = []
    monkeypatch.setattr("jobs.core.waking.current_app.send_task", lambda name, args: woken.append(name))
    service = make_service()

    with django_capture_on_commit_callbacks(execute=True):
        requests.record_sent(service, on=D(2026, 11, 17), by=theo)
        assert woken == []

    assert woken == ["utilities.tasks.refresh_stale"]


def test_a_night_without_any_utility_is_done_all_the_same():
    tasks.nightly()

    assert ForecastRun.objects.get().rows == 0
    assert not Forecast.objects.exists()


def test_a_closed_day_of_the_utility_is_no_day_of_fitting():
    utility = make_utility()
    past(utility, 10, 10, 10, 10, 10, 10)
    request = make_past(utility, filed_on=D(2026, 11, 16), waited=None)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    open_days = said.current(request)
    assert open_days is not None
    half = open_days.q50
    assert half is not None

    profile.set_closures(utility, first=half, last=half, kind="closed", by=SYSTEM)
    tasks.refresh_stale()

    closed = said.current(request)
    assert closed is not None
    assert half not in closed.days
    assert closed.q50 is not None
    assert closed.q50 > half


def test_what_a_utility_promised_is_read_once_with_its_window_and_without_what_was_withdrawn(theo):
    request, other = make_request(on=D(2026, 6, 3)), make_request(on=D(2026, 6, 3))
    visits.announce_visit(request, told_on=D(2026, 7, 1), window_from=D(2026, 7, 6), window_to=D(2026, 7, 10), by=theo)
    visits.announce_visit(request, told_on=D(2026, 7, 9), window_from=D(2026, 7, 20), window_to=D(2026, 7, 21), by=theo)  # moved
    requests.record_contact(other, on=D(2026, 8, 3), answered="by the end of the month", promised_by=D(2026, 8, 31), by=theo)
    mistaken = requests.record_contact(other, on=D(2026, 9, 3), answered="tomorrow", promised_by=D(2026, 9, 4), by=theo)
    Contact.objects.filter(pk=mistaken.pk).update(withdrawn=True)

    waits = history.read()

    told = [
        (waits.request[row], *(date_of(day) for day in days))
        for row, *days in zip(waits.promises.row, waits.promises.named_on, waits.promises.first, waits.promises.last, strict=True)
    ]
    assert told == [
        (request.pk, D(2026, 7, 1), D(2026, 7, 6), D(2026, 7, 10)),
        (request.pk, D(2026, 7, 9), D(2026, 7, 20), D(2026, 7, 21)),
        (other.pk, D(2026, 8, 3), D(2026, 8, 4), D(2026, 8, 31)),
    ]


def test_a_standing_promise_moves_the_forecast_and_stands_in_its_why(theo):
    utility = make_utility()
    past(utility, *([100, 120, 140, 160] * 3))
    promised, plain = (make_request(make_service(utility=utility), on=D(2026, 10, 5)) for _ in range(2))
    kept = make_request(make_service(utility=utility), on=D(2026, 8, 3))
    requests.record_contact(kept, on=D(2026, 9, 1), answered="this week", promised_by=D(2026, 9, 4), by=theo)
    requests.record_contact(promised, on=D(2026, 11, 16), answered="before December", promised_by=D(2026, 11, 30), by=theo)

    forecasts.refresh(as_of=AS_OF, rule="nightly")

    why = {row.request_id: row.why for row in Forecast.objects.filter(request__isnull=False)}
    assert why[promised.pk]["promise"] == ["2026-11-17", "2026-11-30"]
    assert why[plain.pk]["promise"] is None
    # The one of September has passed: it was not kept. The other still lies ahead.
    assert (why[plain.pk]["promises_kept"], why[plain.pk]["promises_made"]) == (0, 1)
    by_then = [said.chance_by(request, D(2026, 11, 30)) or 0 for request in (promised, plain)]
    assert by_then[0] > 2 * by_then[1]
