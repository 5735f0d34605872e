"""Paired readings of the old CTs and the collar: what they show and what they leave open."""

import pytest

from jobs.core.pairs import Pair, agreement, compared

GOOD = [Pair(310, 300), Pair(615, 620), Pair(1_512, 1_500), Pair(2_195, 2_200), Pair(3_420, 3_400), Pair(-790, -800)]


def test_six_pairs_over_the_range_with_an_export_pair_are_consistent():
    found = compared(GOOD, has_pv=True)
    assert found.verdict == "consistent"
    assert found.told == "The mean difference is 7\u202fW, within 50\u202fW either way."


@pytest.mark.parametrize(
    ("pairs", "has_pv", "wanted"),
    [
        (GOOD[:5], False, "6 pairs or more (these are 5)"),
        ([Pair(300, 300)] * 6, False, "low and at high load"),
        ([*GOOD[:5], Pair(0, 0)], True, "a pair while PV exports"),
    ],
)
def test_pairs_that_leave_something_open_cannot_tell(pairs, has_pv, wanted):
    found = compared(pairs, has_pv=has_pv)
    assert found.verdict == "cannot tell"
    assert wanted in found.told


def test_a_sign_that_disagrees_is_inconsistent_however_small_the_bias():
    found = compared([*GOOD, Pair(-400, 400), Pair(400, -400)], has_pv=True)
    assert found.verdict == "inconsistent"
    assert "One says import and the other export" in found.told


def test_a_bias_beyond_fifty_watts_and_three_per_cent_is_inconsistent():
    # 51 W more at a mean of 1,000 W: 50 W are allowed. The same at a mean of 5,000 W: 150 W are.
    assert compared([Pair(w + 51, w) for w in (200, 600, 1_000, 1_000, 1_400, 1_800)], has_pv=False).verdict == "inconsistent"
    assert compared([Pair(w + 51, w) for w in (2_000, 4_000, 5_000, 5_000, 6_000, 8_000)], has_pv=False).verdict == "consistent"


def test_signs_near_zero_are_the_noise_of_a_meter():
    assert not Pair(-20, 30).signs_disagree
    assert Pair(-60, 60).signs_disagree


def test_one_pair_has_no_spread():
    with pytest.raises(ValueError, match="Two pairs"):
        agreement([3])
