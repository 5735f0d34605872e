"""What each run stores of a utility as a whole, and what pages read of it."""

from __future__ import annotations

import datetime as dt

import pytest

from tests.make import make_user
from tests.utilities.made import make_past, make_request, make_service, make_utility
from utilities import attention, forecasts, leadtimes, outlooks, said
from utilities.leadtimes import alarm
from utilities.models import FitRequest, Forecast, Outlook, Utility
from utilities.waitcurve import WaitCurve

pytestmark = pytest.mark.django_db

D = dt.date
AS_OF = D(2026, 11, 17)  # a Tuesday, the day before the tests' present


def steady(utility: Utility, *, stops: dt.date | None = None) -> None:
    """Three requests a week, each fitted after 29 to 48 days; from `stops` on nothing is fitted."""
    for number in range(3 * 78):
        filed = D(2025, 5, 5) + dt.timedelta(days=7 * (number // 3))
        waited = 29 + number * 7 % 20
        ended = filed + dt.timedelta(days=waited)
        make_past(utility, filed_on=filed, waited=None if ended > AS_OF or (stops and ended >= stops) else waited)


def test_a_run_stores_the_curve_and_the_weeks_of_each_utility():
    utility = make_utility()
    for number in range(10):
        make_past(utility, filed_on=D(2026, 1, 5) + dt.timedelta(days=3 * number), waited=40 + 5 * number)
    for number in range(8):
        make_past(utility, filed_on=D(2026, 9, 1) + dt.timedelta(days=4 * number), waited=None)
    empty = make_utility()

    run = forecasts.refresh(as_of=AS_OF, rule="nightly")

    row = Outlook.objects.get(utility=utility)
    assert (row.run, row.as_of) == (run, AS_OF)
    curve = WaitCurve.from_json(row.curve)
    assert (curve.fitted, curve.waiting) == (10, 8)
    assert [week["week"] for week in row.weeks[:3]] == ["2026-11-16", "2026-11-23", "2026-11-30"]
    assert len(row.weeks) == 14
    # A week's mean is what the stored dates of its requests say, less a little for those that may end without fitting (here none).
    requests = list(FitRequest.objects.open().filter(utility=utility))
    by = [sum(said.chance_by(request, day) or 0 for request in requests) for day in (D(2026, 11, 22), D(2026, 11, 29))]
    assert row.weeks[1]["mean"] == pytest.approx(by[1] - by[0], abs=1e-4)
    # Of the week that has begun, what is left of it.
    assert row.weeks[0]["mean"] == pytest.approx(by[0], abs=1e-4)
    assert row.weeks[0]["low"] <= row.weeks[0]["mean"] <= row.weeks[0]["high"]
    assert all(week["mean"] == 0 for week in Outlook.objects.get(utility=empty).weeks)


def test_the_weeks_of_several_utilities_add_up():
    for wait in (30, 60):
        utility = make_utility()
        for number in range(12):
            make_past(utility, filed_on=D(2026, 1, 5) + dt.timedelta(days=3 * number), waited=wait + number)
            make_past(utility, filed_on=D(2026, 9, 20) + dt.timedelta(days=4 * number), waited=None)
    assert outlooks.weeks_together() == []
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    told = outlooks.weeks_together()

    rows = list(Outlook.objects.all())
    assert [week["week"] for week in told] == [D(2026, 11, 16) + dt.timedelta(weeks=number) for number in range(14)]
    assert told[0]["mean"] == pytest.approx(sum(row.weeks[0]["mean"] for row in rows))
    assert 0 <= told[0]["low"] < told[0]["mean"] < told[0]["high"]
    one = outlooks.weeks_together([rows[0].utility])
    assert [one[0][name] for name in ("mean", "low", "high")] == [rows[0].weeks[0][name] for name in ("mean", "low", "high")]
    # Stored on different days, they share fewer weeks.
    forecasts.refresh(as_of=AS_OF + dt.timedelta(days=7), rule="history changed", utilities=[rows[0].utility_id])
    assert len(outlooks.weeks_together()) == 13


def test_an_older_day_replayed_leaves_the_outlook_alone():
    utility = make_utility()
    make_past(utility, filed_on=D(2026, 1, 5), waited=40)
    run = forecasts.refresh(as_of=AS_OF, rule="nightly")

    forecasts.refresh(as_of=D(2026, 6, 1), rule="replayed")

    assert Outlook.objects.get(utility=utility).run == run


def test_a_utility_that_stopped_is_found_told_on_today_and_found_once():
    stopped, goes_on = make_utility("Ottermere Light"), make_utility("Kelder Power")
    steady(stopped, stops=D(2026, 8, 3))
    steady(goes_on)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    change = outlooks.alarm_of(stopped)

    assert change is not None
    assert abs(change.since - D(2026, 8, 3)) <= dt.timedelta(days=35)
    assert change.found_on == AS_OF
    assert change.pace < 0.5
    assert outlooks.alarm_of(goes_on) is None
    watch = Outlook.objects.get(utility=stopped).watch
    assert watch is not None
    assert watch["since"] == leadtimes_day(AS_OF)  # what is expected was frozen anew
    # The next night nothing new is found: the alarm keeps its day.
    forecasts.refresh(as_of=AS_OF + dt.timedelta(days=7), rule="nightly")
    assert outlooks.alarm_of(stopped) == change
    assert outlooks.alarms(today=AS_OF) == [change]
    assert outlooks.alarms(today=AS_OF + outlooks.ALARM_SHOWN) == []

    manager = make_user("operations manager")
    sections = {section.name: section for section in attention.for_user(manager).sections}
    (row,) = sections["pace_changed"].rows
    assert (row.title, row.cells) == ("Ottermere Light", (change.how_much, change.told_by))
    assert "at most 2 in 100 utility-years" in sections["pace_changed"].note


def leadtimes_day(day: dt.date) -> int:
    return (day - D(1970, 1, 1)).days


def test_what_is_expected_is_frozen_at_the_turn_of_the_year_and_kept():
    utility = make_utility()
    steady(utility)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    first = Outlook.objects.get(utility=utility).watch
    assert first is not None
    assert first["since"] == leadtimes_day(D(2025, 12, 31))
    assert alarm.Watch.from_json(first).kappa > 20

    forecasts.refresh(as_of=AS_OF + dt.timedelta(days=1), rule="nightly")
    assert Outlook.objects.get(utility=utility).watch == first

    forecasts.refresh(as_of=D(2027, 1, 4), rule="nightly")
    second = Outlook.objects.get(utility=utility).watch
    assert second is not None
    assert second["since"] == leadtimes_day(D(2026, 12, 31))


def test_a_utility_with_hardly_any_history_is_not_watched():
    utility = make_utility()
    make_past(utility, filed_on=D(2026, 1, 5), waited=40)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    assert Outlook.objects.get(utility=utility).watch is None
    assert outlooks.alarm_of(utility) is None


def test_a_forecast_quoted_outside_is_kept_for_good_and_another_night_is_not():
    utility = make_utility()
    quoted, other = (make_request(make_service(utility=utility), on=D(2026, 5, 4)) for _ in range(2))
    for day in (D(2026, 9, 29), D(2026, 9, 30), D(2026, 10, 4), AS_OF):  # a Tuesday, a Wednesday, a Sunday
        # What was worked out on the Monday because history changed, beside the night's, is no Monday run.
        forecasts.refresh(as_of=day, rule="history changed" if day == D(2026, 10, 4) else "nightly")
        if day == D(2026, 9, 30):
            assert forecasts.mark_quoted([quoted]) == 1
            assert forecasts.mark_quoted([quoted]) == 0

    replayed = forecasts.refresh(as_of=D(2026, 6, 3), rule="replayed")

    forecasts.prune(today=D(2026, 11, 18))

    assert replayed.forecasts.exists()
    replayed.forecasts.all().delete()

    def kept(request: FitRequest) -> list[dt.date]:
        return list(Forecast.objects.filter(request=request).order_by("as_of").values_list("as_of", flat=True))

    assert kept(quoted) == [D(2026, 9, 29), D(2026, 9, 30), AS_OF]  # its first, the quoted one, the newest
    assert kept(other) == [D(2026, 9, 29), AS_OF]


def test_today_of_the_manager_tells_the_fittings_of_the_weeks_to_come(client):
    utility = make_utility()
    for number in range(12):
        make_past(utility, filed_on=D(2026, 1, 5) + dt.timedelta(days=3 * number), waited=60 + number)
        make_past(utility, filed_on=D(2026, 9, 20) + dt.timedelta(days=4 * number), waited=None)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    manager, scheduler = make_user("operations manager"), make_user("scheduler")

    sections = {section.name: section for section in attention.for_user(manager).sections}

    weeks = sections["fittings_expected"]
    told = outlooks.weeks_together()
    assert weeks.rows[0].margin == "this week"
    assert weeks.rows[0].title == "fewer than one"  # of a Wednesday to a Sunday
    assert (weeks.rows[1].margin, weeks.rows[1].title) == ("Mon 23 Nov", f"about {told[1]['mean']:.0f}")
    assert weeks.rows[1].cells == (f"{told[1]['low']:.0f} to {told[1]['high']:.0f}",)
    assert weeks.count == round(sum(week["mean"] for week in told[:6]))
    assert "fittings_expected" not in {section.name for section in attention.for_user(scheduler).sections}


def test_pages_never_fit(client, monkeypatch):
    utility = make_utility()
    make_past(utility, filed_on=D(2026, 1, 5), waited=40)
    request = make_request(make_service(utility=utility), on=D(2026, 8, 3))
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    def refused(*_: object, **__: object) -> None:
        raise AssertionError("A page fitted.")

    monkeypatch.setattr(leadtimes, "fit", refused)
    monkeypatch.setattr(leadtimes, "forecast", refused)
    client.force_login(make_user("operations manager"))
    job = request.job
    assert job is not None
    for address in ("/", "/utilities/", f"/utilities/{utility.uid}/", "/requests/", f"/requests/{request.code}/", f"/jobs/{job.code}/"):
        assert client.get(address, follow=True).status_code == 200, address


def test_the_pace_is_said_in_words():
    def said_of(fitted: float, expected: float, pace: float, evidence: float) -> tuple[str, str]:
        change = outlooks.PaceChange(Utility(), AS_OF, AS_OF, fitted, expected, pace, evidence)
        return change.how_much, change.told_by

    assert said_of(6, 21.2, 0.4, 60.3) == (
        "about 2.5 times slower",
        "6 fittings where 21 were expected; odds of 60 to 1 against its pace before",
    )
    assert said_of(18, 8, 1.8333, 5e6) == (
        "about 1.8 times faster",
        "18 fittings where 8 were expected; odds of more than 1,000 to 1 against its pace before",
    )
