"""What we send is read by nobody on its way: a mail server or gateway whose certificate is not trusted gets nothing."""

from __future__ import annotations

import datetime as dt
import ipaddress
import ssl
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from jobs.notices import channels, texts
from jobs.notices.models import Message
from jobs.notices.outcome import Result
from tests.notices.gateway import running
from tests.notices.make import claimed, free_port, noon_zone

pytestmark = pytest.mark.real_clock


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for 127.0.0.1 that signs itself, with its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "far end of the tests")])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    plain = serialization.NoEncryption()
    path = tmp_path_factory.mktemp("tls") / "far.pem"
    path.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
        + made.public_bytes(serialization.Encoding.PEM)
    )
    return path


def context_of(certificate: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    return context


class Sink:
    def __init__(self) -> None:
        self.sealed: list[bool] = []

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the server calls it so
        self.sealed.append(session.ssl is not None)
        return "250 taken"


@pytest.fixture
def sink(settings: Any, certificate: Path) -> Iterator[Sink]:
    handler, port = Sink(), free_port()
    controller = Controller(handler, hostname="127.0.0.1", port=port, tls_context=context_of(certificate), require_starttls=True)
    controller.start()
    settings.CAPTURE_MAIL = False
    settings.EMAIL = {"host": "127.0.0.1", "port": port, "user": "", "password": "", "ssl": False, "starttls": True}
    yield handler
    controller.stop()


@pytest.mark.django_db
def test_a_mail_goes_sealed_to_a_server_whose_certificate_is_trusted(sink, certificate, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate))

    assert channels.send(claimed(zone=noon_zone())).result == Result.SENT

    assert sink.sealed == [True]


@pytest.mark.django_db
def test_a_mail_server_whose_certificate_is_not_trusted_gets_nothing_and_the_mail_stays(sink):
    outcome = channels.send(claimed(zone=noon_zone()))

    assert outcome.result == Result.PASSING
    assert "certificate verify failed" in outcome.words
    assert sink.sealed == []


@pytest.mark.parametrize("trusted", [True, False])
def test_a_text_goes_only_to_a_gateway_whose_certificate_is_trusted(settings, certificate, monkeypatch, trusted):
    if trusted:
        monkeypatch.setenv("SSL_CERT_FILE", str(certificate))
    with running(tls=context_of(certificate)) as gateway:
        settings.CAPTURE_TEXTS = False
        settings.TEXT_GATEWAY = gateway.settings | {"url": f"https://127.0.0.1:{gateway.port}/"}

        outcome = texts.send(Message(channel="text", address="+13035550142", text="The call is at 10:00 a.m."))

    assert outcome.result == (Result.SENT if trusted else Result.PASSING)
    assert len(gateway.requests) == trusted
