from utilities.models.forecasts import Forecast, ForecastRun, Outlook
from utilities.models.requests import Contact, FitRequest, Outcome, Sending, Service, Visit
from utilities.models.revisions import RevisionTask
from utilities.models.scores import Replay, Score
from utilities.models.utility import Closure, District, Utility, UtilityKind

__all__ = [
    "Closure",
    "Contact",
    "District",
    "FitRequest",
    "Forecast",
    "ForecastRun",
    "Outcome",
    "Outlook",
    "Replay",
    "RevisionTask",
    "Score",
    "Sending",
    "Service",
    "Utility",
    "UtilityKind",
    "Visit",
]
