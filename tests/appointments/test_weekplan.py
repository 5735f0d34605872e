"""The week plan against every plan there is, on small cases. No database."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.appointments import doublecalls
from jobs.appointments.weekplan import MILLION, Home, Place, best_plan, first_come, follower
from tests.bench.weekplan import made_up

MONDAY = dt.datetime(2026, 11, 30, 16, tzinfo=dt.UTC)


def places_of(hours: list[tuple[int, int]]) -> list[Place]:
    """(verifier, hour after Monday's first)."""
    hour = dt.timedelta(hours=1)
    return sorted({Place(MONDAY + at * hour, verifier, MONDAY + (at + 1) * hour) for verifier, at in hours})


def everything(homes: list[Home], places: list[Place]) -> int:
    """The most that any plan gains: each home nowhere or in each of its places, one after the other."""
    after = follower(places)

    def best(rest: list[Home], taken: frozenset[int]) -> int:
        if not rest:
            return 0
        home, *others = rest
        found = [best(others, taken)]
        for start in home.gains:
            if home.places == 2 and start not in after:
                continue
            covered = {start} if home.places == 1 else {start, after[start]}
            if not covered & taken:
                found.append(home.worth_in(start) + best(others, taken | covered))
        return max(found)

    return best(homes, frozenset())


@st.composite
def cases(draw: st.DrawFn) -> tuple[list[Home], list[Place]]:
    places = places_of(draw(st.lists(st.tuples(st.integers(1, 2), st.integers(0, 3)), min_size=1, max_size=6)))
    gains = st.dictionaries(st.integers(0, len(places) - 1), st.integers(0, 5), max_size=5)
    homes = [
        Home(f"K{number}", draw(st.integers(0, 40)), draw(gains), draw(st.sampled_from([0, 150_000, MILLION])), draw(st.integers(1, 2)))
        for number in range(draw(st.integers(0, 5)))
    ]
    return homes, places


@settings(max_examples=150, deadline=None)
@given(case=cases(), turned=st.booleans())
def test_the_plan_is_the_best_of_all_plans_and_never_gives_a_place_twice(case, turned):
    homes, places = case
    after = follower(places)

    plan = best_plan(list(reversed(homes)) if turned else homes, places=places)

    assert plan.gained_minor == everything(homes, places)
    assert plan == best_plan(homes, places=places)  # whatever order the homes come in
    covered = [place for call in plan.calls for place in ((call.place,) if call.home.places == 1 else (call.place, after[call.place]))]
    assert len(covered) == len(set(covered))
    assert sorted([call.home.code for call in plan.calls] + [home.code for home in plan.left_out]) == [home.code for home in homes]
    assert all(call.place in call.home.gains and call.gained_minor == call.home.worth_in(call.place) > 0 for call in plan.calls)


def test_a_search_that_was_ended_says_by_how_much_at_most_another_plan_gains_more():
    homes, places, _ = made_up(60, verifiers=4, days=5, doubles=10, seed=1)

    ended, best = best_plan(homes, places=places, seconds=0), best_plan(homes, places=places, seconds=60)

    assert best.at_most_more == 0
    assert ended.at_most_more > 0
    assert ended.gained_minor <= best.gained_minor <= ended.gained_minor + ended.at_most_more
    after = follower(places)
    covered = [place for call in ended.calls for place in ((call.place,) if call.home.places == 1 else (call.place, after[call.place]))]
    assert len(covered) == len(set(covered))


def test_where_the_solver_has_found_nothing_in_time_the_dearest_double_calls_come_first(monkeypatch):
    monkeypatch.setattr(doublecalls, "best_starts", lambda *_, **__: doublecalls.Found({}, None, finished=False))
    places = places_of([(1, 0), (1, 1), (1, 2)])
    homes = [Home("A", 10, {0: 3, 1: 2}, places=2), Home("B", 90, {0: 3, 1: 2}, places=2), Home("C", 7, {0: 3, 2: 1})]

    plan = best_plan(homes, places=places)

    assert [(call.home.code, call.place) for call in plan.calls] == [("B", 0), ("C", 2)]
    assert plan.at_most_more == (30 + 270 + 21) - (270 + 7)  # each home in its own best place would be the most


def test_the_worth_of_a_call_is_a_days_worth_times_the_days_times_the_chance_that_somebody_answers():
    # $238.67 a day, 4 days, 9 of 60 do not answer (row L5: 0.1375): 23,867 x 4 x 0.8625 = 82,341.15 cents.
    home = Home("KQ7M4E", 23_867, {0: 4}, 137_500)

    assert home.worth_in(0) == 82_341


def test_homes_that_are_worth_the_same_stand_in_the_order_of_their_codes():
    places = places_of([(1, 0), (1, 1), (1, 2), (2, 0)])
    gains = {0: 3, 1: 3, 2: 3, 3: 3}

    plan = best_plan([Home(code, 100, gains) for code in ("M", "B", "X", "A", "C")], places=places)

    assert [(call.place, call.home.code) for call in plan.calls] == [(0, "A"), (1, "B"), (2, "C"), (3, "M")]
    assert [home.code for home in plan.left_out] == ["X"]


def test_double_calls_that_are_worth_the_same_stand_in_the_order_of_their_codes():
    places = places_of([(1, 0), (1, 1), (1, 2), (1, 3)])
    homes = [Home(code, 100, {0: 2, 1: 2, 2: 2}, places=2) for code in ("M", "B", "X")]

    plan = best_plan(homes, places=places)

    assert [(call.place, call.home.code) for call in plan.calls] == [(0, "B"), (2, "M")]


def test_a_double_call_takes_two_places_only_where_it_gains_more_than_the_two_calls_it_keeps_out():
    places = places_of([(1, 0), (1, 1)])
    others = [Home("A", 60, {0: 1, 1: 1}), Home("B", 50, {0: 1, 1: 1})]

    cheap, dear = (best_plan([*others, Home("D", worth, {0: 1}, places=2)], places=places) for worth in (109, 111))

    assert [call.home.code for call in cheap.calls] == ["A", "B"]
    assert [call.home.code for call in dear.calls] == ["D"]


def test_first_come_first_served_takes_the_first_place_that_is_free():
    places = places_of([(1, 0), (1, 24)])
    homes = [Home("A", 10, {0: 5, 1: 4}), Home("B", 1000, {0: 5, 1: 4})]

    assert first_come(homes, places=places).gained_minor == 50 + 4000
    assert best_plan(homes, places=places).gained_minor == 40 + 5000


@pytest.mark.parametrize(
    "build",
    [
        lambda: Home("A", -1, {}),
        lambda: Home("A", 1, {}, places=3),
        lambda: best_plan([Home("A", 1, {7: 1})], places=places_of([(1, 0)])),
        lambda: best_plan([Home("A", 1, {}), Home("A", 1, {})], places=[]),
        lambda: best_plan([], places=list(reversed(places_of([(1, 0), (1, 1)])))),
        lambda: best_plan([Home("A", 10**15, {0: 9})], places=places_of([(1, 0), (1, 1), (1, 2), (1, 3)])),
    ],
)
def test_what_makes_no_sense_or_cannot_be_exact_is_refused(build):
    with pytest.raises(ValueError, match=r"wanted|not there|same code|not in order"):
        build()
