"""What a utility's page and its forecast sheet draw and say."""

import datetime as dt
import io
from importlib import import_module

import pytest
from django.apps import apps
from django.urls import reverse
from pypdf import PdfReader

from jobs.core.charts.marks import Bar, Cross, Dot
from tests.make import SYSTEM
from tests.pages.queries import counted, signed_in
from tests.utilities.made import make_past, make_request, make_service, make_utility
from utilities import drawn, forecasts, promised, requests, said, shown, visits
from utilities.models import FitRequest, Forecast, Outcome, Outlook

pytestmark = pytest.mark.django_db

D = dt.date
AS_OF, TODAY = D(2026, 11, 17), D(2026, 11, 18)


def waits_at(utility):
    return FitRequest.objects.waits().filter(utility=utility)


def a_history(utility):
    """Fitted after 40 to 120 days, sent through the year; one of them known only between two days; one withdrawn; two wait."""
    for number in range(9):
        make_past(utility, filed_on=D(2026, 1, 5) + dt.timedelta(days=9 * number), waited=40 + 10 * number)
    bracket = make_past(utility, filed_on=D(2026, 2, 1), waited=60)
    FitRequest.objects.filter(pk=bracket.pk).update(fitted_after=D(2026, 3, 27))
    make_past(utility, filed_on=D(2026, 3, 1), waited=30, outcome=Outcome.CANCELLED)
    return [make_past(utility, filed_on=day, waited=None) for day in (D(2026, 10, 1), D(2026, 11, 2))]


def test_each_request_is_a_mark_that_opens_it_and_the_table_says_the_days_of_the_curve():
    utility = make_utility("Sable Fork Electric Cooperative")
    waiting = a_history(utility)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    found = drawn.waits(utility, Outlook.objects.get(), seen=waits_at(utility), today=TODAY)

    assert found is not None
    marks = [mark for mark in found.chart.marks if mark.href]
    assert len(marks) == 13
    titles = {mark.href: mark.title for mark in marks}
    assert titles[reverse("request", kwargs={"code": waiting[0].code})] == f"Request {waiting[0].code}: waits, 48 days so far"
    kinds = [type(mark) for mark in marks]
    assert (kinds.count(Dot), kinds.count(Cross), kinds.count(Bar)) == (11, 1, 1)
    assert [mark.title.partition(": ")[2] for mark in marks if isinstance(mark, Bar)] == ["fitted after 55 to 60 days"]
    assert [row[0] for row in found.rows] == ["one in ten", "one in four", "half", "three in four", "nine in ten"]
    assert found.rows[2][1] == f"day {found.curve.day_of(50)}"
    assert found.rows[2][2] == "not known"
    assert found.counts_words == "10 fitted, 2 wait, 1 ended without fitting; of 1 only a first and a last day are known."
    assert found.lately_words == "In the last 60 days: no fittings, too few to tell."
    assert found.chart.label.startswith("At Sable Fork Electric Cooperative half of requests were fitted by day ")


def test_before_the_first_run_nothing_is_drawn():
    utility = make_utility()

    assert drawn.waits(utility, None, seen=waits_at(utility), today=TODAY) is None
    assert drawn.weeks(utility, seen=waits_at(utility), today=TODAY) is None


def test_a_utility_without_any_request_draws_nothing_and_says_so(client, dana):
    utility = make_utility()
    a_history(make_utility())
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    page = signed_in(client, dana).get(reverse("utility", kwargs={"uid": utility.uid}))

    assert page.context["waits"] is page.context["weeks"] is None
    assert "No request to this utility is on record yet." in page.content.decode()
    assert '<svg class="marks"' not in page.content.decode()


def test_a_utility_where_nothing_is_fitted_says_so():
    utility = make_utility("Upper Wend Light & Water")
    make_past(utility, filed_on=D(2026, 10, 1), waited=None)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    found = drawn.waits(utility, Outlook.objects.get(), seen=waits_at(utility), today=TODAY)

    assert found is not None
    assert found.chart.label == "No request is fitted at Upper Wend Light & Water yet."
    assert {row[1] for row in found.rows} == {"not known"}


def test_past_weeks_count_fittings_and_coming_ones_say_low_to_high():
    utility = make_utility()
    a_history(utility)
    for ended in (D(2026, 9, 28), D(2026, 10, 4), D(2026, 11, 16)):  # Monday and Sunday of one week; Monday of this one
        make_past(utility, filed_on=D(2026, 8, 3), waited=(ended - D(2026, 8, 3)).days)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    found = drawn.weeks(utility, seen=waits_at(utility), today=TODAY)

    assert found is not None
    told = {row.monday: (row.words, row.range) for row in found.rows}
    assert list(told)[:8] == [D(2026, 9, 28) + dt.timedelta(weeks=n) for n in range(8)]
    assert told[D(2026, 9, 28)] == ("2 fitted", "")
    assert told[D(2026, 10, 5)] == ("0 fitted", "")
    assert told[D(2026, 11, 16)] == ("1 fitted so far", "")
    (kept,) = [week for week in Outlook.objects.get().weeks if week["week"] == "2026-11-23"]
    assert told[D(2026, 11, 23)] == (f"about {kept['mean']:.1f}", f"{round(kept['low'])} to {round(kept['high'])}")
    assert len(found.rows) == 8 + 13
    assert {mark.href for mark in found.chart.marks if isinstance(mark, Bar)} == {f"#week-{monday.isoformat()}" for monday in told}


def test_open_requests_stand_by_their_half_day_and_each_has_a_range():
    utility = make_utility()
    a_history(utility)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    fresh = make_past(utility, filed_on=D(2026, 11, 18), waited=None)  # no forecast yet

    lines = shown.soonest(waits_at(utility).open(), today=TODAY, most=50)

    halves = [line.likely.q50 for line in lines if line.likely and line.likely.q50]
    assert halves == sorted(halves)
    assert lines[-1].request == fresh
    ranges = drawn.ranges(lines, today=TODAY)
    assert set(ranges.rows) == {line.request.pk for line in lines[:-1]}
    assert len(shown.soonest(waits_at(utility).open(), today=TODAY, most=1)) == 1


def test_the_list_of_requests_is_sorted_by_half_and_draws_the_open_ones(client, dana):
    utility = make_utility()
    a_history(utility)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    make_past(utility, filed_on=D(2026, 11, 18), waited=None)

    first = signed_in(client, dana).get(reverse("requests"), {"sort": "half"})
    last = client.get(reverse("requests"), {"sort": "-half"})
    every = client.get(reverse("requests"), {"outcome": "all", "sort": "half"})

    halves = [line.likely.q50 if line.likely else None for line in first.context["lines"]]
    assert halves == [*sorted(half for half in halves if half), None]
    assert [line.likely.q50 if line.likely else None for line in last.context["lines"]] == [halves[1], halves[0], None]
    assert first.content.decode().count("<svg") == 3  # the months, and a row for each of two
    assert "Half by, soonest first" in first.content.decode()
    assert [line.likely.q50 if line.likely else None for line in every.context["lines"]][:2] == halves[:2]
    assert "<svg" not in every.content.decode()


def test_half_days_kept_before_are_filled_in_by_the_migration():
    utility = make_utility()
    a_history(utility)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    stored = dict(Forecast.objects.values_list("pk", "half_on"))
    Forecast.objects.update(half_on=None)

    import_module("utilities.migrations.0005_fill_half_on").fill(apps, None)

    assert dict(Forecast.objects.values_list("pk", "half_on")) == stored
    assert all(stored.values())


def test_the_day_of_a_promise_is_a_diamond_on_its_row(theo):
    utility = make_utility()
    a_history(utility)
    request = make_request(make_service(utility=utility), on=D(2026, 9, 3))
    requests.record_contact(request, on=D(2026, 11, 10), answered="crew in December", promised_by=D(2026, 12, 4), by=theo)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    lines = shown.soonest(waits_at(utility).open(), today=TODAY, most=50)
    row = drawn.ranges(lines, today=TODAY).rows[request.pk]

    assert [mark.kind for mark in row.marks].count("diamond") == 1
    assert row.href == reverse("request", kwargs={"code": request.code})


# Promises


def promise(utility, *, named, last, fitted=None, theo):
    request = make_request(make_service(utility=utility), on=D(2026, 6, 3))
    requests.record_contact(request, on=named, answered="a day", promised_by=last, by=theo)
    if fitted:
        FitRequest.objects.filter(pk=request.pk).update(outcome=Outcome.FITTED, ended_on=fitted, fitted_by=fitted)
    return request


def test_promises_are_counted_by_what_came_of_them(theo):
    utility = make_utility("Sable Fork Electric Cooperative")
    promise(utility, named=D(2026, 7, 1), last=D(2026, 7, 10), fitted=D(2026, 7, 8), theo=theo)
    promise(utility, named=D(2026, 7, 1), last=D(2026, 7, 10), fitted=D(2026, 7, 10), theo=theo)
    late = promise(utility, named=D(2026, 7, 1), last=D(2026, 7, 20), fitted=D(2026, 8, 1), theo=theo)
    promise(utility, named=D(2026, 11, 2), last=D(2026, 11, 16), theo=theo)
    promise(utility, named=D(2026, 11, 2), last=D(2026, 12, 1), theo=theo)  # lies ahead
    promise(utility, named=D(2026, 9, 2), last=D(2026, 9, 9), fitted=D(2026, 9, 1), theo=theo)  # named when all was done

    found = promised.promises(waits_at(utility), today=TODAY)

    assert [each.last for each in found.due] == [D(2026, 11, 16), D(2026, 7, 20), D(2026, 7, 10), D(2026, 7, 10)]
    assert {each.days: each.outcome for each in found.due} == {
        2: "nothing has happened, two days on",
        12: "fitted 12 days late",
        -2: "kept",  # by then, as it was said
        0: "kept",
    }
    assert found.sentence == "Kept 2, fitted late 1, passed and not fitted 1. One more promise lies ahead."
    dots = [mark for mark in found.chart(utility).marks if isinstance(mark, Dot)]
    assert sorted(dot.solid for dot in dots) == [False, True, True, True]
    assert any(dot.href == reverse("request", kwargs={"code": late.code}) and "12 days late" in dot.title for dot in dots)


def test_the_promises_of_the_page_are_those_that_the_forecast_counts(theo):
    utility = make_utility()
    a_history(utility)
    between = promise(utility, named=D(2026, 7, 1), last=D(2026, 7, 10), fitted=D(2026, 7, 8), theo=theo)
    FitRequest.objects.filter(pk=between.pk).update(fitted_after=D(2026, 6, 20))  # perhaps before the window: kept, as far as is known
    closed, withdrawn = (promise(utility, named=D(2026, 8, 3), last=D(2026, 8, 14), theo=theo) for _ in range(2))
    FitRequest.objects.filter(pk=closed.pk).update(outcome=Outcome.CANCELLED, ended_on=D(2026, 8, 24))
    FitRequest.objects.filter(pk=withdrawn.pk).update(outcome=Outcome.CANCELLED, ended_on=D(2026, 8, 10))  # before its day: no matter
    promise(utility, named=D(2026, 11, 2), last=D(2026, 11, 20), fitted=D(2026, 11, 16), theo=theo)  # its day is yet to pass

    forecasts.refresh(as_of=AS_OF, rule="nightly")
    found = promised.promises(waits_at(utility), today=TODAY)

    assert [each.outcome for each in found.due] == ["not fitted, and the request ended ten days on", "kept"]
    assert found.sentence == "Kept 1, fitted late 0, passed and not fitted 1."
    whys = Forecast.objects.filter(request__isnull=False).values_list("why", flat=True)
    assert whys
    assert {(why["promises_kept"], why["promises_made"]) for why in whys} == {(1, 2)}


def test_a_visit_before_its_window_is_early_and_not_kept():
    utility = make_utility()
    request = make_request(make_service(utility=utility), on=D(2026, 6, 3))
    visits.announce_visit(request, told_on=D(2026, 7, 1), window_from=D(2026, 7, 8), window_to=D(2026, 7, 10), by=SYSTEM)
    FitRequest.objects.filter(pk=request.pk).update(outcome=Outcome.FITTED, ended_on=D(2026, 7, 6), fitted_by=D(2026, 7, 6))

    found = promised.promises(waits_at(utility), today=TODAY)

    assert [each.outcome for each in found.due] == ["fitted two days early"]
    assert found.sentence == "Kept 0, fitted late 0, fitted early 1, passed and not fitted 0."


def test_a_visit_and_the_contact_that_announced_it_are_one_promise_with_a_window():
    utility = make_utility()
    request = make_request(make_service(utility=utility), on=D(2026, 6, 3))
    visits.announce_visit(request, told_on=D(2026, 7, 1), window_from=D(2026, 7, 8), window_to=D(2026, 7, 10), by=SYSTEM)
    FitRequest.objects.filter(pk=request.pk).update(outcome=Outcome.FITTED, ended_on=D(2026, 7, 9), fitted_by=D(2026, 7, 9))

    found = promised.promises(waits_at(utility), today=TODAY)

    (one,) = found.due
    assert (one.first, one.last, one.days, one.outcome) == (D(2026, 7, 8), D(2026, 7, 10), -1, "kept")


# The page and the sheet


def test_the_page_shows_charts_with_their_tables_and_why(client, dana):
    utility = make_utility("Sable Fork <Electric> Cooperative")
    a_history(utility)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    page = signed_in(client, dana).get(reverse("utility", kwargs={"uid": utility.uid})).content.decode()

    for anchor in ("t-waits", "t-weeks"):
        assert f'id="{anchor}"' in page
        assert f'href="#{anchor}"' in page
    assert page.count("<svg") >= 5  # curve, weeks, the head of the ranges and a row for each request
    assert "Sable Fork &lt;Electric&gt; Cooperative" in page
    assert "<Electric>" not in page
    assert "Borrowed from all utilities, worth" in page
    assert reverse("utility_forecast", kwargs={"uid": utility.uid}) in page
    assert reverse("help_forecasts") in page


def test_the_page_asks_the_database_as_often_for_many_requests_as_for_few(client, dana, theo):
    utility = make_utility()
    address = reverse("utility", kwargs={"uid": utility.uid})
    a_history(utility)
    promise(utility, named=D(2026, 11, 2), last=D(2026, 11, 16), theo=theo)
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    few = counted(signed_in(client, dana), address)

    for number in range(30):
        make_past(utility, filed_on=D(2026, 5, 4) + dt.timedelta(days=number), waited=None if number % 2 else 70)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    assert counted(client, address) == few
    assert few <= 50


def test_the_sheet_says_on_paper_what_the_page_says(client, dana):
    utility = make_utility("Sable Fork Electric Cooperative")
    waiting = a_history(utility)
    for number in range(40):
        make_past(utility, filed_on=D(2026, 9, 1) + dt.timedelta(days=number), waited=None)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    answer = signed_in(client, dana).get(reverse("utility_forecast", kwargs={"uid": utility.uid}))

    assert answer["Content-Type"] == "application/pdf"
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages]
    told = "\n".join(pages)
    sections = ("Forecast sheet", "How long requests wait here", "Fittings week by week", "Open requests")
    for words in (*sections, "half fitted: day", waiting[0].code):
        assert words in told
    likely = said.current(waiting[0])
    assert likely is not None
    assert said.day_short(likely.q50, as_of=likely.as_of, today=TODAY) in told
    listed = [page for page in pages if "history, H" in page]
    assert len(listed) > 1
    assert all("Nine in ten by" in page for page in listed)  # the head stands again
    assert f"as of {AS_OF.day} November 2026" in pages[-1]


def test_an_empty_utility_has_a_sheet_too(client, dana):
    utility = make_utility()

    answer = signed_in(client, dana).get(reverse("utility_forecast", kwargs={"uid": utility.uid}))

    told = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert "No request waits here. How long requests wait here is worked out tonight." in told
    assert "No home waits for this utility." in told
