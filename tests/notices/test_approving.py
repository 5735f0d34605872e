"""A manager approves, kind by kind, what leaves by itself."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import rules
from jobs.core.models import Rule
from jobs.core.refusals import Refused
from jobs.notices import asking
from jobs.notices.approving import approved
from jobs.notices.models import Message
from tests.make import SYSTEM, make_job, user_of
from tests.notices.test_fitted import fitted

pytestmark = pytest.mark.django_db
PAGE = "/notices/by-themselves/"


def test_an_approved_kind_leaves_by_the_rule_and_the_others_wait(client, dana):
    client.force_login(user_of(dana))

    answer = client.post(PAGE, {"kinds": ["collar_fitted", "call_booked"]}, follow=True)
    fitted()
    asking.ask_for_paper(make_job(), paper="bill", by=SYSTEM)

    assert "call booked and collar fitted, what happens next" in answer.content.decode()
    assert dict(Message.objects.values_list("kind", "state")) == {"collar_fitted": "released", "paper_needed": "owed"}
    assert Message.objects.get(kind="collar_fitted").rule == "notices_by_themselves"


def test_the_rules_lead_to_the_page_with_the_marks(client, dana):
    client.force_login(user_of(dana))

    assert f'href="{PAGE}"' in client.get("/rules/").content.decode()


def test_taking_the_marks_away_lets_all_wait_again(client, dana):
    client.force_login(user_of(dana))
    client.post(PAGE, {"kinds": ["collar_fitted"]})

    client.post(PAGE, {})

    assert approved() == []
    fitted()
    assert Message.objects.get().state == "owed"


@pytest.mark.parametrize("name", ["collar_removed", "invoice", "no_such_kind"])
def test_what_always_waits_for_a_person_cannot_be_approved(name, client, dana):
    client.force_login(user_of(dana))

    answer = client.post(PAGE, {"kinds": ["call_booked", name]})

    assert answer.status_code == 422
    assert f"“{name}” is no kind of message that may leave by itself." in answer.content.decode()
    assert approved() == []


@pytest.mark.parametrize("value", ["call_boked", "call_booked, invoice", "call_booked; call_moved", "texts_ended"])
def test_a_rule_that_names_no_kind_that_may_is_refused_wherever_it_is_set(value, client, dana):
    client.force_login(user_of(dana))
    with pytest.raises(Refused, match="is no kind of message that may leave by itself"):
        rules.set_rule("notices_by_themselves", value=value, valid_from=dt.date(2026, 11, 18), by=dana)

    answer = client.post("/rules/notices_by_themselves/", {"value": value, "valid_from": "18 Nov 2026"})

    assert answer.status_code == 422
    assert "is no kind of message that may leave by itself" in answer.content.decode()
    assert not Rule.objects.exists()
