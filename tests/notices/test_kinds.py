"""Every kind of message, in both languages, as a mail and as a text."""

from __future__ import annotations

import email
import re
from email import policy
from typing import Any

import pytest

from jobs.core import cautions
from jobs.notices import brief, channels, gsm, kinds, optout, outbox, rendering
from jobs.notices.consent import CONFIRMATION
from jobs.notices.models import Message
from tests.make import SYSTEM
from tests.notices.every_kind import MAKERS, message_of

pytestmark = pytest.mark.django_db

LETTERS = ("utility_letter", "permit_extension")
TEXTS = [name for name in MAKERS if name not in LETTERS and "invoice" not in name and "credit" not in name and "lender" not in name]
# These hold a link, or more cautions than one part has room for.
LONGER = {"call_offered": 2, "call_booked": 2, "call_moved": 2, "utility_interrupts": 2, "bag_photo": 2}


def test_every_kind_has_an_example_here():
    registered = {kind.name for kind in kinds.all_kinds()}

    assert registered - {CONFIRMATION} == set(MAKERS)
    assert [kind.name for kind in kinds.all_kinds() if kind.by_text] == [k.name for k in kinds.all_kinds() if k.name in TEXTS]


def in_language(message: Any, language: str) -> Any:
    """The message as it would be frozen for somebody of this language."""
    message.language = language
    shown = rendering.made(message)
    message.subject, message.text, message.html = shown.subject, shown.text, shown.html
    return message


@pytest.mark.parametrize("name", MAKERS)
def test_every_mail_parses_without_a_defect_every_text_is_short_and_both_say_what_they_must(name):
    message = message_of(name, texts=name in TEXTS, mail=True)
    if message.state == "owed":
        message = outbox.release(message, by=SYSTEM)
    for language in ("en", "es"):
        refuse_defects(in_language(message, language), kinds.of(name))
    if name in TEXTS:
        text = Message.objects.filter(kind=name, channel="text").order_by("pk")[0]
        for language in ("en", "es"):
            refuse_long(in_language(text, language), name)


def refuse_defects(message: Any, kind: kinds.NoticeKind) -> None:
    parsed: Any = email.message_from_bytes(channels.mail_of(message).as_bytes(), policy=policy.default)

    for part in parsed.walk():
        assert not part.defects
        assert all(not header.defects for header in part.values())
    assert parsed["Auto-Submitted"] == "auto-generated"
    assert parsed["Content-Language"] == message.language
    text = parsed.get_body(("plain",)).get_content()
    page = parsed.get_body(("html",)).get_content()
    for words in (text, page):
        assert not re.search(r"\{\{|\{%|\bNone\b", words)
    assert f'lang="{message.language}"' in page
    for sentence in rendering.required_of(message):
        assert " ".join(sentence.split()) in " ".join(text.split())
    # Safety messages, a lender's and a desk's offer no list to leave.
    assert ("List-Unsubscribe" in parsed) == (kind.to_home and kind.stopped_by is not None)


def refuse_long(message: Any, name: str) -> None:
    text, language = message.text, message.language
    ending = gsm.plain(brief.ends(language))

    assert "\n" not in text
    assert gsm.size(text).gsm
    assert gsm.size(text.replace(ending, "").strip()).parts <= LONGER.get(name, 1), text
    if name != "call_result":
        assert gsm.plain(brief.of("no_backup_yet", language)) in text
        assert not rendering.lacks_no_backup(message)
    # 47 CFR 64.1200(a)(10): an opt-out word stands only in the line that says how to end texts.
    assert optout.mentioned(re.sub(r"https?://\S+", "", text.replace(ending, ""))) == []


def test_only_the_first_text_to_a_number_says_how_to_end_them():
    message_of("call_booked", texts=True)
    first, *later = [outbox.preview(text).text for text in Message.objects.filter(channel="text").order_by("pk")]

    assert "Reply STOP to opt out." in first
    assert later
    assert not any("STOP" in text for text in later)


def test_a_text_keeps_the_caution_that_its_kind_requires_and_without_it_is_refused(monkeypatch):
    message = message_of("bag_photo", texts=True)
    assert brief.of("bag_photo", "en") in outbox.preview(message).text

    monkeypatch.setitem(brief.BRIEF, "medical", ("Medical words that no template holds.", ""))
    asked = kinds.of("bag_photo")
    monkeypatch.setitem(kinds._registered, "bag_photo", type(asked)(**(vars(asked) | {"required_in_text": ("medical",)})))

    with pytest.raises(Exception, match="lacks words that must stand in it"):
        outbox.preview(message)


def test_that_the_utility_turns_off_the_power_is_no_test_of_ours():
    message = message_of("utility_interrupts", texts=True, mail=True)

    words = " ".join(outbox.preview(message).text.split())

    # TRADE.md C13: the utility interrupts; the plan of the home and its two telephones count, not a test by telephone.
    assert "If yes or not sure, telephone the utility and us before its visit, and follow your medical backup plan." in words
    assert "this test" not in words
    assert "test by phone" not in words
    assert "for a moment" not in words


def test_a_text_with_a_link_takes_two_parts_though_it_is_the_first_to_its_number(settings):
    settings.BASE_URL = "https://office.larchlantern.example"
    message_of("call_offered", texts=True)
    text = Message.objects.get(kind="call_offered", channel="text")

    for language in ("en", "es"):
        assert gsm.size(in_language(text, language).text).parts == 2


def test_the_mail_of_the_bag_photo_says_in_full_what_not_to_touch():
    text = outbox.preview(message_of("bag_photo", language="es")).text

    assert cautions.of("bag_photo").es in " ".join(text.split())
