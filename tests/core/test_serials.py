"""Serials as typed and scanned: their form, and letters that may be digits. The forms are common practice, no source."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import serials


@pytest.mark.parametrize("typed", ["ll-000242", " LL-000 242 ", "S/N: LL-000242", "sn:LL-000242", "(21)LL-000242"])
def test_a_serial_is_known_however_it_is_typed_or_scanned(typed):
    assert serials.normal(typed) == "LL-000242"


@pytest.mark.parametrize("typed", ["", "LL-1", "LL_000242", "LL-000242-" + "9" * 20, "ＬＬ-000242", "LL-000242;DROP"])
def test_what_has_not_the_form_of_a_serial_is_refused_in_a_sentence(typed):
    with pytest.raises(ValueError, match="is not a serial; wanted letters, digits and hyphens, 6 to 24 of them"):
        serials.normal(typed)


@pytest.mark.parametrize(
    ("serial", "as_digits"),
    [("LL-00O242", "LL-000242"), ("LL-OO0242", "LL-000242"), ("AB12I", "AB121"), ("I2345-O6", "12345-06")],
)
def test_a_letter_that_touches_digits_is_asked_about_with_the_serial_it_would_be(serial, as_digits):
    assert serials.with_digits(serial) == as_digits
    assert f"type {as_digits}" in serials.question(serial)


@pytest.mark.parametrize("serial", ["LL-000242", "OWL-123456", "IO-123456", "FOLIO-77"])
def test_letters_of_a_word_are_not_asked_about(serial):
    assert serials.question(serial) == ""


@given(st.text(string.ascii_uppercase + string.digits + "-", min_size=6, max_size=24))
def test_once_read_as_digits_nothing_is_left_to_ask(serial):
    other = serials.with_digits(serial)

    assert len(other) == len(serial)
    assert serials.with_digits(other) == other
    assert serials.question(other) == ""
