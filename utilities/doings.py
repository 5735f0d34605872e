"""What can be done on a request's page, one entry an act: its form, its button, and what is said afterwards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from utilities import changes, endings, reports, requests, visits
from utilities import request_forms as f
from utilities import sending_forms as s


@dataclass(frozen=True)
class Doing:
    title: str
    button: str
    form: type[f.ActForm]
    act: Callable[..., Any]
    today: tuple[str, ...] = ("on",)  # fields that begin with today's day at the utility
    ended_too: bool = False  # offered on a request that has ended as well
    template: str = "utilities/record.html"

    @property
    def said(self) -> str:
        """What it was, for the sentence afterwards: "A contact"."""
        what = self.title.removeprefix("Record ").removeprefix("Confirm ").removeprefix("that ")
        return what[:1].upper() + what[1:]


DOINGS: dict[str, Doing] = {
    "contact": Doing("Record a contact", "Record answer", f.ContactForm, requests.record_contact),
    "answer": Doing("Record the utility's answer", "Record answer", f.AnswerForm, requests.record_answer),
    "visit": Doing("Record a visit", "Record visit", f.VisitForm, visits.record_visit),
    "announce": Doing("Record an announced visit", "Record announcement", f.AnnounceForm, visits.announce_visit, today=("told_on",)),
    "reported": Doing(
        "Record a report of fitting", "Record report", f.ReportForm, reports.report_fitting, today=("by_on",), ended_too=True
    ),
    "fitted": Doing("Confirm the fitting", "Confirm the fitting", f.FittedForm, visits.confirm_fitting, today=("by_on",), ended_too=True),
    "again": Doing(
        "Record that it was sent again", "Record sending", s.AgainForm, requests.record_sent_again, template="utilities/sent.html"
    ),
    "closed": Doing("Record that it is closed there", "Record closed there", f.ClosedThereForm, endings.record_closed_there),
    "open": Doing("Record that it is open there again", "Record open there", f.OpenThereForm, endings.record_open_there),
    "heard": Doing(
        "Record that the withdrawal is acknowledged",
        "Record acknowledgement",
        f.HeardForm,
        endings.record_withdrawal_heard,
        ended_too=True,
    ),
    "change": Doing("Record a proposed change", "Record proposal", f.ChangeForm, changes.propose_change),
    "site": Doing("Record bag and access confirmed", "Record bag and access", f.SiteForm, changes.confirm_site),
}
