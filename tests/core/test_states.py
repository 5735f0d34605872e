"""Pure: which state dated facts mean. All pairs of states."""

from __future__ import annotations

import datetime as dt
import itertools
import random

import pytest

from jobs.core import kinds as k
from jobs.core.states import ORDER, Facts, HomeKind, Known, S, state_of, steps
from jobs.core.waiting import Limits, waiting

HOME = HomeKind()


def day(n: int) -> dt.date:
    return dt.date(2026, 1, 1) + dt.timedelta(days=n)


GRID_TIED = [
    (k.COMMISSIONED, 1, {}),
    (k.CT_CHECK, 1, {"verdict": "consistent"}),
    (k.COLLAR_REGISTERED, 1, {"serial": "LL-000001"}),
    (k.COLLAR_STAGED, 2, {"place": "by the meter", "photo": "x"}),
    (k.SHEET_GIVEN, 2, {}),
]
SENT = [(k.REQUEST_SENT, 10, {})]
FITTED = [(k.COLLAR_FITTED, 60, {"serial": "LL-000001"})]
PASSED = [(k.VERIFICATION, 70, {"result": "passed", "record": "r1"})]
REMOVED = [(k.COLLAR_REMOVED, 80, {})]
VOIDED = [(k.VERIFICATION_VOIDED, 75, {"record": "r1", "reason": "wrong home"})]
CANCELLED = [(k.CANCELLED, 90, {"reason": "sold"})]

MEANS = {
    S.IN_BUILD: [],
    S.GRID_TIED: GRID_TIED,
    S.AWAITING_UTILITY: GRID_TIED + SENT,
    S.COLLAR_ENERGIZED: GRID_TIED + SENT + FITTED,
    S.BACKUP_VERIFIED: GRID_TIED + SENT + FITTED + PASSED,
    S.CANCELLED: GRID_TIED + CANCELLED,
}


def facts(rows) -> Facts:
    return Facts(Known(kind, day(n), order, value) for order, (kind, n, value) in enumerate(rows))


@pytest.mark.parametrize("state", list(S))
def test_its_facts_mean_the_state(state):
    assert state_of(facts(MEANS[state]), HOME).state == state


@pytest.mark.parametrize(("was", "now"), list(itertools.product(S, S)))
def test_between_any_two_states_the_steps_end_at_the_new_one_and_skip_none_forward(was, now):
    way = steps(was, now)

    if was == now:
        assert way == []
        return
    assert way[-1] == now
    if S.CANCELLED not in (was, now) and ORDER.index(now) > ORDER.index(was):
        assert way == list(ORDER[ORDER.index(was) + 1 : ORDER.index(now) + 1])
    else:
        assert way == [now]


@pytest.mark.parametrize("state", [s for s in ORDER if s != S.BACKUP_VERIFIED])
def test_an_open_job_can_be_cancelled_from_any_state(state):
    assert state_of(facts(MEANS[state] + CANCELLED), HOME).state == S.CANCELLED


def test_a_verified_job_is_not_cancelled():
    assert state_of(facts(MEANS[S.BACKUP_VERIFIED] + CANCELLED), HOME).state == S.BACKUP_VERIFIED


def test_facts_in_any_order_of_recording_mean_the_same():
    rows = MEANS[S.BACKUP_VERIFIED]
    chance = random.Random(7)
    for _ in range(200):
        mixed = rows[:]
        chance.shuffle(mixed)
        found = state_of(facts(mixed), HOME)
        assert (found.state, found.since) == (S.BACKUP_VERIFIED, day(70))


@pytest.mark.parametrize("left_out", range(len(GRID_TIED)))
def test_each_day_one_fact_is_needed_and_named_when_missing(left_out):
    rows = [row for n, row in enumerate(GRID_TIED) if n != left_out]

    found = state_of(facts(rows + SENT + FITTED + PASSED), HOME)

    assert found.state == S.IN_BUILD
    assert len(found.missing) == 1


@pytest.mark.parametrize("verdict", ["inconsistent", "cannot tell"])
def test_a_check_that_is_not_consistent_keeps_the_job_in_build_until_a_new_one(verdict):
    rows = [(kind, n, {"verdict": verdict} if kind == k.CT_CHECK else value) for kind, n, value in GRID_TIED]

    assert state_of(facts(rows), HOME).state == S.IN_BUILD
    assert state_of(facts([*rows, (k.CT_CHECK, 5, {"verdict": "consistent"})]), HOME).since == day(5)


def test_a_home_without_a_battery_needs_no_ct_check():
    rows = [row for row in GRID_TIED if row[0] != k.CT_CHECK]

    assert state_of(facts(rows), HomeKind(has_battery=False)).state == S.GRID_TIED


def test_a_removal_brings_the_home_back_to_the_wait_and_undoes_the_verification():
    found = state_of(facts(MEANS[S.BACKUP_VERIFIED] + REMOVED), HOME)

    assert (found.state, found.since) == (S.AWAITING_UTILITY, day(80))


def test_after_a_removal_and_a_new_fitting_the_old_verification_does_not_count():
    again = [(k.COLLAR_FITTED, 120, {"serial": "LL-000001"})]

    assert state_of(facts(MEANS[S.BACKUP_VERIFIED] + REMOVED + again), HOME).state == S.COLLAR_ENERGIZED
    passed = [(k.VERIFICATION, 125, {"result": "passed", "record": "r2"})]
    assert state_of(facts(MEANS[S.BACKUP_VERIFIED] + REMOVED + again + passed), HOME).state == S.BACKUP_VERIFIED


def test_removed_and_fitted_again_on_the_day_of_the_old_verification_needs_a_new_one():
    rows = MEANS[S.BACKUP_VERIFIED] + [(k.COLLAR_REMOVED, 70, {}), (k.COLLAR_FITTED, 70, {"serial": "LL-000001"})]

    assert state_of(facts(rows), HOME).state == S.COLLAR_ENERGIZED


def test_a_voided_verification_brings_the_home_back_to_energized():
    assert state_of(facts(MEANS[S.BACKUP_VERIFIED] + VOIDED), HOME).state == S.COLLAR_ENERGIZED


def test_a_new_ct_check_after_a_removal_does_not_undo_what_was_complete():
    rows = MEANS[S.BACKUP_VERIFIED] + REMOVED + [(k.CT_CHECK, 85, {"verdict": "inconsistent"})]

    assert state_of(facts(rows), HOME).state == S.AWAITING_UTILITY


@pytest.mark.parametrize("told", [{}, {"serial": "LL-999999"}])
def test_a_fitting_without_the_registered_serial_does_not_energize(told):
    rows = GRID_TIED + SENT + [(k.COLLAR_FITTED, 60, told)]

    assert state_of(facts(rows), HOME).state == S.AWAITING_UTILITY


def test_the_gateways_report_settles_a_serial_that_the_visit_did_not_tell():
    rows = GRID_TIED + SENT + [(k.COLLAR_FITTED, 60, {}), (k.GATEWAY_REPORT, 62, {"serial": "LL-000001", "state": "closed"})]

    found = state_of(facts(rows), HOME)

    assert (found.state, found.since) == (S.COLLAR_ENERGIZED, day(62))


def test_an_open_job_always_has_someone_who_must_act():
    chance = random.Random(11)
    rows = (
        MEANS[S.BACKUP_VERIFIED]
        + REMOVED
        + VOIDED
        + [(k.CONTACT, 30, {"answered": "nothing new"}), (k.REQUEST_ENDED, 40, {"reason": "lapsed"})]
    )
    for _ in range(500):
        some = facts(chance.sample(rows, chance.randrange(len(rows) + 1)))
        state = state_of(some, HOME)
        wait = waiting(some, HOME, state, limits=Limits(), opened_on=day(0))
        if state.state in (S.BACKUP_VERIFIED, S.CANCELLED):
            assert wait.on == "nobody"
        else:
            assert wait.next_act
            assert wait.role
            assert wait.since
            assert wait.due_on


def test_after_a_removal_the_home_waits_on_us_for_each_missing_fact_in_order():
    rows = MEANS[S.BACKUP_VERIFIED] + REMOVED

    def next_act(more):
        some = facts(rows + more)
        return waiting(some, HOME, state_of(some, HOME), limits=Limits(), opened_on=day(0)).next_act

    more: list = []
    assert next_act(more).startswith("Telephone the homeowner")
    more.append((k.HOMEOWNER_TOLD, 80, {"how": "telephone"}))
    assert next_act(more).startswith("Tell the homeowner in writing")
    more.append((k.HOMEOWNER_TOLD, 81, {"how": "in writing"}))
    assert next_act(more).startswith("Put the temporary metering back")
    more.append((k.CT_CHECK, 82, {"verdict": "consistent"}))
    assert next_act(more) == "Record where the collar is"
    more.append((k.COLLAR_STAGED, 83, {"place": "by the meter", "photo": "x"}))
    assert next_act(more) == "Send a new request to fit"
    more.append((k.REQUEST_SENT, 84, {}))
    assert next_act(more) == "Ask the utility about the request"


def test_repeating_an_unanswered_request_does_not_restart_the_wait():
    some = facts(MEANS[S.AWAITING_UTILITY] + [(k.REQUEST_SENT, 40, {"again": True})])

    assert waiting(some, HOME, state_of(some, HOME), limits=Limits(), opened_on=day(0)).since == day(10)


@pytest.mark.parametrize("ended", ["lapsed", "withdrawn", "closed without fitting"])
def test_an_ended_request_keeps_the_state_and_waits_on_us(ended):
    some = facts(MEANS[S.AWAITING_UTILITY] + [(k.REQUEST_ENDED, 40, {"reason": ended})])
    state = state_of(some, HOME)

    wait = waiting(some, HOME, state, limits=Limits(), opened_on=day(0))

    assert state.state == S.AWAITING_UTILITY
    assert (wait.on, wait.since, wait.next_act) == ("us", day(40), "Send a new request to fit")


def test_a_finished_home_with_an_emergency_waits_on_us():
    some = facts(MEANS[S.BACKUP_VERIFIED] + [(k.EMERGENCY_OPENED, 95, {"what": "smoke"})])

    assert waiting(some, HOME, state_of(some, HOME), limits=Limits(), opened_on=day(0)).on == "us"


def test_a_later_report_of_the_same_serial_moves_no_day():
    again = [
        (k.GATEWAY_REPORT, 68, {"serial": "LL-000001", "state": "closed"}),
        (k.GATEWAY_REPORT, 75, {"serial": "LL-000001", "state": "closed"}),
    ]

    assert state_of(facts(MEANS[S.COLLAR_ENERGIZED] + again), HOME).since == day(60)
    assert state_of(facts(MEANS[S.BACKUP_VERIFIED] + again), HOME).since == day(70)


def test_after_another_serial_the_day_is_that_of_the_first_word_that_agrees_again():
    other = [(k.GATEWAY_REPORT, 62, {"serial": "LL-999999", "state": "closed"})]
    again = [(k.GATEWAY_REPORT, n, {"serial": "LL-000001", "state": "closed"}) for n in (64, 66)]

    assert state_of(facts(MEANS[S.COLLAR_ENERGIZED] + other), HOME).state == S.AWAITING_UTILITY
    assert state_of(facts(MEANS[S.COLLAR_ENERGIZED] + other + again), HOME).since == day(64)
