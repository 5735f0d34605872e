"""What a home and a desk are written about the utility's work: the visit, power off for it, and a letter."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.core import actors
from jobs.core.models import Party, Person
from jobs.core.models.people import PartyRole
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices import outbox
from jobs.notices.models import Message
from tests.make import SYSTEM, make_job, user_of
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import letters, requests, visits

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 18)
MONDAY = dt.date(2026, 11, 23)


def announced(request=None, *, first: dt.date = MONDAY, last: dt.date = MONDAY, told_on: dt.date = TODAY, by=SYSTEM, **fields):
    return visits.announce_visit(request or make_request(), told_on=told_on, window_from=first, window_to=last, by=by, **fields)


def states() -> dict[str, str]:
    return dict(Message.objects.order_by("pk").values_list("kind", "state"))


def test_an_announced_visit_owes_the_news_now_and_the_warning_the_day_before():
    announced(last=MONDAY + dt.timedelta(days=2), hours="between 8 and 12")

    news, warning = Message.objects.order_by("pk")

    assert (news.kind, news.not_before) == ("visit_announced", None)
    # Ten in the morning in Denver is 17:00 UTC in November; over with the last day of the window.
    assert (warning.kind, warning.not_before) == ("utility_interrupts", dt.datetime(2026, 11, 22, 17, tzinfo=dt.UTC))
    assert news.not_after == warning.not_after == dt.datetime(2026, 11, 26, 6, 59, tzinfo=dt.UTC)
    text = outbox.preview(news).text
    assert "between Monday, November 23 and Wednesday, November 25" in text
    assert "It named this time: “between 8 and 12”." in text


def test_the_warning_goes_to_everybody_at_the_home_and_the_news_to_the_owner_too():
    request = make_request()
    job = job_of(request)
    for name in ("Noor Haddad", "Sam Uttley"):
        person = Person.objects.create(name=name, phone="+13035550143", email=f"{name[:3].lower()}@homes.example")
        Party.objects.create(job=job, role=PartyRole.AT_HOME, person=person)
    owner = job.parties.get(role=PartyRole.OWNER).person
    job.parties.filter(role=PartyRole.AT_HOME, person=owner).delete()

    announced(request)

    def told(kind: str) -> set[str]:
        return set(Message.objects.filter(kind=kind).values_list("to_name", flat=True))

    assert told("utility_interrupts") == {"Noor Haddad", "Sam Uttley"}
    assert told("visit_announced") == {"Noor Haddad", "Sam Uttley", owner.name}


def test_a_newer_window_a_telephone_call_and_the_visit_itself_withdraw_what_has_not_left():
    request = make_request()
    announced(request)
    later = announced(request, first=MONDAY + dt.timedelta(days=7), last=MONDAY + dt.timedelta(days=7))
    assert list(Message.objects.order_by("pk").values_list("state", flat=True)) == ["withdrawn", "withdrawn", "owed", "owed"]

    visits.record_homeowner_told(later, on=TODAY, by=SYSTEM)
    # Told by telephone of the day; that the power goes off is said again the day before.
    assert states() == {"visit_announced": "withdrawn", "utility_interrupts": "owed"}

    visits.record_visit(request, on=TODAY, outcome="cancelled by utility", reason="said the crew", by=SYSTEM)
    # Nobody came, so the home is asked whether the bag still hangs; of the visit nothing is left to say.
    assert states() == {"visit_announced": "withdrawn", "utility_interrupts": "withdrawn", "bag_photo": "owed"}


def test_who_was_told_already_gets_no_news_and_a_past_window_or_an_import_owes_nothing():
    announced(homeowner_told_on=TODAY)
    assert states() == {"utility_interrupts": "owed"}

    Message.objects.all().delete()
    announced(first=TODAY - dt.timedelta(days=3), last=TODAY - dt.timedelta(days=2), told_on=TODAY - dt.timedelta(days=9))
    announced(by=actors.command("import", source="import"))
    assert states() == {}


def test_a_visit_tomorrow_warns_at_once():
    announced(first=TODAY + dt.timedelta(days=1), last=TODAY + dt.timedelta(days=1))

    assert Message.objects.get(kind="utility_interrupts").not_before is None


def test_a_letter_names_numbers_and_days_and_nobody_of_the_home(theo):
    utility = make_utility(desk_email="desk@ottermere.example")
    request = make_request(make_service(make_job(S.GRID_TIED, owner="Guadalupe Hernández"), utility=utility))
    requests.record_answer(request, on=TODAY, answered="received", reference="WO-5512", by=theo)

    message = letters.write_to_desk(request, asks="Is a day\nplanned for the visit?", by=theo)
    shown = outbox.preview(message)

    assert (message.address, message.to_name) == ("desk@ottermere.example", utility.name)
    assert "your number WO-5512" in shown.subject
    assert f"Our own number is {request.code}." in shown.text
    assert "Is a day planned for the visit?" in shown.text
    # Sent on Wednesday 3 June; 115 working days of Monday to Friday without the federal holidays since (workdays.py).
    assert "Wednesday, June 3, 2026, 115 business days of your calendar ago" in shown.text
    assert "Guadalupe" not in shown.text
    with pytest.raises(Refused, match="asked twice a day stops answering"):
        letters.write_to_desk(request, asks="And now?", by=theo)


def test_a_letter_wants_a_desk_and_an_open_request(client, theo):
    client.force_login(user_of(theo))
    request = make_request()

    answer = client.post(reverse("request_write", kwargs={"uid": request.uid}), {"asks": "Is a day planned?"})

    assert answer.status_code == 422
    assert "has no e-mail address of its desk on record" in answer.content.decode()
    with pytest.raises(Refused, match="in 1 to 600 letters"):
        letters.write_to_desk(request, asks=" ", by=theo)
