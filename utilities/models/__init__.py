from utilities.models.forecasts import Forecast, ForecastRun, Outlook
from utilities.models.requests import Contact, FitRequest, Outcome, Sending, Service, Visit
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
    "Sending",
    "Service",
    "Utility",
    "UtilityKind",
    "Visit",
]
