"""Against a real SMTP server (aiosmtpd) that takes, refuses, drops and falls silent."""

from __future__ import annotations

import email
import email.policy
import socket
import threading
from dataclasses import replace
from email.message import EmailMessage
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from jobs.core import clock, files, rules
from jobs.notices import channels, kinds
from jobs.notices.models import MessageFile
from jobs.notices.outcome import Result, of_status
from tests.make import SYSTEM
from tests.notices.make import claimed, noon_zone

pytestmark = [pytest.mark.django_db, pytest.mark.real_clock]


class Sink:
    """Keeps what it is given; or answers as told."""

    def __init__(self) -> None:
        self.mails: list[EmailMessage] = []
        self.envelopes: list[Any] = []
        self.rcpt = "250 OK"
        self.data = "250 OK"

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802 - the server calls it so
        if self.rcpt.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.rcpt

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the server calls it so
        self.envelopes.append(envelope)
        parsed = email.message_from_bytes(envelope.content, policy=email.policy.default)
        assert isinstance(parsed, EmailMessage)
        self.mails.append(parsed)
        return self.data


def claimed_now(**fields: Any) -> Any:
    return claimed(zone=noon_zone(), **fields)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _use(settings, port: int) -> None:
    settings.CAPTURE_MAIL = False
    settings.EMAIL = {"host": "127.0.0.1", "port": port, "user": "", "password": "", "ssl": False, "starttls": False}


@pytest.fixture
def sink(settings):
    handler = Sink()
    controller = Controller(handler, hostname="127.0.0.1", port=_free_port())
    controller.start()
    _use(settings, controller.port)
    yield handler
    controller.stop()


@pytest.fixture
def scripted(settings, monkeypatch):
    """A server of a few lines that says what a test tells it and then breaks off or falls silent."""
    monkeypatch.setattr(channels, "SECONDS", 0.5)
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(10)
    _use(settings, listener.getsockname()[1])
    done = threading.Event()

    def serve(answers: list[bytes], *, silent: bool) -> None:
        peer, _ = listener.accept()
        with peer, peer.makefile("rb") as lines:
            for answer in answers:
                peer.sendall(answer)
                if answer.startswith(b"354"):
                    while lines.readline() not in (b".\r\n", b""):
                        pass
                else:
                    lines.readline()
            if silent:
                done.wait(5)

    threads = []

    def start(*answers: bytes, silent: bool = False) -> None:
        thread = threading.Thread(target=serve, args=([*answers],), kwargs={"silent": silent})
        thread.start()
        threads.append(thread)

    yield start
    done.set()
    for thread in threads:
        thread.join(5)
    listener.close()


def test_a_mail_arrives_whole_with_text_and_html_and_without_defects(sink):
    message = claimed_now(owner="Zoë Łukasz-Ő’Brien", language="es")

    outcome = channels.send(message)

    assert outcome.result == Result.SENT
    [mail] = sink.mails
    assert mail.defects == []
    assert all(part.defects == [] for part in mail.walk())
    assert mail["To"].addresses[0].display_name == "Zoë Łukasz-Ő’Brien"
    assert mail["To"].addresses[0].addr_spec == message.address
    assert mail["Subject"] == message.subject == "Por ahora, su casa no tiene energía de respaldo"
    assert mail["Message-ID"] == message.message_id
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834
    assert mail["Content-Language"] == "es"
    assert mail.get_body(("plain",)).get_content().replace("\r\n", "\n") == message.text
    assert mail.get_body(("html",)).get_content().replace("\r\n", "\n") == message.html
    assert sink.envelopes[0].rcpt_tos == [message.address]
    # Seven bits: not every server takes eight (RFC 6152).
    assert sink.envelopes[0].content.isascii()


def test_a_line_that_is_one_dot_does_not_end_the_mail(sink):
    message = claimed_now()
    message.text = "one\n.\n..two\nthree\n"
    message.save(update_fields=["text"])

    channels.send(message)

    assert sink.mails[0].get_body(("plain",)).get_content().replace("\r\n", "\n") == "one\n.\n..two\nthree\n"


def test_files_go_with_the_mail_and_a_calendar_part_stands_beside_the_texts(sink):
    message = claimed_now()
    parts = [
        ("invoice 7.pdf", "application/pdf", b"%PDF-1.7"),
        ("call.ics", "text/calendar; method=REQUEST; charset=UTF-8", b"BEGIN:VCALENDAR\r\nMETHOD:REQUEST\r\nEND:VCALENDAR\r\n"),
    ]
    for place, (name, kind, data) in enumerate(parts):
        MessageFile.objects.create(message=message, position=place, file=files.store(data), name=name, content_type=kind)

    channels.send(message)

    [mail] = sink.mails
    assert mail.get_content_type() == "multipart/mixed"
    [pdf] = list(mail.iter_attachments())
    assert (pdf.get_filename(), pdf.get_content_type(), pdf.get_content()) == ("invoice 7.pdf", "application/pdf", b"%PDF-1.7")
    alternatives = next(part for part in mail.walk() if part.get_content_type() == "multipart/alternative")
    assert [part.get_content_type() for part in alternatives.iter_parts()] == ["text/plain", "text/html", "text/calendar"]
    # RFC 6047 2.4: the method of the part is that of the calendar.
    calendar = list(alternatives.iter_parts())[2]
    assert dict(calendar["Content-Type"].params) == {"method": "REQUEST", "charset": "utf-8"}


@pytest.mark.parametrize(
    ("stage", "answer", "result"),
    [
        ("rcpt", "550 no such mailbox", Result.PERMANENT),
        ("rcpt", "450 mailbox busy", Result.PASSING),
        ("data", "552 too much mail", Result.PERMANENT),
        ("data", "451 try again", Result.PASSING),
    ],
)
def test_the_server_s_status_says_whether_a_refusal_passes(sink, stage, answer, result):
    setattr(sink, stage, answer)

    outcome = channels.send(claimed_now())

    assert outcome.result == result
    assert answer in outcome.words


def test_a_server_that_is_not_there_is_a_passing_failure(settings):
    _use(settings, _free_port())

    outcome = channels.send(claimed_now())

    assert outcome.result == Result.PASSING
    assert "cannot be reached" in outcome.words


def test_a_server_that_does_not_let_us_in_keeps_the_message_for_later(scripted):
    scripted(b"554 no service here\r\n")

    outcome = channels.send(claimed_now())

    assert outcome.result == Result.PASSING
    assert "does not take mail from us: 554" in outcome.words


def test_a_server_that_breaks_off_before_it_has_the_mail_is_a_passing_failure(scripted):
    scripted(b"220 hello\r\n", b"250 hello\r\n", b"250 sender ok\r\n")

    assert channels.send(claimed_now()).result == Result.PASSING


@pytest.mark.parametrize(
    "garbage", [b"hello\r\n", b"200 maybe\r\n", b"354 go on\r\n", b"999 no\r\n", b"250" + b"x" * 9000 + b"\r\n", b"\xff\xfe\r\n"]
)
def test_a_server_that_has_the_mail_and_answers_garbage_may_have_sent_it(scripted, garbage):
    answers = (b"220 hello\r\n", b"250 hello\r\n", b"250 sender ok\r\n", b"250 recipient ok\r\n", b"354 go on\r\n", garbage)
    scripted(*answers)

    assert channels.send(claimed_now()).result == Result.UNKNOWN


@pytest.mark.parametrize("silent", [True, False])
def test_a_server_that_has_the_mail_and_says_nothing_may_have_sent_it(scripted, silent):
    scripted(b"220 hello\r\n", b"250 hello\r\n", b"250 sender ok\r\n", b"250 recipient ok\r\n", b"354 go on\r\n", silent=silent)

    outcome = channels.send(claimed_now())

    assert outcome.result == Result.UNKNOWN
    assert "did not answer" in outcome.words


def test_an_address_with_a_line_break_is_refused_before_any_server_sees_it(sink):
    message = claimed_now()
    message.address = "sam@homes.example\r\nBcc: all@homes.example"

    outcome = channels.send(message)

    assert outcome.result == Result.PERMANENT
    assert "line break" in outcome.words
    assert sink.mails == []


def test_without_a_mail_server_a_message_is_captured_and_says_so(settings):
    settings.CAPTURE_MAIL = True

    assert channels.send(claimed_now()).result == Result.CAPTURED


def test_a_notice_can_be_left_by_its_header_and_a_safety_message_cannot(sink, monkeypatch):
    safety = claimed_now()
    channels.send(safety)
    assert "List-Unsubscribe" not in sink.mails[0]
    monkeypatch.setitem(kinds._registered, "collar_removed", replace(kinds.of("collar_removed"), stopped_by="homeowner"))
    rules.set_rule("company_email", value="office@larchlantern.example", valid_from=clock.office_today(), by=SYSTEM)

    channels.send(safety)

    # RFC 2369 3.2.
    assert sink.mails[1]["List-Unsubscribe"] == f"<mailto:office@larchlantern.example?subject=unsubscribe%20{safety.uid}>"
    assert all(part.defects == [] for part in sink.mails[1].walk())


@pytest.mark.parametrize(
    ("code", "result"),
    [
        # RFC 5321 4.2.1: 4yz passes, 5yz does not; RFC 4954 6: these four are about us, not about the mail.
        *((code, Result.PASSING) for code in (421, 432, 450, 451, 452, 454, 455, 530, 534, 535, 538)),
        *((code, Result.PERMANENT) for code in (500, 501, 504, 550, 551, 552, 553, 554, 555, 556)),
    ],
)
def test_each_status_of_the_mail_server_passes_or_does_not(code, result):
    assert of_status(code) == result
