"""Released invoices: numbers without gaps, papers that are kept, messages that carry them."""

from __future__ import annotations

import datetime as dt
import io
from functools import partial

import pypdf
import pytest

from billing import invoices, reconcile
from billing.models import Invoice, Milestone, Series
from jobs.core import files, homefacts, rules
from jobs.core.models import Trace
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.states import S
from jobs.notices import outbox
from jobs.notices.models import Message, State
from tests.billing.made import IMPORT, TODAY, draft_of, lender, plan, planned_job, released
from tests.make import DAY_ONE, SYSTEM, make_job
from tests.races import race

pytestmark = pytest.mark.django_db


def pdf_text(invoice: Invoice) -> str:
    assert invoice.pdf is not None
    pages = pypdf.PdfReader(io.BytesIO(files.read(invoice.pdf))).pages
    return "\n".join(page.extract_text() for page in pages)


def test_a_draft_gets_its_number_its_days_and_its_paper_at_release(farida):
    invoice = released(planned_job(), by=farida)

    assert (invoice.number, invoice.state) == (1001, "released")
    assert (invoice.issued_on, invoice.due_on, invoice.terms_days) == (TODAY, dt.date(2026, 12, 18), 30)
    assert invoice.released_by_name == "Farida Novak"
    text = pdf_text(invoice)
    assert "$24,987.66 is due by December 18, 2026." in text
    assert "$6,246.91 for the final milestone comes later and is not due now." in text.replace("\n", " ")
    assert list(reconcile.breaches()) == []


def test_the_due_day_follows_the_payers_own_terms():
    invoice = released(planned_job(payer=lender(terms_days=45)))

    assert (invoice.terms_days, invoice.due_on) == (45, TODAY + dt.timedelta(days=45))


def test_an_invoice_keeps_the_terms_it_was_released_under(dana):
    invoice = released(planned_job())

    rules.set_rule("payment_days", value=10, valid_from=TODAY, by=dana)
    other = released(planned_job())

    invoice.refresh_from_db()
    assert (invoice.terms_days, invoice.due_on) == (30, dt.date(2026, 12, 18))
    assert (other.terms_days, other.due_on) == (10, dt.date(2026, 11, 28))


def test_numbers_begin_where_the_rule_says_and_follow_each_other(dana):
    rules.set_rule("first_invoice_number", value=2391, valid_from=TODAY, by=dana)

    numbers = [released(planned_job()).number for _ in range(3)]

    assert numbers == [2391, 2392, 2393]
    rules.set_rule("first_invoice_number", value=1, valid_from=TODAY, by=dana)
    assert released(planned_job()).number == 2394


def test_a_draft_released_twice_is_refused_with_a_sentence(farida):
    invoice = released(planned_job(), by=farida)

    with pytest.raises(Refused, match=r"Invoice 1001 was already released by Farida Novak; nothing was released again\."):
        invoices.release(invoice, by=farida)

    assert Series.objects.get().next == 1002
    assert Message.objects.count() == 1


def test_only_finance_releases(dana):
    with pytest.raises(NotAllowed):
        invoices.release(draft_of(planned_job()), by=dana)

    assert not Series.objects.exists()


def test_a_hold_on_collection_stops_the_release_until_it_is_lifted(dana, farida):
    job = planned_job()
    hold = homefacts.hold(job, kind="dispute", stops=["collection"], review_on=dt.date(2026, 12, 1), reason="roof leak", by=dana)

    with pytest.raises(Refused, match=r"until it is looked at again on 1 December 2026 \(roof leak\)"):
        released(job, by=farida)
    homefacts.lift(hold, by=dana)

    assert released(job, by=farida).number == 1001


# The message.


def test_releasing_the_invoice_releases_its_message_with_the_same_paper(farida):
    job = planned_job()
    invoice = released(job, by=farida)

    [message] = Message.objects.all()
    assert (message.kind, message.state, message.to_name) == ("invoice", State.RELEASED, "Guadalupe Hernández")
    assert message.released_by_name == "Farida Novak"
    assert message.subject == "Invoice 1001: $24,987.66, due by December 18, 2026"
    [part] = outbox.preview(message).attachments
    assert invoice.pdf is not None
    assert (part.name, part.content_type, part.data) == ("invoice-1001.pdf", "application/pdf", files.read(invoice.pdf))
    for text in (message.text, message.html):
        assert "Your home does not have backup power yet." in text


def test_the_message_is_in_the_payers_language_and_says_no_backup_in_both():
    invoice = released(planned_job(language="es"))

    [message] = Message.objects.all()
    assert message.subject == "Factura 1001: $24,987.66, con vencimiento el viernes 18 de diciembre de 2026"
    assert "AVISO" in message.text
    text = pdf_text(invoice)
    assert "NOTICE" in text
    assert "AVISO" in text


def test_once_verified_neither_paper_nor_message_says_that_there_is_no_backup():
    job = planned_job(S.BACKUP_VERIFIED)

    invoice = released(job, position=2)

    assert "NOTICE" not in pdf_text(invoice)
    assert "Backup verified: the test was passed" in pdf_text(invoice)
    assert "backup power yet" not in Message.objects.get().text


def test_a_lender_gets_a_message_of_its_own_and_the_homeowner_none():
    trust = lender()
    invoice = released(planned_job(payer=trust))

    [message] = Message.objects.all()
    assert (message.kind, message.address, message.to_key) == ("invoice_to_lender", "desk@sunlit.example", f"payer {trust.pk}")
    assert invoice.job.site.street in message.subject


def test_a_payer_without_an_address_is_invoiced_all_the_same_and_the_message_waits_with_its_reason(farida):
    invoice = released(planned_job(payer=lender(email="")), by=farida)

    [message] = Message.objects.all()
    assert (invoice.number, message.state) == (1001, State.OWED)
    assert "has no e-mail address" in message.reason
    assert "was not sent" in invoices.release_words(invoice)
    assert "Print it and post it." in invoices.release_words(invoice)


# The paper.


def test_names_beyond_latin_1_come_through_on_paper():
    # Helvetica would drop these letters without an error (PLATFORM.md, Traps).
    invoice = released(planned_job(owner="Łukasz Őrsi-Şahin"))

    assert "Łukasz Őrsi-Şahin" in pdf_text(invoice)


def test_the_paper_names_the_facts_it_rests_on_with_who_said_so():
    text = pdf_text(released(planned_job()))

    for fact in (
        "Commissioned grid-tied",
        "Consumption-CT check: consistent",
        "Collar registered, serial",
        "Collar staged: left of the meter, at eye height",
        "Hand-over sheet given",
    ):
        assert fact in text
    assert "bag.png" in text
    assert "May 4, 2026" in text
    assert "Page 1 of 1" in text


def test_the_stored_paper_is_the_one_its_contents_make():
    from billing.pdf.invoice import Company, Evidence, Line, Plain
    from billing.pdf.invoice import invoice as make

    invoice = released(planned_job())
    invoice.refresh_from_db()
    told = dict(invoice.contents)
    told["company"] = Company(**told["company"])
    told["lines"] = tuple(Line(**line) for line in told["lines"])
    told["evidence"] = tuple(Evidence(**line) for line in told["evidence"])
    told["notices"] = tuple(map(tuple, told["notices"]))

    assert invoice.pdf is not None
    assert make(Plain(**told)) == files.read(invoice.pdf)


def test_long_evidence_runs_over_pages_that_count_themselves():
    from billing.pdf.invoice import Company, Evidence, Plain
    from billing.pdf.invoice import invoice as make

    many = tuple(Evidence("May 4, 2026", f"Fact {n} <of> many & more", "said by: crew") for n in range(60))
    data = make(Plain(Company("L&L"), "7", "KQ7M4E", "A <b>", "", "1 Road", "now", "then", "$1.00 is due.", "", (), "$1.00", many))

    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    texts = [page.extract_text() for page in pages]
    assert len(pages) == 3
    assert all(f"Page {n} of 3" in text for n, text in enumerate(texts, start=1))
    assert all(f"Fact {n} <of> many & more" in "".join(texts) for n in range(60))


# Drafts by hand.


def test_what_an_import_earned_is_drafted_by_hand_once(farida):
    job = make_job(S.GRID_TIED)
    first, final = plan(job, by=IMPORT)

    draft = invoices.draft(first, by=farida)

    assert (draft.amount_minor, draft.state) == (2_498_766, "draft")
    with pytest.raises(Refused, match="First milestone already has a draft"):
        invoices.draft(first, by=farida)
    with pytest.raises(Refused, match="Final milestone is not earned yet"):
        invoices.draft(final, by=farida)


# Two at once, and crashes.


def press(things, act) -> list[str]:
    """Each thing pressed in a thread of its own at once; what each met."""

    def done(thing) -> str:
        return f"done {act(thing).number}"

    return race(*(partial(done, thing) for thing in things))


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_of_two_who_release_the_same_draft_one_wins_and_the_other_reads_a_sentence():
    draft = draft_of(planned_job())

    answers = press([draft, draft], lambda thing: invoices.release(thing, by=SYSTEM))

    assert sorted(answers) == ["Invoice 1001 was already released by command: tests; nothing was released again.", "done 1001"]
    assert Series.objects.get().next == 1002
    assert Message.objects.count() == 1
    assert list(reconcile.breaches()) == []


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_two_who_release_different_drafts_leave_no_gap():
    drafts = [draft_of(planned_job()) for _ in range(4)]

    answers = press(drafts, lambda thing: invoices.release(thing, by=SYSTEM))

    assert sorted(answers) == ["done 1001", "done 1002", "done 1003", "done 1004"]
    assert list(reconcile.breaches()) == []


def test_a_failure_between_number_and_commit_leaves_no_gap(monkeypatch):
    first, second = draft_of(planned_job()), draft_of(planned_job())

    def broken(*args: object, **kwargs: object) -> None:
        raise OSError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(files, "store", broken)
        with pytest.raises(OSError, match="disk is full"):
            invoices.release(first, by=SYSTEM)
    first.refresh_from_db()
    assert (first.number, first.state) == (None, "draft")
    assert not Trace.objects.filter(act="billing.invoices.release").exists()

    assert invoices.release(second, by=SYSTEM).number == 1001
    assert list(reconcile.breaches()) == []


def test_a_milestone_that_is_no_longer_earned_is_not_invoiced():
    draft = draft_of(planned_job())
    Milestone.objects.filter(pk=draft.milestone_id).update(earned_on=None, recorded_on=None)

    with pytest.raises(Refused, match="First milestone is not earned any more"):
        invoices.release(draft, by=SYSTEM)


def test_an_earned_day_is_the_day_on_paper():
    invoice = released(planned_job())

    assert invoice.milestone.earned_on == DAY_ONE
    assert invoice.contents["lines"][0]["day"] == "May 4, 2026"
