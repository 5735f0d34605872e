"""Days that utilities named: how often they are kept, and what one does to the forecast of its request."""

import math

import numpy as np
import pytest

from tests.utilities.waits import D0, asking, every_day, history, working
from utilities.leadtimes import CANCELLED, FITTED, NO_DAY, OPEN, OpenRequests, Promises, chance_by, fit, forecast, open_rows, promises
from utilities.workdays import FEDERAL


def named(*rows):
    """Rows (request, named on, first, last)."""
    row, named_on, first, last = zip(*rows, strict=True)
    return Promises.from_columns(row=row, named_on=named_on, first=first, last=last)


def learned(rows, *told, as_of=D0, utilities=2):
    return promises.learn(history(rows), named(*told), utilities=utilities, as_of=as_of)


def exponential(seed, n, *, mean=60, utility=0):
    chance = np.random.default_rng(seed)
    filed = D0 - chance.integers(1, 900, n)
    by = filed + np.ceil(chance.exponential(mean, n)).astype(int)
    return [
        (utility, sent, None, *((on, FITTED) if on <= D0 else (None, OPEN))) for sent, on in zip(filed.tolist(), by.tolist(), strict=True)
    ]


# What is learned


def test_a_keep_rate_is_drawn_towards_that_of_all():
    # Utility 0 kept 3 of 4, utility 1 3 of 4 of its own: pool (6 + 1)/(8 + 2) = 0.7, so (10 x 0.7 + 3)/(10 + 4) = 10/14.
    rows = [(utility, D0 - 90, None, D0 - 50 + late, FITTED) for utility in (0, 1) for late in (0, 1, 2, 9)]
    told = [(row, D0 - 80, D0 - 50, D0 - 48) for row in range(8)]

    kept = learned(rows, *told, utilities=3)

    assert (kept.kept.tolist(), kept.made.tolist(), kept.early.tolist()) == ([3, 3, 0], [4, 4, 0], [0, 0, 0])
    assert kept.rate == pytest.approx([10 / 14, 10 / 14, 0.7])
    # Never early: pool (10 x 0.3)/(10 + 8) = 1/6; then (10/6)/(10 + 4).
    assert kept.before == pytest.approx([(10 / 6) / 14, (10 / 6) / 14, 1 / 6])


def test_what_comes_before_its_window_is_early_and_a_bracket_counts_by_its_days():
    rows = [(0, D0 - 90, None, D0 - 60, FITTED), (0, D0 - 90, None, D0 - 50, FITTED, D0 - 54)]

    kept = learned(rows, (0, D0 - 80, D0 - 50, D0 - 48), (1, D0 - 80, D0 - 52, D0 - 51))

    # The second was fitted on one of the days -53 ... -50: one lies before the window, two in it.
    assert (kept.early[0], kept.kept[0], kept.made[0]) == (1.25, 0.5, 2)


def test_what_is_no_promise_yet_or_never_was_one_does_not_count():
    rows = [
        (0, D0 - 90, None, D0 - 50, FITTED),
        (0, D0 - 90, None, D0 - 50, CANCELLED),
        (0, D0 - 90, None, None, OPEN),
        (0, D0 - 90, None, D0 + 5, FITTED),
        (0, D0 + 3, None, D0 + 5, FITTED),
    ]
    no_promise = [
        (0, D0 - 50, D0 - 50, D0 - 45),  # named on the day of the fitting
        (0, D0 - 80, D0 + 1, D0 + 9),  # fitted before a window that has not ended: it will count when that has
        (0, D0 - 80, D0 - 80, D0 - 80),  # "today"
        (1, D0 - 80, D0 - 50, D0 - 50),  # cancelled before the window had passed
        (2, D0 - 80, D0, D0 + 1),  # not over
        (3, D0 + 1, D0 + 5, D0 + 5),  # named later
        (4, D0, D0, D0),  # sent later
    ]

    none = learned(rows, *no_promise)
    broken = learned(rows, *no_promise, (1, D0 - 80, D0 - 60, D0 - 51), (2, D0 - 80, D0, D0), (3, D0 - 1, D0, D0))

    assert none.made.tolist() == [0, 0]
    assert none.rate.tolist() == [0.5, 0.5]
    assert none.before == pytest.approx([0.3, 0.3])
    assert (broken.made[0], broken.kept[0], broken.early[0]) == (3, 0, 0)


def test_a_promise_of_no_row_or_of_no_day_is_refused():
    with pytest.raises(ValueError, match="a row that the history does not have"):
        learned([(0, D0 - 9, None, None, OPEN)], (1, D0 - 5, D0 - 4, D0 - 3))
    with pytest.raises(ValueError, match="ends before it begins"):
        named((0, D0, D0 + 2, D0 + 1))
    with pytest.raises(ValueError, match="Give it"):
        OpenRequests.of(history([(0, D0 - 9, None, None, OPEN)]), np.array([0]), promises=named((0, D0, D0 + 1, D0 + 1)))


def test_the_newest_promise_stands_until_it_has_passed():
    rows = history([(0, D0 - 90, None, None, OPEN)] * 5)
    told = named(
        (0, D0 - 9, D0 + 20, D0 + 22),
        (0, D0 - 3, D0 + 5, D0 + 6),
        (1, D0 - 9, D0 + 20, D0 + 22),
        (1, D0 - 3, D0 - 1, D0),
        (2, D0 - 9, D0 + 20, D0 + 22),
        (2, D0 + 1, D0 + 5, D0 + 5),
        (3, D0, D0 - 1, D0 + 1),
    )

    asked = OpenRequests.of(rows, np.arange(5), promises=told, as_of=D0)

    assert asked.promise_first.tolist() == [D0 + 5, NO_DAY, D0 + 20, D0 - 1, NO_DAY]
    assert asked.promise_last.tolist() == [D0 + 6, NO_DAY, D0 + 22, D0 + 1, NO_DAY]


# What a promise does


def under(first, last, *, told=(), rows=None, calendars=None, filed=D0 - 30):
    rows = rows or exponential(1, 400)
    fitted = fit(history(rows), calendars or every_day(1), D0, named(*told) if told else None)
    asked = OpenRequests.from_columns(utility=[0], filed=[filed], promise_first=[first], promise_last=[last])
    return fitted, forecast(fitted, asked)


def test_over_the_window_the_chance_is_the_keep_rate():
    fitted, dates = under(D0 + 40, D0 + 49)
    base = forecast(fitted, asking(D0 - 30))

    before, behind = (1 - chance_by(dates, D0 + day)[0] for day in (39, 49))
    # The 99 dates tell a chance to 0.01, and 0.82 are still open when the window begins.
    assert 1 - behind / before == pytest.approx(0.5, abs=0.02)
    # Before it three tenths of the base rate.
    assert math.log(before) == pytest.approx(0.3 * math.log(1 - chance_by(base, D0 + 39)[0]), abs=0.02)
    # Of ten days each has its even share.
    assert 1 - (1 - chance_by(dates, D0 + 44)[0]) / before == pytest.approx(0.25, abs=0.02)
    assert dates.why.keep_rate.tolist() == [0.5]
    assert (dates.why.promise_first[0], dates.why.promise_last[0]) == (D0 + 40, D0 + 49)


def test_a_promise_that_has_passed_leaves_the_dates_of_none():
    fitted, dates = under(D0 - 4, D0)
    base = forecast(fitted, asking(D0 - 30))

    assert dates.q.tolist() == base.q.tolist()
    assert dates.p_never.tolist() == base.p_never.tolist()
    assert (dates.why.promise_first.tolist(), dates.why.promise_last.tolist()) == ([NO_DAY], [NO_DAY])


def test_a_window_on_closed_days_is_the_working_day_before_or_the_next_one():
    # D0 is a Tuesday; Saturday and Sunday are four and five days on. The Friday before is the federal holiday of 3 July 2026.
    rows = exponential(1, 400)
    _, sunday = under(D0 + 4, D0 + 5, rows=rows, calendars=working(FEDERAL))
    _, thursday = under(D0 + 2, D0 + 2, rows=rows, calendars=working(FEDERAL))

    assert sunday.q.tolist() == thursday.q.tolist()
    saturday = D0 - 3
    fitted = fit(
        history([row if row[3] is None or row[3] <= saturday - 1 else (*row[:3], None, OPEN) for row in rows if row[1] < saturday - 1]),
        working(FEDERAL),
        saturday - 1,
    )
    asked = OpenRequests.from_columns(utility=[0], filed=[saturday - 40], promise_first=[saturday], promise_last=[saturday])
    assert chance_by(forecast(fitted, asked), saturday + 2)[0] == pytest.approx(0.5, abs=0.01)


def test_a_window_that_begins_or_ends_beyond_the_horizon_is_no_error():
    for first, last in ((D0 + 1090, D0 + 1200), (D0 + 2000, D0 + 2001), (D0 - 9000, D0 + 1)):
        _, dates = under(first, last)

        assert np.isfinite(dates.p_never).all()
        assert (np.diff(dates.q[dates.q != NO_DAY]) >= 0).all()


def test_a_planned_sending_can_carry_a_promise_too():
    _, dates = under(D0 + 40, D0 + 42, filed=D0 + 10)

    assert dates.q_at(50)[0] in range(D0 + 40, D0 + 50)
    assert (dates.q[0] > D0 + 10).all()


def test_without_promises_the_numbers_are_the_old_ones():
    rows = history(exponential(2, 300))
    chosen = open_rows(rows, D0)
    none = Promises.from_columns(row=[], named_on=[], first=[], last=[])

    plain = forecast(fit(rows, every_day(1), D0), OpenRequests.of(rows, chosen))
    empty = forecast(fit(rows, every_day(1), D0, none), OpenRequests.of(rows, chosen, promises=none, as_of=D0))

    assert plain.q.tolist() == empty.q.tolist()
    assert plain.p_never.tolist() == empty.p_never.tolist()


def test_what_was_named_after_the_as_of_day_or_after_the_fitting_changes_nothing():
    rows = history(exponential(3, 200) + exponential(4, 100, utility=1))
    chosen = open_rows(rows, D0)
    known = [
        (row, int(rows.by[row]) - 9, int(rows.by[row]) - 1, int(rows.by[row]) + 1) for row in np.flatnonzero(rows.outcome == FITTED)[:40]
    ]
    late = [(row, on + 10, first + 12, last + 12) for row, on, first, last in known]
    later = [(row, D0 + 1, D0 + 2, D0 + 3) for row in chosen]

    one, other = (
        forecast(fit(rows, every_day(2), D0, told), OpenRequests.of(rows, chosen, promises=told, as_of=D0))
        for told in (named(*known), named(*known, *late, *later))
    )

    assert one.q.tolist() == other.q.tolist()
    assert one.why.keep_rate.tolist() == other.why.keep_rate.tolist()
    assert other.why.promises_made[0] > 20


def test_a_utility_that_keeps_nine_windows_in_ten_is_believed():
    # Each wait is promised a window of five days, three weeks before; nine in ten are fitted in it, the others 30 days on (seed 5).
    chance = np.random.default_rng(5)
    rows, told = [], []
    for row, sent in enumerate((D0 - chance.integers(5, 900, 500)).tolist()):
        first = sent + int(chance.integers(30, 90))
        by = first + int(chance.integers(0, 5)) + (0 if chance.random() < 0.9 else 30)
        rows.append((0, sent, None, *((by, FITTED) if by <= D0 else (None, OPEN))))
        told.append((row, max(first - 21, sent), first, first + 4))
    past, promised = history(rows), named(*told)
    asked = OpenRequests.of(past, open_rows(past, D0), promises=promised, as_of=D0)

    dates = forecast(fit(past, every_day(1), D0, promised), asked)

    assert dates.why.keep_rate[0] == pytest.approx(0.9, abs=0.05)
    ahead = np.flatnonzero(asked.promise_first > D0)
    within = chance_by(dates, asked.promise_last)[ahead] - chance_by(dates, asked.promise_first - 1)[ahead]
    assert ahead.size > 5
    assert within == pytest.approx(np.full(ahead.size, 0.9), abs=0.08)
