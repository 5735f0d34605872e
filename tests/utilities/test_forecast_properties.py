"""What must hold of the forecast core whatever the history."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.utilities.slow_forecast import fitted_or_open, slow_counts, slow_front, slow_learn
from tests.utilities.test_kaplan_meier_properties import ALL_OPEN, CALENDAR, ROWS
from tests.utilities.waits import D0, FOUR_DAYS, asking, every_day, history, working
from utilities.leadtimes import (
    CANCELLED,
    FITTED,
    HORIZON,
    NO_DAY,
    OPEN,
    Calendars,
    OpenRequests,
    chance_by,
    fit,
    forecast,
    fronts,
)
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.calendars import span
from utilities.leadtimes.counts import count
from utilities.leadtimes.dates import AHEAD, log_open
from utilities.workdays import FEDERAL, date_of


def forecast_all(rows, as_of=D0):
    return forecast(fit(history(rows), working(CALENDAR, CALENDAR, CALENDAR), as_of), ALL_OPEN)


def same(one, other):
    assert one.q.tolist() == other.q.tolist()
    assert one.p_never == pytest.approx(other.p_never, abs=1e-9)
    assert one.own_weight == pytest.approx(other.own_weight, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(ROWS, st.integers(0, 2))
def test_counts_candidates_and_fronts_are_those_of_a_slow_version(rows, utility):
    rows = fitted_or_open(rows)
    worked = {day: CALENDAR.is_worked(date_of(day)) for day in range(D0 - 200, D0 + HORIZON + 1)}
    calendars = working(CALENDAR, CALENDAR, CALENDAR)

    counts = count(waits_seen(history(rows), calendars, D0), calendars, D0)
    fitted = fit(history(rows), calendars, D0)

    slow = slow_counts(rows, worked.__getitem__, D0, utility)
    assert counts.fitted[:, utility] == pytest.approx(np.array([one for one, _ in slow]), abs=1e-5)
    assert counts.waited[:, utility] == pytest.approx(np.array([one for _, one in slow]), abs=1e-4)
    learned = slow_learn(slow, [fitted.pool.hazard(shift)[utility].tolist() for shift in (0, -0.5, 0.5)])
    for place, (hazard, a, b, record, own) in enumerate(learned):
        assert fitted.learned.hazard[place, utility] == pytest.approx(hazard, rel=1e-5)
        assert fitted.learned.a[place, utility] == pytest.approx(a, rel=1e-5)
        assert fitted.learned.b[place, utility] == pytest.approx(b, rel=1e-5)
        assert fitted.learned.record[place, utility] == pytest.approx(record, abs=1e-4)
        assert fitted.learned.own[place, utility] == pytest.approx(own, abs=1e-4)
    chance, record = slow_front(slow, fitted.pool.scale[utility], 10)
    ours = fitted.seen.chance[1, :, utility]
    assert ours == pytest.approx(np.array([[chance[s, j] for j in range(46)] for s in range(6)]), abs=1e-5)
    assert fitted.seen.record[1, utility] == pytest.approx(record, abs=1e-4)


@settings(max_examples=40, deadline=None)
@given(ROWS)
def test_dates_are_ordered_later_than_the_as_of_day_and_worked(rows):
    dates = forecast_all(rows)

    assert not np.isnan(dates.p_never).any()
    for filed, row, never in zip(ALL_OPEN.filed, dates.q, dates.p_never, strict=True):
        known = row[row != NO_DAY]
        assert (np.diff(known) >= 0).all()
        assert (row[known.size :] == NO_DAY).all()
        assert (known > max(D0, filed)).all()
        assert (known <= D0 + HORIZON).all()
        assert all(CALENDAR.is_worked(date_of(day)) for day in set(known.tolist()))
        assert 0 <= never <= 1
        assert known.size == np.sum(1 - never >= np.arange(1, 100) / 100 - 1e-9)
    assert ((dates.own_weight >= 0) & (dates.own_weight <= 1)).all()


@settings(max_examples=30, deadline=None)
@given(st.data(), ROWS)
def test_the_order_of_the_rows_changes_nothing(data, rows):
    same(forecast_all(rows), forecast_all(data.draw(st.permutations(rows))))


@settings(max_examples=30, deadline=None)
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

    same(forecast_all(before + later), forecast_all(before + changed + not_yet_filed))


@settings(max_examples=30, deadline=None)
@given(ROWS, st.permutations([0, 1, 2, 3]))
def test_renaming_utilities_and_one_without_rows_change_nothing(rows, name):
    renamed = [(name[row[0]], *row[1:]) for row in rows]
    requests = OpenRequests.from_columns(utility=[name[utility] for utility in ALL_OPEN.utility], filed=ALL_OPEN.filed)

    same(forecast(fit(history(renamed), working(*[CALENDAR] * 4), D0), requests), forecast_all(rows))


@settings(max_examples=40, deadline=None)
@given(ROWS)
def test_days_waited_are_the_same_counted_by_row_and_by_fortnight(rows):
    # Little's law over a finite window: Little (2011), Operations Research 59(3), 536-549.
    rows, calendars = fitted_or_open(rows), working(CALENDAR, CALENDAR, CALENDAR)
    waits = waits_seen(history(rows), calendars, D0)

    counts = count(waits, calendars, D0)

    assert counts.waited.sum() == pytest.approx(float((waits.end - waits.entry).sum()), rel=1e-5)
    assert counts.fitted.sum() == pytest.approx(float(waits.fitted.sum()), rel=1e-5)


@settings(max_examples=30, deadline=None)
@given(ROWS, st.integers(D0 - 10, D0 + HORIZON + 200))
def test_chances_from_dates_are_within_one_in_a_hundred_of_the_curve(rows, day):
    fitted = fit(history(rows), working(CALENDAR, CALENDAR, CALENDAR), D0)
    filed_before = OpenRequests.from_columns(utility=[0, 1, 2, 0], filed=[D0 - 70, D0 - 3, D0, D0 - 700])
    calendars, utility = fitted.calendars, filed_before.utility

    by_dates = chance_by(forecast(fitted, filed_before), day)

    today, end = calendars.count(utility, D0), calendars.count(utility, min(max(day, D0), D0 + HORIZON))
    curve = log_open(fitted, utility, today - calendars.count(utility, filed_before.filed), np.ones(4))
    for row, workdays in enumerate(end - today):
        told = -np.expm1(np.interp(workdays, np.concatenate([[0], AHEAD]), curve[row]))
        assert by_dates[row] == pytest.approx(told, abs=0.01 + 2e-9)


# Exponential waits of mean 60 days, two utilities, seeds in the parameters.
def exponential(seed, n=400, utilities=2, mean=60):
    chance = np.random.default_rng(seed)
    filed, wait = D0 - chance.integers(1, 700, n), np.ceil(chance.exponential(mean, n)).astype(int)
    return [
        (int(chance.integers(utilities)), sent, None, *((sent + days, FITTED) if sent + days <= D0 else (None, OPEN)))
        for sent, days in zip(filed.tolist(), wait.tolist(), strict=True)
    ]


@pytest.mark.parametrize("seed", range(4))
def test_one_more_day_without_a_fitting_makes_no_date_likelier(seed):
    rows = exponential(seed)
    request, until = asking(D0 - 20), D0 + 45
    # From one fortnight's end to the day after, nothing else is news.
    calendars = every_day(2)
    today = chance_by(forecast(fit(history(rows), calendars, D0 - 1), request), until)
    # Those fitted on the last day are taken for open: a day without a fitting.
    quiet = [row if row[3] != D0 else (*row[:3], None, OPEN) for row in rows]

    tomorrow = chance_by(forecast(fit(history(quiet), calendars, D0 - 0), request), until)

    assert tomorrow[0] <= today[0] + 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_an_open_request_elsewhere_hardly_moves_a_utility_with_a_long_history(seed):
    rows = exponential(seed, n=600)
    requests = OpenRequests.from_columns(utility=[0, 0, 0], filed=[D0, D0 - 30, D0 - 120])

    before, after = (forecast(fit(history(told), every_day(2), D0), requests) for told in (rows, [*rows, (1, D0 - 100, None, None, OPEN)]))

    for ahead in (14, 60, 200):
        assert chance_by(after, D0 + ahead) == pytest.approx(chance_by(before, D0 + ahead), abs=0.01)


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param([], id="no history at all"),
        pytest.param([(0, D0 - 5, None, None, OPEN)], id="one request"),
        pytest.param([(0, D0, None, None, OPEN)] * 3, id="filed on the as-of day"),
        pytest.param([(0, D0 - day, None, None, OPEN) for day in range(60)], id="all open"),
        pytest.param([(0, D0 - 50, None, D0 - day, CANCELLED) for day in range(50)], id="all cancelled"),
        pytest.param([(0, D0 - 50, None, D0 - 49, FITTED)] * 30, id="all fitted on the first day"),
        pytest.param([(0, D0 + 1, None, None, OPEN)], id="filed after the as-of day"),
        pytest.param([(0, D0 - 900, D0, D0, FITTED)] * 9, id="all fitted on the day they became known"),
        pytest.param([(0, D0 - 5500, None, D0 - 1, FITTED)] * 9, id="older than every age class"),
    ],
)
@pytest.mark.parametrize("filed", [D0, D0 - 1, D0 - 5000, D0 + 400])
def test_dates_come_whatever_the_history(rows, filed):
    dates = forecast(fit(history(rows), working(FEDERAL, FEDERAL), D0), asking(filed))

    assert dates.q[0, 0] == NO_DAY or dates.q[0, 0] > max(D0, filed)
    assert 0 <= dates.p_never[0] <= 1
    assert np.isfinite(chance_by(dates, D0 + 30)).all()


def test_a_utility_that_never_works_never_fits_and_nobody_asks_nothing():
    first, last = span(history([]), D0)
    never = Calendars.of([np.zeros(last - first + 1, bool)], first)

    dates = forecast(fit(history([]), never, D0), asking(D0))
    nothing = forecast(fit(history([]), Calendars.of([], first), D0), OpenRequests.from_columns(utility=[], filed=[]))

    assert (dates.q == NO_DAY).all()
    assert dates.p_never == [1]
    assert nothing.q.shape == (0, 99)


def test_dates_are_working_days_of_each_utility():
    rows = exponential(1)
    requests = OpenRequests.from_columns(utility=[0, 1], filed=[D0 - 4, D0 - 4])

    dates = forecast(fit(history(rows), working(FEDERAL, FOUR_DAYS), D0), requests)

    assert all(FEDERAL.is_worked(date_of(day)) for day in dates.q[0] if day != NO_DAY)
    assert all(FOUR_DAYS.is_worked(date_of(day)) for day in dates.q[1] if day != NO_DAY)
    assert date(2026, 8, 3) not in [date_of(day) for day in dates.q[1] if day != NO_DAY]


def test_a_planned_sending_is_forecast_as_if_filed_then():
    rows = exponential(2)

    fitted = fit(history(rows), every_day(2), D0)

    assert (forecast(fitted, asking(D0 + 40)).q_at(50) - forecast(fitted, asking(D0)).q_at(50)).tolist() == [40]


def test_the_table_of_the_fronts_begins_at_certainty_and_falls():
    table = fronts.open_table()

    assert (table[:, :, 0] == 1).all()
    assert (np.diff(table, axis=2)[:, :, 2:] <= 1e-9).all()
    assert ((table > 0) & (table <= 1)).all()
