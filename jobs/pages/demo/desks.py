"""Sheets for the desks: one given to a desk that could be asked, one that waits for the manager."""

from __future__ import annotations

from jobs.core import clock
from jobs.core.refusals import Refused
from jobs.pages.demo.company import Office
from utilities import sheets
from utilities.models import Utility


def prepare_sheets(office: Office) -> None:
    """Of two utilities, the first that have homes for one; at most one is given, since a desk asked a short while ago is left alone."""
    prepared = []
    for utility in Utility.objects.order_by("-name"):
        try:
            prepared.append(sheets.prepare_sheet(utility, by=office.theo))
        except Refused:
            continue  # no home waits there
        if len(prepared) == 2:
            break
    for sheet in prepared:
        on = clock.today_in(sheet.utility.zone)
        try:
            sheets.release_sheet(sheet, on=on, person="Lena Abbott", by=office.dana)
        except Refused:
            continue  # asked a short while ago
        return
