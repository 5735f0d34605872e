"""Small histories and calendars for tests of waits."""

from datetime import date

import numpy as np

from utilities.leadtimes import FITTED, HORIZON, NO_DAY, OPEN, Calendars, History, OpenRequests
from utilities.leadtimes.kaplan_meier import fit, forecast
from utilities.workdays import FEDERAL, WorkCalendar, date_of, day_number

D0 = day_number(date(2026, 6, 30))  # a Tuesday
FIRST = D0 - 5600

FOUR_DAYS = WorkCalendar(
    "four days", weekdays=frozenset(range(4)), closed=frozenset({date(2026, 8, 3)}), opened=frozenset({date(2026, 8, 8)})
)


def history(rows):
    """Rows (utility, filed, known_from, by, outcome) or (..., outcome, after), days as numbers or None."""
    whole = [(*row, None)[:6] for row in rows]
    return History.from_columns(
        utility=[row[0] for row in whole],
        filed=[row[1] for row in whole],
        known_from=[NO_DAY if row[2] is None else row[2] for row in whole],
        by=[NO_DAY if row[3] is None else row[3] for row in whole],
        outcome=[row[4] for row in whole],
        after=[NO_DAY if row[5] is None else row[5] for row in whole],
    )


def asking(filed, utility=0):
    """One request to forecast."""
    return OpenRequests.from_columns(utility=[utility], filed=[filed])


def every_day(utilities):
    """Every day is worked, so that ages are calendar days."""
    return Calendars.of([np.ones(D0 + HORIZON - FIRST + 1, bool)] * utilities, FIRST)


def working(*calendars: WorkCalendar):
    """The calendars of utilities 0, 1, ...; the federal one if none is given."""
    first, last = date_of(FIRST), date_of(D0 + HORIZON)
    return Calendars.of([calendar.worked_between(first, last) for calendar in calendars or (FEDERAL,)], FIRST)


def ten_rows():
    # Half are fitted on day 10, half are still open on day 20.
    return [(0, D0 - 300, None, D0 - 290, FITTED)] * 5 + [(0, D0 - 20, None, None, OPEN)] * 5


def said(rows, filed=D0, utility=0, calendars=None, as_of=D0):
    calendars = calendars or every_day(2)
    return forecast(fit(history(rows), calendars, as_of), asking(filed, utility))
