"""Lists: how their rows are sorted, their heads, their pages when there are very many rows, and the words of a stretch of days."""

from __future__ import annotations

import datetime as dt

import pytest
from django.http import Http404, HttpResponse, QueryDict, StreamingHttpResponse
from django.template.loader import render_to_string
from django.urls import reverse

from jobs.core import lists, paging
from jobs.core.lists import Sort, empty_last, sort_of, sorts
from jobs.core.models import Job, Person
from jobs.core.sheets import read
from tests.make import make_job, user_of

SORTS = sorts(
    Sort("next", "Day, the next first", ("on",), of="day"),
    Sort("day", "Day, oldest first", ("on",)),
    Sort("-day", "Day, newest first", ("-on",)),
    Sort("name", "Name, by name", ("name", "pk")),
)
COLUMNS = (("Day", "day", "m"), ("Name", "name", ""), ("Amount", "", "num"))


def heads(address: str) -> list[tuple[str, str, str]]:
    given = QueryDict(address)
    return [(head.words, head.url, head.sort) for head in lists.heads(given, sort_of(given, SORTS), COLUMNS)]


def test_a_list_that_nobody_has_sorted_says_its_first_order_in_the_head_of_its_column():
    assert heads("") == [("Day, the next first", "?sort=day", "other"), ("Name", "?sort=name", ""), ("Amount", "", "")]
    assert heads("sort=nonsense") == [("Day, the next first", "?sort=day", "other"), ("Name", "?sort=name", ""), ("Amount", "", "")]


def test_a_head_that_is_pressed_again_turns_the_order_round_and_keeps_the_filter_but_not_the_page():
    assert heads("state=open&page=3&sort=day")[0] == ("Day, oldest first", "?state=open&sort=-day", "ascending")
    assert heads("state=open&sort=-day")[0] == ("Day, newest first", "?state=open&sort=day", "descending")
    assert heads("state=open&sort=-day")[1] == ("Name", "?state=open&sort=name", "")


def test_a_stretch_of_days_is_told_by_what_is_said_of_it():
    june, july = dt.date(2026, 6, 3), dt.date(2026, 7, 4)

    assert lists.between(june, july) == "3 June 2026 to 4 July 2026"
    assert lists.between(june, None) == "3 June 2026 or later"
    assert lists.between(None, july) == "4 July 2026 or earlier"
    assert lists.between(None, None) == ""


def test_a_table_is_saved_as_either_kind_of_file_under_its_name_and_as_no_other():
    table = [("Noor Haddad", 3)]
    csv, xlsx = (lists.table_file("people", ending, ("who", "homes"), table) for ending in ("csv", "xlsx"))

    assert isinstance(csv, StreamingHttpResponse)
    assert isinstance(xlsx, HttpResponse)
    told = b"".join(csv)
    assert told == "\ufeffwho,homes\r\nNoor Haddad,3\r\n".encode()
    assert csv.headers["Content-Disposition"] == 'attachment; filename="people.csv"'
    assert xlsx.headers["Content-Disposition"] == 'attachment; filename="people.xlsx"'
    assert [row.cells for row in read("people.xlsx", xlsx.content).rows] == [("Noor Haddad", "3")]
    with pytest.raises(Http404, match=r"people\.csv and people\.xlsx"):
        lists.table_file("people", "pdf", ("who", "homes"), table)


@pytest.fixture
def seven(db, monkeypatch) -> list[str]:
    """Seven people, two to a page, and three of them are counted."""
    monkeypatch.setattr(paging, "MOST", 3)
    monkeypatch.setattr(paging, "PER_PAGE", 2)
    names = [f"Person {number}" for number in range(7)]
    for name in names:
        Person.objects.create(name=name)
    return names


def test_very_many_rows_are_read_page_by_page_without_a_count_to_the_last(seven):
    pages = [lists.page_of(QueryDict(f"page={number}"), Person.objects.order_by("name"))["page"] for number in (1, 2, 3, 4)]

    assert [person.name for page in pages for person in page] == seven
    assert [page.has_next() for page in pages] == [True, True, True, False]
    assert pages[0].paginator.counted == "3+"


def test_the_links_of_very_many_rows_lead_to_the_first_the_one_before_and_the_next(seven):
    """The last page lies far behind the last that is counted."""
    shown = lists.page_of(QueryDict("text=a&page=4"), Person.objects.order_by("name"))

    html = render_to_string("_pages.html", shown)

    assert 'href="?text=a&amp;page=3">Back' in html
    assert 'href="?text=a">First' in html
    assert "Next page" not in html
    assert "Page 4; more than 10,000 people" in render_to_string("_page_of.html", shown | {"rows": "people"})


@pytest.mark.parametrize("number", ["", "0", "-1", "x", "9" * 40])
def test_a_page_that_there_is_not_is_answered_with_one_that_can_be_shown(seven, number):
    page = lists.page_of(QueryDict(f"page={number}"), Person.objects.order_by("name"))["page"]

    assert [person.name for person in page] == ([] if number.startswith("9") else seven[:2])


def test_sums_of_very_many_rows_are_told_only_once_they_are_narrowed(seven):
    def told(address: str) -> bool:
        given = QueryDict(address)
        return lists.totals_told(lists.page_of(given, Person.objects.order_by("name"))["page"], given, "state")

    assert not told("")
    assert not told("state=")
    assert told("state=open")
    Person.objects.filter(name__in=seven[3:]).delete()
    assert told("")


def test_rows_with_nothing_in_the_column_come_last_either_way(db):
    early, late, none = make_job(), make_job(), make_job()
    for job, day in ((early, dt.date(2026, 3, 2)), (late, dt.date(2026, 3, 9)), (none, None)):
        Job.objects.filter(pk=job.pk).update(install_on=day)

    assert list(Job.objects.order_by(empty_last("install_on"))) == [early, late, none]
    assert list(Job.objects.order_by(empty_last("-install_on"))) == [late, early, none]


LISTS = ("jobs", "requests", "utilities", "notices", "invoices", "payments", "calls")


@pytest.mark.parametrize("name", LISTS)
def test_every_list_has_the_one_paging_the_one_kind_of_head_and_both_files(client, dana, name):
    client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")

    page = client.get(reverse(name), {"sort": "nonsense"})

    assert page.status_code == 200
    assert isinstance(page.context["page"].paginator, paging.Paging)
    assert [head.sort for head in page.context["heads"] if head.sort] in (["ascending"], ["descending"], ["other"])
    html = page.content.decode()
    for ending in ("csv", "xlsx"):
        assert reverse(f"{name}_export", kwargs={"ending": ending}) in html
        assert client.get(reverse(f"{name}_export", kwargs={"ending": ending})).status_code == 200
