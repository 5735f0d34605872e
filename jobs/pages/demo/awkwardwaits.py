"""Awkward waits: requests that end, visits that fail, collars that go, holds, emergencies, cancelled contracts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING

from billing import payments as books
from jobs.core import clock, homefacts
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Party
from jobs.pages.demo import calls
from jobs.pages.demo.story import Home
from jobs.pages.demo.waits import FAILED_VISITS, packed
from utilities import changes, endings, reports, requests, visits
from utilities.visits import OUTCOMES

if TYPE_CHECKING:
    from jobs.pages.demo.awkward import Casting


REASONS = dict(FAILED_VISITS) | {
    "collar damaged or wrong": "the housing is cracked",
    "unsafe condition found": "tagged: the service drop hangs low",
}


def cast(casting: Casting) -> None:
    casting.waiting("request lapsed", 130, at="Calder", then=(12, _ends("lapsed")))
    casting.waiting("closed without fitting", 110, at="Calder", then=(8, _ends("closed")))
    casting.waiting("will not fit", 75, at="Big", then=(5, _ends("will not fit")))
    casting.waiting("returned as incomplete", 60, at="Big", then=(20, _incomplete))
    casting.waiting("sent again", 88, at="Upper", then=(15, _again))
    for place, outcome in enumerate(outcome for outcome in OUTCOMES if outcome != "fitted"):
        casting.waiting(
            f"visit: {outcome}",
            56 + 7 * place,
            at=("Sable", "Tamarisk", "Quillback", "Big")[place % 4],
            never=frozenset({"announced", "visited", "follow_up"}),
            then=(2 + place, _visited(outcome)),
        )
    casting.waiting("promise broken", 80, at="Big", never=frozenset({"visited", "follow_up", "announced"}), then=(13, _promised))
    quiet = frozenset({"announced", "visited", "follow_up"})
    casting.waiting("closed there", 96, at="Calder", never=quiet, then=(6, _closed_there))
    casting.waiting("change to sign", 82, at="Ottermere", never=quiet, then=(9, _to_change))
    casting.waiting("missed twice", 73, at="Big", never=quiet, then=(12, _missed_twice))
    casting.waiting("reports that conflict", 64, at="Tamarisk", never=quiet, then=(4, _reported))
    casting.waiting("dispute hold", 44, at="Sable", lender=False, then=(6, _disputed))
    casting.waiting("fact corrected", 36, at="Ottermere", lender=False, then=(10, _corrected))
    casting.waiting("payment unapplied", 66, at="Tamarisk", lender=False, then=(4, _unapplied))
    casting.fitted("two meters", 9, meters=2, at="Sable")
    casting.fitted("wrong serial", 6, fitted_serial="LL-990417", at="Tamarisk")
    casting.fitted("collar removed", 75, never=frozenset({"visited", "announced"}), then=(7, _removed))
    casting.fitted("no recipient", 40, at="Quillback", then=(6, _sold_and_removed))
    for case, days, reason in (
        ("cancelled while waiting", 70, "the owner sold the house"),
        ("cancelled, financing", 41, "the lender withdrew"),
    ):
        casting.waiting(case, days, at="Quillback", then=(9, _cancelled(reason)))
    casting.built("forgotten after day one", 22)
    casting.built("cancelled after day one", 26, at="Tamarisk", then=(11, _cancelled("moves away")))
    for place in (1, 2):
        case = f"cancelled in build {place}"
        casting.built(
            case, 4 + place, at="Sable", never=frozenset({"ask", "build"}), then=(place * 3, _cancelled("the roof must be renewed first"))
        )


def _ends(reason: str) -> Callable[[Home], object]:
    def end(home: Home) -> None:
        endings.end_request(home.request, on=home.site_day, reason=reason, by=home.office.theo)

    return end


def _incomplete(home: Home) -> None:
    """Returned, and counted as new by the utility: a new wait."""
    home.request = requests.record_sent_again(
        home.request,
        on=home.site_day,
        because="incomplete",
        counts_as_new=True,
        package=packed(home, home.services[0]),
        note="the one-line diagram was missing",
        by=home.office.theo,
    )


def _again(home: Home) -> None:
    requests.record_sent_again(
        home.request,
        on=home.site_day,
        route="e-mail",
        note="no answer in ten weeks",
        package=packed(home, home.services[0]),
        by=home.office.theo,
    )


def _visited(outcome: str) -> Callable[[Home], object]:
    def visit(home: Home) -> None:
        visits.record_visit(home.request, on=home.site_day, outcome=outcome, reason=REASONS[outcome], by=home.office.theo)

    return visit


def _closed_there(home: Home) -> None:
    endings.record_closed_there(home.request, on=home.site_day, reason="no access after two tries, says the portal", by=home.office.theo)


def _to_change(home: Home) -> None:
    """The meter's form is not taken: a change waits for the owner's signature."""
    day, reason = home.site_day, "a meter of form 4S, socket of four jaws"
    visits.record_visit(home.request, on=day, outcome="meter or socket not suitable", reason=reason, by=home.office.theo)
    changes.propose_change(home.request, on=day, found=f"{reason}, told by the crew", option="meter", by=home.office.theo)
    changes.record_meter_exchange(home.services[0], asked_on=day, done_on=None, by=home.office.theo)


def _missed_twice(home: Home) -> None:
    day = home.site_day
    for days, outcome in ((8, "nobody home"), (0, "cancelled by utility")):
        visits.record_visit(home.request, on=day - dt.timedelta(days=days), outcome=outcome, reason=REASONS[outcome], by=home.office.theo)


def _reported(home: Home) -> None:
    """The homeowner and the desk say that the collar is in, and not the same: nobody has confirmed it yet."""
    day = home.site_day
    reports.report_fitting(
        home.request,
        source="utility",
        by_on=day - dt.timedelta(days=3),
        exact=True,
        name="the meter desk",
        serial=home.serial,
        by=home.office.theo,
    )
    reports.report_fitting(
        home.request,
        source="homeowner",
        by_on=day,
        after_on=day - dt.timedelta(days=1),
        name=home.job.homeowner,
        remark="a grey ring behind the meter since this morning",
        by=home.office.paz,
    )


def _promised(home: Home) -> None:
    day = home.site_day
    visits.announce_visit(
        home.request, told_on=day, window_from=day + dt.timedelta(days=4), window_to=day + dt.timedelta(days=6), by=home.office.theo
    )
    home.diary.soon(lambda: calls.written(home), minutes=40)


def _disputed(home: Home) -> None:
    homefacts.hold(
        home.job,
        kind="dispute",
        stops=["collection", "reminders"],
        review_on=home.diary.today + dt.timedelta(days=8),
        reason="the owner disputes a scratched gutter",
        by=home.office.dana,
    )


def _corrected(home: Home) -> None:
    """The day that earned a released invoice was another: finance is asked."""
    fact = home.job.facts.standing().of_kind(k.SHEET_GIVEN).get()
    homefacts.correct(
        fact, when=When(on=fact.day + dt.timedelta(days=1)), reason="signed on the morrow, says the paper", by=home.office.dana
    )


def _unapplied(home: Home) -> None:
    payer = home.job.milestones.select_related("payer").get(position=1).payer
    books.record_payment(
        payer, amount_minor=120_000, received_on=clock.office_today(), reference="wire without a number", parts=[], by=home.office.farida
    )


def _removed(home: Home) -> None:
    """Seen gone by the gateway; the homeowner was telephoned, and nothing else is done yet."""
    day = home.site_day
    homefacts.record_removed(
        home.job,
        by_on=day,
        after_on=day - dt.timedelta(days=3),
        said_by=Said("gateway"),
        sign="the meter was exchanged",
        by=home.office.theo,
    )
    homefacts.record_homeowner_told(home.job, on=day, how="telephone", who=home.job.person_of("at_home"), by=home.office.theo)
    home.diary.soon(lambda: calls.released(home), minutes=5)


def _sold_and_removed(home: Home) -> None:
    """Sold, and nobody knows yet to whom; then the collar goes: there is nobody to tell."""
    day = home.site_day
    Party.objects.filter(job=home.job).update(to_on=day - dt.timedelta(days=4))
    homefacts.record_removed(home.job, by_on=day, said_by=Said("utility"), sign="service ended at the sale", by=home.office.theo)


def _cancelled(reason: str) -> Callable[[Home], object]:
    def cancel(home: Home) -> None:
        if home.asked:
            endings.end_request(home.request, on=home.site_day, reason="withdrawn", by=home.office.theo)
        homefacts.cancel(home.job, on=home.site_day, reason=reason, by=home.office.dana)

    return cancel
