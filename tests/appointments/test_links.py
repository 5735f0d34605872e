"""The homeowner's answer by signed link: the acts."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.appointments import booking, readiness
from jobs.appointments.models import Appointment, AppointmentState
from jobs.appointments.times import Wish
from jobs.core import actors, homefacts, links
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.models import SignedLink
from jobs.core.refusals import OutOfSight, Refused
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, TODAY, TOMORROW, booked, give_hours, ready_job
from tests.make import user_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def offered(theo, mara) -> Appointment:
    return booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)


def holder_of(call: Appointment) -> Actor:
    """The person at home, behind the link of this call."""
    return actors.link(SignedLink.objects.get(purpose="call", about=str(call.uid)))


def test_taking_the_offered_time_books_it_with_the_medical_answer(offered):
    booking.answer_by_link(offered, medical="no", lift="no", by=holder_of(offered))

    offered.refresh_from_db()
    assert offered.state == AppointmentState.CONFIRMED
    medical = offered.job.facts.of_kind(k.MEDICAL_ANSWER).last()
    assert (medical.value["answer"], medical.said_by_name) == ("no", offered.person.name)
    told = dict(Message.objects.values_list("kind", "state"))
    assert told == {"call_offered": "withdrawn", "call_booked": "owed", "call_reminder_hours": "owed"}


def test_without_a_medical_answer_nothing_is_booked(offered):
    with pytest.raises(Refused, match="powered medical equipment first"):
        booking.answer_by_link(offered, medical="", lift="no", by=holder_of(offered))

    offered.refresh_from_db()
    assert offered.state == AppointmentState.OFFERED


@pytest.mark.parametrize("answer", ["yes", "not sure", "declined"])
def test_another_medical_answer_than_no_is_recorded_and_ends_the_call(answer, offered):
    booking.answer_by_link(offered, medical=answer, lift="no", by=holder_of(offered))

    offered.refresh_from_db()
    assert (offered.state, offered.ended_why) == (AppointmentState.CANCELLED, "medical")
    assert offered.job.facts.of_kind(k.MEDICAL_ANSWER).last().value["answer"] == answer
    assert not offered.job.facts.of_kind(k.CALL_BOOKED).exists()


def test_another_free_time_may_be_chosen(offered):
    three = dt.datetime(2026, 11, 19, 22, tzinfo=dt.UTC)  # 15:00 in Denver

    booking.answer_by_link(offered, medical="no", lift="no", starts_at=three, by=holder_of(offered))

    offered.refresh_from_db()
    assert (offered.local_time, offered.sequence, offered.state) == (dt.time(15), 1, AppointmentState.CONFIRMED)
    assert Message.objects.get(kind="call_booked").cause == offered.cause
    assert Message.objects.get(kind="call_offered").state == "withdrawn"


@pytest.mark.parametrize(
    "starts_at",
    [dt.datetime(2026, 11, 19, 22, 20, tzinfo=dt.UTC), dt.datetime(2026, 11, 18, 19, tzinfo=dt.UTC)],
    ids=["made up", "too soon"],
)
def test_a_time_that_is_not_free_is_refused_and_the_old_one_kept(starts_at, offered):
    with pytest.raises(Refused, match="The time kept for you so far still stands"):
        booking.answer_by_link(offered, medical="no", lift="no", starts_at=starts_at, by=holder_of(offered))

    offered.refresh_from_db()
    assert (offered.state, offered.local_time) == (AppointmentState.OFFERED, dt.time(10))


def test_a_time_just_taken_by_another_home_is_refused(offered, theo, mara):
    three = dt.datetime(2026, 11, 19, 22, tzinfo=dt.UTC)
    booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(15)))

    with pytest.raises(Refused, match="not free any more"):
        booking.answer_by_link(offered, medical="no", lift="no", starts_at=three, by=holder_of(offered))


def test_a_link_answers_for_its_own_home_only(offered, theo, mara):
    other = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(15)))

    with pytest.raises(OutOfSight):
        booking.decline_by_link(other, by=holder_of(offered))


def test_declining_frees_the_place_and_owes_no_message(offered, theo, mara):
    booking.decline_by_link(offered, by=holder_of(offered))

    offered.refresh_from_db()
    assert offered.state == AppointmentState.DECLINED
    assert list(Message.objects.values_list("kind", "state")) == [("call_offered", "withdrawn")]
    assert booking.book(ready_job(), verifier=user_of(mara), wish=AT_TEN, by=theo).pk


@pytest.mark.parametrize("stop", ["hold", "emergency"])
def test_what_refuses_a_booking_refuses_the_link_too(stop, offered, dana):
    holder = holder_of(offered)
    if stop == "hold":
        homefacts.hold(offered.job, kind="storm", stops=["calls"], review_on=TOMORROW, reason="storm", by=dana)
    else:
        homefacts.open_emergency(offered.job, what="half the house dark", by=dana)

    with pytest.raises(Refused, match="not open any more"):
        booking.answer_by_link(offered, medical="no", lift="no", by=holder)


def test_a_home_that_grew_unready_refuses_the_link(offered):
    # Nothing cancels an offer when the utility's emergency line is taken away; the link asks anew.
    service = offered.job.services.get()
    service.utility.emergency_phone = ""
    service.utility.save()

    with pytest.raises(readiness.NotReady, match="emergency line"):
        booking.answer_by_link(offered, medical="no", lift="no", by=holder_of(offered))


def test_a_cancelled_call_ends_its_links(offered, theo):
    token = links.token_of(SignedLink.objects.get(about=str(offered.uid)))

    booking.cancel(offered, why="us", reason="Mara is ill", by=theo)

    with pytest.raises(links.LinkEnded):
        links.opened(token, purpose="call")


def token_of(call: Appointment) -> str:
    return links.token_of(SignedLink.objects.get(about=str(call.uid)))


def test_a_new_link_ends_the_one_before_and_its_message_is_owed_anew(offered, theo):
    old = token_of(offered)

    booking.send_new_link(offered, by=theo)

    offered.refresh_from_db()
    with pytest.raises(links.LinkEnded):
        links.opened(old, purpose="call")
    assert links.opened(token_of(offered), purpose="call").job == offered.job
    assert offered.sequence == 1
    assert Message.objects.filter(kind="call_offered", state="owed", cause=offered.cause).exists()
    assert not Message.objects.filter(state="owed").exclude(cause=offered.cause).exists()


def test_after_a_change_of_owner_the_old_link_opens_nothing(offered):
    """As the parties stand once the home was sold: the person is none of them any more."""
    token = token_of(offered)
    offered.job.parties.filter(person=offered.person).update(to_on=TODAY - dt.timedelta(days=1))

    with pytest.raises(links.LinkEnded):
        links.opened(token, purpose="call")


def test_the_answer_about_lifts_is_recorded_and_hinders_no_call(offered):
    booking.answer_by_link(offered, medical="no", lift="yes", by=holder_of(offered))

    fact = offered.job.facts.standing().of_kind(k.LIFT_ANSWER).get()
    assert (fact.value, fact.said_by_name) == ({"answer": "yes"}, "Guadalupe Hernández")
    offered.refresh_from_db()
    assert offered.state == AppointmentState.CONFIRMED
