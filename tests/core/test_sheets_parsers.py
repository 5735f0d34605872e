"""Cells to values. No database."""

from datetime import date, datetime

import pytest

from jobs.core.sheets import parsers


@pytest.mark.parametrize(
    ("parse", "cell", "value"),
    [
        (parsers.text(), "  two\nlines ", "two\nlines"),
        (parsers.text(), date(2026, 6, 3), "2026-06-03"),
        (parsers.day, date(2026, 6, 3), date(2026, 6, 3)),
        (parsers.day, datetime(2026, 6, 3, 23, 30), date(2026, 6, 3)),  # noqa: DTZ001
        (parsers.day, " 2026-06-03 ", date(2026, 6, 3)),
        (parsers.money, " $8,640.50 ", 864_050),
        (parsers.integer(), "1,200", 1200),
        (parsers.integer(), "-7", -7),
        (parsers.integer(at_least=1, at_most=3), "3", 3),
        (parsers.choice({"fitted": ("energized", "done"), "open": ()}), "En-ergized", "fitted"),
        (parsers.choice({"fitted": ("energized", "done"), "open": ()}), "OPEN", "open"),
        (parsers.yes_no, "Y", True),
        (parsers.yes_no, "TRUE", True),
        (parsers.yes_no, "no", False),
        (parsers.yes_no, "0", False),
        (parsers.email, " Rosa.Peña@Home.EXAMPLE ", "Rosa.Peña@home.example"),
        (parsers.phone, "(303) 555-0142", ("+13035550142", "")),
        (parsers.phone, "201 555 0123 ext. 45", ("+12015550123", "45")),  # TRADE.md row P3, the phonenumbers library
        (parsers.zone, "america/new york", "America/New_York"),
        (parsers.zone, "Pacific/Honolulu", "Pacific/Honolulu"),
        (parsers.postal_code, "80302", "80302"),
        (parsers.postal_code, "1060", "01060"),  # Northampton, Massachusetts, as a workbook leaves it
        (parsers.postal_code, "601-1234", "00601-1234"),
    ],
)
def test_cells_are_read(parse, cell, value):
    assert parse(cell) == value
    assert type(parse(cell)) is type(value) or isinstance(parse(cell), tuple)


@pytest.mark.parametrize(
    ("parse", "cell", "sentence"),
    [
        (parsers.text(at_most=3), "four", "The text has 4 characters: at most 3 are wanted."),
        (parsers.integer(), "1.5", '"1.5" is not a whole number: digits only are wanted, such as 12.'),
        (parsers.integer(), "1,20", '"1,20" is not a whole number: digits only are wanted, such as 12.'),
        (parsers.integer(), "١٢", '"١٢" is not a whole number: digits only are wanted, such as 12.'),
        (parsers.integer(at_least=1), "0", "0 is too small: at least 1 is wanted."),
        (parsers.integer(at_most=9_999), "10000", "10,000 is too large: at most 9,999 is wanted."),
        (parsers.choice({"fitted": (), "open": ()}), "lost", '"lost" is not known here: one of fitted, open is wanted.'),
        (parsers.yes_no, "perhaps", '"perhaps" is not known here: one of yes, no is wanted.'),
        (parsers.zone, "EST", '"EST" is not the name of a time zone: a name such as America/Denver is wanted.'),
        (parsers.zone, "Etc/UTC", '"Etc/UTC" is not the name of a time zone: a name such as America/Denver is wanted.'),
        (parsers.postal_code, "80", '"80" is not a ZIP code: five digits, or five and four, are wanted.'),
    ],
)
def test_cells_that_cannot_be_read_say_what_is_wanted(parse, cell, sentence):
    with pytest.raises(ValueError) as refused:
        parse(cell)

    assert str(refused.value) == sentence


@pytest.mark.parametrize(
    "address",
    [
        "rosa",
        "rosa@home",
        "@home.example",
        "rosa@@home.example",
        "a b@home.example",
        "a@b.example, c@d.example",
        "a..b@home.example",
        "a@-",
    ],
)
def test_what_is_not_one_email_address_is_refused(address):
    with pytest.raises(ValueError, match=r"is not an e-mail address: one address such as rosa@home\.example is wanted\."):
        parsers.email(address)


@pytest.mark.parametrize(("parse", "cell"), [(parsers.day, "soon"), (parsers.money, "12.345"), (parsers.phone, "911")])
def test_refusals_of_days_money_and_phones_are_those_of_their_own_modules(parse, cell):
    with pytest.raises(ValueError) as refused:
        parse(cell)

    assert str(refused.value).endswith(".")
