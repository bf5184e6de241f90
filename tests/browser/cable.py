"""A network between a page and a program that can be pulled out and put back."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator


class Cable:
    """Forwards connections to a port; ``cut`` ends all of them and lets no new one through, ``mend`` takes it back."""

    def __init__(self, to_port: int) -> None:
        self._to = ("127.0.0.1", to_port)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._whole = True
        self._ends: set[socket.socket] = set()
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Pull it out: every connection is reset, as when a router goes."""
        with self._lock:
            self._whole = False
            ends, self._ends = self._ends, set()
        for end in ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def mend(self) -> None:
        """Put it back."""
        self._whole = True

    def close(self) -> None:
        """End it for good."""
        self.cut()
        self._listener.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if not self._whole:
                near.close()
                continue
            try:
                far = socket.create_connection(self._to)
            except OSError:
                near.close()
                continue
            with self._lock:
                self._ends |= {near, far}
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(source, sink), daemon=True).start()

    def _carry(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            with self._lock:
                self._ends.discard(end)
            end.close()


@contextlib.contextmanager
def cable(to_port: int) -> Iterator[Cable]:
    """Lay a cable until the block ends."""
    one = Cable(to_port)
    try:
        yield one
    finally:
        one.close()
