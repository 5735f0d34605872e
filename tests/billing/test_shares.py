"""Parts of an amount, which always add up to it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.shares import MILLION, apportion, percent_text, split


@st.composite
def shares(draw):
    cuts = sorted(draw(st.lists(st.integers(0, MILLION), max_size=7)))
    return [b - a for a, b in zip([0, *cuts], [*cuts, MILLION], strict=True)]


@given(st.integers(-(2**63), 2**63 - 1), shares())
def test_parts_always_add_up_and_lie_within_one_unit_of_their_share(total, millionths):
    parts = split(total, millionths)

    assert sum(parts) == total
    assert all(abs(part * MILLION - total * share) < MILLION for part, share in zip(parts, millionths, strict=True))


@given(st.integers(0, 2**63 - 1), shares())
def test_a_credit_mirrors_its_debit(total, millionths):
    assert split(-total, millionths) == [-part for part in split(total, millionths)]


@given(st.integers(0, 10**9), st.lists(st.integers(0, 1000), min_size=1, max_size=6).filter(any))
def test_a_slow_second_version_gives_the_same_parts(total, weights):
    # One unit at a time to whoever is furthest below the exact part, the earlier one of equals; from the floors on.
    together = sum(weights)
    parts = [total * w // together for w in weights]
    served = set()
    while sum(parts) < total:
        behind = [
            (total * w - part * together if i not in served else -1, -i) for i, (w, part) in enumerate(zip(weights, parts, strict=True))
        ]
        place = -max(behind)[1]
        parts[place] += 1
        served.add(place)

    assert apportion(total, weights) == parts


@pytest.mark.parametrize(
    ("millionths", "sentence"),
    [
        ([500_000, 400_000], "The shares add up to 90\u202f%, which is 10\u202f% too little. They must add up to 100 %."),
        ([333_333, 333_333, 333_333], "add up to 99.9999\u202f%, which is 0.0001\u202f% too little"),
        ([500_000, 500_001], "add up to 100.0001\u202f%, which is 0.0001\u202f% too much"),
        ([1_100_000, -100_000], "A share cannot be negative: \u221210\u202f%."),
        ([], "at least one share is needed"),
        ([0.5, 0.5], "whole number of millionths"),
    ],
)
def test_shares_that_are_not_a_whole_are_refused_saying_what_they_add_up_to(millionths, sentence):
    with pytest.raises(ValueError, match=sentence):
        split(100, millionths)


def test_three_equal_parts_have_shares_that_add_up():
    assert apportion(MILLION, [1, 1, 1]) == [333_334, 333_333, 333_333]


def test_nothing_to_split_by_is_refused():
    with pytest.raises(ValueError, match="at least one share must be more than zero"):
        apportion(100, [0, 0])


def test_a_share_is_written_as_a_person_writes_it():
    assert [percent_text(m) for m in (500_000, 333_333, 1_000_000, 0, 82_500)] == [
        "50\u202f%",
        "33.3333\u202f%",
        "100\u202f%",
        "0\u202f%",
        "8.25\u202f%",
    ]
