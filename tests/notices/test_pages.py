from __future__ import annotations

import csv
import datetime as dt
import io
import re

import pytest
from django.urls import reverse

from jobs.core import files
from jobs.core.models import Person
from jobs.notices import attention, exports, kinds, outbox, tasks
from jobs.notices.models import Message, MessageFile, State
from tests.make import user_of
from tests.notices.make import claimed, released, removed, text_to

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client, theo):
    client.force_login(user_of(theo), backend="django.contrib.auth.backends.ModelBackend")
    return client


def at(name: str, message: Message) -> str:
    return reverse(name, kwargs={"uid": message.uid})


def words_of(response) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", response.content.decode()).split())


def test_the_exact_text_stands_on_the_page_before_the_button_that_releases_it(page):
    message = removed()

    shown = page.get(at("notice_release", message))

    assert "has been removed. It was found to be gone on Monday, November 16." in words_of(shown)
    assert "Your home does not have backup power yet." in words_of(shown)
    seen = outbox.preview(message).digest
    assert f'value="{seen}"' in shown.content.decode()
    answer = page.post(at("notice_release", message), {"seen": seen}, follow=True)
    assert "Released: collar removed to Guadalupe Hernández." in words_of(answer)
    message.refresh_from_db()
    assert (message.state, message.released_by_name) == (State.RELEASED, "Theo Lindgren")


def test_a_release_of_what_has_changed_shows_the_new_text_and_releases_nothing(page):
    message = removed()
    Person.objects.filter(pk=message.person_id).update(name="Guadalupe Whitfield")

    answer = page.post(at("notice_release", message), {"seen": "an older text"})

    assert answer.status_code == 422
    assert "Nothing was changed. The text has changed since you opened this page." in words_of(answer)
    assert "Dear Guadalupe Whitfield" in words_of(answer)
    message.refresh_from_db()
    assert message.state == State.OWED


def test_a_message_that_cannot_be_released_says_why_and_has_no_button(page):
    message = removed()
    Person.objects.filter(pk=message.person_id).update(email="")

    answer = page.post(at("notice_release", message), {})

    assert answer.status_code == 422
    assert "has no e-mail address" in words_of(answer)


def test_a_released_reminder_says_from_when_on_it_leaves(page):
    message = removed()
    Message.objects.filter(pk=message.pk).update(not_before=dt.datetime(2026, 11, 19, 17, tzinfo=dt.UTC))

    answer = page.post(at("notice_release", message), {}, follow=True)

    # 17:00 UTC is ten in the morning in the office's Denver.
    assert "It leaves from Thu 19 Nov, 10:00 on; until then you can take it back." in words_of(answer)


def test_a_number_is_shown_as_people_read_it_and_a_captured_text_names_the_gateway(page):
    text = text_to(state=State.SENT, sent_at=dt.datetime(2026, 11, 18, 18, tzinfo=dt.UTC), outcome="captured", attempts=1)

    shown = [words_of(page.get(reverse("notices"))), words_of(page.get(at("notice", text)))]

    assert all(f"({text.address[2:5]}) {text.address[5:8]}-{text.address[8:]}" in words for words in shown)
    assert not any(text.address in words for words in shown)
    assert "was not sent, because no gateway for text messages is set" in shown[1]


def test_several_are_read_on_one_page_and_those_marked_released(page):
    first = removed(owner="Sam Uttley")
    removed(owner="Noor Haddad")
    url = reverse("notices_release")
    text = words_of(page.get(url))
    assert "Two messages wait for release" in text
    assert "Dear Sam Uttley" in text
    assert "Dear Noor Haddad" in text
    assert page.post(url, {}).status_code == 422

    answer = page.post(url, {"uids": [str(first.uid)], f"seen-{first.uid}": outbox.preview(first).digest}, follow=True)

    assert "Released: one message." in words_of(answer)
    assert list(Message.objects.order_by("pk").values_list("state", flat=True)) == [State.RELEASED, State.OWED]


def test_when_one_of_several_is_refused_the_marks_are_kept(page):
    first, second = removed(), removed()

    answer = page.post(reverse("notices_release"), {"uids": [str(first.uid), str(second.uid)], f"seen-{second.uid}": "older"})

    assert answer.status_code == 422
    assert answer.content.decode().count(" checked") == 2
    assert not Message.objects.in_state(State.RELEASED).exists()


@pytest.mark.django_db(transaction=True)
def test_a_captured_message_shows_as_it_would_arrive_and_says_that_it_was_not_sent(page):
    message = released()
    tasks.send_notice(message.pk)

    shown = page.get(at("notice", message))
    mail = page.get(at("notice_mail", message))

    assert "Captured: this message is kept to be read here and was not sent" in words_of(shown)
    assert "Captured, not sent: no mail server is set." in words_of(shown)
    message.refresh_from_db()
    assert mail.content.decode() == message.html
    assert "sandbox" in mail.headers["Content-Security-Policy"]


def test_a_file_of_a_message_is_a_download_of_what_was_frozen(page):
    message = claimed()
    MessageFile.objects.create(
        message=message, position=0, file=files.store(b"%PDF-1.7"), name="invoice 7.pdf", content_type="application/pdf"
    )

    answer = page.get(reverse("notice_file", kwargs={"uid": message.uid, "position": 0}))

    assert answer.content == b"%PDF-1.7"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="invoice 7.pdf"'
    assert answer.headers["Content-Type"] == "application/pdf"
    assert page.get(reverse("notice_file", kwargs={"uid": message.uid, "position": 1})).status_code == 404


def test_a_message_with_amounts_is_out_of_a_scheduler_s_sight(page, monkeypatch):
    message = removed()
    monkeypatch.setitem(
        kinds._registered, "collar_removed", kinds.NoticeKind(name="collar_removed", words="bill", to=("owner",), money=True)
    )

    assert page.get(at("notice", message)).status_code == 404
    assert page.post(at("notice_release", message)).status_code == 404
    assert message.to_name not in words_of(page.get(reverse("notices")))


def test_a_message_is_withdrawn_with_a_reason_and_an_empty_one_is_asked_for_again(page):
    message = removed()

    refused = page.post(at("notice_withdraw", message), {"reason": ""})
    page.post(at("notice_withdraw", message), {"reason": "settled on the telephone"})

    assert refused.status_code == 422
    shown = words_of(page.get(at("notice", message)))
    assert "settled on the telephone (Theo Lindgren)" in shown
    assert "It was withdrawn before its text was made." in shown


def test_an_act_that_comes_too_late_says_so_on_the_message_s_page(page):
    message = removed()

    answer = page.post(at("notice_take_back", message))

    assert answer.status_code == 422
    assert "It is too late to take this message back" in words_of(answer)


def test_the_list_is_narrowed_sorted_and_saved_as_shown(page):
    removed(owner="Sam Uttley")
    second = released(owner="Noor Haddad")

    owed = words_of(page.get(reverse("notices"), {"state": "owed"}))
    by_name = words_of(page.get(reverse("notices"), {"sort": "to"}))
    of_job = words_of(page.get(reverse("notices"), {"job": second.job.code.lower()}))

    assert "Messages, waits for release" in owed
    assert "Sam Uttley" in owed
    assert "Noor Haddad" not in owed
    assert by_name.index("Noor Haddad") < by_name.index("Sam Uttley")
    assert "To, by name" in by_name
    assert "Noor Haddad" in of_job
    assert "Sam Uttley" not in of_job
    saved = page.get(reverse("notices_export", kwargs={"ending": "csv"}), {"state": "owed"})
    rows = list(csv.DictReader(io.StringIO(b"".join(saved.streaming_content).decode("utf-8-sig"))))
    assert [(row["to"], row["state"], row["kind"]) for row in rows] == [("Sam Uttley", "owed", "collar removed")]
    book = page.get(reverse("notices_export", kwargs={"ending": "xlsx"}), {"state": "owed"})
    assert book.content.startswith(b"PK")
    assert page.get(reverse("notices_export", kwargs={"ending": "pdf"})).status_code == 404
    assert page.get(reverse("notices"), {"state": "lost"}).status_code == 422


def test_the_command_s_table_takes_the_same_filters():
    first = removed()
    released()
    [export] = exports.EXPORTS

    rows = [dict(zip(export.headings, row, strict=True)) for row in export.rows({"state": "owed", "kind": "collar_removed"})]

    assert [(row["job"], row["state"]) for row in rows] == [(first.job.code, "owed")]
    with pytest.raises(Exception, match="“lost” is not a state of a message"):
        export.rows({"state": "lost"})


def test_today_shows_what_needs_a_person_with_the_count_that_the_list_shows(page, theo, farida):
    for _ in range(12):
        removed()
    failed = claimed()
    Message.objects.filter(pk=failed.pk).update(state=State.FAILED, reason="550 no such mailbox", claimed_until=None)

    told = {section.name: section for section in attention.for_user(user_of(theo)).sections}

    assert {name: section.count for name, section in told.items()} == {
        "notices_failed": 1,
        "notices_unsure": 0,
        "notices_nobody": 0,
        "notices_to_release": 12,
        "notices_answers": 0,
    }
    assert len(told["notices_to_release"].rows) == 10
    assert told["notices_failed"].rows[0].url == at("notice", failed)
    listed = page.get(told["notices_to_release"].all_url)
    assert listed.context["page"].paginator.count == 12
    assert attention.for_user(user_of(farida)).sections == ()


def test_a_failed_message_is_sent_again_or_its_address_barred_from_its_page(page):
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=State.FAILED, reason="451 try later", claimed_until=None)

    page.post(at("notice_send_again", message))
    page.post(at("notice_consent", message), {"how": "on the telephone", "words": "no more"})

    message.refresh_from_db()
    assert message.state == State.RELEASED
    shown = words_of(page.get(at("notice", message)))
    assert "They asked for no more messages at this address." in shown
    assert "Recorded that they want no more messages at this address." in shown
