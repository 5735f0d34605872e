from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tests.utilities.waits import D0, FIRST, FOUR_DAYS, asking, every_day, history, said, ten_rows, working
from utilities.leadtimes import (
    CANCELLED,
    FITTED,
    HORIZON,
    NO_DAY,
    OPEN,
    Calendars,
    OpenRequests,
    chance_by,
    open_rows,
    span,
)
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.curve import count
from utilities.leadtimes.kaplan_meier import Summed, fit, forecast
from utilities.workdays import FEDERAL, WorkCalendar, date_of, day_number

# By hand


def four_rows():
    # Known late, the third row is watched from the evening of its first day on.
    #   age            1     2     3     4     5
    #   watched        3     4     3     1     1
    #   fitted         0     1     1     0     1
    #   still open     1   3/4   1/2   1/2     0
    filed = D0 - 10
    return [
        (0, filed, None, filed + 2, FITTED),
        (0, filed, None, filed + 3, CANCELLED),
        (0, filed, filed + 2, filed + 3, FITTED),
        (0, filed, None, filed + 5, FITTED),
    ]


def test_four_rows_give_the_curve_worked_out_by_hand():
    counts = count(waits_seen(history(four_rows()), every_day(1), D0))

    assert counts.watched.tolist() == [0, 3, 4, 3, 1, 1]
    assert counts.fitted.tolist() == [0, 0, 1, 1, 0, 1]
    assert counts.survival() == pytest.approx([1, 1, 3 / 4, 1 / 2, 1 / 2, 0], abs=1e-12)


def test_three_fittings_of_few_rows_give_a_constant_hazard():
    # Fewer than five were watched at every age: 3 fittings in 3 + 4 + 3 + 1 + 1 = 12 days, 1/4 a day.
    # Open after 1, 2, 3 days: 3/4, 9/16 = 0.5625, 27/64 = 0.42; after 8, 9 days: 0.1001, 0.0751.
    dates = said(four_rows())

    assert dates.q_at(25) == D0 + 1
    assert dates.q_at(26) == D0 + 2
    assert dates.q_at(50) == D0 + 3
    assert dates.q_at(90) == D0 + 9


def test_a_new_request_follows_the_curve_and_an_old_one_its_tail():
    # Fitted on day 10: 5/10. Behind it a constant hazard, 5 fittings in 10 x 10 + 5 x 10 = 150 days, 1/30 a day, from day 21 on, for
    # five were watched on days 11 to 20 and none was fitted.
    # 60 in a hundred: (29/30)^k <= 4/5, k = 7. Half of what is open after day 20: (29/30)^k <= 1/2, k = 21.
    new, old = said(ten_rows()), said(ten_rows(), filed=D0 - 20)

    assert new.q_at(1) == new.q_at(50) == D0 + 10
    assert new.q_at(51) == D0 + 21
    assert new.q_at(60) == D0 + 27
    assert old.q_at(50) == D0 + 21
    assert old.p_never == pytest.approx([(29 / 30) ** 1095], rel=1e-6)


def test_few_watched_at_young_ages_count_by_all_fittings_and_behind_them_by_the_oldest_five():
    # One was fitted on day 1; five entered on the evening of day 5 and were fitted on day 8.
    # Day 1: six fittings in 1 + 5 x 3 = 16 days, 3/8. Days 2 to 5: five in 15 days, 1/3. Days 6, 7: none of five. Day 8: all five.
    # Open after days 1, 2, 3, 4, 5: 5/8 = 0.625, 5/12 = 0.417, 5/18 = 0.278, 5/27 = 0.185, 10/81 = 0.123.
    filed = D0 - 100
    dates = said([(0, filed, None, filed + 1, FITTED), *[(0, filed, filed + 6, filed + 8, FITTED)] * 5])

    firsts = [np.searchsorted(dates.q[0], D0 + day, side="right") for day in range(10)]
    assert firsts == [0, 37, 58, 72, 81, 87, 87, 87, 99, 99]


def test_a_share_that_is_reached_exactly_counts_as_reached():
    # Of ten one is fitted on each of days 1 to 5: 1/10, 2/10, ... 5/10, sums of logarithms that miss these by a rounding.
    rows = [(0, D0 - 300, None, D0 - 300 + day, FITTED) for day in range(1, 6)] + [(0, D0 - 300, None, D0 - 290, CANCELLED)] * 5
    dates = said(rows)

    assert [dates.q_at(percent)[0] - D0 for percent in (10, 20, 30, 40, 50)] == [1, 2, 3, 4, 5]


def test_rows_that_ended_before_anybody_watched_them_are_dropped_and_counted():
    rows = [*ten_rows(), (0, D0 - 60, D0 - 30, D0 - 31, FITTED)]

    assert fit(history(rows), every_day(1), D0).dropped == 1
    assert said(rows).q.tolist() == said(ten_rows()).q.tolist()


def test_a_late_row_is_watched_from_the_age_it_had_the_evening_before():
    waits = waits_seen(history([(0, D0 - 30, D0 - 10, None, OPEN), (0, D0 - 30, D0 - 10, D0 - 10, FITTED)]), every_day(1), D0)

    assert waits.entry.tolist() == [19, 19]
    assert waits.end.tolist() == [30, 20]


def test_a_row_is_unknown_until_the_day_it_became_known():
    listed = history([(0, D0 - 30, D0, None, OPEN)])

    assert open_rows(listed, D0).tolist() == [0]
    assert open_rows(listed, D0 - 1).tolist() == []
    assert waits_seen(listed, every_day(1), D0 - 1).end.size == 0


# Working days


def test_the_wait_counts_working_days_after_the_filing_day():
    # Filed on Friday 26 June 2026; 3 July is a federal day off. Fitted on Monday 29, Friday 3, Saturday 4, Monday 6.
    friday = day_number(date(2026, 6, 26))
    rows = [(0, friday, None, friday + after, FITTED) for after in (3, 7, 8, 10)]

    assert waits_seen(history(rows), working(), friday + 30).end.tolist() == [1, 4, 4, 5]


def test_a_fitting_on_the_filing_day_or_on_a_closed_day_after_it_has_age_one():
    saturday = day_number(date(2026, 6, 27))
    rows = [
        (0, saturday, None, saturday, FITTED),
        (0, saturday, saturday + 1, saturday + 1, FITTED),
        (0, saturday, None, saturday, CANCELLED),
    ]
    waits = waits_seen(history(rows), working(), D0)

    assert waits.end.tolist() == [1, 1, 0]
    assert waits.entry.tolist() == [0, 0, 0]


def test_dates_are_working_days_of_the_utility():
    dates = said(ten_rows(), calendars=working(FEDERAL, FOUR_DAYS), filed=D0 - 4, utility=1)
    days = [date_of(day) for day in dates.q[0] if day != NO_DAY]

    assert len(days) > 90
    assert all(FOUR_DAYS.is_worked(day) for day in days)
    assert said(ten_rows(), calendars=working()).q_at(50) == day_number(FEDERAL.nth_after(date_of(D0), 7))  # ten days hold 7 working days


def test_a_planned_sending_is_forecast_as_if_filed_then():
    planned = day_number(date(2026, 7, 18))  # a Saturday
    dates = said(ten_rows(), filed=planned, calendars=working())

    assert dates.q_at(50) == day_number(FEDERAL.nth_after(date(2026, 7, 18), 7))
    assert dates.q[0, 0] > planned


def test_a_utility_that_never_works_never_fits():
    calendars = Calendars.of([np.zeros(D0 + HORIZON - FIRST + 1, bool)], FIRST)

    dates = said(ten_rows(), calendars=calendars)

    assert (dates.q == NO_DAY).all()
    assert dates.p_never == [1]
    assert chance_by(dates, D0 + 500) == [0]


def test_utilities_with_the_same_days_share_one_count():
    calendars = working(FEDERAL, FOUR_DAYS, FEDERAL)

    same_number = [WorkCalendar("one closure", closed=frozenset({date(2026, 7, day)})) for day in (1, 2)]

    assert calendars.row.tolist() == [0, 1, 0]
    assert working(*same_number).row.tolist() == [0, 1]
    assert len(calendars.counts) == 2
    assert calendars.count(np.array([0, 1]), D0).tolist() == [
        FEDERAL.elapsed(date_of(FIRST - 1), date_of(D0)),
        FOUR_DAYS.elapsed(date_of(FIRST - 1), date_of(D0)),
    ]


# Brackets


def test_a_bracket_of_one_day_is_a_known_day():
    known = [*ten_rows(), *[(0, D0 - 200, None, D0 - 170, FITTED)] * 6]
    bracketed = [(*row, row[3] - 1) if row[4] == FITTED else row for row in known]

    assert said(bracketed).q.tolist() == said(known).q.tolist()


def test_a_bracket_begins_no_earlier_than_the_watching():
    waits = waits_seen(history([(0, D0 - 30, D0 - 25, D0 - 20, FITTED, D0 - 30)]), every_day(1), D0)

    assert (waits.entry.tolist(), waits.low.tolist(), waits.end.tolist()) == ([4], [4], [10])


def test_a_bracket_goes_where_others_were_fitted():
    # Nine were fitted on day 10 and one on day 3; of one it is known that it was between days 1 and 12.
    filed = D0 - 100
    rows = [(0, filed, None, filed + 10, FITTED)] * 9 + [(0, filed, None, filed + 3, FITTED), (0, filed, None, filed + 12, FITTED, filed)]

    counts = count(waits_seen(history(rows), every_day(1), D0))

    assert counts.fittings == pytest.approx(11)
    assert counts.fitted[10] > 9.8
    assert 1.05 < counts.fitted[3] < 1.2
    assert counts.watched[1] == pytest.approx(11)


def test_fittings_seen_only_each_fourteenth_day_give_back_the_law():
    # 3,000 log-normal waits, seed 14: the standard error of each share is below 0.01.
    chance = np.random.default_rng(14)
    wait = np.ceil(chance.lognormal(np.log(60), 0.5, 3000)).astype(int)
    filed = D0 - 1000 + chance.integers(0, 300, 3000)
    looked = (filed + wait + 13) // 14 * 14
    rows = [(0, sent, None, by, FITTED, max(by - 14, sent)) for sent, by in zip(filed.tolist(), looked.tolist(), strict=True)]
    by_last_day = [(*row[:5], None) for row in rows]

    open_then = count(waits_seen(history(rows), every_day(1), D0)).survival()
    naive = count(waits_seen(history(by_last_day), every_day(1), D0)).survival()

    ages = np.array([30, 45, 60, 90, 120])
    truth = np.array([(wait > age).mean() for age in ages])
    assert np.abs(open_then[ages] - truth).max() < 0.02
    assert np.abs(naive[ages] - truth).max() > 0.05


# A known law


def test_a_list_that_came_in_late_gives_back_the_law_only_with_its_entry_ages():
    # 4,000 log-normal waits, seed 7, of which the list holds those open on its day; followed for 400 days.
    chance = np.random.default_rng(7)
    wait = np.ceil(chance.lognormal(np.log(80), 0.6, 4000)).astype(int)
    filed = D0 - 400 - chance.integers(0, 365, 4000)
    listed = D0 - 400
    kept = filed + wait >= listed
    whole = [(0, sent, listed, sent + days, FITTED) for sent, days in zip(filed[kept].tolist(), wait[kept].tolist(), strict=True)]
    fresh = [(0, sent + 365, None, sent + 365 + days, FITTED) for sent, days in zip(filed[:600].tolist(), wait[:600].tolist(), strict=True)]
    rows = whole + fresh
    ignoring = [(row[0], row[1], None, *row[3:]) for row in rows]

    ages = np.array([40, 80, 120, 200])
    truth = np.array([(wait > age).mean() for age in ages])
    right = count(waits_seen(history(rows), every_day(1), D0)).survival()[ages]
    wrong = count(waits_seen(history(ignoring), every_day(1), D0)).survival()[ages]

    assert np.abs(right - truth).max() < 0.03
    assert np.abs(wrong - truth).max() > 0.1


# Whatever is given


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
    ],
)
@pytest.mark.parametrize("filed", [D0, D0 - 1, D0 - 5000, D0 + 400])
def test_dates_come_whatever_the_history(rows, filed):
    dates = said(rows, filed=filed, calendars=working(FEDERAL, FEDERAL))

    assert dates.q[0, 0] > max(D0, filed)
    assert 0 <= dates.p_never[0] < 1
    assert np.isfinite(chance_by(dates, D0 + 30)).all()


def test_an_empty_list_of_requests_and_of_utilities_gives_nothing():
    none = OpenRequests.from_columns(utility=[], filed=[])

    dates = forecast(fit(history([]), Calendars.of([], FIRST), D0), none)

    assert len(dates) == 0
    assert dates.q.shape == (0, 99)
    assert chance_by(dates, D0 + 30).shape == (0,)


def test_nobody_is_never_because_the_longest_finished_wait_has_passed():
    overdue = said(ten_rows(), filed=D0 - 2000)

    assert D0 < overdue.q_at(50) < D0 + 60
    assert overdue.p_never < 0.01


def test_a_date_beyond_the_horizon_is_blank():
    dates = said([(0, D0 - 1500, None, None, OPEN)] * 40)  # nothing fitted: one pretended fitting in 60,040 days

    assert dates.q_at(1) == D0 + 604  # ln(0.99) / ln(1 - 1/60040) = 603.4
    assert dates.q_at(2) == NO_DAY
    assert dates.p_never == pytest.approx([(1 - 1 / 60_040) ** 1095])


@pytest.mark.parametrize(("days", "expected"), [(1095, D0 + 1095), (1096, NO_DAY)])
def test_the_last_day_of_the_horizon_is_still_a_date(days, expected):
    fitted = fit(history([]), every_day(1), D0)
    slow = replace(fitted, curves=(Summed(total=np.zeros(1), tail=-np.log(0.99) / days),))

    assert forecast(slow, asking(D0)).q_at(1) == expected


def test_rows_that_contradict_themselves_are_refused():
    for row, sentence in [
        ((0, D0, None, None, FITTED), "are fitted or cancelled on no day"),
        ((0, D0, None, D0, OPEN), "are open and have a day of outcome"),
        ((0, D0, None, D0 - 1, CANCELLED), r"1 rows \(the first is row 1\) end before they were filed"),
        ((0, D0, None, D0 + 3, FITTED, D0 + 3), "have a bracket that ends before it begins"),
        ((-1, D0, None, None, OPEN), "name no utility"),
        ((0, NO_DAY, None, None, OPEN), "have no filing day"),
        ((0, D0, None, D0, 3), "must be open, fitted or cancelled"),
    ]:
        with pytest.raises(ValueError, match=sentence):
            history([(0, D0, None, None, OPEN), row])
    with pytest.raises(ValueError, match="of the same length"):
        OpenRequests.from_columns(utility=[0, 1], filed=[D0])


def test_calendars_that_do_not_reach_are_refused():
    past = history([(0, D0 - 30, None, D0 - 3, FITTED)])
    first, last = span(past, D0)
    assert (first, last) == (D0 - 30, D0 + HORIZON)

    with pytest.raises(ValueError, match="must reach 1095 days beyond the as-of day"):
        fit(past, Calendars.of([np.ones(last - first, bool)], first), D0)
    with pytest.raises(ValueError, match="A day lies outside the calendars"):
        fit(past, Calendars.of([np.ones(last - first, bool)], first + 2), D0)
    with pytest.raises(ValueError, match="Utility 0 has no calendar"):
        fit(past, Calendars.of([], first), D0)
    with pytest.raises(ValueError, match="must cover the same days"):
        Calendars.of([np.ones(3, bool), np.ones(4, bool)], first)


def test_what_the_caller_does_to_his_arrays_later_changes_nothing():
    filed = np.array([D0], dtype=np.int32)
    requests = OpenRequests.from_columns(utility=[0], filed=filed)

    filed[0] = 0

    assert requests.filed.tolist() == [D0]
    with pytest.raises(ValueError, match="read-only"):
        requests.filed[0] = 0
