"""Who answers in an emergency, from and to."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.appointments import oncall
from jobs.appointments.visitmodels import OnCall
from jobs.core import clock, rules
from jobs.core.phones import e164
from jobs.core.refusals import Refused
from tests.appointments.homes import TODAY
from tests.make import SYSTEM, user_of

pytestmark = pytest.mark.django_db

NOON = dt.datetime(2026, 11, 18, 19, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)


def put(name: str = "Ana Ortiz", *, starts_at: dt.datetime = NOON - DAY, days: float = 2, by=SYSTEM, **changed) -> OnCall:
    given = {"license_number": "EL 1177", "phone": e164("(303) 555-0177"), "ends_at": starts_at + days * DAY, **changed}
    return oncall.put_on_call(name, starts_at=starts_at, by=by, **given)


def test_the_emergency_page_shows_who_is_on_call_now_and_else_the_number_for_always(client, mara, theo):
    client.force_login(user_of(mara))
    address = reverse("emergency")
    assert "nobody is on call, and Rules name nobody" in client.get(address).content.decode()

    rules.set_rule("emergency_on_call", value="Ines Duarte, (303) 555-0188", valid_from=TODAY, by=SYSTEM)
    assert "Ines Duarte" in client.get(address).content.decode()
    entry = put(by=theo)

    page = client.get(address).content.decode()
    assert "Ana Ortiz, license EL 1177" in page
    assert "on call until Thu 19 Nov, 12:00" in page
    assert "Ines Duarte" not in page
    oncall.withdraw_on_call(entry, by=theo)
    assert "Ines Duarte" in client.get(address).content.decode()
    with pytest.raises(Refused, match="withdrawn already"):
        oncall.withdraw_on_call(entry, by=theo)


def test_the_page_asks_for_what_may_kill_first():
    from jobs.pages.emergency import QUESTIONS

    asked = [question for question, _ in QUESTIONS]
    assert "Smoke" in asked[0]
    assert "battery" in asked[1]
    assert "shock" in asked[2]
    assert sum("911" in then for _, then in QUESTIONS) >= 3


@pytest.mark.parametrize(
    ("changed", "sentence", "field"),
    [
        ({"days": -1}, "end must come after", "to_on"),
        ({"starts_at": NOON - 9 * DAY}, "That time has passed", "to_on"),
        ({"license_number": " "}, "number of the license", "license_number"),
        ({"name": ""}, "who is on call", "name"),
    ],
)
def test_an_entry_that_helps_nobody_is_refused(changed, sentence, field, theo):
    with pytest.raises(Refused, match=sentence) as refused:
        put(by=theo, **changed)
    assert refused.value.field == field


def test_two_are_never_on_call_at_once_and_one_may_begin_where_another_ends(theo):
    first = put(by=theo)
    with pytest.raises(Refused, match="Ana Ortiz is on call at that time already"):
        put("Ines Duarte", starts_at=first.ends_at - dt.timedelta(minutes=1), by=theo)

    put("Ines Duarte", starts_at=first.ends_at, by=theo)

    assert [entry.name for entry in OnCall.objects.all()] == ["Ana Ortiz", "Ines Duarte"]
    assert oncall.now_on_call(first.ends_at) == OnCall.objects.get(name="Ines Duarte"), "at the very end the next one answers"


def test_stretches_without_anybody_are_said():
    rows = [OnCall(starts_at=NOON + n * DAY, ends_at=NOON + (n + 1) * DAY) for n in (1, 3)]
    found = oncall.gaps(rows, begins=NOON, ends=NOON + 5 * DAY)
    assert found == [(NOON + a * DAY, NOON + b * DAY) for a, b in ((0, 1), (2, 3), (4, 5))]
    assert oncall.gaps([OnCall(starts_at=NOON, ends_at=NOON + 9 * DAY)], begins=NOON, ends=NOON + 5 * DAY) == []


def test_the_list_keeps_what_was_typed_and_says_where_nobody_answers(client, theo):
    client.force_login(user_of(theo))
    typed = {
        "name": "Ana Ortiz", "license_number": "EL 1177", "phone": "555", "from_on": "18 Nov 2026", "from_time": "08:00",
        "to_on": "20 Nov 2026", "to_time": "08:00",
    }  # fmt: skip
    refused = client.post(reverse("on_call"), typed)
    assert refused.status_code == 422
    assert "EL 1177" in refused.content.decode()

    page = client.post(reverse("on_call"), {**typed, "phone": "(303) 555-0177"}, follow=True).content.decode()
    assert "Ana Ortiz is on call now." in page
    assert "nobody is on call from Fri 20 Nov, 08:00 until" in page
    assert clock.now() < OnCall.objects.get().ends_at
