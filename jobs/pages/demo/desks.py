"""Sheets for the desks: one given to a desk that could be asked, one that waits for the manager; and a storm that stands."""

from __future__ import annotations

import datetime as dt

from django.db.models import Count, Q

from jobs.core import clock
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.pages.demo.company import Office
from utilities import sheets, storms
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


def declare_storm(office: Office) -> None:
    """At the utility with the fewest homes under way, so that the others' calls and follow-ups go on."""
    under_way = Count("services__job", filter=~Q(services__job__state__in=(S.CANCELLED, S.BACKUP_VERIFIED)), distinct=True)
    utility = Utility.objects.annotate(under_way=under_way).filter(under_way__gt=0).order_by("under_way", "name").first()
    if utility is not None:
        review_on = clock.office_today() + dt.timedelta(days=8)
        storms.declare_storm(utility, source="ice warning of the weather service, by telephone", review_on=review_on, by=office.dana)
