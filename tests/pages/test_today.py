"""Today: each role's own rows, one sentence made from the counts, and figures that open rows adding up to them."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.core import homefacts
from jobs.core import kinds as k
from jobs.core.attention import Figure, Row, Section
from jobs.core.models import Hold
from jobs.core.states import S
from jobs.pages import today
from tests.make import SYSTEM, make_job, put
from tests.pages.queries import counted, signed_in

TODAY = dt.date(2026, 11, 18)


def section(title: str, count: int) -> Section:
    return Section("name", title, ("Day", "Home", "Next act"), [Row("Mon", "home", "/")] * min(count, 10), "None.", total=count)


@pytest.mark.parametrize(
    ("title", "count", "said"),
    [
        ("Promises overdue", 5, "five promises overdue"),
        ("Promises overdue", 1, "one promise overdue"),
        ("Next acts due", 1, "one next act due"),
        ("Boxes to open", 1, "one box to open"),
        ("Utilities whose pace changed", 1, "one utility whose pace changed"),
        ("Overdue", 12, "12 under “Overdue”"),
    ],
)
def test_a_count_and_its_title_are_said_as_part_of_a_sentence(title, count, said):
    assert today.said(section(title, count)) == said


def test_the_lead_names_three_sections_and_counts_the_rest():
    lead = today.lead([section("Promises overdue", 5), section("Holds to review", 0), section("Drafts to release", 3),
                       section("Papers that expire", 2), section("Visits missed", 11)])  # fmt: skip

    assert lead.fact == "21 things need you today:"
    assert lead.rest == "five promises overdue, three drafts to release, two papers that expire and 11 others below."


def test_with_nothing_to_do_the_lead_says_so():
    assert today.lead([section("Promises overdue", 0)]) == today.Lead("Nothing needs you today.", "")


def test_at_most_three_figures_stand_and_those_of_homes_and_money_come_first():
    figures = {app: (Figure(f"{app} 1", "1", "/"), Figure(f"{app} 2", "2", "/")) for app in ("jobs.notices", "jobs.core", "billing")}

    assert [figure.label for figure in today._figures(figures)] == ["jobs.core 1", "billing 1", "jobs.core 2"]


@pytest.mark.django_db
def test_the_manager_sees_overdue_acts_of_every_role_with_how_late_they_are(client, dana):
    make_job(S.GRID_TIED)  # act due 4 May + 3 days = 7 May; 18 November is 195 days later

    page = signed_in(client, dana).get("/")

    html = page.content.decode()
    assert "195 days late" in html
    assert "Send the request to fit" in html
    assert "<b>" in html
    assert "one next act overdue" in html


@pytest.mark.django_db
def test_a_figure_opens_the_rows_it_counts(client, dana):
    for _ in range(3):
        make_job(S.AWAITING_UTILITY)
    make_job(S.COLLAR_ENERGIZED)
    page = signed_in(client, dana).get("/")
    figures = {figure.label: figure for figure in page.context["figures"]}

    waiting = figures["Homes waiting on the utility"]
    opened = client.get(waiting.url)

    assert waiting.value == "3"
    assert len(opened.context["lines"]) == 3
    fitted = figures["Fitted, backup not yet verified"]
    assert [line.job.state for line in client.get(fitted.url).context["lines"]] == [S.COLLAR_ENERGIZED]


@pytest.mark.django_db
def test_each_section_of_the_homes_opens_as_many_rows_as_it_counts(client, dana):
    for state in (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED):
        make_job(state)
    held = make_job(S.AWAITING_UTILITY)
    homefacts.hold(held, kind="wish", stops=["calls"], review_on=TODAY + dt.timedelta(days=1), reason="travelling", by=SYSTEM)
    Hold.objects.update(review_on=TODAY)
    page = signed_in(client, dana).get("/")

    counted_here = {one.section.name: one.section for one in page.context["sections"]}
    for name in ("overdue", "holds", "on_us"):
        listed = client.get(counted_here[name].all_url)
        assert listed.context["paging"].count == counted_here[name].count > 0, name
    assert "without_act" in {one.name for one in page.context["empty"]}  # must be none


@pytest.mark.django_db
def test_rows_of_what_is_wanted_add_up_to_the_homes_waiting_on_us(client, dana):
    for state in (S.IN_BUILD, S.IN_BUILD, S.GRID_TIED):
        make_job(state)
    page = signed_in(client, dana).get("/")

    on_us = next(one.section for one in page.context["sections"] if one.section.name == "on_us")

    assert [(row.margin, row.title) for row in on_us.rows] == [("2", "Set the install day"), ("1", "Send the request to fit")]
    assert on_us.count == 3
    for row in on_us.rows:
        assert client.get(row.url).context["paging"].count == int(row.margin)


@pytest.mark.django_db
def test_an_emergency_stands_first_also_at_a_finished_home_until_it_is_over(client, dana, theo):
    job = make_job(S.BACKUP_VERIFIED)
    homefacts.open_emergency(job, what="half the house dark", by=theo)

    first = signed_in(client, theo).get("/").context["sections"][0]
    assert first.section.title == "Emergencies at homes"
    assert first.rows[0][0].cells[0] == "half the house dark"

    homefacts.end_emergency(job, how="the utility mended its neutral", by=dana)
    assert all(one.section.name != "emergencies" for one in client.get("/").context["sections"])


@pytest.mark.django_db
def test_a_crew_sees_its_own_sites_of_the_day_and_no_others(client, joel, crew):
    own = make_job(crew=crew, install_on=TODAY)
    make_job(install_on=TODAY)
    put(own, k.CONTRACT_SIGNED, on=dt.date(2026, 11, 1))

    page = signed_in(client, joel).get("/")

    (sites,) = page.context["sections"]
    assert [row.margin for row, _ in sites.rows] == [own.code]
    assert page.context["figures"] == ()


@pytest.mark.django_db
def test_finance_and_verifiers_get_nothing_of_the_scheduler(client, farida):
    make_job(S.GRID_TIED)

    page = signed_in(client, farida).get("/")

    assert {"overdue", "due", "on_us"}.isdisjoint(one.section.name for one in page.context["sections"])


@pytest.mark.django_db
@pytest.mark.parametrize("who", ["dana", "theo", "farida", "mara"])
def test_today_asks_the_database_as_often_for_fifty_homes_as_for_five(client, who, request):
    signed_in(client, request.getfixturevalue(who))
    states = (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED)
    for state in states:
        make_job(state)
    few = counted(client, reverse("today"))
    for _ in range(9):
        for state in states:
            make_job(state)

    assert counted(client, reverse("today")) == few
