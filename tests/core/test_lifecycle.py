from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import dayone, facts, homefacts, reconcile
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Fact, Trace
from jobs.core.refusals import NotAllowed, OutOfSight, Refused
from jobs.core.states import ORDER, S
from tests.make import DAY_ONE, FITTED, SENT, SYSTEM, make_job, put, serial_of, steps_seen

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("state", list(S))
def test_a_job_comes_to_each_state_by_its_facts_and_the_records_agree(state):
    job = make_job(state)

    assert job.state == state
    assert list(reconcile.breaches()) == []


def test_each_step_on_the_way_is_kept_with_its_day():
    job = make_job(S.BACKUP_VERIFIED)

    changes = list(job.state_changes.all())

    assert [change.became for change in changes] == list(ORDER[1:])
    assert changes[1].since == SENT
    assert changes[2].since == FITTED


def test_facts_that_come_before_their_turn_wait_and_then_count():
    job = make_job()
    put(job, k.REQUEST_SENT, on=SENT, value={"request": "x", "utility": "Ottermere"})
    put(job, k.COLLAR_FITTED, on=FITTED, value={"serial": "LL-777777"})
    job.refresh_from_db()
    assert job.state == S.IN_BUILD

    dayone.record_commissioned(job, on=DAY_ONE, by=SYSTEM)
    dayone.record_ct_check(job, on=DAY_ONE, tests=steps_seen(), by=SYSTEM)
    dayone.record_collar_registered(job, on=DAY_ONE, serial="ll-777777", by=SYSTEM)
    dayone.record_collar_staged(job, on=DAY_ONE, reason="hung by the utility itself", by=SYSTEM)
    dayone.record_sheet_given(job, on=DAY_ONE, by=SYSTEM)

    job.refresh_from_db()
    assert job.state == S.COLLAR_ENERGIZED
    assert [change.became for change in job.state_changes.all()] == list(ORDER[1:4])
    assert list(reconcile.breaches()) == []


def test_a_correction_that_withdraws_steps_the_job_back_and_keeps_the_old_fact(dana):
    job = make_job(S.COLLAR_ENERGIZED)
    fitted = job.facts.of_kind(k.COLLAR_FITTED).get()

    homefacts.correct(fitted, withdraw=True, reason="the neighbour's home was meant", by=dana)

    job.refresh_from_db()
    assert job.state == S.AWAITING_UTILITY
    assert job.state_changes.last().was == S.COLLAR_ENERGIZED
    assert Fact.objects.filter(pk=fitted.pk).exists()
    assert list(reconcile.breaches()) == []


def test_a_corrected_day_is_the_day_that_counts(dana):
    job = make_job(S.AWAITING_UTILITY)
    sent = job.facts.of_kind(k.REQUEST_SENT).get()

    homefacts.correct(sent, when=When(on=dt.date(2026, 6, 9)), reason="typed wrong", by=dana)

    job.refresh_from_db()
    assert job.state_since == dt.date(2026, 6, 9)
    assert job.waiting_since == dt.date(2026, 6, 9)


def test_a_fact_corrected_meanwhile_is_not_corrected_twice(dana):
    job = make_job(S.AWAITING_UTILITY)
    sent = job.facts.of_kind(k.REQUEST_SENT).get()
    homefacts.correct(sent, when=When(on=dt.date(2026, 6, 9)), reason="typed wrong", by=dana)

    with pytest.raises(Refused, match="corrected meanwhile"):
        homefacts.correct(sent, when=When(on=dt.date(2026, 6, 10)), reason="typed wrong", by=dana)

    assert job.facts.of_kind(k.REQUEST_SENT).count() == 2


def test_a_scheduler_corrects_what_schedulers_record_for_seven_days_only(theo):
    job = make_job()
    old = put(job, k.REQUEST_SENT, on=SENT, value={"request": "x", "utility": "Ottermere"})
    commissioned = put(job, k.COMMISSIONED, on=DAY_ONE)
    Fact.objects.filter(pk=old.pk).update(recorded_at=dt.datetime(2026, 11, 10, 18, 0, tzinfo=dt.UTC))

    with pytest.raises(Refused, match="only the operations manager"):
        homefacts.correct(old, withdraw=True, reason="wrong", by=theo)
    with pytest.raises(NotAllowed):
        homefacts.correct(commissioned, withdraw=True, reason="wrong", by=theo)


def test_a_bracket_that_ends_before_it_begins_is_refused(dana):
    job = make_job(S.AWAITING_UTILITY)

    with pytest.raises(Refused, match="must come before the first day it was seen fitted"):
        facts.record(job, k.COLLAR_FITTED, when=When(after=dt.date(2026, 7, 2), by=dt.date(2026, 7, 1)), said_by=Said("gateway"), by=dana)

    job.refresh_from_db()
    assert job.state == S.AWAITING_UTILITY
    assert not job.facts.of_kind(k.COLLAR_FITTED).exists()


def test_a_fitting_before_its_request_is_refused_with_both_days(dana):
    job = make_job(S.AWAITING_UTILITY)

    with pytest.raises(Refused, match="cannot be on 1 May 2026: request to fit sent was on 3 June 2026"):
        put(job, k.COLLAR_FITTED, on=dt.date(2026, 5, 1), value={"serial": serial_of(job)})


def test_a_request_dated_after_the_fitting_is_refused(dana):
    job = make_job()
    put(job, k.COLLAR_FITTED, on=dt.date(2026, 5, 1), value={})

    with pytest.raises(Refused, match="was already on 1 May 2026"):
        put(job, k.REQUEST_SENT, on=SENT, value={"request": "x", "utility": "Ottermere"})


def test_a_day_that_has_not_come_is_refused(dana):
    job = make_job()

    with pytest.raises(Refused, match="has not come yet"):
        dayone.record_commissioned(job, on=dt.date(2026, 11, 19), by=dana)

    assert not job.facts.exists()
    assert Trace.objects.filter(job=job, act__endswith="record_commissioned").count() == 0


def test_a_serial_that_another_site_holds_is_refused_and_names_the_other_job(dana):
    first, second = make_job(), make_job()
    dayone.record_collar_registered(first, on=DAY_ONE, serial="LL-123456", by=dana)

    with pytest.raises(Refused, match=first.code):
        dayone.record_collar_registered(second, on=DAY_ONE, serial="ll-123456", by=dana)

    assert not second.facts.exists()


def test_a_verdict_is_computed_and_keeps_the_job_in_build_when_the_cts_are_swapped(dana):
    job = make_job(S.GRID_TIED)

    dayone.record_ct_check(job, on=dt.date(2026, 5, 6), tests=steps_seen(a=(0, -1700), b=(-1700, 0)), by=dana)

    job.refresh_from_db()
    assert job.state == S.IN_BUILD
    assert job.next_act == "Send an electrician to the consumption CTs"
    assert job.facts.of_kind(k.CT_CHECK).last().value["verdict"] == "inconsistent"


def test_a_removal_returns_the_home_to_the_wait_and_telephones_first(dana):
    job = make_job(S.BACKUP_VERIFIED)

    homefacts.record_removed(job, by_on=dt.date(2026, 11, 16), said_by=Said("homeowner"), by=dana)

    job.refresh_from_db()
    assert (job.state, job.waiting_on, job.next_act) == (S.AWAITING_UTILITY, "us", "Telephone the homeowner: no backup now")
    assert job.next_due_on == dt.date(2026, 11, 16)


def test_a_crew_does_not_know_of_another_crews_home(joel, crew):
    own, other = make_job(crew=crew), make_job()

    dayone.record_commissioned(own, on=DAY_ONE, by=joel)
    with pytest.raises(OutOfSight):
        dayone.record_commissioned(other, on=DAY_ONE, by=joel)

    assert not other.facts.exists()


def test_a_fact_is_neither_changed_nor_deleted():
    job = make_job(S.GRID_TIED)
    fact = job.facts.first()

    with pytest.raises(TypeError):
        fact.save()
    with pytest.raises(TypeError):
        fact.delete()


def test_a_hold_needs_a_day_to_look_again(dana):
    job = make_job()

    with pytest.raises(Refused, match="must lie ahead"):
        homefacts.hold(job, kind="storm", stops=["calls"], review_on=dt.date(2026, 11, 18), reason="hurricane", by=dana)

    homefacts.hold(job, kind="storm", stops=["calls"], review_on=dt.date(2026, 11, 25), reason="hurricane", by=dana)
    homefacts.hold(job, kind="wish", stops=["homeowner"], review_on=dt.date(2026, 12, 1), reason="travelling", by=dana)
    assert homefacts.stopped(job) == {"calls", "homeowner"}


def test_a_finished_job_is_not_cancelled(dana):
    job = make_job(S.BACKUP_VERIFIED)

    with pytest.raises(Refused, match="cannot be cancelled"):
        homefacts.cancel(job, on=dt.date(2026, 11, 18), reason="x", by=dana)

    assert not job.facts.of_kind(k.CANCELLED).exists()
