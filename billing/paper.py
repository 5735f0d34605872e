"""What an invoice says, gathered from the records as plain values; frozen with the invoice when it is released."""

from __future__ import annotations

import datetime as dt

from billing.models import Agreement, ChangeOrder, CreditNote, Invoice, Milestone, MilestoneKind
from billing.pdf.invoice import Company, Evidence, Line, Plain
from billing.shares import percent_text
from billing.triggers import resting_on
from billing.wanted import given_of
from jobs.core import cautions, facts, money, phones, rules, words
from jobs.core import kinds as k
from jobs.core.facts import KINDS
from jobs.core.models import Fact, Job
from jobs.core.models.people import PartyRole
from jobs.core.money import Rounding
from jobs.core.states import S

_COMPANY = ("company_name", "company_address", "company_phone", "company_email", "company_licence")


def plain_of(invoice: Invoice, *, number: int | None, issued_on: dt.date, due_on: dt.date) -> Plain:
    """The invoice under this number (None: as a draft is read before it is released). Days are written in the homeowner's form."""
    milestone, job = invoice.milestone, invoice.job
    named = "draft" if number is None else str(number)
    ours = company()
    amount = money.shown(invoice.amount_minor)
    others = list(job.milestones.exclude(pk=milestone.pk).order_by("position"))
    assert milestone.earned_on is not None
    return Plain(
        company=ours,
        number=named,
        job=job.code,
        to=invoice.payer.name,
        to_address=invoice.payer.address,
        home=job.site.line,
        issued=day(issued_on),
        due=day(due_on),
        asked=f"{amount} is due {'on' if due_on == issued_on else 'by'} {day(due_on)}.",
        later=_later(milestone, others, contract_minor=job.contract.amount_minor),
        lines=_lines(invoice, others),
        total=amount,
        evidence=tuple(_evidence(job, milestone)),
        notices=tuple(_notices(job)),
        papers=tuple(_papers(invoice)),
        how_to_pay=_how_to_pay(ours, rules.text("payment_instructions"), number),
        foot=f"{ours.name}, invoice {named}, as of {day(issued_on)}",
    )


def company() -> Company:
    """Who bills, from the rules."""
    told = rules.several(*_COMPANY)
    return Company(**{name.removeprefix("company_"): str(told[name]) for name in _COMPANY})


def credit_of(note: CreditNote) -> Plain:
    """What a credit note says: which invoice it lessens, why, and what is left of it."""
    invoice, ours = note.invoice, company()
    amount = money.shown(note.amount_minor)
    assert invoice.issued_on is not None
    earlier = sum(other.amount_minor for other in invoice.credit_notes.exclude(pk=note.pk))
    rest = invoice.amount_minor - earlier - note.amount_minor
    later = f"Of its {money.shown(invoice.amount_minor)}, {money.shown(rest)} remains." if rest else "Nothing of it remains."
    net = note.amount_minor - note.tax_minor
    lines = [
        Line(day(invoice.issued_on), f"Invoice {invoice.number}, {invoice.milestone.name}", note.reason, money.shown(-net)),
        *_tax_line(invoice, -note.tax_minor),
    ]
    return Plain(
        company=ours,
        kind="Credit note",
        number=str(note.number),
        job=note.job.code,
        to=note.payer.name,
        to_address=note.payer.address,
        home=note.job.site.line,
        issued=day(note.issued_on),
        due="",
        asked=f"{amount} of invoice {invoice.number} is credited.",
        later=later,
        lines=tuple(lines),
        total=money.shown(-note.amount_minor),
        how_to_pay=_how_credited(ours, note),
        foot=f"{ours.name}, credit note {note.number}, as of {day(note.issued_on)}",
    )


def _how_credited(ours: Company, note: CreditNote) -> str:
    reach = _reach(ours)
    said = (
        f"Please keep this note with invoice {note.invoice.number}. "
        "What you have paid beyond what remains is refunded or set against other invoices."
    )
    return "\n".join(line for line in (said, f"Questions: {reach}." if reach else "") if line)


def _lines(invoice: Invoice, others: list[Milestone]) -> tuple[Line, ...]:
    """The milestone, what is kept back of it, the tax; each with its amount, together what is to pay."""
    milestone = invoice.milestone
    assert milestone.earned_on is not None
    what = _what(milestone)
    if milestone.payer_name:
        what += f"; your name for it: {milestone.payer_name}"
    clause = f"“{milestone.clause}”" if milestone.clause else ""
    lines = [Line(day(milestone.earned_on), what, clause, money.shown(milestone.amount_minor + milestone.retained_minor))]
    if milestone.retained_minor:
        rate = Agreement.objects.get(job=milestone.job).retainage_millionths
        kept = next((other.name[:1].lower() + other.name[1:] for other in others if other.kind == MilestoneKind.RETAINAGE), "retainage")
        lines.append(Line("", f"Less {kept}, {percent_text(rate)}", "billed on its own later", money.shown(-milestone.retained_minor)))
    return (*lines, *_tax_line(invoice, invoice.tax_minor))


def _what(milestone: Milestone) -> str:
    """With its share, as long as the price is what the contract first said."""
    if milestone.fixed or not milestone.share_millionths or ChangeOrder.objects.filter(job=milestone.job).exists():
        return milestone.name
    of = "the contract" if not milestone.job.milestones.filter(fixed=True).exclude(kind=MilestoneKind.RETAINAGE).exists() else "the rest"
    return f"{milestone.name}, {percent_text(milestone.share_millionths)} of {of}"


def _tax_line(invoice: Invoice, minor: int) -> list[Line]:
    if not invoice.tax_millionths:
        return []
    rounding = "half a cent to the even cent" if invoice.tax_rounding == Rounding.HALF_EVEN else "half a cent up"
    rounding = rounding if money.exponent(money.currency()) == 2 else f"rounded {invoice.tax_rounding}"
    return [Line("", f"{invoice.tax_words}, {percent_text(invoice.tax_millionths)}", f"rounding: {rounding}", money.shown(minor))]


def day(on: dt.date) -> str:
    """ "June 3, 2026": a letter is kept for years, so the year stands in it and the weekday does not."""
    return f"{words.day_long_home(on, lang='en').partition(', ')[2]}, {on.year}"


def _later(milestone: Milestone, others: list[Milestone], *, contract_minor: int) -> str:
    # A part that left the price, with the backup or the contract, is not one to wait for.
    others = [other for other in others if other.amount_minor]
    if not others:
        return f"It is the whole of the contract of {money.shown(contract_minor)}."
    place = 1 + sum(other.position < milestone.position for other in others)
    what = f"It is milestone {place} of {len(others) + 1} of a contract of {money.shown(contract_minor)}."
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


def _papers(invoice: Invoice) -> list[str]:
    """Those that the payer asks for and that are there, and the waiver of lien."""
    given = given_of(invoice.job)
    return [f"{name}: {given[name].document.name}" for name in invoice.milestone.wants if name in given]


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
    reach = _reach(company)
    named = "the number of this invoice" if number is None else f"invoice {number}"
    lines = [instructions, f"Please name {named} with your payment.", f"Questions: {reach}." if reach else ""]
    return "\n".join(line for line in lines if line)


def _reach(company: Company) -> str:
    return words.listed([part for part in (company.phone and _phone(company.phone), company.email) if part], last="or")


def _phone(text: str) -> str:
    try:
        return phones.shown(phones.e164(text)[0])
    except ValueError:
        return text
