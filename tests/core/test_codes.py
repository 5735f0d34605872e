"""Spoken codes with their check character."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_11_2, mod_37_2

from jobs.core import codes

seeds = st.integers(0, 2**32).map(lambda seed: codes.new_code(Random(seed)))


def test_the_check_characters_are_those_of_iso_7064():
    # Q4: ISNI style example; Q5: the documentation of python-stdnum.
    assert mod_11_2.calc_check_digit("000000021825009") == "7"
    assert mod_37_2.calc_check_digit("G123489654321") == "Y"


@given(seeds)
def test_a_new_code_has_six_characters_that_are_not_misread(code):
    assert len(code) == 6
    assert not set(code) & set("0O1ILS*")
    assert codes.is_code(code)
    assert mod_37_2.is_valid(code)


def test_the_same_seed_draws_the_same_codes_and_they_differ_among_themselves():
    first, again = Random(7), Random(7)
    drawn = [codes.new_code(first) for _ in range(1000)]

    assert drawn == [codes.new_code(again) for _ in range(1000)]
    # Some 20 million codes: two equal ones among a thousand have a chance of 2 or 3 in 100; with this seed there are none.
    assert len(set(drawn)) == 1000


@given(seeds, st.integers(0, 5), st.sampled_from(codes.ALPHABET))
def test_one_wrong_character_is_always_found_and_the_code_meant_is_near(code, place, wrong):
    typed = code[:place] + wrong + code[place + 1 :]

    if typed != code:
        assert not codes.is_code(typed)
        assert code in codes.near(typed)


@given(seeds, st.integers(0, 4))
def test_two_neighbours_changed_over_are_always_found_and_the_code_meant_is_near(code, place):
    typed = code[:place] + code[place + 1] + code[place] + code[place + 2 :]

    if typed != code:
        assert not codes.is_code(typed)
        assert code in codes.near(typed)


@given(seeds, st.integers(0, 5))
def test_a_character_left_out_or_typed_twice_leaves_the_code_meant_near(code, place):
    assert code in codes.near(code[:place] + code[place + 1 :])
    assert code in codes.near(code[:place] + code[place] + code[place:])


@given(st.text(max_size=9))
def test_near_gives_only_codes_and_never_fails(text):
    found = codes.near(text)

    assert found == sorted(set(found))
    assert all(codes.is_code(code) for code in found)


@pytest.mark.parametrize("typed", ["KQ7M4E", "kq7m4e", " KQ7 M4E ", "kq7-m4e"])
def test_a_code_is_known_however_it_is_typed(typed):
    assert codes.normal(typed) == "KQ7M4E"
    assert codes.is_code(typed)
    assert codes.near(typed) == []


@pytest.mark.parametrize("typed", ["", "KQ7M4", "KQ7M4EE", "KQ7M4F", "OQ7M4E", "KQ7M4*", "ＫQ7M4E", "KQ7M4É"])
def test_what_is_no_code_is_not_taken_for_one(typed):
    assert not codes.is_code(typed)


def test_a_character_that_we_never_give_out_is_mended():
    assert "KQ7M4E" in codes.near("KO7M4E")


def test_a_tag_shows_two_groups():
    assert codes.on_tag("KQ7M4E") == "KQ7 M4E"
