"""When will the utility fit the collar? The forecast core: arrays in, dates and chances out.

Pure: NumPy and SciPy only, no Django, clock, database or random number. Days are numbered from 1970-01-01
(`utilities.workdays.day_number`), ages count the utility's working days, an as-of day means its end.

    first, last = span(history, as_of)
    calendars = Calendars.of([calendar.worked_between(date_of(first), date_of(last)) for calendar in by_utility], first)
    fitted = fit(history, calendars, as_of)
    forecasts = forecast(fitted, OpenRequests.of(history, open_rows(history, as_of)))
    forecasts.q_at(50), forecasts.q_at(90), forecasts.p_never, forecasts.why.thin, chance_by(forecasts, day)

Kept as `pack(forecasts.offsets()[i])`; `Quantiles.kept` reads such rows back for `chance_by`.

One idea a module, data flowing down: history (rows), calendars (working days), ages (what a row tells as of a day), classes (of age),
counts (by fortnight), brackets; pool, candidates, pace, fronts, weights, districts, promises (what is learned), estimate (all of it);
why, dates (a request's own dates), quantiles (chances from kept dates). Beside them the plain estimator: curve and kaplan_meier.
"""

from .calendars import HORIZON, Calendars, span
from .dates import Forecasts, forecast
from .estimate import Fitted, fit
from .history import CANCELLED, FITTED, NO_DAY, NO_DISTRICT, OPEN, History, OpenRequests, Promises, open_rows
from .parts import Parts
from .quantiles import BEYOND, PERCENTS, Quantiles, chance_by, chance_within, pack, unpack
from .why import Why, reasons

__all__ = [
    "BEYOND",
    "CANCELLED",
    "FITTED",
    "HORIZON",
    "NO_DAY",
    "NO_DISTRICT",
    "OPEN",
    "PERCENTS",
    "Calendars",
    "Fitted",
    "Forecasts",
    "History",
    "OpenRequests",
    "Parts",
    "Promises",
    "Quantiles",
    "Why",
    "chance_by",
    "chance_within",
    "fit",
    "forecast",
    "open_rows",
    "pack",
    "reasons",
    "span",
    "unpack",
]
