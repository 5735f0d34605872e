"""After the fitting: the metering cut over, the limits entered, site visits, and who is on call."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from jobs.appointments import oncall, sitevisits
from jobs.appointments.sitevisits import MENDED, OnSite
from jobs.appointments.visitmodels import SiteVisit
from jobs.core import clock, cutover, phones
from jobs.core.cutover import Read
from jobs.core.pairs import Pair
from jobs.pages.demo.company import Office
from jobs.pages.demo.diary import at_office
from jobs.pages.demo.story import Home

if TYPE_CHECKING:
    from jobs.pages.demo.awkward import Casting

SEEN_DAYS = 30  # metering and limits of homes of the last weeks; older ones came before the office kept them
LICENSED = ("Sam Whitaker", "EL 20417", "(303) 555-0109")
SECOND = ("Ines Duarte", "EL 31122", "(303) 555-0118")
LOADS_W = (310, 620, 1_500, 2_200, 3_400, -800)
MORE_W = (10, -5, 12, -5, 20, 10)


def measured(home: Home) -> None:
    """Old CTs and collar read together, and the limits from the nameplates."""
    if not home.job.has_battery or home.story.fitted_serial or home.diary.day < home.diary.ago(SEEN_DAYS):
        return
    turn = home.number % len(MORE_W)
    pairs = [Pair(load + MORE_W[(n + turn) % len(MORE_W)], load) for n, load in enumerate(LOADS_W)]
    if home.number % 7 == 3:
        pairs = pairs[:4]  # some stop early: cannot tell
    minutes = [f"10:{2 * n:02d}" for n in range(len(pairs))]
    cutover.record_cut_over(
        home.job,
        at=clock.now(),
        readings=[Read(minute, pair) for minute, pair in zip(minutes, pairs, strict=True)],
        meter=cutover.COLLAR,
        old_cts=cutover.WITHDRAWN,
        by=home.office.mara,
    )
    if home.number % 5 != 2:
        cutover.record_backup_limits(
            home.job,
            on=home.site_day,
            entered_by="Sam Whitaker",
            read_from="nameplates and the commissioning sheet",
            continuous_w=7_600,
            leg_a=40,
            start_va=20_000 if home.number % 2 else None,
            usable_wh=13_500,
            floor_percent=20,
            charge_w=5_000,
            taper_percent=95,
            efficiency_percent=95,
            by=home.office.mara,
        )


def put_on_call(office: Office, today: dt.date) -> None:
    """This week and part of the next; a stretch is left without anybody, as it happens."""
    for (name, license_number, phone), first, days in ((LICENSED, 0, 4), (SECOND, 5, 3)):
        begins = at_office(today + dt.timedelta(days=first), dt.time(0))
        oncall.put_on_call(
            name,
            license_number=license_number,
            phone=phones.e164(phone),
            starts_at=begins,
            ends_at=begins + dt.timedelta(days=days),
            by=office.theo,
        )


def planned(*, reason: str, ahead: int, parts: str = "", words: str = "") -> Callable[[Home], SiteVisit]:
    def plan(home: Home) -> SiteVisit:
        return sitevisits.plan_visit(
            home.job,
            reason=reason,
            on=home.site_day + dt.timedelta(days=ahead),
            person=home.job.parties.get(role="at_home").person,
            licensed_name=LICENSED[0],
            license_number=LICENSED[1],
            parts=parts,
            words=words,
            by=home.office.theo,
        )

    return plan


def _tested(home: Home) -> None:
    """Planned and held the same day; the licensed person noted the times."""
    visit = planned(reason="medical", ahead=0)(home)
    test = OnSite(
        load_before_w=640,
        opened=dt.time(10, 12, 5),
        utility_time=dt.time(10, 12, 20),
        utility_w=4,
        load_time=dt.time(10, 13, 10),
        load="refrigerator and hall lights",
        load_w=655,
        closed=dt.time(10, 20, 40),
    )
    statement = "My brother was with me the whole time."
    given: dict[str, Any] = {"test": test, "put_back": "yes", "statement": statement, "minutes": 75}
    sitevisits.record_on_site(visit, on=home.site_day, result="passed", by=home.office.mara, **given)


def _mended(home: Home) -> None:
    visit = planned(reason="wiring", ahead=0, parts="control cable")(home)
    told: dict[str, Any] = {
        "found": "The ends of the control cable were exchanged.",
        "parts_used": "none",
        "minutes": 50,
        "chargeable": False,
    }
    sitevisits.end_visit(visit, how=MENDED, on=home.site_day, by=home.office.theo, **told)
    sitevisits.note_cost(visit, cost_minor=21_400, by=home.office.dana)


def cast(casting: Casting) -> None:
    why = "the homeowner asked that somebody is there"
    casting.fitted("site visit planned", 9, medical="declined", at="Ottermere", then=(1, planned(reason="medical", ahead=3, words=why)))
    casting.fitted("tested on site", 20, medical="yes", at="Sable", then=(4, _tested))
    casting.fitted("mended on site", 18, at="Quillback", then=(2, _mended))
