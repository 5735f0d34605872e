from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
import time_machine
from django.conf import settings

from jobs.core import clock, homefacts, rules, waking
from jobs.core import kinds as k
from jobs.core.models import Hold, Person
from jobs.notices import kinds, leaving, outbox, reconcile, tasks
from jobs.notices.models import Message, State
from jobs.notices.outcome import PAUSES, Outcome, Result, of_status, pause_after
from tests.make import SYSTEM, put
from tests.notices.make import claimed, released, removed
from tests.races import race

SENT = Outcome(Result.SENT, "taken by mail.example")
PASSING = Outcome(Result.PASSING, "421 try later")


def at(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def later(**duration: float) -> time_machine.travel:
    return time_machine.travel(clock.now() + dt.timedelta(**duration))


# Claim


@pytest.mark.django_db
def test_a_claim_counts_a_try_and_leases_the_row_for_five_minutes():
    message = claimed()

    message.refresh_from_db()
    assert (message.state, message.attempts) == (State.SENDING, 1)
    assert dt.timedelta(minutes=4, seconds=50) < message.claimed_until - clock.now() <= dt.timedelta(minutes=5)
    assert outbox.claim(message.pk) is None


@pytest.mark.django_db
def test_only_a_released_message_whose_minute_is_over_can_be_claimed(theo):
    message = removed()
    assert outbox.claim(message.pk) is None
    outbox.release(message, by=theo)
    assert outbox.claim(message.pk) is None
    assert outbox.due() == []

    with later(seconds=61):
        assert outbox.due() == [message.pk]
        assert outbox.claim(message.pk) is not None


@pytest.mark.django_db
def test_what_was_overtaken_before_it_left_is_withdrawn_with_the_reason():
    message = released()
    put(message.job, k.COLLAR_FITTED, on=dt.date(2026, 11, 17), value={"serial": f"LL-{message.job.pk:06d}"})
    # The follow-up has withdrawn it already; the claim asks by itself.
    Message.objects.filter(pk=message.pk).update(state=State.RELEASED, reason="")

    assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert (message.state, message.reason, message.attempts) == (State.WITHDRAWN, "The collar was fitted again meanwhile.", 0)


@pytest.mark.django_db
def test_what_changed_while_a_message_was_held_is_read_anew_and_what_stayed_leaves(theo):
    same, changed = released(), released()
    Person.objects.filter(pk=changed.person_id).update(name="Guadalupe Whitfield")
    Message.objects.filter(pk=changed.pk).update(to_name="Guadalupe Whitfield")

    with later(minutes=11):
        assert outbox.claim(same.pk) is not None
        assert outbox.claim(changed.pk) is None

    changed.refresh_from_db()
    assert (changed.state, changed.reason, changed.text, changed.attempts) == (State.OWED, leaving.CHANGED, "", 0)
    assert outbox.release_anew() == 0  # a person released it, and reads it anew
    assert "Guadalupe Whitfield" in outbox.release(changed, by=theo).text


@pytest.mark.django_db
def test_where_a_rule_lets_a_kind_leave_by_itself_a_changed_message_is_released_anew(dana, monkeypatch):
    monkeypatch.setitem(kinds._registered, "collar_removed", replace(kinds.of("collar_removed"), may_go_by_itself=True))
    rules.set_rule("notices_by_themselves", value="collar_removed", valid_from=clock.office_today(), by=dana)
    message = Message.objects.get(pk=removed().pk)
    assert message.rule == "notices_by_themselves"
    Message.objects.filter(pk=message.pk).update(to_name="Guadalupe Whitfield")
    Person.objects.update(name="Guadalupe Whitfield")

    with later(minutes=11):
        assert outbox.claim(message.pk) is None
        assert outbox.release_anew() == 1
        assert outbox.release_anew() == 0
        again = outbox.claim(message.pk)

    assert again is not None
    assert "Guadalupe Whitfield" in again.text


@pytest.mark.django_db
def test_a_message_whose_time_is_over_does_not_leave_late():
    message = released()
    Message.objects.filter(pk=message.pk).update(not_after=clock.now() - dt.timedelta(hours=1))

    assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert (message.state, message.reason) == (State.WITHDRAWN, "Its time was over before it could leave.")


@pytest.mark.django_db
def test_a_hold_stops_a_message_until_it_is_lifted_but_never_a_safety_message(monkeypatch, dana):
    message = released()
    homefacts.hold(message.job, kind="dispute", stops=["homeowner"], review_on=dt.date(2026, 12, 1), reason="counsel", by=dana)
    monkeypatch.setitem(kinds._registered, "collar_removed", replace(kinds.of("collar_removed"), stopped_by="homeowner"))

    assert outbox.claim(message.pk) is None
    message.refresh_from_db()
    assert (message.state, message.attempts) == (State.RELEASED, 0)
    assert "a hold on this home" in message.reason
    homefacts.lift(Hold.objects.get(), by=dana)
    with later(minutes=61):
        assert outbox.claim(message.pk) is not None

    monkeypatch.undo()
    other = released()
    homefacts.hold(other.job, kind="dispute", stops=["homeowner"], review_on=dt.date(2026, 12, 1), reason="counsel", by=dana)
    assert outbox.claim(other.pk) is not None


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("now", "zone", "leaves"),
    [
        # The house rule, 09:00 to 20:00 at the site: 14:59 UTC is 04:59 in Honolulu and 07:59 in Denver, in winter.
        ("2026-11-18T14:59:00+00:00", "Pacific/Honolulu", "2026-11-18T19:00:00+00:00"),
        ("2026-11-18T14:59:00+00:00", "America/Denver", "2026-11-18T16:00:00+00:00"),
        ("2026-11-19T03:00:00+00:00", "America/Denver", "2026-11-19T16:00:00+00:00"),  # 20:00 there: closed
        ("2026-11-18T14:59:00+00:00", "America/New_York", None),  # 09:59 there
    ],
)
def test_quiet_hours_at_the_home_hold_a_message_until_the_next_opening_there(now, zone, leaves):
    message = released(zone=zone)
    Message.objects.filter(pk=message.pk).update(due_at=at("2026-11-18T14:00:00+00:00"))

    with time_machine.travel(at(now)):
        claim = outbox.claim(message.pk)

    if leaves is None:
        assert claim is not None
        return
    assert claim is None
    message.refresh_from_db()
    assert (message.state, message.due_at) == (State.RELEASED, at(leaves))
    with time_machine.travel(at(leaves)):
        assert outbox.due() == [message.pk]
        assert outbox.claim(message.pk) is not None


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_two_workers_claim_forty_messages_and_none_twice():
    keys = [released().pk for _ in range(40)]

    def work() -> list[int]:
        return [pk for pk in keys if outbox.claim(pk) is not None]

    one, other = race(work, work)

    assert sorted(one + other) == keys
    assert set(Message.objects.values_list("attempts", flat=True)) == {1}


# Record


@pytest.mark.django_db
def test_a_sent_message_says_when_and_what_the_server_said():
    message = claimed()

    outbox.record(message.pk, SENT, attempt=1)

    message.refresh_from_db()
    assert (message.state, message.outcome, message.claimed_until) == (State.SENT, "taken by mail.example", None)
    assert message.sent_at is not None
    assert list(reconcile.breaches()) == []


@pytest.mark.django_db
def test_after_a_passing_failure_a_message_waits_longer_each_time_and_is_given_up_after_five_days():
    message = claimed()
    waits = []
    for attempt in range(1, 5):
        before = clock.now()
        outbox.record(message.pk, PASSING, attempt=attempt)
        message.refresh_from_db()
        assert (message.state, message.reason) == (State.RELEASED, "421 try later")
        waits.append(message.due_at - before)
        Message.objects.filter(pk=message.pk).update(due_at=before)
        assert outbox.claim(message.pk) is not None
    assert waits == sorted(waits)
    assert all(pause <= wait < pause * 1.26 for pause, wait in zip(PAUSES, waits, strict=False))

    with later(days=5, minutes=1):
        outbox.record(message.pk, PASSING, attempt=5)

    message.refresh_from_db()
    assert (message.state, message.reason) == (State.FAILED, "Given up after 5 tries: 421 try later")


@pytest.mark.django_db
def test_a_permanent_failure_is_never_tried_again_without_a_person():
    message = claimed()

    outbox.record(message.pk, Outcome(Result.PERMANENT, "550 no such mailbox"), attempt=1)

    message.refresh_from_db()
    assert (message.state, message.reason) == (State.FAILED, "550 no such mailbox")
    with later(days=30):
        assert outbox.due() == []


def test_a_status_of_the_mail_server_passes_or_does_not():
    # RFC 5321 4.2.1: 4yz transient, 5yz permanent.
    assert {code: of_status(code) for code in (421, 450, 451, 452)} == dict.fromkeys((421, 450, 451, 452), Result.PASSING)
    assert {code: of_status(code) for code in (500, 550, 552, 554)} == dict.fromkeys((500, 550, 552, 554), Result.PERMANENT)


def test_pauses_grow_to_two_hours_and_a_quarter_more_by_chance():
    pauses = [pause_after(n, jitter=0) for n in range(1, 12)]

    assert pauses == sorted(pauses)
    assert pauses[-1] == dt.timedelta(hours=2)
    assert pause_after(1, jitter=1) == dt.timedelta(seconds=75)


# Leases


@pytest.mark.django_db
def test_what_a_dead_worker_held_may_have_been_sent_and_is_not_sent_again_by_itself():
    message = claimed()

    with later(minutes=4):
        assert leaving.lose_leases() == 0
    with later(minutes=6):
        assert leaving.lose_leases() == 1
        assert leaving.lose_leases() == 0
        assert outbox.due() == []
        assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert message.state == State.MAY_HAVE_BEEN_SENT
    assert message.text != ""


@pytest.mark.django_db
def test_a_slow_worker_that_comes_back_still_says_what_happened_but_not_about_a_newer_try(theo):
    message = claimed()
    with later(minutes=6):
        leaving.lose_leases()
        outbox.record(message.pk, SENT, attempt=1)
    message.refresh_from_db()
    assert message.state == State.SENT

    other = claimed()
    with later(minutes=6):
        leaving.lose_leases()
        outbox.send_again(other, by=theo)
        assert outbox.claim(other.pk) is not None
        outbox.record(other.pk, PASSING, attempt=1)

    other.refresh_from_db()
    assert (other.state, other.attempts) == (State.SENDING, 2)


@pytest.mark.django_db
def test_reconcile_names_a_message_that_no_sweep_has_freed():
    claimed()
    assert list(reconcile.breaches()) == []

    with later(minutes=16):
        assert any("the sweep does not run" in breach for breach in reconcile.breaches())


@pytest.mark.django_db
def test_nobody_s_message_whose_time_is_over_is_dropped():
    message = removed()
    Message.objects.filter(pk=message.pk).update(not_after=clock.now() - dt.timedelta(minutes=1))

    assert leaving.drop_overtaken() == 1
    assert leaving.drop_overtaken() == 0

    message.refresh_from_db()
    assert message.state == State.WITHDRAWN


# The timetable


@pytest.fixture
def at_once(monkeypatch):
    """Work that a worker would do is done here and now; gives the keys it was called with."""
    woken: list[int] = []

    def delay(pk: int) -> None:
        woken.append(pk)
        tasks.send_notice(pk)

    monkeypatch.setattr(tasks.send_notice, "delay", delay)
    return woken


@pytest.mark.django_db(transaction=True)
def test_the_sweep_run_twice_sends_each_due_message_once(at_once):
    assert settings.CAPTURE_MAIL
    keys = [released().pk for _ in range(3)]

    tasks.sweep()
    tasks.sweep()

    assert at_once == keys
    assert set(Message.objects.values_list("state", "attempts", "outcome")) == {("sent", 1, "captured")}
    assert all(message.captured for message in Message.objects.all())


@pytest.mark.django_db(transaction=True)
def test_a_broker_that_is_away_costs_a_release_nothing(monkeypatch, theo):
    def away(*_: object) -> None:
        raise OSError("connection refused")

    monkeypatch.setattr(waking, "_send", away)
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=State.FAILED)

    outbox.send_again(message, by=theo)

    message.refresh_from_db()
    assert message.state == State.RELEASED
    assert outbox.due() == [message.pk]


@pytest.mark.django_db
def test_send_again_wakes_a_worker_once_it_is_committed(monkeypatch, django_capture_on_commit_callbacks):
    woken: list[tuple[object, ...]] = []
    monkeypatch.setattr(waking, "_send", lambda *told: woken.append(told))
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=State.FAILED)

    with django_capture_on_commit_callbacks(execute=True):
        outbox.send_again(message, by=SYSTEM)
        assert woken == []

    assert woken == [("jobs.notices.tasks.send_notice", (message.pk,))]
