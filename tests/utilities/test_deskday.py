"""The desk's day: which desks are asked, by whom, and their answers line by line."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.core.facts import Said
from jobs.core.models import Hold, User
from jobs.core.models.holds import HoldKind, Stops
from jobs.core.refusals import OutOfSight, Refused
from jobs.core.rights import FINANCE, SCHEDULER
from tests.make import FITTED, SYSTEM, make_user, serial_of, user_of
from tests.pages.queries import counted, signed_in
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import covering, deskanswers, deskday, requests, services, visits
from utilities.asking import PROMISE, UNACKNOWLEDGED, VISITED
from utilities.deskanswers import Line, LinesRefused
from utilities.models import Contact, FitRequest, Outcome, Utility

pytestmark = pytest.mark.django_db

D = dt.date
OCTOBER = D(2026, 10, 1)
TODAY = D(2026, 11, 18)  # a Wednesday, as the tests' clock says


def due_desks() -> list[deskday.Desk]:
    return deskday.desks(FitRequest.objects.all(), today=TODAY)


def open_at(utility: Utility, *, on: dt.date = OCTOBER) -> FitRequest:
    return make_request(make_service(utility=utility), on=on)


def test_one_call_asks_about_all_homes_of_a_desk_and_the_desk_is_then_left_alone():
    utility = make_utility()
    one, two = open_at(utility), open_at(utility)
    open_at(utility, on=D(2026, 11, 17))  # not due yet
    (desk,) = due_desks()
    assert (set(desk.about), desk.is_today, desk.last_asked) == ({one.pk, two.pk}, True, None)

    requests.record_contact(one, on=D(2026, 11, 17), answered="nothing new", by=SYSTEM)

    (desk,) = due_desks()  # the other home still waits for a word, but not before three business days: 18, 19, 20
    assert (set(desk.about), desk.is_today, desk.may_on) == ({two.pk}, False, D(2026, 11, 20))


def test_what_the_desk_told_by_itself_is_no_asking_and_a_visit_answers_a_promise():
    utility = make_utility()
    told, visited = open_at(utility), open_at(utility)
    for request in (told, visited):
        requests.record_answer(request, on=D(2026, 11, 10), answered="this week", promised_by=D(2026, 11, 13), by=SYSTEM)
    assert [sorted({one.reason for one in desk.about.values()}) for desk in due_desks()] == [[PROMISE]]

    visits.record_visit(visited, on=D(2026, 11, 13), outcome="cancelled by utility", reason="said the crew", by=SYSTEM)

    (desk,) = due_desks()
    assert {pk: one.reason for pk, one in desk.about.items()} == {told.pk: PROMISE, visited.pk: VISITED}
    assert (desk.is_today, desk.last_asked) == (True, None)


def test_a_hold_that_stops_reminders_stops_the_asking_and_nothing_else():
    request = open_at(make_utility())
    hold = Hold.objects.create(
        job=job_of(request), kind=HoldKind.STORM, stops=[Stops.REMINDERS], from_on=D(2026, 11, 2), review_on=D(2026, 12, 1), reason="ice"
    )
    assert due_desks() == []

    hold.stops = [Stops.COLLECTION]
    hold.save()
    assert len(due_desks()) == 1


def test_as_many_desks_as_there_are_are_found_with_the_same_queries(client, theo):
    open_at(make_utility())
    signed_in(client, theo)
    few = counted(client, "/utilities/desks/")
    for _ in range(4):
        open_at(make_utility())

    assert counted(client, "/utilities/desks/") == few


def test_the_answers_of_one_conversation_stand_on_each_home_and_count_as_an_asking(theo):
    utility = make_utility()
    quiet, planned, fitted = (open_at(utility) for _ in range(3))
    lines = [
        Line(quiet.code, "nothing new"),
        Line(planned.code, "scheduled", D(2026, 12, 2), "WO-88", "before noon"),
        Line(fitted.code, "fitted", D(2026, 11, 16)),
    ]

    assert deskanswers.record_lines(utility, lines=lines, on=TODAY, person="Lena Abbott", by=theo) == 3

    contact = Contact.objects.get(request=planned)
    assert (contact.answered, contact.promised_by, contact.ours) == ("scheduled for 2 December 2026; before noon", D(2026, 12, 2), True)
    for request in (planned, fitted):
        request.refresh_from_db()
    assert (planned.utility_reference, fitted.outcome) == ("WO-88", Outcome.FITTED)
    assert deskday.last_asked([utility.pk]) == {utility.pk: TODAY}
    assert due_desks() == []
    # Pressed twice: what is on record already is no second fact.
    assert deskanswers.record_lines(utility, lines=lines, on=TODAY, person="Lena Abbott", by=theo) == 3
    assert Contact.objects.filter(utility=utility).count() == 2


def test_a_line_whose_home_was_fitted_an_hour_ago_stops_all_or_the_good_ones_are_taken(theo):
    utility = make_utility()
    good, gone, past = (open_at(utility, on=D(2026, 9, 1)) for _ in range(3))
    visits.confirm_fitting(gone, by_on=FITTED, said_by=Said("gateway"), serial=serial_of(job_of(gone)), by=theo)
    lines = [
        Line(good.code, "nothing new"),
        Line(gone.code, "nothing new"),
        Line(past.code, "scheduled", D(2026, 11, 13)),
    ]

    with pytest.raises(LinesRefused, match="Two lines cannot be recorded, so nothing was") as refused:
        deskanswers.record_lines(utility, lines=lines, on=TODAY, by=theo)

    assert "is on record as fitted on 14 September 2026" in refused.value.wrong[gone.code][1]
    assert "before the answer on 18 November 2026: a day to come is wanted" in refused.value.wrong[past.code][1]
    assert not Contact.objects.exists()

    assert deskanswers.record_lines(utility, lines=lines, on=TODAY, good_ones=True, by=theo) == 1
    assert [contact.request_id for contact in Contact.objects.all()] == [good.pk]


def test_another_desks_request_is_no_line_of_this_one(theo):
    elsewhere = open_at(make_utility())
    with pytest.raises(OutOfSight):
        deskanswers.record_lines(make_utility(), lines=[Line(elsewhere.code, "nothing new")], on=TODAY, by=theo)


def test_a_refused_line_stays_on_the_page_as_it_was_typed(client, theo):
    utility = make_utility()
    one, two = open_at(utility), open_at(utility)
    signed_in(client, theo)
    typed = {
        "on": "18 Nov 2026", "channel": "telephone", "person": "Lena Abbott",
        f"answer-{one.code}": "scheduled", f"day-{one.code}": "13 Nov 2026",
        f"answer-{two.code}": "nothing new", f"note-{two.code}": "asks for the survey again",
    }  # fmt: skip

    page = client.post(f"/utilities/{utility.uid}/desk/", typed)

    assert page.status_code == 422
    shown = page.content.decode()
    assert "a day to come is wanted" in shown
    assert "The other one line can be recorded without it." in shown
    assert 'value="13 Nov 2026"' in shown
    assert 'value="asks for the survey again"' in shown
    assert not Contact.objects.exists()

    assert client.post(f"/utilities/{utility.uid}/desk/", typed | {"good_ones": "on"}).status_code == 302
    assert Contact.objects.get().answered == "nothing new; asks for the survey again"


def test_the_stand_in_asks_while_the_clerk_is_away(dana, theo):
    paz = make_user(SCHEDULER, "Paz Moreno")
    utility = make_utility(clerk=user_of(theo))

    def asks(day: dt.date) -> User | None:
        return services.who_asks(Utility.objects.get(pk=utility.pk), day)

    with pytest.raises(Refused, match="Nobody stands in at"):
        covering.record_away(user_of(theo), first=TODAY, last=D(2026, 11, 20), by=dana)
    covering.record_away(user_of(theo), first=TODAY, last=D(2026, 11, 20), stand_in=paz, by=dana)

    assert [asks(day) for day in (D(2026, 11, 17), TODAY, D(2026, 11, 20), D(2026, 11, 21))] == [user_of(theo), paz, paz, user_of(theo)]


def test_all_desks_of_one_person_are_handed_to_another(dana, theo):
    paz = make_user(SCHEDULER, "Paz Moreno")
    asked = make_utility(clerk=user_of(theo), stand_in=paz)
    stood_in_for = make_utility(clerk=user_of(dana), stand_in=user_of(theo))
    with pytest.raises(Refused, match="may not record requests"):
        covering.hand_over(user_of(theo), to=make_user(FINANCE), by=dana)

    assert covering.hand_over(user_of(theo), to=paz, by=dana) == 2

    for utility in (asked, stood_in_for):
        utility.refresh_from_db()
    assert (asked.clerk, asked.stand_in, stood_in_for.clerk, stood_in_for.stand_in) == (paz, None, user_of(dana), paz)


def test_a_request_that_nobody_acknowledged_says_why_it_is_asked_about(client, theo):
    request = open_at(make_utility(clerk=user_of(theo)))
    signed_in(client, theo)

    shown = client.get(f"/utilities/{request.utility.uid}/desk/").content.decode()

    assert UNACKNOWLEDGED[0].upper() + UNACKNOWLEDGED[1:] in shown
    assert "It may be asked today" in shown
    assert "Guadalupe" not in shown, "nobody's name is read to a desk"
    assert "Telephone <b>this desk</b> today, about one home" in client.get("/utilities/desks/").content.decode()
