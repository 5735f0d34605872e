"""What leaves with a sending: checked against the utility's list before it leaves, kept with the SHA-256 of each file afterwards."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core import facts, files, money, secrets, words
from jobs.core.actors import Actor
from jobs.core.dayone import Photo
from jobs.core.models import Document, Job
from jobs.core.refusals import Refused
from utilities import services
from utilities.models import ChangeOrder, FitRequest, Sending, SentFile, Service
from utilities.terms import Terms


@dataclass(frozen=True)
class Packed:
    """One file of the package. item: of the utility's list, or empty. A document on record, or one that comes with this sending."""

    item: str
    document: Document | None = None
    upload: Photo | None = None


@dataclass(frozen=True)
class Package:
    packed: Sequence[Packed] = ()
    fee_minor: int | None = None
    fee_paid_on: dt.date | None = None
    fee_reference: str = ""
    signed_on: dt.date | None = None
    signed_by: str = ""
    access_note: str = ""
    one_visit: bool | None = None


# Items of a list that need no file: they stand on record, and the request names them.
ON_RECORD: Final[Mapping[str, Callable[[Service], str]]] = {
    "meter number": lambda service: service.meter_number,
    "account number": lambda service: service.account_number,
    "collar serial": lambda service: facts.of(service.job).serial,
}


def missing(service: Service, terms: Terms, package: Package) -> list[str]:
    """What the utility's list asks for and this package has not, in the list's order and words."""
    packed = {one.item for one in package.packed if one.document is not None or one.upload is not None}
    lacks = []
    for item in terms.package:
        told = ON_RECORD.get(item.casefold())
        if not (told(service) if told is not None else item in packed):
            lacks.append(f"{item}, on the home's record" if told is not None else item)
    if terms.fee_minor and package.fee_paid_on is None:
        lacks.append(f"the fee of {money.shown(terms.fee_minor)}, paid")
    if terms.signature_needed == "yes" and not (package.signed_on and package.signed_by.strip()):
        lacks.append("the account holder's signature, with its day and name")
    return lacks


def check(service: Service, package: Package, *, on: dt.date) -> None:
    """Refuse a sending that is not whole by the list that held on its day."""
    refuse_unless_whole(service, services.terms_of(services.version_of(service.utility, on)), package, on=on)


def refuse_unsigned_change(request: FitRequest, because: str) -> None:
    """Changed equipment is sent once the owner has signed for it (TRADE.md C8)."""
    unsigned = ChangeOrder.objects.filter(request=request, signed_on__isnull=True).first()
    if because == "changed" and unsigned is not None:
        raise Refused(
            f"The change proposed on {words.day(unsigned.proposed_on)} is not signed by the owner yet; record the signature first.",
            field="because",
        )


def refuse_unless_whole(service: Service, terms: Terms, package: Package, *, on: dt.date) -> None:
    lacks = missing(service, terms, package)
    if lacks:
        raise Refused(f"The package lacks what {service.utility} asks for: {'; '.join(lacks)}. Add it, then record the sending.")
    if package.signed_on is not None and package.signed_on > on:
        raise Refused(f"The signature is of a day after the sending, {words.day(on)}; the day it was signed is wanted.", field="signed_on")
    if package.signed_on is not None and not package.signed_by.strip():
        raise Refused("Name the account holder who signed.", field="signed_by")
    if service.exchange_pending and package.one_visit is None:
        assert service.exchange_asked_on is not None
        raise Refused(
            f"A meter exchange is pending here too, asked on {words.day(service.exchange_asked_on)}. "
            "Ask the utility for one visit, and say here whether you did.",
            field="one_visit",
        )
    secrets.refuse_code_in(service.job, package.access_note, field="access_note")


def documents(job: Job, package: Package, besides: Sequence[Document], *, by: Actor) -> list[tuple[str, Document]]:
    """The files in order, each with its item; what comes with this sending is kept as a document of the home first."""
    found = []
    for one in package.packed:
        document = one.document
        if document is None and one.upload is not None:
            document = files.add_document(job, name=one.upload.name, data=one.upload.data, subject=one.item[:80] or "sent along", by=by)
        if document is not None:
            if document.job_id != job.pk:
                raise Refused(f"“{document.name}” belongs to another home; choose one of this home's.")
            found.append((one.item, document))
    known = {document.pk for _, document in found}
    return found + [("", document) for document in besides if document.pk not in known]


def keep(sending: Sending, packed: Sequence[tuple[str, Document]]) -> None:
    for item, document in packed:
        SentFile.objects.create(
            sending=sending, item=item[:120], document=document, name=document.name, sha256=document.file.sha256, size=document.file.size
        )
