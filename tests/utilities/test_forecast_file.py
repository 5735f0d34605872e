import csv
import io
import json
import random
from datetime import date, timedelta

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from hypothesis import given, settings
from hypothesis import strategies as st

from utilities.historyfile import FORECAST_HEADINGS, FaultyFile, read_calendars, read_history
from utilities.leadtimes import CANCELLED, FITTED, HORIZON, NO_DAY, OPEN, Calendars, History, OpenRequests, fit, forecast
from utilities.workdays import FEDERAL, date_of, day_number

HEADINGS = "request_id,utility,district,filed_on,known_from,outcome,outcome_on"
D0 = date(2026, 6, 30)  # a Tuesday

# None of these tests may use the database: pytest-django refuses it, as none asks for it.


@pytest.fixture
def place(tmp_path):
    return tmp_path


def write(place, *lines, name="history.csv", headings=HEADINGS, encoding="utf-8"):
    path = place / name
    path.write_bytes("\r\n".join([headings, *lines, ""]).encode(encoding))
    return path


def run(history, *as_of, closures=None, **options):
    """Rows of the output as dicts, and what was said."""
    out, said = history.with_name("out.csv"), io.StringIO()
    days = [f"--as-of={day}" for day in as_of or (D0,)]
    call_command("forecast_file", history, *days, out=out, closures=closures, stdout=said, stderr=said, **options)
    with out.open(newline="") as file:
        return list(csv.DictReader(file)), said.getvalue()


def refused(history, *as_of, closures=None):
    with pytest.raises(CommandError) as refusal:
        run(history, *as_of, closures=closures)
    left = {path.name for path in history.parent.iterdir()} - {history.name, closures and closures.name}
    assert left == set(), "nothing is written when a row is wrong"
    return str(refusal.value)


def dates(row):
    return [date.fromisoformat(text) for text in list(row.values())[2:101] if text]


def some_fitted(utility="A", n=12):
    return [f"f{utility}{i},{utility},,2026-01-0{1 + i % 9},,fitted,2026-0{2 + i % 4}-1{i % 10}" for i in range(n)]


# What is written


def test_each_open_request_gets_one_row_a_day_in_the_order_of_the_file(place):
    history = write(
        place,
        "late,A,,2026-06-20,,open,",
        *some_fitted(),
        "first,B,North,2026-01-05,,open,",
        "seen in May,A,,2026-02-02,,fitted,2026-06-01",
    )

    rows, _ = run(history, "2026-06-30", "2026-05-15")

    # Of those fitted in May, fA3 (13), fA7 (17) and fA11 (11), one was still open on the fifteenth.
    assert [(row["request_id"], row["as_of"]) for row in rows] == [
        ("late", "2026-06-30"),
        ("first", "2026-06-30"),
        ("fA7", "2026-05-15"),
        ("first", "2026-05-15"),
        ("seen in May", "2026-05-15"),
    ]


def test_the_columns_are_those_that_were_promised(place):
    run(write(place, "a,A,,2026-06-01,,open,"))

    heading, row = (place / "out.csv").read_bytes().split(b"\r\n")[:2]
    assert heading.decode().split(",") == ["request_id", "as_of", *[f"q{p:02}" for p in range(1, 100)], "p_never", "own_weight"]
    assert row.count(b",") == 102
    assert len(FORECAST_HEADINGS) == 103


def test_dates_come_after_the_day_on_working_days_in_order_and_blank_ones_last(place):
    history = write(place, *some_fitted(), "young,A,,2026-06-29,,open,", "old,B,,2019-01-02,,open,", "new,C,,2026-06-30,,open,")

    rows, _ = run(history)

    for row in rows:
        known = dates(row)
        cells = list(row.values())[2:101]
        assert [bool(cell) for cell in cells] == [True] * len(known) + [False] * (99 - len(known))
        assert known == sorted(known)
        assert all(D0 < day <= D0 + timedelta(HORIZON) and FEDERAL.is_worked(day) for day in known)
        assert 0 <= float(row["p_never"]) <= 1
        assert 0 <= float(row["own_weight"]) <= 1
        # A date is blank exactly where its chance is not reached within the horizon (to the six digits that are written).
        assert len(known) == pytest.approx((1 - float(row["p_never"])) * 100, abs=1.001)


def test_the_dates_are_those_of_the_core(place):
    rows: list[tuple[str, str, date, int, date | None]]
    rows = [("a", "A", date(2026, 6, 1), OPEN, None), ("b", "B", date(2026, 3, 2), OPEN, None)]
    rows += [(f"f{i}", "AB"[i % 2], date(2026, 1, 5 + i), FITTED, date(2026, 2, 3) + timedelta(9 * i)) for i in range(14)]
    rows += [("c", "A", date(2026, 2, 2), CANCELLED, date(2026, 4, 1))]
    names = {OPEN: "open", FITTED: "fitted", CANCELLED: "cancelled"}
    history = write(place, *[f"{i},{u},,{filed},,{names[o]},{on or ''}" for i, u, filed, o, on in rows])

    said, _ = run(history)

    number = day_number(D0)
    core = History.from_columns(
        utility=["AB".index(row[1]) for row in rows],
        filed=[day_number(row[2]) for row in rows],
        outcome=[row[3] for row in rows],
        by=[NO_DAY if row[4] is None else day_number(row[4]) for row in rows],
    )
    first, last = date(2026, 1, 1), D0 + timedelta(HORIZON)
    calendars = Calendars.of([FEDERAL.worked_between(first, last)] * 2, day_number(first))
    asked = [place for place, row in enumerate(rows) if row[4] is None or row[4] > D0]
    wanted = forecast(fit(core, calendars, number), OpenRequests.of(core, np.array(asked)))
    assert [row["request_id"] for row in said] == [rows[place][0] for place in asked]
    for place, row in enumerate(said):
        assert dates(row) == [date_of(day) for day in wanted.q[place] if day != NO_DAY]
        assert float(row["p_never"]) == pytest.approx(wanted.p_never[place], abs=1e-6)
        assert float(row["own_weight"]) == pytest.approx(wanted.own_weight[place], abs=1e-6)


def test_the_same_files_give_the_same_bytes(place):
    history = write(place, *some_fitted(), "a,A,,2026-06-01,,open,")
    run(history)
    once = (place / "out.csv").read_bytes()

    run(history)

    assert (place / "out.csv").read_bytes() == once
    assert {path.name for path in place.iterdir()} == {"history.csv", "out.csv"}


def test_an_id_with_a_comma_a_quote_or_a_sign_of_a_formula_comes_back(place):
    history = write(place, '"Home 4, ""rear""",A,,2026-06-01,,open,', "'=7,A,,2026-06-01,,open,", "-5,A,,2026-06-01,,open,")

    rows, _ = run(history)

    assert [row["request_id"] for row in rows] == ['Home 4, "rear"', "'=7", "-5"]


def test_figures_are_printed_for_people_and_for_programs(place):
    history = write(place, *some_fitted(), "a,A,,2026-06-01,,open,", "gone,A,,2026-01-05,2026-06-01,fitted,2026-05-04")

    _, said = run(history)
    assert "13 requests of one utility read." in said
    assert "One row left out: ended before the day on which it became known." in said
    assert "2026-06-30: 1 open, 12 fitted before." in said

    _, said = run(history, json=True)
    told = json.loads(said)
    assert (told["rows"], told["utilities"], told["dropped"]) == (13, 1, 1)
    assert told["days"] == [{"as_of": "2026-06-30", "open": 1, "fitted": 12, "blank": told["days"][0]["blank"]}]


# What may be read


def test_nothing_fitted_one_row_and_no_row_are_no_errors(place):
    assert len(run(write(place, "a,A,,2026-06-01,,open,", "b,B,,2026-06-01,,cancelled,2026-06-09"))[0]) == 1
    assert len(run(write(place, "a,A,,2026-06-30,,open,"))[0]) == 1
    assert run(write(place))[0] == []
    assert run(write(place, "a,A,,2026-07-01,,open,"))[0] == []


def test_a_list_of_finished_waits_says_why_nothing_can_be_said(place):
    rows, said = run(write(place, *some_fitted()))

    assert rows == []
    assert "A list of finished waits only cannot be used for rates" in said


def test_columns_stand_in_any_order_and_blank_ones_may_be_left_out(place):
    plain = write(place, *some_fitted(), "a,A,,2026-06-01,,open,")
    wanted = run(plain)[0]
    lines = [line.split(",") for line in plain.read_text().split()[1:]]
    other = [f"{on},{outcome.upper()},x, {filed} ,{utility},{ident}" for ident, utility, _, filed, _, outcome, on in lines]

    mixed = write(place, *other, ",,,,,", "", headings="outcome_on,Outcome,remark,FILED_ON,utility,request_id", encoding="utf-8-sig")

    assert run(mixed)[0] == wanted


def test_a_row_known_late_is_left_out_before_that_day(place):
    history = write(place, *some_fitted(), "a,A,,2026-03-02,2026-06-01,open,")

    rows, _ = run(history, "2026-05-29", "2026-06-01")

    assert [row["as_of"] for row in rows if row["request_id"] == "a"] == ["2026-06-01"]


def test_districts_of_the_same_name_at_two_utilities_are_two(place):
    read = read_history(write(place, "a,A,North,2026-06-01,,open,", "b,B,North,2026-06-01,,open,", "c,A,,2026-06-01,,open,"))

    district = read.history.district.tolist()
    assert district[0] != district[1]
    assert district[2] == -1


# Closures


def calendar_of(place, *lines, headings="utility,day,kind", utilities="AB"):
    history = read_history(write(place, *[f"{name},{name},,2026-06-01,,open," for name in utilities]))
    calendars = read_calendars(history, [D0], write(place, *lines, name="closures.csv", headings=headings))
    return [{date_of(day) for day in calendars.worked_days(index).tolist()} for index in range(len(utilities))]


def test_a_closure_closes_one_utility_and_a_star_all(place):
    a, b = calendar_of(place, "A,2026-07-07", "*,2026-07-08", "nobody,2026-07-09", headings="utility,day")

    plain = {day for day in (date(2026, 6, 1) + timedelta(n) for n in range(30 + HORIZON)) if FEDERAL.is_worked(day)}
    assert plain - a == {date(2026, 7, 7), date(2026, 7, 8)}
    assert plain - b == {date(2026, 7, 8)}
    assert not a - plain
    assert date(2026, 7, 3) not in plain  # 4 July 2026 is a Saturday: observed on the Friday (5 U.S.C. 6103(b))


def test_a_day_can_be_opened_and_the_utilitys_own_row_goes_first(place):
    a, b = calendar_of(place, "*,2026-07-11,open", "A,2026-07-11,closed", "A,2026-07-03,Open", "B,2019-01-01,closed")

    saturday, observed = date(2026, 7, 11), date(2026, 7, 3)
    assert saturday in b
    assert saturday not in a
    assert observed in a
    assert observed not in b


def test_no_date_falls_on_a_closed_day(place):
    history = write(place, *some_fitted(), "a,A,,2026-06-01,,open,")
    free = dates(run(history)[0][0])
    closed = sorted(set(free))[:3]

    kept = dates(run(history, closures=write(place, *[f"*,{day}," for day in closed], name="c.csv", headings="utility,day,kind"))[0][0])

    assert len(kept) > 50
    assert not set(kept) & set(closed)


# What is refused

BAD_ROWS = [
    ("x,A,,2026-02-30,,open,", "filed_on “2026-02-30” is not a day"),
    ("x,A,,06/03/2026,,open,", "filed_on “06/03/2026” is not a day"),
    ("x,A,,20260603,,open,", "filed_on “20260603” is not a day"),
    ("x,A,,1969-12-31,,open,", "filed_on “1969-12-31” is not a day"),
    ("x,A,,,,open,", "filed_on is blank"),
    ("x,A,,2026-06-01,soon,open,", "known_from “soon” is not a day"),
    ("x,A,,2026-06-01,,fitted,", "outcome_on is blank"),
    ("x,A,,2026-06-01,,cancelled,", "outcome_on is blank"),
    ("x,A,,2026-06-01,,fitted,yes", "outcome_on “yes” is not a day"),
    ("x,A,,2026-06-02,,fitted,2026-06-01", "outcome_on 2026-06-01 comes before filed_on 2026-06-02"),
    ("x,A,,2026-06-01,,open,2026-06-05", "it is open and has an outcome_on"),
    ("x,A,,2026-06-01,,done,2026-06-05", "outcome “done” is not known"),
    ("x,A,,2026-06-01,,,", "outcome “” is not known"),
    (",A,,2026-06-01,,open,", "request_id is blank"),
    ("x,,,2026-06-01,,open,", "utility is blank"),
    ("good,A,,2026-06-01,,open,", "request_id “good” stands on line 2 too"),
    ("x,A,,2026-06-01,open", "it has 5 cells, the first line names 7 columns"),
    ("x,A,,2026-06-01,,open,,more", "it has 8 cells, the first line names 7 columns"),
    ('x,"A"b,,2026-06-01,,open,', "it is not CSV"),
]


@pytest.mark.parametrize(("line", "says"), BAD_ROWS)
def test_a_bad_row_is_named_by_its_line(place, line, says):
    said = refused(write(place, "good,A,,2026-06-01,,open,", "", line, "also good,A,,2026-06-01,,open,"))

    assert f"history.csv, line 4: {says}" in said
    assert said.endswith("Nothing was written.")
    assert said.count("history.csv, line") == 1


def test_every_bad_row_is_counted_and_the_first_twenty_named(place):
    lines = [f"r{i},A,,nonsense,,open," for i in range(30)]

    said = refused(write(place, *lines))

    assert [f"line {n}:" in said for n in (2, 21, 22)] == [True, True, False]
    assert "10 more lines are wrong." in said


def test_a_cell_of_two_lines_does_not_shift_the_lines_that_are_named(place):
    said = refused(write(place, '"two\nlines",A,,2026-06-01,,open,', "x,A,,never,,open,"))

    assert "line 4: filed_on “never”" in said


def test_a_file_that_is_not_utf_8_or_has_no_heading_is_refused(place):
    assert "line 2: it is not UTF-8" in refused(write(place, "é,A,,2026-06-01,,open,", encoding="latin-1"))
    assert "line 1: no column is named request_id" in refused(write(place, headings="id;utility"))
    assert "line 1: two columns are named utility" in refused(write(place, headings=HEADINGS + ",utility"))
    empty = write(place)
    empty.write_bytes(b"")
    assert "line 1: the first line is empty. Wanted: request_id, utility" in refused(empty)
    empty.write_bytes(HEADINGS.encode() + b"\rx,A,,2026-06-01,,open,\r")
    assert "line 1: a line ends in a carriage return alone. Save the file as CSV UTF-8." in refused(empty)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("A,2026-13-01,closed", "day “2026-13-01” is not a day"),
        ("A,,closed", "day “” is not a day"),
        (",2026-07-01,closed", "utility is blank"),
        ("A,2026-07-01,half", "kind “half” is not known"),
        ("A,2026-07-06,open", "2026-07-06 is both closed and open for “A”"),
    ],
)
def test_a_bad_closure_is_named_by_its_line(place, line, says):
    closures = write(place, "A,2026-07-06,closed", line, name="c.csv", headings="utility,day,kind")

    assert f"c.csv, line 3: {says}" in refused(write(place, "a,A,,2026-06-01,,open,"), closures=closures)


def test_what_was_written_before_stays_when_a_later_file_is_wrong(place):
    history = write(place, "a,A,,2026-06-01,,open,")
    run(history)
    before = (place / "out.csv").read_bytes()

    with pytest.raises(CommandError):
        run(write(place, "a,A,,nonsense,,open,"))

    assert (place / "out.csv").read_bytes() == before


def test_days_and_files_that_cannot_be_are_refused(place):
    history = write(place, "a,A,,2026-06-01,,open,")

    for text in ("today", "20260630", "2026-W27-2", "2026-06-31"):
        assert f"--as-of “{text}” is not a day" in refused(history, text)
    assert "--as-of 2100-01-01 is outside the calendars" in refused(history, "2100-01-01")
    with pytest.raises(CommandError, match="There is no folder"):
        call_command("forecast_file", history, as_of=[str(D0)], out=place / "no" / "out.csv")
    with pytest.raises(CommandError, match="is read from"):
        call_command("forecast_file", history, as_of=[str(D0)], out=history)
    with pytest.raises(CommandError, match="is not a file"):
        call_command("forecast_file", history, as_of=[str(D0)], out=place)
    with pytest.raises(CommandError, match=r"nowhere\.csv: No such file"):
        call_command("forecast_file", place / "nowhere.csv", as_of=[str(D0)], out=place / "out.csv")


# For any file

DAYS = st.dates(date(2024, 1, 1), date(2026, 12, 31))
REQUESTS = st.lists(
    st.tuples(
        st.sampled_from("ABC"), st.sampled_from(["", "N", "S"]), DAYS, st.integers(0, 400), st.sampled_from("foc"), st.integers(-20, 60)
    ),
    max_size=40,
)


def lines_of(requests):
    lines = []
    for place, (utility, district, filed, days, outcome, late) in enumerate(requests):
        known = filed + timedelta(late) if late > 0 else ""
        ended = "" if outcome == "o" else filed + timedelta(days)
        lines.append(f"r{place},{utility},{district},{filed},{known},{ {'f': 'fitted', 'o': 'open', 'c': 'cancelled'}[outcome] },{ended}")
    return lines


@settings(max_examples=40, deadline=None)
@given(REQUESTS, DAYS, st.randoms(use_true_random=False))
def test_order_of_rows_and_what_came_later_change_nothing(tmp_path_factory, requests, as_of, shuffler: random.Random):
    place = tmp_path_factory.mktemp("any")
    lines = lines_of(requests)
    wanted = {row["request_id"]: row for row in run(write(place, *lines), as_of)[0]}

    # What happened after the as-of day is taken out, the rows are mixed.
    known_then = []
    for line in lines:
        *head, outcome, ended = line.split(",")
        known_then.append(",".join([*head, "open", ""]) if ended > str(as_of) else ",".join([*head, outcome, ended]))
    shuffler.shuffle(known_then)
    said, _ = run(write(place, *known_then), as_of)

    order = [line.split(",")[0] for line in known_then]
    assert [row["request_id"] for row in said] == [one for one in order if one in wanted]
    for row in said:
        first = wanted[row["request_id"]]
        # Sums in another order differ in the last bit, which can move a date by a working day.
        assert float(row["p_never"]) == pytest.approx(float(first["p_never"]), abs=2e-6)
        moved = [a for a, b in zip(row.values(), first.values(), strict=True) if a != b]
        assert len(moved) <= 4


def test_a_faulty_file_keeps_its_faults_for_programs(place):
    with pytest.raises(FaultyFile) as refusal:
        read_history(write(place, "a,A,,x,,open,", "b,A,,y,,open,"))

    assert [fault.line for fault in refusal.value.faults] == [2, 3]
    assert refusal.value.total == 2
