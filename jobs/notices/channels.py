"""How a message leaves: by e-mail over SMTP, or captured, to be read on its page only; text messages go by texts.py.

Nothing here touches the outbox; `send` takes a claimed message and says what came of it.
"""

from __future__ import annotations

import re
import smtplib
import ssl
from collections.abc import Iterable
from email.headerregistry import Address
from email.message import EmailMessage
from email.message import Message as Part
from email.policy import SMTP
from email.utils import format_datetime
from typing import Any

from django.conf import settings

from jobs.core import clock, rules
from jobs.core.refusals import Refused
from jobs.notices import kinds, rendering, texts
from jobs.notices.kinds import Attachment
from jobs.notices.models import Channel, Message
from jobs.notices.outcome import Outcome, Result, of_status

# For each answer of the server. All answers of one mail together stay inside the lease of five minutes.
SECONDS = 20
# Not every server takes eight bits.
POLICY = SMTP.clone(cte_type="7bit")


def send(message: Message) -> Outcome:
    """Hand the frozen message over, once. Never called inside a transaction."""
    if message.channel == Channel.TEXT:
        return texts.send(message)
    try:
        mail = mail_of(message)
    except (Refused, ValueError) as fault:
        return Outcome(Result.PERMANENT, f"It could not be made into a mail: {fault}")
    if settings.CAPTURE_MAIL:
        return Outcome(Result.CAPTURED, "captured")
    return _by_smtp(mail, to=message.address)


def mail_of(message: Message) -> EmailMessage:
    """The mail as it leaves (RFC 5322, 2045-2049): plain text, HTML beside it, files. Raises Refused or ValueError."""
    rendering.refuse_unsendable(message)
    shown = rendering.frozen(message)
    company, answers = (str(word) for word in rules.several("company_name", "company_email").values())
    mail = EmailMessage(policy=POLICY)
    mail["From"] = _named(company, settings.EMAIL_FROM)
    mail["To"] = _named(message.to_name, message.address)
    mail["Subject"] = shown.subject
    mail["Date"] = format_datetime(clock.now())
    # The same on every copy: where one arrives twice, the reader's program can show it once.
    mail["Message-ID"] = message.message_id
    # RFC 3834: no vacation notice answers this.
    mail["Auto-Submitted"] = "auto-generated"
    if answers:
        mail["Reply-To"] = answers
        if _may_end(message):
            # RFC 2369 3.2: the reader's program offers it; the office records what comes.
            mail["List-Unsubscribe"] = f"<mailto:{answers}?subject=unsubscribe%20{message.uid}>"
    mail.set_content(shown.text)
    mail.add_alternative(shown.html, subtype="html")
    for part in shown.attachments:
        _attach(mail, part)
    # Last: what begins with Content moves into a part whenever one is added.
    mail["Content-Language"] = message.language
    return mail


def _may_end(message: Message) -> bool:
    """Whether the reader may ask for no more of these: not of safety messages, and a utility's desk or a lender has no list to leave."""
    kind = kinds.find(message.kind)
    return kind is not None and kind.to_home and kind.stopped_by is not None


def _named(name: str, address: str) -> Address:
    return Address(display_name=name, addr_spec=address)


def _attach(mail: EmailMessage, part: Attachment) -> None:
    main, sub, parameters = _type_of(part.content_type)
    if (main, sub) == ("text", "calendar"):
        # RFC 6047: an invitation is another form of the text, and its part names the method.
        _alternatives(mail).add_alternative(part.data.decode(), subtype="calendar", params=parameters)
    else:
        mail.add_attachment(part.data, maintype=main, subtype=sub, filename=part.name)


def _alternatives(mail: EmailMessage) -> EmailMessage:
    """The part that holds text and HTML: the mail itself, or inside it once a file was added."""
    for part in mail.walk():
        if part.get_content_type() == "multipart/alternative":
            assert isinstance(part, EmailMessage)
            return part
    raise ValueError("The mail has no texts to stand beside.")


def _type_of(content_type: str) -> tuple[str, str, dict[str, str]]:
    header = Part()
    header["Content-Type"] = content_type
    named = header.get_params() or []
    return header.get_content_maintype(), header.get_content_subtype(), {name: word for name, word in named[1:] if name != "charset"}


class _Connection(smtplib.SMTP):
    """One conversation that knows how far it came: whether the mail was handed over before something broke."""

    handed_over = False

    def hand_over(self, mail: EmailMessage, *, to: str) -> None:
        self._expect(self.mail(settings.EMAIL_FROM), {250})
        self._expect(self.rcpt(to), {250, 251})
        self._expect(self.docmd("DATA"), {354})
        # From here on a silence can mean anything: the server may have taken the mail and lost the way back.
        self.handed_over = True
        # RFC 5321 4.5.2: a line of the mail that begins with a dot gets one more.
        self.send(re.sub(rb"(?m)^\.", b"..", mail.as_bytes()) + b".\r\n")
        code, words = self.getreply()
        if not (code == 250 or 400 <= code < 600):
            # RFC 5321 4.2.1 knows no other end of DATA: garbage is no refusal.
            raise smtplib.SMTPException(f"it answered {code} {words.decode('utf-8', 'replace')[:100]}")
        self.handed_over = False
        self._expect((code, words), {250})

    @staticmethod
    def _expect(answer: tuple[int, bytes], wanted: Iterable[int]) -> None:
        code, words = answer
        if code not in wanted:
            raise smtplib.SMTPResponseException(code, words)


class _Sealed(smtplib.SMTP_SSL, _Connection):
    """The same, with TLS from the start."""


def _by_smtp(mail: EmailMessage, *, to: str) -> Outcome:
    try:
        connection = _connected()
    except smtplib.SMTPResponseException as refusal:
        # The server refuses us, not this mail: it stays, and somebody mends the settings.
        return Outcome(Result.PASSING, f"The mail server does not take mail from us: {_said(refusal)}")
    except (OSError, smtplib.SMTPException) as fault:
        return Outcome(Result.PASSING, f"The mail server cannot be reached: {fault}")
    try:
        connection.hand_over(mail, to=to)
    except (OSError, smtplib.SMTPException) as fault:
        if isinstance(fault, smtplib.SMTPResponseException) and not connection.handed_over:
            return Outcome(of_status(fault.smtp_code), f"The mail server refused it: {_said(fault)}")
        if connection.handed_over:
            return Outcome(Result.UNKNOWN, f"The mail server was given the message and did not answer: {fault}")
        return Outcome(Result.PASSING, f"The mail server broke off before it had the message: {fault}")
    finally:
        _close(connection)
    return Outcome(Result.SENT, f"taken by {_server()['host']}")


def _server() -> dict[str, Any]:
    server: dict[str, Any] | None = settings.EMAIL
    assert server is not None, "without a mail server everything is captured"
    return server


def _connected() -> _Connection:
    server = _server()
    connection: _Connection
    if server["ssl"]:
        connection = _Sealed(server["host"], server["port"], timeout=SECONDS, context=ssl.create_default_context())
    else:
        connection = _Connection(server["host"], server["port"], timeout=SECONDS)
    try:
        if server["starttls"]:
            connection.starttls(context=ssl.create_default_context())
        connection.ehlo_or_helo_if_needed()
        if server["user"]:
            connection.login(server["user"], server["password"])
    except BaseException:
        _close(connection)
        raise
    return connection


def _close(connection: smtplib.SMTP) -> None:
    # Without QUIT: what the server answers to it changes nothing, and waiting for it could.
    connection.close()


def _said(refusal: smtplib.SMTPResponseException) -> str:
    words = refusal.smtp_error.decode("utf-8", "replace") if isinstance(refusal.smtp_error, bytes) else str(refusal.smtp_error)
    return f"{refusal.smtp_code} {' '.join(words.split())}"
