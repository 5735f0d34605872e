"""All that is kept of one job as one ZIP file: facts, people, papers and photos, requests, calls, messages, money.

It holds what its reader may see on the job's pages and no more; a table that they may not see is not in it. Built on disk, so that a
job with hundreds of photos takes no memory.
"""

from __future__ import annotations

import re
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from typing import IO, Final

from django.db.models import Q

from billing import exports as billing_exports
from billing.models import Allocation, Invoice, Milestone
from jobs.appointments import exports as call_exports
from jobs.appointments.models import Appointment
from jobs.core import clock, files, words
from jobs.core.csvout import write_csv
from jobs.core.facts import KINDS
from jobs.core.models import Fact, Job, StoredFile, User
from jobs.notices import exports as notice_exports
from jobs.notices.models import Message, State
from jobs.pages import ledger
from jobs.pages.jobpage import Home
from utilities import exports as utility_exports
from utilities.models import Contact, FitRequest, Sending, Visit

_MOST_NAME: Final = 80

FACTS = ("day", "kind", "what", "more", "said_by", "said_by_name", "recorded_at", "recorded_by", "stands", "reason", "source", "fact")


def archive(job: Job, *, user: User | None) -> IO[bytes]:
    """An open temporary file, at its beginning. user: None where a command asks, which sees all."""
    out = tempfile.SpooledTemporaryFile(max_size=1_000_000)  # noqa: SIM115 - the caller closes it, when it has been sent
    try:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
            _fill(_Folder(book), job, user)
    except BaseException:
        out.close()
        raise
    out.seek(0)
    return out


class _Folder:
    """Names inside the archive: safe for any disk, and none twice."""

    def __init__(self, book: zipfile.ZipFile) -> None:
        self._book = book
        self._names: set[str] = set()

    def table(self, name: str, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
        """Left out where it would be empty."""
        lines = iter(write_csv(headings, rows))
        head, first = next(lines), next(lines, None)
        if first is None:
            return
        with self._book.open(self._entry(name), "w") as file:
            file.write(f"\ufeff{head}{first}".encode())
            for line in lines:
                file.write(line.encode())

    def text(self, name: str, text: str) -> None:
        with self._book.open(self._entry(name), "w") as file:
            file.write(text.encode())

    def stored(self, name: str, kept: StoredFile) -> None:
        with files.path_of(kept.sha256).open("rb") as source, self._book.open(self._entry(name, packed=False), "w") as file:
            while piece := source.read(1_000_000):
                file.write(piece)

    def _entry(self, name: str, *, packed: bool = True) -> zipfile.ZipInfo:
        folder, _, last = name.rpartition("/")
        stem, dot, ending = last.rpartition(".")
        stem, ending = (_safe(stem), f".{_safe(ending)}") if dot else (_safe(last), "")
        place, number = f"{folder}/{stem}" if folder else stem, 1
        whole = f"{place}{ending}"
        while whole.casefold() in self._names:
            number += 1
            whole = f"{place}-{number}{ending}"
        self._names.add(whole.casefold())
        entry = zipfile.ZipInfo(whole, clock.now().timetuple()[:6])
        # Photos and PDFs are packed already.
        entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        return entry


def _safe(name: str) -> str:
    """Without what a path, a drive or a shell could take for its own. What a stranger named a file is never a way out of the folder."""
    return re.sub(r"[^\w.,()-]+", "-", name).strip("-. ")[:_MOST_NAME].lstrip(".") or "unnamed"


def _fill(folder: _Folder, job: Job, user: User | None) -> None:
    home = Home(job, user) if user is not None else None

    def may(right: str) -> bool:
        return home is None or home.may(right)

    folder.text("about.txt", _about(job, user))
    facts = list(job.facts.prefetch_related("evidence").order_by("day", "pk")) if home is None else home.shown_facts
    folder.table("facts.csv", FACTS, _facts(facts, job))
    folder.table("states.csv", ("since", "was", "became", "recorded_at", "by"), _states(job))
    folder.table("people.csv", ("role", "name", "language", "phone", "email", "from", "to"), _people(job))
    folder.table("holds.csv", ("kind", "from", "review_on", "reason", "by", "lifted_at", "lifted_by"), _holds(job))
    _documents(folder, job)
    if may("see_utilities"):
        requests = FitRequest.objects.filter(job=job).order_by("filed_on", "pk")
        folder.table("utility/requests.csv", utility_exports.REQUESTS, utility_exports.requests(requests))
        folder.table("utility/sendings.csv", ("request", "sent_on", "route", "reference", "note", "by", "recorded_at"), _sendings(job))
        contacts = Contact.objects.filter(request__job=job, withdrawn=False).order_by("on", "pk")
        folder.table("utility/contacts.csv", utility_exports.CONTACTS, utility_exports.contacts(contacts))
        folder.table("utility/visits.csv", ("request", "from", "to", "visited_on", "outcome", "reason", "said_by", "by"), _visits(job))
    if may("see_calls"):
        calls = Appointment.objects.filter(job=job).order_by("starts_at", "pk")
        folder.table("calls/calls.csv", call_exports.HEADINGS, call_exports.lines(calls))
    if may("see_notices"):
        _messages(folder, job)
    if may("see_money"):
        _money(folder, job)


def _about(job: Job, user: User | None) -> str:
    at = clock.now()
    return (
        f"Job {job.code}\r\n{job.site.line}\r\n\r\n"
        f"Saved on {words.day(at.date())} at {at:%H:%M} UTC by {user.name if user else 'a command'}.\r\n"
        "It holds what they may see of this job. Tables are CSV files (UTF-8); days are written as 2026-06-03, instants in UTC.\r\n"
    )


def _facts(facts: Sequence[Fact], job: Job) -> Iterator[Sequence[object]]:
    replaced = {fact.replaces_id for fact in facts if fact.replaces_id}
    today = clock.today_in(job.site.zone)
    for fact in facts:
        title, under = ledger.described(fact, today=today)
        stands = "withdrawn" if fact.withdrawn else "corrected" if fact.pk in replaced else "stands"
        yield (
            fact.day, KINDS[fact.kind].words, title, under, fact.said_by_role, fact.said_by_name, fact.recorded_at, fact.recorded_by_name,
            stands, fact.reason, fact.source, str(fact.uid),
        )  # fmt: skip


def _states(job: Job) -> Iterator[Sequence[object]]:
    for change in job.state_changes.order_by("pk"):
        yield change.since, change.get_was_display(), change.get_became_display(), change.at, change.by


def _people(job: Job) -> Iterator[Sequence[object]]:
    for party in job.parties.select_related("person").order_by("pk"):
        person = party.person
        yield party.get_role_display(), person.name, person.language, person.phone, person.email, party.from_on, party.to_on


def _holds(job: Job) -> Iterator[Sequence[object]]:
    for hold in job.holds.order_by("pk"):
        yield hold.kind, hold.from_on, hold.review_on, hold.reason, hold.by_name, hold.lifted_at, hold.lifted_by_name


def _documents(folder: _Folder, job: Job) -> None:
    documents = list(job.documents.select_related("file").order_by("pk"))
    listed = ((one.subject, one.name, one.taken_on, one.added_at, one.added_by) for one in documents)
    folder.table("documents/list.csv", ("subject", "name", "taken_on", "added_at", "added_by"), listed)
    for one in documents:
        folder.stored(f"documents/{one.added_at:%Y-%m-%d} {one.subject} {one.name}", one.file)


def _sendings(job: Job) -> Iterator[Sequence[object]]:
    for sent in Sending.objects.filter(request__job=job, withdrawn=False).select_related("request").order_by("sent_on", "pk"):
        yield sent.request.code, sent.sent_on, sent.route, sent.reference, sent.note, sent.by_name, sent.recorded_at


def _visits(job: Job) -> Iterator[Sequence[object]]:
    for visit in Visit.objects.filter(request__job=job, withdrawn=False).select_related("request").order_by("pk"):
        yield (
            visit.request.code, visit.window_from, visit.window_to, visit.visited_on, visit.outcome, visit.reason, visit.said_by,
            visit.recorded_by_name,
        )  # fmt: skip


def _messages(folder: _Folder, job: Job) -> None:
    messages = Message.objects.filter(job=job).order_by("pk")
    folder.table("messages/list.csv", notice_exports.HEADINGS, notice_exports.lines(messages))
    for number, message in enumerate(messages.exclude(state=State.OWED).exclude(text="").prefetch_related("attachments__file"), start=1):
        place = f"messages/{number:03d} {message.subject or message.kind_words}"
        folder.text(f"{place}.txt", f"To: {message.to_name} {message.address}\r\nSubject: {message.subject}\r\n\r\n{message.text}")
        for attached in message.attachments.all():
            folder.stored(f"messages/{number:03d} {attached.name}", attached.file)


def _money(folder: _Folder, job: Job) -> None:
    milestones = Milestone.objects.filter(job=job).select_related("payer").order_by("position")
    folder.table(
        "money/milestones.csv",
        ("milestone", "amount", "earned_on", "recorded_on", "payer"),
        ((one.name, billing_exports.amount(one.amount_minor), one.earned_on, one.recorded_on, one.payer.name) for one in milestones),
    )
    invoices = Invoice.objects.with_left().filter(job=job).order_by("number", "pk")
    folder.table("money/invoices.csv", billing_exports.INVOICES, billing_exports.invoice_lines(invoices))
    for invoice in Invoice.objects.filter(job=job, pdf__isnull=False).select_related("pdf").order_by("pk"):
        assert invoice.pdf is not None
        folder.stored(f"money/invoice-{invoice.number}.pdf", invoice.pdf)
    folder.table(
        "money/payments.csv", ("received_on", "payer", "reference", "put_to", "kind", "amount", "recorded_at", "by"), _allocations(job)
    )


def _allocations(job: Job) -> Iterator[Sequence[object]]:
    found = Allocation.objects.filter(Q(invoice__job=job) | Q(milestone__job=job)).select_related("payment__payer", "invoice", "milestone")
    for part in found.order_by("pk"):
        paid = part.payment
        put_to = f"invoice {part.invoice.number}" if part.invoice else part.milestone.opening_ref if part.milestone else ""
        yield (
            paid.received_on if paid else None, paid.payer.name if paid else "", paid.reference if paid else "", put_to,
            part.get_kind_display(), billing_exports.amount(part.amount_minor), part.at, part.by_name,
        )  # fmt: skip
