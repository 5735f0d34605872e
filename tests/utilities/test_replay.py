"""The past forecast anew: from what was known then, once a day, in the background."""

from __future__ import annotations

import datetime as dt
import io
import itertools

import pytest
import time_machine
from django.core.management import CommandError, call_command

from jobs.core import clock
from jobs.core.refusals import NotAllowed, Refused
from tests.make import SYSTEM
from tests.utilities.made import make_past, make_utility
from utilities import forecasts, profile, replay, scoring, tasks
from utilities.models import Contact, FitRequest, Forecast, ForecastRun, Outcome, Replay, Utility
from utilities.models.scores import Source

pytestmark = pytest.mark.django_db

D = dt.date
TODAY = D(2026, 11, 18)
AS_OF = D(2026, 6, 7)


@pytest.fixture
def utility() -> Utility:
    """Ten requests, one each week from February on, fitted after 60 to 105 days."""
    made = make_utility()
    for row in range(10):
        make_past(made, filed_on=D(2026, 2, 2) + dt.timedelta(days=7 * row), waited=60 + 5 * row)
    return made


def promised(request: FitRequest, *, on: dt.date, by: dt.date) -> None:
    Contact.objects.create(
        request=request,
        utility=request.utility,
        on=on,
        answered="a crew comes",
        promised_by=by,
        recorded_at=clock.now(),
        recorded_by_name="tests",
    )


def stored(as_of: dt.date = AS_OF) -> list[tuple[int | None, bytes, int]]:
    rows = Forecast.objects.filter(run__rule="replayed", as_of=as_of).order_by("request_id")
    return [(row.request_id, bytes(row.offsets), row.p_never_millionths) for row in rows]


def command(*words: str) -> str:
    out = io.StringIO()
    call_command("score_past", *words, stdout=out)
    return out.getvalue()


def test_a_replay_says_what_the_night_would_have_said(utility):
    still_open = FitRequest.objects.order_by("pk").last()
    assert still_open is not None
    replay.replay_day(AS_OF)
    before = stored()
    promised(still_open, on=D(2026, 6, 1), by=D(2026, 6, 19))
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    replay.replay_day(AS_OF, anew=True)

    assert stored() != before  # a promise that stood then counts
    said = Forecast.objects.filter(run__rule="nightly", request__isnull=False).order_by("request_id")
    assert [(row.request_id, bytes(row.offsets), row.p_never_millionths) for row in said] == stored()
    assert len(stored()) == 4
    assert not Forecast.objects.filter(run__rule="replayed", newest=True).exists()
    assert not Forecast.objects.filter(run__rule="replayed", first=True).exists()


def test_a_change_of_history_after_the_day_changes_nothing(utility):
    replay.replay_day(AS_OF)
    before = stored()

    FitRequest.objects.filter(ended_on__gt=AS_OF).update(outcome=Outcome.FITTED, ended_on=D(2026, 6, 8), fitted_by=D(2026, 6, 8))
    promised(make_past(utility, filed_on=D(2026, 6, 9), waited=1), on=D(2026, 6, 9), by=D(2026, 6, 10))
    for request in FitRequest.objects.filter(filed_on__lt=AS_OF):
        promised(request, on=D(2026, 6, 8), by=D(2026, 6, 12))
    profile.set_closures(utility, first=D(2026, 6, 15), last=D(2026, 6, 26), kind="closed", by=SYSTEM)
    replay.replay_day(AS_OF, anew=True)

    assert stored() == before


def test_a_request_brought_in_later_makes_the_replay_of_its_days_anew(utility):
    first = replay.replay_day(AS_OF)
    assert replay.replay_day(AS_OF) is None

    make_past(utility, filed_on=D(2026, 1, 5), waited=30)

    second = replay.replay_day(AS_OF)
    assert first is not None
    assert second is not None
    assert list(ForecastRun.objects.filter(rule="replayed").values_list("pk", flat=True)) == [second.pk]


def test_a_newer_method_takes_the_place_of_the_older(utility, monkeypatch):
    replay.replay_day(AS_OF)
    monkeypatch.setattr(forecasts, "METHOD", "a better one")

    assert replay.replay_day(AS_OF) is not None

    assert [run.method for run in ForecastRun.objects.filter(rule="replayed")] == ["a better one"]
    assert len(stored()) == 4


def test_killed_half_way_a_day_leaves_nothing_half_stored(utility, monkeypatch):
    replay.replay_day(AS_OF)
    before = stored()

    def killed(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as at:
        at.setattr(type(Forecast.objects), "bulk_create", killed)
        with pytest.raises(KeyboardInterrupt):
            replay.replay_day(AS_OF, anew=True)

    assert stored() == before


def test_what_is_replayed_outlives_the_nights(utility):
    replay.replay_day(D(2026, 6, 3))  # no Sunday

    forecasts.prune(today=TODAY)

    assert len(stored(D(2026, 6, 3))) > 0


def test_the_last_year_is_thirteen_sundays_that_were_followed_for_four_weeks():
    days = replay.last_year(today=TODAY)

    assert len(days) == 13
    assert {day.isoweekday() for day in days} == {7}
    assert {(later - day).days for day, later in itertools.pairwise(days)} == {28}
    assert 29 <= (TODAY - days[-1]).days < 29 + 28
    assert set(replay.last_year(today=TODAY + dt.timedelta(days=28))[:-1]) == set(days[1:])


def test_the_command_replays_judges_and_goes_on_where_it_was_stopped(utility):
    first = command("--from", "2026-05-10", "--to", "2026-06-07")
    assert "2026-05-10: six open requests forecast (1 of 2, " in first
    assert "2026-06-07: four open requests forecast (2 of 2)" in first
    assert "Ten forecasts of six requests judged." in first
    assert "were fitted by it." in first
    assert "Kaplan-Meier per utility" in first

    second = command("--from", "2026-05-10", "--to", "2026-07-05")

    assert "2026-05-10: stands already (1 of 3)" in second
    assert "2026-07-05: two open requests forecast (3 of 3)" in second
    table = scoring.table(Source.REPLAYED)
    assert table is not None
    assert table.days == 3


def test_the_command_refuses_days_that_make_no_sense():
    with pytest.raises(CommandError, match="Give the earlier day first"):
        command("--from", "2026-06-07", "--to", "2026-05-10")
    with pytest.raises(CommandError, match="is not over yet"):
        command("--to", "2026-11-18")
    with pytest.raises(CommandError, match="is not a day, as 2026-06-07"):
        command("--from", "yesterday")
    with pytest.raises(CommandError, match="give 1 or more"):
        command("--every", "0")


def test_with_nothing_to_judge_the_command_says_so():
    assert "Nothing can be judged yet" in command("--to", "2026-06-07", "--from", "2026-06-07")


def test_the_button_replays_day_by_day_and_then_judges(dana, utility, monkeypatch, django_capture_on_commit_callbacks):
    woken: list[int] = []
    monkeypatch.setattr("jobs.core.waking.current_app.send_task", lambda name, args: woken.append(args[0]))

    with django_capture_on_commit_callbacks(execute=True):
        begun = replay.begin(None, today=TODAY, by=dana)
    assert woken == [begun.pk]
    with pytest.raises(Refused, match="running already"):
        replay.begin(None, today=TODAY, by=dana)

    with django_capture_on_commit_callbacks(execute=True):
        assert tasks.go_on_replaying(begun.pk) == "1 of 13"
    assert woken == [begun.pk] * 2
    Replay.objects.filter(pk=begun.pk).update(days_done=12)
    assert tasks.go_on_replaying(begun.pk) == "13 of 13"
    assert tasks.go_on_replaying(begun.pk) == "done"
    assert tasks.go_on_replaying(begun.pk) == "nothing to go on with"

    assert replay.running() is None
    assert scoring.table(Source.REPLAYED) is not None
    assert ForecastRun.objects.filter(rule="replayed").count() == 2


def test_two_workers_on_one_day_do_not_skip_the_next(dana, utility, monkeypatch):
    begun = replay.begin(None, today=TODAY, by=dana)
    asked = replay.replay_day

    def slow(as_of: dt.date) -> ForecastRun | None:
        monkeypatch.setattr(replay, "replay_day", asked)
        tasks.go_on_replaying(begun.pk)  # meanwhile another one does the same day
        return asked(as_of)

    monkeypatch.setattr(replay, "replay_day", slow)
    tasks.go_on_replaying(begun.pk)

    begun.refresh_from_db()
    assert begun.days_done == 1


def test_a_replay_that_stands_still_is_woken_again(dana, monkeypatch, django_capture_on_commit_callbacks):
    woken: list[str] = []
    monkeypatch.setattr("jobs.core.waking.current_app.send_task", lambda name, args: woken.append(name))
    replay.begin(None, today=TODAY, by=dana)

    with django_capture_on_commit_callbacks(execute=True):
        tasks.score()
    assert woken == []
    with time_machine.travel(dt.datetime(2026, 11, 18, 23, 0, tzinfo=dt.UTC), tick=False), django_capture_on_commit_callbacks(execute=True):
        tasks.score()

    assert woken == ["utilities.tasks.go_on_replaying"]


def test_only_the_operations_manager_may_begin_one(theo):
    with pytest.raises(NotAllowed):
        replay.begin(None, today=TODAY, by=theo)
