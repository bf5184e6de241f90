"""The live feed over real sockets: upgrade requests and WebSocket frames of all sorts, whole and broken (RFC 6455)."""

from __future__ import annotations

import contextlib
import json
import logging
import random
import socket
import threading
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import uvicorn

from monitor.dashboard.live.connections import FeedProtocol, PatientProtocol
from monitor.station.page_server import MOST_FEED_MESSAGE_BYTES
from tests.fuzz.whole_page import at_the_machine, whole_page

DEADLINE_S = 20.0
TEXTS = (
    b'{"type":"picture"}', b"[" * 5000, b"\xff\xfe", b"\xed\xa0\x80", b"null", b"0", b"", b"{}" * 3000, b"\0" * 200,
)  # fmt: skip


class _Ear(logging.Handler):
    """Keeps what the program itself calls an error."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.heard: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.heard.append(record.getMessage() + (f" {record.exc_info[1]!r}" if record.exc_info else ""))


class Screenful:
    """A page that is served for real; ``try_one`` connects a screen that says whatever the numbers say."""

    def __init__(self, folder: Path) -> None:
        self._stack = contextlib.ExitStack()
        self._folder = folder
        self._ear = _Ear()

    def __enter__(self) -> Self:
        logging.disable(logging.NOTSET)
        root = logging.getLogger()
        root.addHandler(self._ear)
        self._stack.callback(root.removeHandler, self._ear)
        app, _ = self._stack.enter_context(whole_page(self._folder))
        config = uvicorn.Config(
            at_the_machine(app), http=PatientProtocol, ws=FeedProtocol, log_config=None, log_level="error",
            lifespan="off", ws_max_size=MOST_FEED_MESSAGE_BYTES, ws_per_message_deflate=False,
            timeout_graceful_shutdown=1,
        )  # fmt: skip
        server = uvicorn.Server(config)
        listener = self._stack.enter_context(socket.create_server(("127.0.0.1", 0)))
        self.port: int = listener.getsockname()[1]
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()

        def end() -> None:
            server.should_exit = True
            thread.join(DEADLINE_S)

        self._stack.callback(end)
        return self

    def __exit__(self, *of: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._stack.__exit__(*of)  # type: ignore[arg-type]

    def try_one(self, rng: random.Random) -> list[str]:
        """Connect, talk nonsense, leave; return what was wrong afterwards."""
        self._ear.heard.clear()
        with (
            socket.create_connection(("127.0.0.1", self.port), timeout=DEADLINE_S) as wire,
            contextlib.suppress(OSError),
        ):
            wire.sendall(_upgrade(self.port, rng))
            for _ in range(rng.randint(0, 12)):
                wire.sendall(_frame(rng))
            if rng.random() < 0.5:
                wire.sendall(_sealed(0x88, b"\x03\xe8", b"\0\0\0\0", None))
            wire.shutdown(socket.SHUT_WR)
            while wire.recv(65_536):
                pass
        wrong = [f"an error in the log: {line[:300]}" for line in self._ear.heard]
        health = self._health()
        if health is None or "ok" not in health:
            wrong.append(f"the page no longer answers: {health}")
        return wrong

    def _health(self) -> dict[str, Any] | None:
        with socket.create_connection(("127.0.0.1", self.port), timeout=DEADLINE_S) as wire:
            wire.sendall(b"GET /api/health HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
            answer = b""
            while piece := wire.recv(65_536):
                answer += piece
        head, _, body = answer.partition(b"\r\n\r\n")
        return json.loads(body) if head.startswith(b"HTTP/1.1 200") else None


def _upgrade(port: int, rng: random.Random) -> bytes:
    """Return a request for the feed, mostly a good one."""
    lines = {
        "Host": f"127.0.0.1:{port}",
        "Upgrade": "websocket",
        "Connection": "Upgrade",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # of RFC 6455 section 1.3
        "Sec-WebSocket-Version": "13",
    }
    if rng.random() < 0.3:
        name = rng.choice([*lines, "Sec-WebSocket-Extensions", "Sec-WebSocket-Protocol", "Origin", "Content-Length"])
        odd = ["", "0", "x" * 5000, "permessage-deflate; client_max_window_bits=99", "\xff", "a,b,,c", "8", "null"]
        if rng.random() < 0.3:
            lines.pop(name, None)
        else:
            lines[name] = rng.choice(odd)
    request = "GET /api/feed HTTP/1.1\r\n" + "".join(f"{k}: {v}\r\n" for k, v in lines.items()) + "\r\n"
    return request.encode("latin-1")


def _frame(rng: random.Random) -> bytes:
    if rng.random() < 0.15:
        return rng.randbytes(rng.randint(1, 40))
    first = rng.choice([0x81, 0x82, 0x80, 0x01, 0x02, 0x00, 0x88, 0x89, 0x8A, 0x09, 0xC1, 0xB3, rng.randrange(256)])
    payload = rng.choice([*TEXTS, rng.randbytes(rng.randint(0, 300)), rng.randbytes(70_000)])
    if first & 0x08 and rng.random() < 0.7:
        payload = payload[:125]
    mask = None if rng.random() < 0.1 else rng.randbytes(4)
    lie = rng.choice([None] * 9 + [2**63, 2**64 - 1, 2**31, 0])
    return _sealed(first, payload, mask, lie)


def _sealed(first: int, payload: bytes, mask: bytes | None, lie: int | None) -> bytes:
    """Return a frame; ``lie`` is a length that is not the payload's."""
    size = len(payload) if lie is None else lie
    masked = 0x80 if mask is not None else 0
    if size < 126:
        head = bytes((first, masked | size))
    elif size < 2**16:
        head = bytes((first, masked | 126)) + size.to_bytes(2, "big")
    else:
        head = bytes((first, masked | 127)) + size.to_bytes(8, "big")
    if mask is None:
        return head + payload
    return head + mask + bytes(b ^ mask[i % 4] for i, b in enumerate(payload))
