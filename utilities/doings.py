"""What can be done on a request's page, one entry an act: its form, its button, and what is said afterwards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from utilities import request_forms as f
from utilities import requests, visits


@dataclass(frozen=True)
class Doing:
    title: str
    button: str
    form: type[f.ActForm]
    act: Callable[..., Any]
    today: tuple[str, ...] = ("on",)  # fields that begin with today's day at the utility
    ended_too: bool = False  # offered on a request that has ended as well


DOINGS: dict[str, Doing] = {
    "contact": Doing("Record a contact", "Record answer", f.ContactForm, requests.record_contact),
    "answer": Doing("Record the utility's answer", "Record answer", f.AnswerForm, requests.record_answer),
    "visit": Doing("Record a visit", "Record visit", f.VisitForm, visits.record_visit),
    "announce": Doing("Record an announced visit", "Record announcement", f.AnnounceForm, visits.announce_visit, today=("told_on",)),
    "fitted": Doing(
        "Record a report of fitting", "Record fitting", f.FittedForm, visits.record_reported_fitted, today=("by_on",), ended_too=True
    ),
    "again": Doing("Record that it was sent again", "Record sending", f.AgainForm, requests.record_sent_again),
}
