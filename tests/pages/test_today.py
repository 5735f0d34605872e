"""Today: each role's own rows, one sentence made from the counts, and figures that open rows adding up to them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.core import homefacts
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.attention import Figure, Row, Section, says
from jobs.core.models import Hold
from jobs.core.states import S
from jobs.pages import today
from tests.billing.made import planned_job
from tests.make import SYSTEM, make_job, put, user_of
from tests.pages.queries import counted, signed_in
from tests.utilities.made import make_request, make_service
from utilities import requests

TODAY = dt.date(2026, 11, 18)


def section(name: str, count: int, **told: Any) -> Section:
    return Section(name, name, ("Day", "Home", "Next act"), [Row("Mon", "home", "/")] * min(count, 10), "None.", total=count, **told)


def of_homes(one: str, many: str, homes: Iterable[int]) -> Section:
    ids = list(homes)
    return section(one, len(ids), says=says(one, many), homes=frozenset(ids))


def aloud(sections: list[Section]) -> str:
    return " ".join(f"{said.fact} {said.rest}".strip() for said in today.lead(sections))


PROMISES = of_homes("promise is overdue", "promises are overdue", range(1, 6))


def test_a_section_is_said_with_its_verb_in_the_singular_and_the_plural():
    said = says("home has no next act", "homes have no next act")

    assert [said(count) for count in (1, 3, 1204)] == [
        "one home has no next act",
        "three homes have no next act",
        "1,204 homes have no next act",
    ]


def test_the_lead_is_a_sentence_that_could_be_said_aloud_and_its_number_of_homes_is_bold():
    holds = of_homes("hold is to be reviewed", "holds are to be reviewed", [7])
    (said,) = today.lead([of_homes("emergency stands at a home", "emergencies stand at homes", []), PROMISES, holds])

    assert said == today.Said("Six homes need you today:", "five promises are overdue and one hold is to be reviewed.")


def test_the_lead_names_three_sections_of_homes_and_counts_each_home_once():
    sections = [
        PROMISES,
        of_homes("request ended", "requests ended", [1, 2, 8]),
        of_homes("home has had two visits missed", "homes have had two visits missed", [2]),
        of_homes("hold is to be reviewed", "holds are to be reviewed", [1, 8, 9, 10]),
    ]

    assert aloud(sections) == (
        "Eight homes need you today: five promises are overdue, three requests ended and one home has had two visits missed; "
        "two other homes stand below."
    )


def test_what_is_no_home_is_said_in_a_sentence_of_its_own():
    messages = section("failed", 2, says=says("message failed", "messages failed"))
    holds = of_homes("hold is to be reviewed", "holds are to be reviewed", [1])

    assert aloud([PROMISES, messages, holds]) == (
        "Five homes need you today: five promises are overdue and one hold is to be reviewed. Two messages failed."
    )


def test_money_is_said_without_a_count_of_homes():
    sections = [
        section("earned", 2, says=says("milestone is earned and not invoiced", "milestones are earned and not invoiced")),
        section("overdue", 35, says=says("invoice is overdue", "invoices are overdue")),
        section("unapplied", 1, says=says("payment is not applied", "payments are not applied")),
    ]

    assert today.lead(sections) == [
        today.Said("Two milestones are earned and not invoiced,", "35 invoices are overdue and one payment is not applied.")
    ]
    assert aloud(sections[1:]) == "35 invoices are overdue and one payment is not applied."
    assert aloud([*sections, sections[0], sections[1]]).endswith(", two milestones are earned and not invoiced and more stands below.")


def test_calls_of_the_day_have_their_own_sentence_before_the_rest():
    calls = section("calls", 5, part="opening", says=lambda _: "four calls are booked today, the first at 09:00, and one tomorrow")

    assert today.lead([calls, PROMISES]) == [
        today.Said("Four calls are booked today,", "the first at 09:00, and one tomorrow."),
        today.Said("Five promises are overdue.", ""),
    ]


def test_what_gathers_the_homes_is_said_only_where_nothing_else_is():
    overview = section("overdue", 52, part="overview", says=says("next act is overdue", "next acts are overdue"))

    assert aloud([PROMISES, overview]) == "Five promises are overdue."
    assert aloud([overview]) == "52 next acts are overdue."


def test_with_nothing_to_do_the_lead_says_so():
    assert today.lead([section("Promises overdue", 0, says=says("", ""))]) == [today.Said("Nothing needs you today.", "")]


@pytest.mark.django_db
@pytest.mark.parametrize("who", ["dana", "theo", "farida", "mara", "joel"])
def test_every_section_of_every_role_has_its_part_of_the_sentence(who, request):
    sections = today.gathered(user_of(request.getfixturevalue(who))).sections

    assert [section.name for section in sections if section.says is None] == []
    for section in sections:
        assert len(section.kinds) in (0, len(section.headings) - 3), section.name


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
    assert "<b>One next act is overdue</b> and one home waits on us." in html


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
        assert listed.context["page"].paginator.count == counted_here[name].count > 0, name
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
        assert client.get(row.url).context["page"].paginator.count == int(row.margin)


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
def test_today_asks_the_database_as_often_for_fifty_homes_as_for_five(dana, theo, farida, mara):
    clients = {who.name: signed_in(Client(), who) for who in (dana, theo, farida, mara)}
    states = (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED)
    for state in states:
        make_job(state)
    few = {name: counted(client, reverse("today")) for name, client in clients.items()}
    for _ in range(9):
        for state in states:
            make_job(state)

    assert {name: counted(client, reverse("today")) for name, client in clients.items()} == few


@pytest.mark.django_db
def test_a_promise_overdue_shows_the_manager_the_home_s_unbilled_money_and_the_scheduler_none(client, dana, theo):
    request = make_request(make_service(planned_job(contract_minor=864_000)), on=dt.date(2026, 6, 3))
    requests.record_contact(request, on=dt.date(2026, 11, 10), answered="crew", promised_by=dt.date(2026, 11, 13), by=theo)

    def promised(who: Actor) -> tuple[str, ...]:
        sections = signed_in(client, who).get("/").context["sections"]
        (row,) = next(one for one in sections if one.section.name == "promises").rows
        return tuple(f"{cell.heading} {cell.words}" for cell in row[1] if cell.kind == "num")

    assert promised(dana) == ("Unbilled $8,640.00",)
    assert promised(theo) == ()
