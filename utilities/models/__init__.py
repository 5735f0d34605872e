from utilities.models.batches import DeskSheet, SheetLine
from utilities.models.desk import KnownCalendar, ProfileVersion
from utilities.models.forecasts import Forecast, ForecastRun, Outlook
from utilities.models.requests import ChangeOrder, Contact, FitRequest, Outcome, Sending, SentFile, Service, Visit
from utilities.models.revisions import RevisionTask
from utilities.models.scores import Replay, Score
from utilities.models.storms import Storm
from utilities.models.utility import Closure, District, Utility, UtilityKind

__all__ = [
    "ChangeOrder",
    "Closure",
    "Contact",
    "DeskSheet",
    "District",
    "FitRequest",
    "Forecast",
    "ForecastRun",
    "KnownCalendar",
    "Outcome",
    "Outlook",
    "ProfileVersion",
    "Replay",
    "RevisionTask",
    "Score",
    "Sending",
    "SentFile",
    "Service",
    "SheetLine",
    "Storm",
    "Utility",
    "UtilityKind",
    "Visit",
]
