from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import time_machine

from jobs.core import actors, clock, files, homefacts, rules
from jobs.core import kinds as k
from jobs.core.models import Party, Person, Trace
from jobs.core.refusals import NotAllowed, OutOfSight, Refused
from jobs.core.states import S
from jobs.notices import consent, kinds, outbox, rendering
from jobs.notices.kinds import Attachment, NoticeKind, Recipient
from jobs.notices.models import Message, State
from tests.make import SYSTEM, make_job, put
from tests.notices.make import REMOVED_ON, claimed, released, removed

pytestmark = pytest.mark.django_db


def _monday(message: Message) -> dict[str, Any]:
    return {"found_on": "Monday"}


NO_BACKUP = "Your home does not have backup power yet."


@pytest.fixture
def letter(monkeypatch):
    """Registers a kind of the test's own making in the place of collar_removed, whose texts it borrows."""

    def register(**fields: Any) -> NoticeKind:
        given: dict[str, Any] = {"name": "collar_removed", "words": "letter", "to": ("owner",), "context": _monday}
        kind = NoticeKind(**(given | fields))
        monkeypatch.setitem(kinds._registered, kind.name, kind)
        return kind

    return register


# Owing


def test_a_removal_owes_one_message_to_each_person_at_home_and_owner():
    job = make_job(S.BACKUP_VERIFIED)
    tenant = Person.objects.create(name="Sam Uttley", email="sam@homes.example")
    Party.objects.filter(job=job, role="at_home").update(person=tenant)

    put(job, k.COLLAR_REMOVED, on=REMOVED_ON)

    owed = Message.objects.order_by("to_name")
    assert [(m.to_name, m.address, m.state, m.kind) for m in owed] == [
        ("Guadalupe Hernández", job.parties.get(role="owner").person.email, State.OWED, "collar_removed"),
        ("Sam Uttley", "sam@homes.example", State.OWED, "collar_removed"),
    ]


def test_a_cause_owes_a_message_once_to_whoever_is_both_owner_and_at_home():
    message = removed()

    again = outbox.owe("collar_removed", job=message.job, cause=message.cause, by=SYSTEM)

    assert again == [message]
    assert Message.objects.count() == 1


def test_an_import_owes_nobody_a_message():
    job = make_job(S.BACKUP_VERIFIED)

    put(job, k.COLLAR_REMOVED, on=REMOVED_ON, by=actors.command("import", source="import"))

    assert not Message.objects.exists()


def test_with_nobody_to_write_to_one_row_says_so_until_somebody_is_found(dana):
    job = make_job(S.BACKUP_VERIFIED)
    parties = list(job.parties.all())
    job.parties.all().delete()
    message = removed(job)
    assert message.state == State.NO_RECIPIENT
    with pytest.raises(Refused, match="nobody to send this message to"):
        outbox.release(message, by=dana)
    with pytest.raises(Refused, match="still nobody"):
        outbox.look_again(message, by=dana)

    Party.objects.create(job=job, person=parties[0].person, role="owner")
    owed = outbox.look_again(message, by=dana)

    message.refresh_from_db()
    assert message.state == State.WITHDRAWN
    assert [(m.state, m.to_name) for m in owed] == [(State.OWED, "Guadalupe Hernández")]


def test_a_corrected_removal_withdraws_its_message_and_a_new_fitting_does_too(dana):
    message = removed()
    fact = message.job.facts.of_kind(k.COLLAR_REMOVED).get()

    homefacts.correct(fact, by=dana, reason="the neighbour's", withdraw=True)

    message.refresh_from_db()
    assert (message.state, message.reason) == (State.WITHDRAWN, "The removal was corrected.")
    other = removed()
    put(other.job, k.COLLAR_FITTED, on=dt.date(2026, 11, 17), value={"serial": f"LL-{other.job.pk:06d}"})
    other.refresh_from_db()
    assert (other.state, other.reason) == (State.WITHDRAWN, "The collar was fitted again meanwhile.")


def test_a_kind_leaves_by_itself_only_under_a_rule_that_the_manager_set(letter, dana):
    letter(may_go_by_itself=True)
    job = make_job(S.COLLAR_ENERGIZED)
    [waits] = outbox.owe("collar_removed", job=job, cause="first", by=SYSTEM)
    assert waits.state == State.OWED
    rules.set_rule("notices_by_themselves", value="call_booked, collar_removed", valid_from=clock.office_today(), by=dana)

    [leaves] = outbox.owe("collar_removed", job=job, cause="second", by=SYSTEM)

    assert (leaves.state, leaves.rule, leaves.released_by_name) == (State.RELEASED, "notices_by_themselves", "")
    assert outbox.due() == [leaves.pk]


def test_what_a_rule_cannot_release_waits_for_a_person_with_the_reason(letter, dana):
    letter(may_go_by_itself=True, context=lambda m: {})
    rules.set_rule("notices_by_themselves", value="collar_removed", valid_from=clock.office_today(), by=dana)

    [message] = outbox.owe("collar_removed", job=make_job(S.COLLAR_ENERGIZED), cause="first", by=SYSTEM)

    assert message.state == State.OWED
    assert "found_on" in message.reason


# Release


def test_a_release_freezes_the_text_and_says_who(theo):
    message = removed()

    outbox.release(message, by=theo)

    message.refresh_from_db()
    assert message.state == State.RELEASED
    assert message.subject == "Your home has no backup power at the moment"
    assert "gone on Monday, November 16." in message.text
    assert message.released_by_name == "Theo Lindgren"
    assert message.due_at - message.released_at == dt.timedelta(minutes=1)
    assert message.message_id == f"<{message.uid}@larchlantern.example>"
    Person.objects.filter(pk=message.person_id).update(name="Another Name")
    assert "Another Name" not in outbox.preview(Message.objects.get()).text
    assert Trace.objects.filter(act="jobs.notices.outbox.release", on=f"notices.message {message.pk}", actor="Theo Lindgren").exists()


def test_files_are_frozen_with_the_text(letter, theo):
    contents = [b"%PDF-first"]
    letter(attachments=lambda m: [Attachment("invoice.pdf", "application/pdf", contents[0])])
    [message] = outbox.owe("collar_removed", job=make_job(S.COLLAR_ENERGIZED), cause="first", by=SYSTEM)

    outbox.release(message, by=theo)
    contents[0] = b"%PDF-second"

    kept = message.attachments.get()
    assert (kept.name, kept.content_type, files.read(kept.file)) == ("invoice.pdf", "application/pdf", b"%PDF-first")
    assert outbox.preview(Message.objects.get()).attachments[0].data == b"%PDF-first"


def test_a_second_release_is_refused_with_the_name_of_the_first(dana, theo):
    message = removed()
    outbox.release(message, by=theo)

    with pytest.raises(Refused, match="already released by Theo Lindgren; nothing was changed"):
        outbox.release(message, by=dana)


def test_a_text_that_changed_since_it_was_read_is_not_released(theo):
    message = removed()
    seen = outbox.preview(message).digest
    Person.objects.filter(pk=message.person_id).update(name="Guadalupe Whitfield")

    with pytest.raises(Refused, match="The text has changed"):
        outbox.release(message, seen=seen, by=theo)

    message.refresh_from_db()
    assert (message.state, message.text) == (State.OWED, "")


@pytest.mark.parametrize(
    ("address", "sentence"),
    [
        ("", "has no e-mail address"),
        ("sam@homes.example\nBcc: all@homes.example", "line break"),
        ("sam@homes.example\r", "line break"),
        ("sam", "is not an e-mail address"),
        ("sám@homes.example", "is not an e-mail address"),
        ("a@homes.example, b@homes.example", "is not an e-mail address"),
    ],
)
def test_an_address_that_no_mail_can_go_to_is_refused(address, sentence, theo):
    message = removed()
    Person.objects.filter(pk=message.person_id).update(email=address)

    with pytest.raises(Refused, match=sentence):
        outbox.release(message, by=theo)

    message.refresh_from_db()
    assert message.state == State.OWED


def test_an_address_mended_after_the_message_was_owed_is_the_one_used(theo):
    message = removed()
    Person.objects.filter(pk=message.person_id).update(email="mended@homes.example", language="es")

    outbox.release(message, by=theo)

    message.refresh_from_db()
    assert (message.address, message.language) == ("mended@homes.example", "es")
    assert message.subject == "Por ahora, su casa no tiene energía de respaldo"


def test_a_person_who_left_the_home_gets_no_message(theo):
    message = removed()
    message.job.parties.update(to_on=dt.date(2026, 11, 1))

    with pytest.raises(Refused, match="no longer one to whom this message goes"):
        outbox.release(message, by=theo)


def test_a_message_that_is_no_longer_due_is_not_released(letter, theo):
    letter(still_due=lambda m: "The call was moved.")
    [message] = outbox.owe("collar_removed", job=make_job(S.COLLAR_ENERGIZED), cause="first", by=SYSTEM)

    with pytest.raises(Refused, match="no longer due: The call was moved"):
        outbox.release(message, by=theo)


def test_several_are_released_together_or_not_at_all(theo):
    first, second = removed(), removed()
    Person.objects.filter(pk=second.person_id).update(email="")

    with pytest.raises(Refused, match=r"Nothing was released, because of “collar removed” to Guadalupe Hernández: .* no e-mail address"):
        outbox.release_many([str(first.uid), str(second.uid)], by=theo)
    assert not Message.objects.in_state(State.RELEASED).exists()

    Person.objects.filter(pk=second.person_id).update(email="mended@homes.example")
    outbox.release_many([str(first.uid), str(second.uid)], by=theo)
    assert Message.objects.in_state(State.RELEASED).count() == 2


def test_of_several_one_that_may_not_be_seen_stops_all(theo, letter):
    message = removed()
    letter(money=True)

    with pytest.raises(OutOfSight):
        outbox.release_many([str(message.uid)], by=theo)


def test_what_names_no_message_at_all_stops_all_too(theo):
    message = removed()
    for odd in ("17", "a\x00b", "x" * 20_000):
        with pytest.raises(OutOfSight, match="1 of these messages"):
            outbox.release_many([str(message.uid), odd], by=theo)


def test_finance_may_not_release_and_a_scheduler_sees_no_amounts(farida, theo, dana, letter):
    message = removed()
    with pytest.raises(NotAllowed):
        outbox.release(message, by=farida)
    assert not Message.objects.seen_by(farida.user).exists()
    assert Message.objects.seen_by(theo.user).exists()

    letter(money=True)

    assert not Message.objects.seen_by(theo.user).exists()
    assert Message.objects.seen_by(dana.user).exists()


# Taking back, withdrawing, sending again


def test_within_the_minute_a_release_is_taken_back_and_the_text_made_anew(theo):
    message = removed()
    outbox.release(message, by=theo)

    with time_machine.travel(dt.datetime(2026, 11, 18, 18, 0, 50, tzinfo=dt.UTC)):
        outbox.take_back(message, by=theo)

    message.refresh_from_db()
    assert (message.state, message.text, message.due_at, message.released_by_name) == (State.OWED, "", None, "")
    outbox.release(message, by=theo)


def test_after_the_minute_it_is_too_late_to_take_a_message_back(theo):
    message = removed()
    outbox.release(message, by=theo)

    with time_machine.travel(dt.datetime(2026, 11, 18, 18, 2, tzinfo=dt.UTC)), pytest.raises(Refused, match="too late"):
        outbox.take_back(message, by=theo)


def test_a_withdrawn_message_keeps_the_reason_and_a_sent_one_cannot_be_withdrawn(theo):
    message = removed()
    with pytest.raises(Refused, match="Give the reason"):
        outbox.withdraw_message(message, reason=" ", by=theo)

    outbox.withdraw_message(message, reason="settled on the telephone", by=theo)

    message.refresh_from_db()
    assert (message.state, message.reason) == (State.WITHDRAWN, "settled on the telephone (Theo Lindgren)")
    sent = claimed()
    Message.objects.filter(pk=sent.pk).update(state=State.SENT, sent_at=clock.now())
    with pytest.raises(Refused, match="cannot be withdrawn: it is sent"):
        outbox.withdraw_message(sent, reason="too late", by=theo)


def test_a_message_sent_again_keeps_its_message_id_and_text_and_takes_a_mended_address(theo):
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=State.FAILED, reason="550 no such mailbox")
    Person.objects.filter(pk=message.person_id).update(email="mended@homes.example")

    outbox.send_again(message, by=theo)

    again = outbox.claim(message.pk)
    assert (again.message_id, again.text, again.address) == (message.message_id, message.text, "mended@homes.example")
    assert again.attempts == 2
    with pytest.raises(Refused, match="being sent"):
        outbox.send_again(message, by=theo)


def test_a_message_that_did_arrive_counts_as_sent(theo):
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=State.MAY_HAVE_BEEN_SENT)

    outbox.record_arrived(message, how="they said so on the telephone", by=theo)

    message.refresh_from_db()
    assert (message.state, message.outcome) == (State.SENT, "arrived, says Theo Lindgren: they said so on the telephone")


# Consent


def test_to_an_address_that_asked_for_no_more_nothing_leaves_until_it_asks_again(theo):
    message = released()
    consent.end(message, how="on the telephone", words="please stop", by=theo)
    with pytest.raises(Refused, match="already on record"):
        consent.end(message, how="on the telephone", by=theo)

    assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert message.state == State.FAILED
    assert "Telephone instead" in message.reason
    consent.give_again(message, how="by letter", by=theo)
    outbox.send_again(message, by=theo)
    assert outbox.claim(message.pk) is not None


# Texts


def test_each_text_says_no_backup_yet_in_its_language_until_the_backup_is_verified(letter):
    message = removed()
    shown = outbox.preview(message)
    english = "Your home does not have backup power yet."
    assert english in shown.text
    assert english in shown.html
    Person.objects.filter(pk=message.person_id).update(language="es")
    assert "todavía no tiene energía de respaldo" in outbox.preview(message).text

    letter()
    [verified] = outbox.owe("collar_removed", job=make_job(S.BACKUP_VERIFIED), cause="result", by=SYSTEM)

    assert english not in outbox.preview(verified).text


def test_a_text_without_its_required_sentence_is_refused(letter, theo):
    letter(required=("medical",))  # the templates do not carry this caution
    [message] = outbox.owe("collar_removed", job=make_job(S.COLLAR_ENERGIZED), cause="first", by=SYSTEM)

    with pytest.raises(Refused, match="lacks a sentence that must stand in it"):
        outbox.release(message, by=theo)


def test_a_template_that_names_what_it_was_not_given_is_refused(letter, theo):
    letter(context=lambda m: {})
    [message] = outbox.owe("collar_removed", job=make_job(S.COLLAR_ENERGIZED), cause="first", by=SYSTEM)

    with pytest.raises(Refused, match="“found_on”"):
        outbox.release(message, by=theo)


def test_a_name_stands_unaltered_in_plain_text_and_escaped_in_html():
    message = removed(owner="Siobhán <b>O'Hara</b>")

    shown = outbox.preview(message)

    assert "Dear Siobhán <b>O'Hara</b>," in shown.text
    assert "Dear Siobhán &lt;b&gt;O&#x27;Hara&lt;/b&gt;," in shown.html


def test_the_contractor_s_particulars_stand_line_by_line_at_the_foot(dana):
    for name, value in {"company_name": "Larch & Lantern", "company_phone": "(303) 555-0100", "company_licence": "EC.0100"}.items():
        rules.set_rule(name, value=value, valid_from=clock.office_today(), by=dana)
    message = removed(street="6 Larch Terrace")

    text = outbox.preview(message).text

    assert text.endswith("\n\nLarch & Lantern\n(303) 555-0100\nLicense EC.0100\n\nAbout the home at 6 Larch Terrace, Ottermere, CO\n")
    assert "\n\n\n" not in text


def test_a_kind_without_a_text_is_refused_by_name(monkeypatch, theo):
    monkeypatch.setitem(kinds._registered, "no_such_text", NoticeKind(name="no_such_text", words="letter", to=("owner",)))
    [message] = outbox.owe("no_such_text", job=make_job(), cause="first", by=SYSTEM)

    with pytest.raises(Refused, match=r"notices/no_such_text/subject\.en\.txt is missing"):
        outbox.release(message, by=theo)


def test_a_recipient_need_not_be_a_person_of_the_home(letter, theo):
    trust = Recipient(key="payer 7", name="Sunlit Trust", address="desk@sunlit.example")
    letter(to=lambda owing: [trust], to_home=False)

    [message] = outbox.owe("collar_removed", job=make_job(S.COLLAR_ENERGIZED), cause="invoice 1", by=SYSTEM)
    outbox.release(message, by=theo)

    message.refresh_from_db()
    assert (message.person, message.to_name, message.address) == (None, "Sunlit Trust", "desk@sunlit.example")
    assert rendering.required_of(message) == []


# No backup yet


def test_what_was_frozen_while_the_backup_was_verified_is_read_anew_once_it_is_not(theo, letter):
    letter()
    verified = make_job(S.BACKUP_VERIFIED)
    [message] = outbox.owe("collar_removed", job=verified, cause="a letter", by=SYSTEM)
    message = outbox.release(message, by=theo)
    assert NO_BACKUP not in message.text
    Message.objects.filter(pk=message.pk).update(due_at=message.released_at)
    put(verified, k.COLLAR_REMOVED, on=REMOVED_ON)

    assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert (message.state, message.text, message.released_at) == (State.OWED, "", None)
    assert message.reason.startswith("The backup of this home is not verified any more")
    assert NO_BACKUP in outbox.preview(message).text.replace("\n", " ")


def test_a_home_whose_contract_was_cancelled_is_told_that_it_has_no_backup_too(letter):
    letter()
    [message] = outbox.owe("collar_removed", job=make_job(S.CANCELLED), cause="a letter", by=SYSTEM)
    assert NO_BACKUP in outbox.preview(message).text.replace("\n", " ")
