"""Days, times, money and numbers in words. Names of months, weekdays and times of day: Unicode CLDR through Babel."""

import unicodedata
from datetime import UTC, date, datetime, time, timedelta
from importlib import resources
from zoneinfo import ZoneInfo

import pytest
from babel.dates import format_date, format_time, get_timezone, get_timezone_name
from babel.numbers import format_currency
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import words

YEAR = [date(2026, 1, 1) + timedelta(days=n) for n in range(365)]
TODAY = date(2026, 11, 25)


def plain(text):
    """CLDR parts a number from its unit by blanks that may not break; our texts leave that to the page."""
    return unicodedata.normalize("NFKC", text)


def test_a_day_in_a_sentence_is_babels():
    assert words.day(date(2026, 6, 3)) == "3 June 2026"
    assert [words.day(d) for d in YEAR] == [format_date(d, "d MMMM y", "en_US") for d in YEAR]


@pytest.mark.parametrize(
    ("d", "expected"),
    [
        (date(2026, 11, 12), "Thu 12 Nov"),
        (date(2026, 11, 11), "Wed 11 Nov"),
        (date(2026, 11, 10), "10 Nov 2026"),
        (date(2026, 12, 9), "Wed 9 Dec"),
        (date(2026, 12, 10), "10 Dec 2026"),
        (date(2026, 6, 3), "3 Jun 2026"),
        (TODAY, "Wed 25 Nov"),
    ],
)
def test_a_day_in_a_table_has_its_weekday_within_two_weeks_and_else_its_year(d, expected):
    assert words.day_short(d, today=TODAY) == expected


def test_short_days_are_babels():
    for d in YEAR:
        assert words.day_short(d, today=d) == format_date(d, "EEE d MMM", "en_US")
        assert words.day_short(d, today=date(2024, 1, 1)) == format_date(d, "d MMM y", "en_US")


def test_a_day_for_a_homeowner_is_babels_in_both_languages():
    assert words.day_long_home(date(2026, 11, 19), lang="en") == "Thursday, November 19"
    assert words.day_long_home(date(2026, 11, 19), lang="es") == "jueves 19 de noviembre"
    for d in YEAR:
        assert words.day_long_home(d, lang="en") == format_date(d, "EEEE, MMMM d", "en_US")
        assert words.day_long_home(d, lang="es") == format_date(d, "EEEE d 'de' MMMM", "es_US")


@pytest.mark.parametrize(
    ("after", "by", "sentence", "table"),
    [
        (date(2026, 11, 9), date(2026, 11, 12), "between 9 and 12 November", "9–12 Nov"),
        (date(2026, 10, 28), date(2026, 11, 3), "between 28 October and 3 November", "28 Oct to 3 Nov"),
        (date(2026, 12, 28), date(2027, 1, 3), "between 28 December 2026 and 3 January 2027", "28 Dec 2026 to 3 Jan 2027"),
        (date(2025, 11, 9), date(2025, 11, 12), "between 9 and 12 November 2025", "9–12 Nov 2025"),
        # The day after the last day not fitted is the day itself: (after, by].
        (date(2026, 11, 11), date(2026, 11, 12), "on 12 November", "12 Nov"),
        (date(2025, 12, 31), date(2026, 1, 1), "on 1 January", "1 Jan"),
        (None, date(2026, 11, 12), "by 12 November", "by 12 Nov"),
    ],
)
def test_a_bracket_is_said_by_its_ends(after, by, sentence, table):
    assert words.bracket(after, by, today=TODAY) == sentence
    assert words.bracket_short(after, by, today=TODAY) == table


def test_a_bracket_that_holds_no_day_is_refused():
    for form in (words.bracket, words.bracket_short):
        with pytest.raises(ValueError, match="12 November 2026 does not come before 12 November 2026"):
            form(date(2026, 11, 12), date(2026, 11, 12))


@pytest.mark.parametrize(
    "typed",
    [
        "18 Nov 2026",
        "18 November 2026",
        "18 nov. 2026",
        "Nov 18, 2026",
        "November 18 2026",
        "11/18/26",
        "11/18/2026",
        "2026-11-18",
        "  18  Nov  2026 ",
    ],
)
def test_a_typed_day_is_read(typed):
    assert words.parse_day(typed) == date(2026, 11, 18)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "An empty field is not a day."),
        ("tomorrow", '"tomorrow" is not a day.'),
        ("18/11/2026", "has a month 18. Days typed with strokes are month/day/year."),
        ("2/30/2026", "February 2026 has no day 30"),
        ("29 Feb 2026", "February 2026 has no day 29"),
        ("2026-13-01", "has a month 13"),
        ("18 Novembre 2026", "has no month we know"),
        ("18 Nov", "is not a day"),
        ("18.11.2026", "is not a day"),
        ("0206-11-18", "is in the year 206"),
        ("11/18/202", "is not a day"),
        ("2026-11-18T00:00", "is not a day"),
        ("٢٠٢٦-11-18", "is not a day"),
        ("0/1/2026", "has a month 0"),
        ("1/0/2026", "January 2026 has no day 0"),
    ],
)
def test_what_is_not_a_day_is_refused_with_a_sentence(typed, sentence):
    with pytest.raises(ValueError, match=sentence.replace(".", r"\.")):
        words.parse_day(typed)


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_a_day_as_we_write_it_is_read_back(d):
    assert words.parse_day(words.day(d)) == d
    assert words.parse_day(d.isoformat()) == d
    assert words.parse_day(f"{d.month}/{d.day}/{d.year}") == d


def test_the_office_reads_24_hours():
    assert words.time_office(time(14, 30)) == "14:30"
    assert words.time_office(time(7, 5, 9)) == "07:05"
    assert words.time_office(time(14, 30, 7), seconds=True) == "14:30:07"


def test_a_time_written_out_names_its_zone_on_that_day():
    denver = ZoneInfo("America/Denver")

    assert words.time_zone_office(datetime(2026, 11, 25, 14, 30, tzinfo=denver)) == "14:30 MST"
    assert words.time_zone_office(datetime(2026, 7, 1, 14, 30, tzinfo=denver)) == "14:30 MDT"
    with pytest.raises(ValueError, match="has no zone"):
        words.time_zone_office(datetime(2026, 11, 25, 14, 30))  # noqa: DTZ001


def test_a_time_for_a_homeowner_is_as_the_look_says():
    mountain_en, mountain_es = (words.zone_words("America/Denver", lang=lang) for lang in ("en", "es"))

    assert words.time_home(time(17, 30), zone_words=mountain_en, lang="en") == "5:30 p.m. Mountain Time"
    assert words.time_home(time(17, 30), zone_words=mountain_es, lang="es") == "5:30 p. m., hora de la Montaña"


@pytest.mark.parametrize("hour", range(24))
def test_a_time_for_a_homeowner_is_babels_on_a_twelve_hour_clock(hour):
    t = time(hour, 5)

    # CLDR English has "AM" and "PM"; trade English in running text has "a.m." and "p.m.".
    english = plain(format_time(t, "h:mm a", locale="en_US")).replace("AM", "a.m.").replace("PM", "p.m.")
    assert words.time_home(t, zone_words="Zone", lang="en") == f"{english} Zone"
    # CLDR "es" has "p. m." with a narrow no-break space.
    assert words.time_home(t, zone_words="zona", lang="es") == f"{plain(format_time(t, 'h:mm a', locale='es'))}, zona"


def american_zones():
    table = resources.files("tzdata") / "zoneinfo" / "zone.tab"
    rows = [line.split("\t") for line in table.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return [row[2] for row in rows if row[0] in ("US", "PR", "VI", "GU", "MP", "AS")]


def test_every_zone_of_the_united_states_and_its_territories_has_words():
    # Source: zone.tab of the IANA tz database, as the tzdata package holds it.
    zones = american_zones()

    assert len(zones) > 30
    assert set(zones) <= set(words.HOME_ZONES)
    for zone in words.HOME_ZONES:
        assert words.zone_words(zone, lang="en").endswith(" Time")
        assert words.zone_words(zone, lang="es").startswith("hora de")


def test_zones_that_share_words_share_their_clock():
    # Source: IANA tz database through zoneinfo; a name that covers two clocks would send somebody an hour wrong.
    noons = [datetime(2026, month, 15, 12, tzinfo=UTC) for month in range(1, 13)]
    clocks: dict[str, set[tuple[timedelta | None, ...]]] = {}
    for zone in words.HOME_ZONES:
        offsets = tuple(noon.astimezone(ZoneInfo(zone)).utcoffset() for noon in noons)
        clocks.setdefault(words.zone_words(zone, lang="en"), set()).add(offsets)

    assert {name: len(offsets) for name, offsets in clocks.items()} == dict.fromkeys(clocks, 1)


@pytest.mark.parametrize("zone", ["America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles", "America/Puerto_Rico"])
def test_zones_in_english_are_babels(zone):
    assert words.zone_words(zone, lang="en") == get_timezone_name(get_timezone(zone), locale="en_US")


@pytest.mark.parametrize("zone", ["America/Los_Angeles", "America/Anchorage", "America/Puerto_Rico"])
def test_zones_in_spanish_are_babels(zone):
    # Not the others: CLDR's "hora de las Montañas Rocosas" is "hora de la Montaña" in LOOK.md section 6, and so on.
    assert words.zone_words(zone, lang="es") == get_timezone_name(get_timezone(zone), locale="es_US")


def test_arizona_hawaii_and_the_aleutians_have_names_of_their_own():
    assert words.zone_words("America/Phoenix", lang="en") == "Arizona Time"
    assert words.zone_words("Pacific/Honolulu", lang="es") == "hora de Hawái"
    assert words.zone_words("America/Adak", lang="en") == "Hawaii-Aleutian Time"


def test_a_zone_abroad_is_refused():
    with pytest.raises(ValueError, match='"Europe/Berlin" is not a time zone of the United States'):
        words.zone_words("Europe/Berlin", lang="en")


@pytest.mark.parametrize(("lang", "locale"), [("en", "en_US"), ("es", "es_US")])
@pytest.mark.parametrize("amount", [864000, 5, 0, 123456789, -1250])
def test_money_for_a_homeowner_is_babels_but_for_the_true_minus(amount, lang, locale):
    babels = format_currency(amount / 100, "USD", locale=locale)

    assert words.money_home(amount, lang=lang) == babels.replace("-", "\u2212")


def test_expected_money_is_rounded_to_thousands_with_its_range():
    assert words.money_about(13_125_449, low_minor=9_600_000, high_minor=16_049_900) == "about $131,000 ($96,000 to $160,000)"


def test_numbers_carry_their_range_and_their_unit():
    assert words.about(81.6, low=60, high=107.2, noun="collar") == "about 82 collars (60 to 107)"
    assert words.about(1.2, low=0, high=3, noun="collar") == "about 1 collar (0 to 3)"
    assert words.number(-1204) == "\u22121,204"
    assert words.watts(640) == "640\u202fW"
    assert words.watts(-1700.4) == "\u22121,700\u202fW"
    assert words.kilowatt_hours(12_140) == "12.1\u202fkWh"
    assert words.kilowatt_hours(-20) == "0.0\u202fkWh"
    assert words.percent(0.67) == "67\u202f%"


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        (0.08, "8 in 100"),
        (0.01, "1 in 100"),
        (0.0099, "fewer than 1 in 100"),
        (0.0, "fewer than 1 in 100"),
        (0.995, "more than 99 in 100"),
        (1.0, "100 in 100"),
    ],
)
def test_a_chance_is_said_in_a_hundred(share, expected):
    assert words.in_hundred(share) == expected


def test_hours_of_running_are_told_to_a_tenth_below_ten():
    assert [words.hours_told(hours) for hours in (0.66, 9.94, 9.96, 16.6)] == ["0.7", "9.9", "10", "17"]
    assert words.hours_told(9.9, lang="es") == "9,9"


def test_a_chance_beyond_one_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        words.in_hundred(8)


@pytest.mark.parametrize(
    ("n", "noun", "expected"),
    [
        (0, "home", "no homes"),
        (1, "home", "one home"),
        (3, "home", "three homes"),
        (10, "day", "ten days"),
        (11, "home", "11 homes"),
        (1204, "home", "1,204 homes"),
        (2, "utility", "two utilities"),
        (2, "person", "two people"),
        (2, "address", "two addresses"),
        (2, "batch", "two batches"),
        (5, "business day", "five business days"),
        (1, "person", "one person"),
        (-2, "day", "\u22122 days"),
    ],
)
def test_things_are_counted_in_words_up_to_ten(n, noun, expected):
    assert words.count(n, noun) == expected


def test_things_are_listed_in_a_sentence():
    assert words.listed([]) == ""
    assert words.listed(["a"]) == "a"
    assert words.listed(["a", "b"]) == "a and b"
    assert words.listed(["a", "b", "c"], last="or") == "a, b or c"


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (date(2026, 12, 12), date(2026, 12, 14), "12\u201314 Dec"),
        (date(2026, 11, 29), date(2026, 11, 30), "29\u201330 Nov"),
        (date(2026, 10, 28), date(2026, 11, 3), "28 Oct to 3 Nov"),
        (date(2026, 12, 30), date(2027, 1, 2), "30 Dec 2026 to 2 Jan 2027"),
        (date(2026, 11, 12), date(2026, 11, 12), "Thu 12 Nov"),
    ],
)
def test_days_on_end_are_said_by_their_first_and_last(first, last, said):
    assert words.days_short(first, last, today=date(2026, 11, 18)) == said
