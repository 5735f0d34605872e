"""Texts from templates: subject, plain text and HTML of a mail, or the words of a text message, in the recipient's language.

templates/notices/<kind>/subject.<lang>.txt, body.<lang>.txt, body.<lang>.html; text.<lang>.txt for a text message. Every template is
given: company (name, address, phone, email, licence), job, person, to_name, site (the address of the home), language, notice (the signal
word), no_backup_yet (the sentence, or "" once the backup is verified; in a text its few words), cautions (of those required, by name:
signal, text, kind), and what the kind's own `context` adds. A text is given brief (by name) and ends, too.
"""

from __future__ import annotations

import hashlib
import html as html_module
import re
from dataclasses import dataclass, field
from functools import cache
from typing import Any, NoReturn

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.template import Context, Engine, TemplateDoesNotExist

from jobs.core import cautions, files, phones, rules
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices import brief, gsm, kinds
from jobs.notices.kinds import Attachment
from jobs.notices.models import Channel, Message, State

LONGEST_SUBJECT = 250
MOST_PARTS = 4  # a longer text is a letter
NO_BACKUP = "no_backup_yet"
COMPANY = ("company_name", "company_address", "company_phone", "company_email", "company_licence")


@dataclass(frozen=True)
class Rendered:
    """What a message says. A text message has no subject, HTML or files."""

    subject: str
    text: str
    html: str
    attachments: tuple[Attachment, ...] = field(default=())

    @property
    def is_text(self) -> bool:
        return not self.html

    @property
    def size(self) -> gsm.Size:
        """How long it is as a text message."""
        return gsm.size(self.text.strip())

    @property
    def digest(self) -> str:
        """Names the text that a person read, so that another one is not released in its place."""
        parts = [self.subject, self.text, self.html, *(hashlib.sha256(part.data).hexdigest() for part in self.attachments)]
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:32]


class _UnknownName(str):
    """What Django puts where a template names something it was not given; a hole in a letter must be refused instead.

    Django asks whether the text holds "%s" and then fills in the name.
    """

    def __contains__(self, part: object) -> bool:
        return part == "%s"

    def __mod__(self, name: object) -> NoReturn:
        raise Refused(f"The text names “{name}”, which this kind of message does not know. The template must be mended.")


# How nobody on record is greeted. Such a message is shown to the office only; it leaves once somebody is named.
_UNNAMED = {"en": "homeowner", "es": "propietario"}


@cache
def _engine() -> Engine:
    return Engine(dirs=[str(settings.BASE_DIR / "templates")], string_if_invalid=_UnknownName("?"))


def made(message: Message) -> Rendered:
    """The texts and files as they are now. Raises Refused where a template is missing or names what it was not given, or where a
    text lacks a sentence that it must have.
    """
    kind = kinds.of(message.kind)
    names = context_of(message)
    if message.channel == Channel.TEXT:
        return _made_text(message, names)
    subject = " ".join(_text(message, "subject", "txt", names).split())
    text = _tidy(_text(message, "body", "txt", names))
    html = _text(message, "body", "html", names).strip() + "\n"
    if not subject or len(subject) > LONGEST_SUBJECT:
        raise Refused(f"The subject has {len(subject)} letters; 1 to {LONGEST_SUBJECT} are wanted.")
    _refuse_missing(message, text=text, html=html)
    return Rendered(subject, text, html, tuple(kind.attachments(message)))


def _made_text(message: Message, names: dict[str, Any]) -> Rendered:
    """One line, in letters that every telephone has where that is possible."""
    text = gsm.plain(_flat(_text(message, "text", "txt", names)))
    size = gsm.size(text)
    if not 1 <= size.parts <= MOST_PARTS:
        raise Refused(f"The text would take {size.parts} parts; 1 to {MOST_PARTS} are wanted.")
    for sentence in _brief_of(message):
        if not _says(text, sentence):
            raise Refused(f"The text lacks words that must stand in it: “{sentence}” The template must be mended.")
    return Rendered("", text, "")


def frozen(message: Message) -> Rendered:
    """What was released, word for word."""
    parts = [Attachment(part.name, part.content_type, files.read(part.file)) for part in message.attachments.select_related("file")]
    return Rendered(message.subject, message.text, message.html, tuple(parts))


def context_of(message: Message) -> dict[str, Any]:
    told = {name: cautions.of(name) for name in _cautions_of(message)}
    always: dict[str, Any] = {
        "company": {name.removeprefix("company_"): str(value) for name, value in rules.several(*COMPANY).items()},
        "job": message.job,
        "person": message.person,
        "to_name": message.to_name or _UNNAMED[message.language],
        "site": message.job.site.line if message.job else "",
        "language": message.language,
        "notice": cautions.signal(cautions.Kind.NOTICE, message.language),
        "no_backup_yet": told[NO_BACKUP].text(message.language) if NO_BACKUP in told else "",
        "cautions": {
            name: {"signal": one.signal(message.language), "text": one.text(message.language), "kind": one.kind.value}
            for name, one in told.items()
        },
    }
    if message.channel == Channel.TEXT:
        always["no_backup_yet"] = brief.of(NO_BACKUP, message.language) if NO_BACKUP in told else ""
        always["brief"] = {name: brief.of(name, message.language) for name in brief.BRIEF}
        always["ends"] = "" if _texted_before(message) else brief.ends(message.language)
    return always | kinds.of(message.kind).context(message)


def _texted_before(message: Message) -> bool:
    """Whether an earlier text to this number went, or goes: the first one says how to end them."""
    earlier = Message.objects.filter(channel=Channel.TEXT, address=message.address)
    if message.pk:
        earlier = earlier.filter(pk__lt=message.pk)
    return earlier.exclude(state__in=[State.WITHDRAWN, State.FAILED]).exists()


def _cautions_of(message: Message) -> tuple[str, ...]:
    """Names of those that must stand in each text: the kind's own, and "no backup yet" in what goes to a home until it is verified."""
    kind, job = kinds.of(message.kind), message.job
    # A home whose contract was cancelled has no backup either, and may think that it has.
    if job is None or not kind.to_home or job.state == S.BACKUP_VERIFIED:
        return kind.required
    return (NO_BACKUP, *(name for name in kind.required if name != NO_BACKUP))


def required_of(message: Message) -> list[str]:
    """The sentences that must stand in each text, in the recipient's language."""
    return [cautions.of(name).text(message.language) for name in _cautions_of(message)]


def _brief_of(message: Message) -> list[str]:
    """The few words that must stand in a text message: of "no backup yet", and of the cautions that its kind names."""
    names = [name for name in _cautions_of(message) if name == NO_BACKUP]
    return [brief.of(name, message.language) for name in (*names, *kinds.of(message.kind).required_in_text)]


def _says(text: str, sentence: str) -> bool:
    return gsm.plain(sentence) in gsm.plain(_flat(text)) or sentence in text


def lacks_no_backup(message: Message) -> bool:
    """Whether the frozen text does not say that the home has no backup, and by now it must: it was verified as it was released."""
    if NO_BACKUP not in _cautions_of(message):
        return False
    if message.channel == Channel.TEXT:
        return not _says(message.text, brief.of(NO_BACKUP, message.language))
    return _flat(cautions.of(NO_BACKUP).text(message.language)) not in _flat(message.text)


def _refuse_missing(message: Message, *, text: str, html: str) -> None:
    for sentence in required_of(message):
        for words in (text, _words_of(html)):
            if _flat(sentence) not in _flat(words):
                raise Refused(f"The text lacks a sentence that must stand in it: “{sentence}” The template must be mended.")


def _words_of(html: str) -> str:
    return html_module.unescape(re.sub(r"<[^>]*>", " ", html))


def _flat(words: str) -> str:
    return " ".join(words.split())


def _text(message: Message, part: str, ending: str, names: dict[str, Any]) -> str:
    name = f"notices/{message.kind}/{part}.{message.language}.{ending}"
    try:
        template = _engine().get_template(name)
    except TemplateDoesNotExist as missing:
        raise Refused(f"There is no text for this message: {missing} is missing.") from None
    # Plain text is not HTML: an apostrophe stays one.
    return template.render(Context(names, autoescape=ending == "html"))


def _tidy(text: str) -> str:
    """Without the holes that tags on lines of their own leave."""
    lines = [line.rstrip() for line in text.strip().splitlines()]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)) + "\n"


def refuse_unsendable(message: Message) -> None:
    """Refuse an address that nothing can go to; one with a line break could smuggle further recipients in."""
    address = message.address
    if message.channel == Channel.TEXT:
        _refuse_number(message)
        return
    if not address:
        raise Refused(f"{message.to_name} has no e-mail address. Enter one, or telephone and withdraw this message.")
    if any(letter in address + message.to_name for letter in "\r\n\0"):
        raise Refused("The address or name holds a line break; enter it anew, on one line.")
    try:
        validate_email(address)
        address.encode("ascii")
    except (ValidationError, UnicodeEncodeError):
        raise Refused(f"“{address}” is not an e-mail address that mail can go to; wanted one such as name@place.example.") from None


def _refuse_number(message: Message) -> None:
    if not message.address:
        raise Refused(f"{message.to_name} has no telephone number. Enter one, or withdraw this message.")
    try:
        known = phones.e164(message.address)
    except ValueError as fault:
        raise Refused(str(fault)) from fault
    if known.extension or known.number != message.address:
        raise Refused(f"“{message.address}” is not a number that a text can go to; wanted one such as +13035550142.")
