"""Fifty homeowners press for twenty times in the same moment. PostgreSQL only."""

from __future__ import annotations

import datetime as dt
import itertools
from functools import partial
from zoneinfo import ZoneInfo

import pytest

from jobs.appointments import booking, hours
from jobs.appointments.models import Appointment, AppointmentState
from jobs.appointments.slots import WeeklyHours
from jobs.appointments.times import Wish
from jobs.core import actors
from jobs.core import kinds as k
from jobs.core.models import SignedLink
from jobs.core.rights import VERIFIER
from tests.appointments.homes import TOMORROW, ready_job
from tests.make import SYSTEM, make_user
from tests.races import race

HOMES, TIMES = 50, 20


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_fifty_homeowners_who_press_for_twenty_times_at_once_are_twenty_winners_and_thirty_refused():
    """Each has an offer of the week after and presses for one of the twenty places that two verifiers have tomorrow."""
    people = [make_user(VERIFIER, name) for name in ("Mara Quist", "Idris Bell")]
    other_days = [day for day in range(7) if day != TOMORROW.weekday()]
    week = [WeeklyHours(TOMORROW.weekday(), dt.time(9), dt.time(19)), *(WeeklyHours(day, dt.time(9), dt.time(18)) for day in other_days)]
    for one in people:
        hours.set_hours(one, hours=week, by=SYSTEM)
    later = [TOMORROW + dt.timedelta(days=number) for number in range(4, 7)]
    kept = itertools.product(people, later, range(9, 18))
    offers = []
    for verifier, day, hour in itertools.islice(kept, HOMES):
        offers.append(booking.offer(ready_job(), verifier=verifier, wish=Wish(day, dt.time(hour)), by=SYSTEM))
    hours_wanted = [dt.time(9 + number % (TIMES // 2)) for number in range(HOMES)]
    wanted = [dt.datetime.combine(TOMORROW, at, ZoneInfo("America/Denver")) for at in hours_wanted]
    before = {offer.pk: offer.starts_at for offer in offers}

    def press(place: int) -> str:
        offer = offers[place]
        link = SignedLink.objects.get(about=str(offer.uid))
        booking.answer_by_link(offer, medical="no", lift="no", starts_at=wanted[place], by=actors.link(link))
        return "booked"

    gave = race(*(partial(press, place) for place in range(HOMES)))

    lost = [answer for answer in gave if answer != "booked"]
    assert (gave.count("booked"), len(lost)) == (TIMES, HOMES - TIMES)
    assert all("perhaps just taken; another time is wanted" in answer or "not free any more" in answer for answer in lost)
    calls = {call.pk: call for call in Appointment.objects.all()}
    taken = [(call.verifier_id, call.starts_at) for call in calls.values() if call.local_date == TOMORROW]
    assert len(taken) == len(set(taken)) == TIMES
    for offer, answer in zip(offers, gave, strict=True):
        call = calls[offer.pk]
        if answer == "booked":
            assert (call.state, call.local_date) == (AppointmentState.CONFIRMED, TOMORROW)
            assert call.job.facts.standing().of_kind(k.CALL_BOOKED).count() == 1
        else:  # the time kept before still stands, and no half of the answer is on record
            assert (call.state, call.starts_at) == (AppointmentState.OFFERED, before[offer.pk])
            assert not call.job.facts.of_kind(k.LIFT_ANSWER).exists()
