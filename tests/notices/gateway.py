"""A text gateway of the tests' own: takes, refuses, is slow, drops or answers garbage, as it is told. Counts what reached it whole."""

from __future__ import annotations

import json
import socket
import ssl
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

SECRET = "a secret of the gateway"


@dataclass(frozen=True)
class Answer:
    """What the gateway does with a request it has read. takes: whether the far end has the text afterwards."""

    status: int = 200
    body: bytes = b'{"id": "G-1"}'
    headers: tuple[tuple[str, str], ...] = ()
    takes: bool = True
    drops: bool = False  # breaks off without a word
    waits: float = 0.0  # seconds before it answers, or until it is closed


TAKEN = Answer()


@dataclass
class Gateway:
    port: int = 0
    answer: Callable[[dict[str, Any]], Answer] = lambda told: TAKEN
    taken: Counter[str] = field(default_factory=Counter)  # by Idempotency-Key
    requests: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)
    closed: threading.Event = field(default_factory=threading.Event)

    @property
    def settings(self) -> dict[str, Any]:
        """As config/environment.py gives them; plain http, which it refuses, is for tests."""
        return {
            "url": f"http://127.0.0.1:{self.port}/messages?v=1",
            "secret": SECRET,
            "from": "+13035550100",
            "request": {"to": "{to}", "from": "{from}", "content": {"text": "{text}"}, "reference": "{uid}", "parts": [1, "{text}"]},
            "form": False,
            "header": "Authorization: Bearer {secret}",
        }


@contextmanager
def running(*, tls: ssl.SSLContext | None = None) -> Iterator[Gateway]:
    gateway = Gateway()
    lock = threading.Lock()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            answer = gateway.answer(json.loads(body) if body.startswith(b"{") else {})
            with lock:
                gateway.requests.append((self.path, dict(self.headers), body))
                if answer.takes:
                    gateway.taken[self.headers["Idempotency-Key"]] += 1
            if answer.waits:
                gateway.closed.wait(answer.waits)
            self.close_connection = True
            if answer.drops:
                self.connection.shutdown(socket.SHUT_RDWR)
                return
            self.send_response(answer.status)
            for name, value in (*answer.headers, ("Content-Length", str(len(answer.body)))):
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(answer.body)

        def do_GET(self) -> None:
            raise AssertionError("a redirect was followed")

        def log_message(self, *words: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = True

        def handle_error(self, request: object, client_address: object) -> None:
            pass  # a client that gave up before it was answered

    server = Server(("127.0.0.1", 0), Handler)
    gateway.port = server.server_address[1]
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield gateway
    finally:
        gateway.closed.set()
        server.shutdown()
        server.server_close()
        thread.join(5)
