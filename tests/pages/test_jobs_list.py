"""The list of jobs: filter, sort, pages, what is saved, and who sees what of it."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest
from django.http import QueryDict
from django.test import Client
from django.urls import reverse

from billing.models import Invoice
from jobs.core import homefacts, paging
from jobs.core.models import Job
from jobs.core.sheets import read
from jobs.core.states import S
from jobs.pages import joblist
from jobs.pages.jobfilter import in_words, narrowed
from tests.make import SYSTEM, make_job, user_of
from tests.pages.homes import a_utility, asked, forecast_for, job_of, plan, served
from tests.pages.queries import counted, signed_in

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def jobs_file(ending: str) -> str:
    return reverse("jobs_export", kwargs={"ending": ending})


def listed(response) -> list[str]:
    return [line.job.code for line in response.context["lines"]]


def test_each_filter_leaves_its_own(client, dana, crew):
    utility = a_utility()
    waiting, built = make_job(S.AWAITING_UTILITY, owner="Noor Haddad"), make_job(S.IN_BUILD, crew=crew, street="6 Larch Terrace")
    done = make_job(S.BACKUP_VERIFIED)
    served(waiting, utility)
    homefacts.hold(built, kind="wish", stops=["calls"], review_on=dt.date(2026, 12, 1), reason="travelling", by=SYSTEM)
    signed_in(client, dana)

    def codes(**query: str) -> set[str]:
        return set(listed(client.get(reverse("jobs"), query)))

    assert codes(state="") == {waiting.code, built.code, done.code}
    assert codes() == codes(state="open") == {waiting.code, built.code}
    assert codes(state=S.AWAITING_UTILITY) == codes(utility=str(utility.uid)) == codes(waiting_on="utility") == {waiting.code}
    assert codes(text="haddad") == codes(text=waiting.code.lower()) == {waiting.code}
    assert codes(crew="North crew") == codes(text="Larch Terr") == codes(held="standing") == {built.code}
    assert codes(held="review") == codes(act="none") == set()
    assert codes(role="scheduler") == {waiting.code, built.code}
    assert codes(since_to="3 June 2026", state="open") == {waiting.code}
    assert codes(since_from="4 Jun 2026") == {built.code, done.code}
    assert codes(due_to="17 Jun 2026") == {waiting.code}


def test_the_heading_repeats_the_filter_in_words():
    utility = a_utility()
    query = QueryDict(f"state=awaiting_utility&utility={utility.uid}&waiting_on=us&since_from=6/3/2026&due_to=11/18/26")

    narrowing = narrowed(None, query)

    assert in_words(narrowing, today=TODAY) == (
        "Jobs awaiting utility at Ottermere Municipal Light, waiting on us, since 3 June 2026 or later, due today or earlier"
    )


def test_a_day_that_cannot_be_read_is_refused_at_its_field_and_lists_nothing(client, dana):
    make_job()

    page = signed_in(client, dana).get(reverse("jobs"), {"since_from": "13/45/2026", "text": "sawmill"})

    assert page.status_code == 422
    assert listed(page) == []
    html = page.content.decode()
    assert "Correct this:" in html
    for ending in ("csv", "xlsx"):  # a file could not say what is wrong
        back = client.get(jobs_file(ending), {"since_from": "13/45/2026"})
        assert back.headers["Location"].startswith(f"{reverse('jobs')}?since_from=13")
    assert 'value="13/45/2026"' in html
    assert 'value="sawmill"' in html


def test_the_sorted_column_says_in_words_how_and_turns_round(client, dana):
    later, sooner = make_job(S.AWAITING_UTILITY, day_one=dt.date(2026, 5, 5)), make_job(S.AWAITING_UTILITY)

    page = signed_in(client, dana).get(reverse("jobs"))

    assert listed(page) == [sooner.code, later.code]
    head = next(head for head in page.context["heads"] if head.sort)
    assert (head.words, head.sort) == ("Since, oldest first", "ascending")
    assert listed(client.get(reverse("jobs") + head.url)) == [later.code, sooner.code]


def test_jobs_without_a_due_day_come_last_either_way(client, dana):
    done, waiting = make_job(S.BACKUP_VERIFIED), make_job(S.AWAITING_UTILITY)
    signed_in(client, dana)

    assert listed(client.get(reverse("jobs"), {"sort": "due"})) == [waiting.code, done.code]
    assert listed(client.get(reverse("jobs"), {"sort": "-due"})) == [waiting.code, done.code]


def test_jobs_sort_by_their_owner(client, dana):
    names = {owner: make_job(owner=owner).code for owner in ("Sam Uttley", "Carol-Anne Beauregard", "Noor Haddad")}

    page = signed_in(client, dana).get(reverse("jobs"), {"sort": "person"})

    assert listed(page) == [names["Carol-Anne Beauregard"], names["Noor Haddad"], names["Sam Uttley"]]


def test_fifty_stand_on_a_page_and_the_filter_goes_along(client, dana):
    for _ in range(51):
        make_job()

    page = signed_in(client, dana).get(reverse("jobs"), {"state": "in_build", "page": "2"})

    assert len(listed(page)) == 1
    assert page.context["page"].paginator.num_pages == 2
    assert "?state=in_build&amp;page=1" in page.content.decode()


def test_beyond_what_is_counted_only_first_back_and_next_are_offered(client, dana, monkeypatch):
    monkeypatch.setattr(paging, "MOST", 2)
    monkeypatch.setattr(paging, "PER_PAGE", 2)
    for _ in range(5):
        plan(make_job())
    signed_in(client, dana)

    first, second, last = (client.get(reverse("jobs"), {"page": str(number)}) for number in (1, 2, 3))

    assert [len(listed(page)) for page in (first, second, last)] == [2, 2, 1]
    assert len({*listed(first), *listed(second), *listed(last)}) == 5
    assert "more than 10,000 jobs" in first.content.decode()
    assert first.context["page"].has_next()
    assert not last.context["page"].has_next()
    assert first.context["total_minor"] is None
    assert "Narrow the list for totals" in first.content.decode()
    assert client.get(reverse("jobs"), {"state": "in_build"}).context["total_minor"] == 5 * 4_800_000


def test_the_forecast_stands_in_the_row_with_its_words(client, dana):
    forecast_for(asked(), half_in=116)  # 17 November and 116 days: 13 March 2027

    page = signed_in(client, dana).get(reverse("jobs"))

    assert page.context["lines"][0].half == "13 Mar 2027"
    assert page.context["lines"][0].nine == "1 May 2027"  # 165 days
    assert "1 May 2027" in page.content.decode()
    assert "Half by, nine in ten by" in page.content.decode()


def test_a_half_beyond_the_horizon_is_said_so(client, dana):
    forecast_for(asked(), half_in=65_535)

    assert signed_in(client, dana).get(reverse("jobs")).context["lines"][0].half == "later than Nov 2028"


def test_amounts_add_up_to_the_totals_and_what_is_invoiced_is_not_among_them(client, dana, farida):
    # 48,000 each: 80 % and 20 %. Of one the first milestone is earned and drafted, which is not invoiced yet.
    one, other, without = make_job(S.GRID_TIED), make_job(), make_job()
    plan(one)
    plan(other, contract_minor=1_000_001)
    assert Invoice.objects.drafts().filter(job=one).exists()

    page = signed_in(client, farida).get(reverse("jobs"))

    amounts = {line.job.code: line.unbilled_minor for line in page.context["lines"]}
    assert amounts == {one.code: 4_800_000, other.code: 1_000_001, without.code: None}
    assert page.context["page_total_minor"] == page.context["total_minor"] == 5_800_001


@pytest.mark.parametrize(("who", "money", "forecast"), [("dana", True, True), ("theo", False, True), ("joel", False, False)])
def test_page_and_files_show_amounts_and_forecasts_by_right(client, who, money, forecast, request, crew):
    actor = request.getfixturevalue(who)
    request_to_fit = asked(crew=crew)
    job = job_of(request_to_fit)
    plan(job)
    forecast_for(request_to_fit, half_in=116)
    signed_in(client, actor)

    html = client.get(reverse("jobs")).content.decode()
    saved = list(csv.DictReader(io.StringIO(b"".join(client.get(jobs_file("csv")).streaming_content).decode("utf-8-sig"))))

    assert ("$48,000.00" in html) == money
    assert ("13 Mar 2027" in html) == forecast
    assert ("not_invoiced" in saved[0]) == money
    assert ("half_by" in saved[0]) == forecast
    assert saved[0]["job"] == job.code


def test_a_crew_sees_its_own_jobs_only_on_page_and_in_file(client, joel, crew):
    own, other = make_job(crew=crew), make_job()
    signed_in(client, joel)

    assert listed(client.get(reverse("jobs"))) == [own.code]
    saved = b"".join(client.get(jobs_file("csv")).streaming_content).decode()
    assert own.code in saved
    assert other.code not in saved


def test_what_is_saved_is_what_is_shown_in_both_kinds_of_file(client, dana):
    make_job(S.IN_BUILD)
    request = asked(owner="=HYPERLINK(1)")
    job = job_of(request)
    plan(job)
    forecast_for(request, half_in=116)
    query = {"state": "awaiting_utility"}
    signed_in(client, dana)

    csv_file = client.get(jobs_file("csv"), query)
    xlsx_file = client.get(jobs_file("xlsx"), query)

    assert csv_file.headers["Content-Disposition"] == 'attachment; filename="jobs.csv"'
    rows = list(csv.reader(io.StringIO(b"".join(csv_file.streaming_content).decode("utf-8-sig"))))
    assert len(rows) == 2
    told = dict(zip(*rows, strict=True))
    assert told["job"] == job.code
    assert told["person"] == "'=HYPERLINK(1)"  # a spreadsheet must not take a name for a formula
    assert told["half_by"] == "2027-03-13"
    assert told["not_invoiced"] == "48000.00"
    sheet = read("jobs.xlsx", xlsx_file.content)
    assert len(sheet.rows) == 1
    assert xlsx_file.content.startswith(b"PK")


def test_the_table_holds_amounts_as_decimals():
    job = make_job()
    plan(job, contract_minor=1_000_001)

    (row,) = joblist.table(Job.objects.all(), user=None)

    assert dict(zip(joblist.headings(None), row, strict=True))["not_invoiced"] == Decimal("10000.01")


def test_the_list_asks_the_database_as_often_for_fifty_jobs_as_for_five(dana, theo, joel, crew):
    def more(count: int) -> None:
        for number in range(count):
            request_to_fit = asked(utility=a_utility(f"Utility {number}"), crew=crew)
            plan(job_of(request_to_fit))
            forecast_for(request_to_fit, half_in=116)

    clients = {who.name: signed_in(Client(), who) for who in (dana, theo, joel)}
    more(5)
    few = {name: counted(client, reverse("jobs")) for name, client in clients.items()}
    more(45)

    assert {name: counted(client, reverse("jobs")) for name, client in clients.items()} == few
    assert max(few.values()) <= 20


def test_a_person_who_may_see_no_jobs_is_refused(client, dana):
    user = user_of(dana)
    user.groups.clear()

    assert signed_in(client, dana).get(reverse("jobs")).status_code == 403
