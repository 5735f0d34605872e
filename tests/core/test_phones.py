"""Telephone numbers. Source of the rows P1 to P11: TRADE.md section 3; ITU-T E.164, RFC 3966, `phonenumbers`."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import phones


@pytest.mark.parametrize(
    ("row", "typed", "number", "extension"),
    [
        ("P1", "(201) 555-0123", "+12015550123", ""),
        ("P2", "1 201 555 0123", "+12015550123", ""),
        ("P3", "201 555 0123 ext. 45", "+12015550123", "45"),
        ("P8", "1-800-FLOWERS", "+18003569377", ""),
        ("P10", "787-555-0123", "+17875550123", ""),
        ("own", "303.555.0142 x45", "+13035550142", "45"),
        ("own", "+44 20 7946 0958", "+442079460958", ""),
        ("own", "tel:+1-201-555-0123;ext=45", "+12015550123", "45"),
    ],
)
def test_a_number_is_stored_as_e164_with_its_extension(row, typed, number, extension):
    assert phones.e164(typed) == (number, extension), row


@pytest.mark.parametrize(
    ("row", "typed", "sentence"),
    [
        ("P5", "555-0123", "has no area code"),
        ("P6", "201-055-0123", "is not a number that can exist"),
        ("P7", "22015550123", "has too many digits"),
        ("P9", "911", "is a service number such as 911"),
        ("P11", "+1234567890123456", "has too many digits"),
        ("own", "", "There is no number"),
        ("own", "none", "is not a telephone number"),
        ("own", "303-555-014", "has too few digits"),
        ("own", "303-555-0142 or 303-555-0199", "is too long for one telephone number"),
        ("own", "303-555-0142 evenings", "is too long for one telephone number"),
    ],
)
def test_what_is_not_a_number_is_refused_with_a_sentence(row, typed, sentence):
    with pytest.raises(ValueError, match=sentence) as refusal:
        phones.e164(typed)

    assert str(refusal.value).endswith("."), row


@given(st.sampled_from(["201", "303", "602", "787", "808", "907"]), st.integers(100, 199))
def test_numbers_kept_for_fiction_are_accepted_for_samples(area, line):
    # 555-0100 to 555-0199 (NANPA, ATIS-0300115).
    assert phones.e164(f"({area}) 555-0{line}") == (f"+1{area}5550{line}", "")


def outcome(text):
    try:
        return phones.e164(text)
    except ValueError as refusal:
        return str(refusal)


@given(st.text(max_size=30) | st.text("0123456789+()-. x#", max_size=20))
def test_any_text_is_a_number_or_a_sentence(text):
    result = outcome(text)

    if isinstance(result, str):
        assert result.endswith(".")
    else:
        assert outcome(result.number) == (result.number, "")


def test_a_number_is_shown_as_the_country_writes_it():
    assert phones.shown("+13035550142") == "(303) 555-0142"
    assert phones.shown("+13035550142", extension="45") == "(303) 555-0142 ext. 45"
    assert phones.shown("+442079460958") == "+44 20 7946 0958"


def test_a_shown_number_is_read_back():
    number, extension = phones.e164(phones.shown("+13035550142", extension="45"))

    assert (number, extension) == ("+13035550142", "45")


def test_p4_a_link_is_written_by_rfc_3966():
    assert phones.link("+12015550123", extension="45") == "tel:+1-201-555-0123;ext=45"
    assert phones.link("+12015550123") == "tel:+1-201-555-0123"


def test_a_number_is_found_in_words_and_stays_as_it_was_written():
    assert phones.in_words("Sam Whitaker, licensed electrician, (303) 555-0109") == [
        ("Sam Whitaker, licensed electrician, ", ""),
        ("(303) 555-0109", "tel:+1-303-555-0109"),
    ]
    assert phones.in_words("Ana 303-555-0142 ext. 7, by day") == [
        ("Ana ", ""),
        ("303-555-0142 ext. 7", "tel:+1-303-555-0142;ext=7"),
        (", by day", ""),
    ]
    assert phones.in_words("nobody yet") == [("nobody yet", "")]
    assert phones.in_words("") == []
