"""The wire between a phone and the server, which can be cut: before a request arrives, or after it arrived and before its answer."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator

_PIECE = 65_536


class Wire:
    """Passes connections on to the server's port. `reach`: nothing arrives while it is cleared. `answers`: nothing comes back."""

    def __init__(self, port: int) -> None:
        self._server = ("127.0.0.1", port)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._lock = threading.Lock()
        self._open: set[socket.socket] = set()
        self._reach = self._answers = True
        self._swallowed = threading.Event()
        threading.Thread(target=self._listen, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._listener.getsockname()[1]}"

    def cut(self) -> None:
        """No reception: what is under way breaks off, and nothing new gets through."""
        with self._lock:
            self._reach = False
            ending = list(self._open)
        for one in ending:
            _end(one)

    def swallow_answers(self) -> None:
        """What is posted arrives and is done; the answer is lost on its way back, and with it the wire."""
        with self._lock:
            self._answers = False

    def wait_for_a_lost_answer(self) -> None:
        assert self._swallowed.wait(30), "no answer was lost"

    def mend(self) -> None:
        with self._lock:
            self._reach = self._answers = True

    def close(self) -> None:
        self.cut()
        self._listener.close()

    def _listen(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                phone, _ = self._listener.accept()
                if not self._reach:
                    _end(phone)
                    continue
                server = socket.create_connection(self._server)
                with self._lock:
                    self._open |= {phone, server}
                posted = threading.Event()
                threading.Thread(target=self._there, args=(phone, server, posted), daemon=True).start()
                threading.Thread(target=self._back, args=(server, phone, posted), daemon=True).start()

    def _there(self, phone: socket.socket, server: socket.socket, posted: threading.Event) -> None:
        with contextlib.suppress(OSError):
            while piece := phone.recv(_PIECE):
                if piece.startswith(b"POST "):
                    posted.set()
                elif piece.startswith(b"GET "):
                    posted.clear()
                server.sendall(piece)
        self._done(phone, server)

    def _back(self, server: socket.socket, phone: socket.socket, posted: threading.Event) -> None:
        with contextlib.suppress(OSError):
            while piece := server.recv(_PIECE):
                if not self._answers and posted.is_set():
                    self._swallowed.set()
                    self.cut()
                    break
                phone.sendall(piece)
        self._done(phone, server)

    def _done(self, *ends: socket.socket) -> None:
        for one in ends:
            _end(one)
        with self._lock:
            self._open -= set(ends)


def _end(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()


@contextlib.contextmanager
def wire(port: int) -> Iterator[Wire]:
    made = Wire(port)
    try:
        yield made
    finally:
        made.close()
