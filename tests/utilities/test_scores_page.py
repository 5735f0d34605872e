"""The page on how good the forecasts were: sentences that its tables prove, its file, and the button that replays."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from django.urls import reverse

from jobs.core import clock, csvout
from tests.pages.queries import counted, signed_in
from tests.utilities.made import make_past, make_utility
from utilities import exports, leadtimes, replay, scoring
from utilities.models import FitRequest, Forecast, Replay, Utility
from utilities.models.scores import Source

pytestmark = pytest.mark.django_db

D = dt.date
TODAY = D(2026, 11, 18)


@pytest.fixture
def utility() -> Utility:
    """Thirty-six requests, one each week from January on, fitted after 60 to 116 days; replayed on two days."""
    made: Utility = make_utility("Larch Fork Light")
    for row in range(36):
        make_past(made, filed_on=D(2026, 1, 5) + dt.timedelta(days=7 * row), waited=60 + 8 * (row % 8))
    return made


@pytest.fixture
def judged(utility: Utility) -> Utility:
    for day in (D(2026, 5, 10), D(2026, 6, 7)):
        replay.replay_day(day)
    scoring.rescore(today=TODAY)
    return utility


def page(client, **query: str) -> str:
    response = client.get(reverse("scores"), query)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_before_anything_is_worked_out_the_page_says_when(client, dana):
    assert "Nothing is worked out yet." in page(signed_in(client, dana))


def test_with_nothing_to_judge_the_page_says_so_and_how_to_have_some(client, dana, theo):
    scoring.rescore(today=TODAY)

    assert "No forecast can be judged here yet." in page(signed_in(client, dana))
    assert "Replay the last year" in page(client)
    assert "Replay the last year" not in page(signed_in(client, theo))


def test_the_first_sentence_is_proved_by_the_tables(client, theo, judged):
    table = scoring.table(Source.REPLAYED)
    assert table is not None
    whole = table.whole

    shown = page(signed_in(client, theo))

    passed, share = int(whole.ours.passed[1]), round(100 * whole.ours.coverage[1])
    assert f"Of {passed} forecasts whose 80 % day has passed, {share} % were fitted by it;" in shown
    assert f"{whole.ours.mean_crps:.1f} days, counted over all its chances" in shown
    assert f'class="num">{whole.ours.mean_crps:.1f}</td>' in shown
    assert f'class="num">{whole.spreadsheet.mean_crps:.1f}</td>' in shown
    assert f"Only {whole.homes} requests stand behind this, so chance decides most of it." in shown
    assert "replayed on two days from 10 May 2026 to 7 June 2026" in shown
    for heading in ("Beside the two plain ways", "Stated and seen", "Where the outcomes fell", "By utility", "By days waited", "By month"):
        assert f">{heading}</h2>" in shown
    assert "<svg" in shown


def test_one_utility_is_shown_by_itself(client, theo, judged):
    quiet = make_utility("Quiet Light")
    signed_in(client, theo)

    assert "How good the forecasts were: Larch Fork Light" in page(client, utility=str(judged.uid))
    assert ">By utility</h2>" not in page(client, utility=str(judged.uid))
    assert "No forecast can be judged here yet." in page(client, utility=str(quiet.uid))
    assert client.get(reverse("scores"), {"utility": "none"}).status_code == 404


def test_each_request_stands_beside_what_was_first_said_of_it(client, theo, judged):
    # Open on both replayed days, fitted on 26 June: what was said on the first of them is shown.
    request = FitRequest.objects.get(filed_on=D(2026, 4, 27))
    quantiles = Forecast.objects.get(request=request, as_of=D(2026, 5, 10))
    half = D(2026, 5, 10) + dt.timedelta(days=int(leadtimes.unpack(quantiles.offsets)[49]))

    shown = page(signed_in(client, theo), utility=str(judged.uid))

    row = shown.partition(f">{request.code}</a></td>")[2].partition("</tr>")[0]
    assert f'class="expected day">{half.day} {half:%b} 2026</td>' in row
    assert "<svg" in row
    assert "fitted 26 Jun 2026" in row
    assert shown.count('data-label="What came"') == len(set(Forecast.objects.values_list("request_id", flat=True)))
    assert "fitted fell outside the range" in shown


def test_what_was_said_is_shown_apart_from_what_is_replayed(client, theo, judged):
    signed_in(client, theo)

    assert "No forecast can be judged here yet." in page(client, of="said")
    assert "replayed on two days" in page(client, of="replayed")
    assert "replayed on two days" in page(client)


def test_the_file_holds_the_figures_of_each_part(client, theo, judged):
    signed_in(client, theo)

    body = b"".join(client.get(reverse("scores_export", kwargs={"ending": "csv"})).streaming_content).decode("utf-8-sig")

    rows = list(csv.DictReader(io.StringIO(body)))
    table = scoring.table(Source.REPLAYED)
    assert table is not None
    whole = next(row for row in rows if row["part"] == "all" and not row["utility"])
    assert (whole["source"], whole["known_to"]) == ("replayed", "2026-11-17")
    assert int(whole["forecasts"]) == table.whole.n
    assert float(whole["crps_days_ours"]) == pytest.approx(table.whole.ours.mean_crps, abs=1e-4)
    assert float(whole["share_fitted_80_ours"]) == pytest.approx(table.whole.ours.coverage[1], abs=1e-4)
    assert sum(float(whole[f"pit_{bar}"]) for bar in range(1, 11)) == pytest.approx(1, abs=1e-3)
    assert {row["of"] for row in rows if row["part"] == "month"} == {"2026-05", "2026-06"}
    assert {row["utility"] for row in rows} == {"", "Larch Fork Light"}
    one = client.get(reverse("scores_export", kwargs={"ending": "xlsx"}), {"utility": str(judged.uid)})
    assert one.content[:2] == b"PK"


def test_the_command_exports_the_same(client, theo, judged):
    signed_in(client, theo)
    from_page = b"".join(client.get(reverse("scores_export", kwargs={"ending": "csv"})).streaming_content)
    export = next(export for export in exports.EXPORTS if export.name == "forecasts_judged")

    everything = "".join(csvout.marked(csvout.write_csv(export.headings, export.rows({}))))

    assert everything.encode() == from_page
    assert {row[1] for row in export.rows({"utility": "larch fork light"})} == {"Larch Fork Light"}


def test_the_manager_begins_a_replay_and_sees_how_far_it_is(client, dana):
    signed_in(client, dana)

    answer = client.post(reverse("scores_replay"), follow=True)

    assert "The last year is being replayed." in answer.content.decode()
    Replay.objects.update(days_done=3, begun_at=clock.now() - dt.timedelta(minutes=6), moved_at=clock.now())
    shown = page(client)
    assert "3 of 13 days forecast anew, about 20 minutes left. You may leave this page" in shown
    assert "Replay the last year</button>" not in shown
    assert client.post(reverse("scores_replay")).status_code == 422
    assert "3 of 13 days" in client.get(reverse("scores_progress")).content.decode()

    Replay.objects.update(finished_at=clock.now())
    assert client.get(reverse("scores_progress")).headers["HX-Refresh"] == "true"


def test_a_replay_that_stands_still_can_be_sent_on(client, dana):
    signed_in(client, dana)
    client.post(reverse("scores_replay"))
    Replay.objects.update(moved_at=clock.now() - dt.timedelta(minutes=10))

    assert "Nothing has moved for a while." in page(client)
    answer = client.post(reverse("scores_replay"), follow=True)

    assert "The replay goes on where it was left." in answer.content.decode()
    assert Replay.objects.count() == 1


def test_the_page_asks_as_often_for_many_utilities_as_for_one(client, theo, judged):
    signed_in(client, theo)
    page(client)
    for_one = counted(client, reverse("scores"))
    for _ in range(4):
        make_past(make_utility(), filed_on=D(2026, 4, 1), waited=150)
    replay.replay_day(D(2026, 6, 7))
    scoring.rescore(today=TODAY)

    assert len(scoring.by_utility(Source.REPLAYED)) == 5
    assert counted(client, reverse("scores")) == for_one
