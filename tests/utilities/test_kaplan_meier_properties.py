"""What must hold whatever the history."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.utilities.slow_waits import slow_forecast
from tests.utilities.waits import D0, asking, history, working
from utilities.leadtimes import (
    CANCELLED,
    FITTED,
    HORIZON,
    NO_DAY,
    OPEN,
    OpenRequests,
    chance_by,
    open_rows,
)
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.curve import count
from utilities.leadtimes.kaplan_meier import fit, forecast
from utilities.workdays import WorkCalendar, date_of

ANY_ROW = st.tuples(
    st.integers(0, 2),
    st.integers(D0 - 120, D0 + 10),
    st.none() | st.integers(0, 60),
    st.integers(0, 90),
    st.sampled_from([OPEN, FITTED, FITTED, FITTED, CANCELLED]),
    st.none() | st.integers(1, 40),
)


def row_of(utility, filed, known_after, days, outcome, bracket):
    known_from = None if known_after is None else filed + known_after
    if outcome == OPEN:
        return utility, filed, known_from, None, OPEN
    after = filed + days - bracket if bracket and outcome == FITTED else None
    return utility, filed, known_from, filed + days, outcome, after


ROWS = st.lists(ANY_ROW.map(lambda drawn: row_of(*drawn)), max_size=40)
CALENDAR = WorkCalendar("any", weekdays=frozenset({0, 1, 2, 3, 5}), closed=frozenset({date(2026, 5, 4), date(2026, 7, 6)}))
ALL_OPEN = OpenRequests.from_columns(utility=[0, 1, 2, 0, 1, 2], filed=[D0 - 70, D0 - 3, D0, D0 - 700, D0 + 12, D0 - 20])


def forecast_all(rows, as_of=D0):
    return forecast(fit(history(rows), working(CALENDAR, CALENDAR, CALENDAR), as_of), ALL_OPEN)


@settings(max_examples=60, deadline=None)
@given(ROWS, st.integers(0, 2), st.integers(D0 - 120, D0 + 10))
def test_dates_are_those_of_a_slow_version(rows, utility, filed):
    worked = {day: CALENDAR.is_worked(date_of(day)) for day in range(D0 - 200, D0 + HORIZON + 1)}

    quick = forecast(fit(history(rows), working(CALENDAR, CALENDAR, CALENDAR), D0), asking(filed, utility))

    q, p_never = slow_forecast(rows, worked.__getitem__, D0, utility, filed)
    assert quick.q[0].tolist() == q
    assert quick.p_never == pytest.approx([p_never], abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(ROWS)
def test_dates_are_ordered_later_than_the_as_of_day_and_worked(rows):
    dates = forecast_all(rows)

    for filed, row, never in zip(ALL_OPEN.filed, dates.q, dates.p_never, strict=True):
        known = row[row != NO_DAY]
        assert (np.diff(known) >= 0).all()
        assert (row[known.size :] == NO_DAY).all()
        assert (known > max(D0, filed)).all()
        assert (known <= D0 + HORIZON).all()
        assert all(CALENDAR.is_worked(date_of(day)) for day in set(known.tolist()))
        assert 0 <= never <= 1
        assert known.size == np.sum(1 - never >= np.arange(1, 100) / 100 - 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.data(), ROWS)
def test_the_order_of_the_rows_changes_nothing(data, rows):
    shuffled = data.draw(st.permutations(rows))

    one, other = forecast_all(rows), forecast_all(shuffled)

    assert one.q.tolist() == other.q.tolist()
    assert one.p_never.tolist() == other.p_never.tolist()


@settings(max_examples=60, deadline=None)
@given(st.data(), ROWS)
def test_what_happened_after_the_as_of_day_changes_nothing(data, rows):
    later = [row for row in rows if row[3] is None or row[3] > D0]
    before = [row for row in rows if row not in later]
    changed = []
    for utility, filed, known_from, *_ in later:
        outcome = data.draw(st.sampled_from([OPEN, FITTED, CANCELLED]))
        by = None if outcome == OPEN else data.draw(st.integers(max(D0 + 1, filed), D0 + 900))
        changed.append((utility, filed, known_from, by, outcome))
    not_yet_filed = [(0, D0 + 1, None, D0 + 2, FITTED)] * 7

    one, other = forecast_all(before + later), forecast_all(before + changed + not_yet_filed)

    assert one.q.tolist() == other.q.tolist()
    assert one.p_never.tolist() == other.p_never.tolist()
    assert open_rows(history(before + later), D0).tolist() == open_rows(history(before + changed), D0).tolist()


@settings(max_examples=60, deadline=None)
@given(ROWS)
def test_days_watched_are_the_same_counted_by_row_and_by_age(rows):
    # Little's law over a finite window: Little (2011), Operations Research 59(3), 536-549.
    waits = waits_seen(history([row[:5] for row in rows]), working(CALENDAR, CALENDAR, CALENDAR), D0)

    assert count(waits).days_watched == (waits.end - waits.entry).sum()


@settings(max_examples=40, deadline=None)
@given(ROWS, st.permutations([0, 1, 2, 3]))
def test_renaming_utilities_and_one_without_rows_change_nothing(rows, name):
    renamed = [(name[row[0]], *row[1:]) for row in rows]
    requests = OpenRequests.from_columns(utility=[name[utility] for utility in ALL_OPEN.utility], filed=ALL_OPEN.filed)

    dates = forecast(fit(history(renamed), working(*[CALENDAR] * 4), D0), requests)

    assert dates.q.tolist() == forecast_all(rows).q.tolist()
    assert dates.p_never == pytest.approx(forecast_all(rows).p_never, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(ROWS, st.integers(D0 - 10, D0 + HORIZON + 200))
def test_chances_from_dates_are_within_one_in_a_hundred_of_the_curve(rows, day):
    fitted = fit(history(rows), working(CALENDAR, CALENDAR, CALENDAR), D0)

    by_dates = chance_by(forecast(fitted, ALL_OPEN), day)

    calendars, end = fitted.calendars, min(max(day, D0), D0 + HORIZON)
    filed = calendars.count(ALL_OPEN.utility, ALL_OPEN.filed)
    age, later = calendars.count(ALL_OPEN.utility, D0) - filed, calendars.count(ALL_OPEN.utility, end) - filed
    for place, utility in enumerate(ALL_OPEN.utility):
        curve = fitted.curves[fitted.curve[utility]]
        assert by_dates[place] == pytest.approx(-np.expm1(curve.at(age[place]) - curve.at(later[place])), abs=0.01 + 2e-9)
