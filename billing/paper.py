"""What an invoice says, gathered from the records as plain values; frozen with the invoice when it is released."""

from __future__ import annotations

import datetime as dt

from billing.models import Invoice, Milestone
from billing.pdf.invoice import Company, Evidence, Line, Plain
from billing.shares import percent_text
from billing.triggers import resting_on
from jobs.core import cautions, facts, money, phones, rules, words
from jobs.core import kinds as k
from jobs.core.facts import KINDS
from jobs.core.models import Fact, Job
from jobs.core.models.people import PartyRole
from jobs.core.states import S

_COMPANY = ("company_name", "company_address", "company_phone", "company_email", "company_licence")


def plain_of(invoice: Invoice, *, number: int | None, issued_on: dt.date, due_on: dt.date) -> Plain:
    """The invoice under this number (None: as a draft is read before it is released). Days are written in the homeowner's form."""
    milestone, job = invoice.milestone, invoice.job
    named = "draft" if number is None else str(number)
    told = rules.several(*_COMPANY, "payment_instructions")
    company = Company(**{name.removeprefix("company_"): str(told[name]) for name in _COMPANY})
    amount = money.shown(invoice.amount_minor)
    others = list(job.milestones.exclude(pk=milestone.pk).order_by("position"))
    assert milestone.earned_on is not None
    return Plain(
        company=company,
        number=named,
        job=job.code,
        to=invoice.payer.name,
        to_address=invoice.payer.address,
        home=job.site.line,
        issued=day(issued_on),
        due=day(due_on),
        asked=f"{amount} is due {'on' if due_on == issued_on else 'by'} {day(due_on)}.",
        later=_later(milestone, others, contract_minor=job.contract.amount_minor),
        lines=(
            Line(
                day=day(milestone.earned_on),
                name=f"{milestone.name}, {percent_text(milestone.share_millionths)} of the contract",
                words=f"“{milestone.clause}”" if milestone.clause else "",
                amount=amount,
            ),
        ),
        total=amount,
        evidence=tuple(_evidence(job, milestone)),
        notices=tuple(_notices(job)),
        how_to_pay=_how_to_pay(company, str(told["payment_instructions"]), number),
        foot=f"{company.name}, invoice {named}, as of {day(issued_on)}",
    )


def day(on: dt.date) -> str:
    """ "June 3, 2026": a letter is kept for years, so the year stands in it and the weekday does not."""
    return f"{words.day_long_home(on, lang='en').partition(', ')[2]}, {on.year}"


def _later(milestone: Milestone, others: list[Milestone], *, contract_minor: int) -> str:
    if not others:
        return f"It is the whole of the contract of {money.shown(contract_minor)}."
    what = f"It is milestone {milestone.position} of {len(others) + 1} of a contract of {money.shown(contract_minor)}."
    to_come = [other for other in others if other.earned_on is None]
    rest = sum(other.amount_minor for other in to_come)
    if not rest:
        return what
    named = words.listed([other.name[:1].lower() + other.name[1:] for other in to_come])
    return f"{what} {money.shown(rest)} for the {named} comes later and is not due now."


def _evidence(job: Job, milestone: Milestone) -> list[Evidence]:
    proofs = resting_on(milestone.triggers, facts.of(job))
    rows = Fact.objects.prefetch_related("evidence").in_bulk([proof.order for proof in proofs])
    return [Evidence(day=day(proof.day), fact=_fact_words(rows[proof.order]), said=_said(rows[proof.order])) for proof in proofs]


def _fact_words(fact: Fact) -> str:
    said, value = KINDS[fact.kind].words, fact.value
    said = said[:1].upper() + said[1:]
    if fact.kind == k.CT_CHECK:
        return f"{said}: {value['verdict']}"
    if fact.kind == k.VERIFICATION:
        return "Backup verified: the test was passed"
    if fact.kind == k.COLLAR_REGISTERED:
        return f"{said}, serial {value['serial']}"
    if fact.kind == k.COLLAR_STAGED:
        return f"{said}: {value.get('place') or value.get('reason')}"
    if fact.kind == k.COLLAR_FITTED and fact.after_on and fact.by_on and (fact.by_on - fact.after_on).days > 1:
        return f"{said} after {day(fact.after_on)}, first seen on this day"
    if reference := value.get("reference"):
        return f"{said}, {reference}"
    return said


def _said(fact: Fact) -> str:
    who = f"{fact.said_by_role}, {fact.said_by_name}" if fact.said_by_name else fact.said_by_role
    papers = [document.name for document in fact.evidence.all()]
    return f"said by: {who}" + (f"; {words.listed(papers)}" if papers else "")


def _notices(job: Job) -> list[tuple[str, str]]:
    """No backup yet, in English and the homeowner's language, until it is verified."""
    if job.state == S.BACKUP_VERIFIED:
        return []
    caution = cautions.of("no_backup_yet")
    owner = job.parties.filter(role=PartyRole.OWNER, to_on__isnull=True).select_related("person").first()
    languages = ["en", *({owner.person.language} - {"en"} if owner else ())]
    return [(caution.signal(language), caution.text(language)) for language in languages]


def _how_to_pay(company: Company, instructions: str, number: int | None) -> str:
    reach = words.listed([part for part in (company.phone and _phone(company.phone), company.email) if part], last="or")
    named = "the number of this invoice" if number is None else f"invoice {number}"
    lines = [instructions, f"Please name {named} with your payment.", f"Questions: {reach}." if reach else ""]
    return "\n".join(line for line in lines if line)


def _phone(text: str) -> str:
    try:
        return phones.shown(phones.e164(text)[0])
    except ValueError:
        return text
