"""Clients that send too much, too slowly or not at all: over real sockets, to the server as the program sets it up."""

from __future__ import annotations

import contextlib
import json
import logging
import socket
import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from authorized_hall import COACH, Hall, hall
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

from monitor.dashboard.live import connections
from monitor.dashboard.live.connections import FeedProtocol, PatientProtocol
from monitor.dashboard.security import security_middleware
from monitor.dashboard.security.security_middleware import MOST_BODY_BYTES
from monitor.station.page_server import MOST_FEED_MESSAGE_BYTES

DEADLINE_S = 20.0


@contextlib.contextmanager
def listening(place: Hall) -> Iterator[int]:
    """Serve a hall's page on the loopback address; devices are told apart by the door's own rules there."""
    config = uvicorn.Config(
        place.app, http=PatientProtocol, ws=FeedProtocol, log_level="warning", lifespan="off", log_config=None,
        ws_max_size=MOST_FEED_MESSAGE_BYTES, ws_per_message_deflate=False, timeout_graceful_shutdown=1,
    )  # fmt: skip
    server = uvicorn.Server(config)
    listener = socket.create_server(("127.0.0.1", 0))
    listener.setsockopt(
        socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 16
    )  # of its connections too: full after a few answers
    ready = threading.Event()
    startup = server.startup

    async def messages(sockets=None) -> None:
        await startup(sockets=sockets)
        ready.set()

    server.startup = messages  # type: ignore[method-assign]
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        assert ready.wait(DEADLINE_S)
        yield listener.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(DEADLINE_S)
        listener.close()


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    with hall(tmp_path_factory.mktemp("hall"), passcodes=False) as place, listening(place) as number:
        yield number


def answer_to(port: int, request: bytes) -> bytes:
    """Return everything that comes back until the server closes."""
    with socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) as wire:
        wire.sendall(request)
        return read_all(wire)


def read_all(wire: socket.socket) -> bytes:
    got = b""
    with contextlib.suppress(ConnectionResetError):
        while piece := wire.recv(65536):
            got += piece
    return got


def head(port: int, *lines: str, method: str = "PUT") -> bytes:
    first = f"{method} /api/settings HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n"
    return (first + "".join(f"{line}\r\n" for line in lines) + "\r\n").encode()


def test_a_body_that_is_declared_too_large_is_refused_before_it_is_read(port):
    answer = answer_to(port, head(port, f"Content-Length: {MOST_BODY_BYTES + 1}"))
    assert answer.startswith(b"HTTP/1.1 413")
    assert b'"too-large"' in answer


def test_a_body_that_grows_without_end_is_cut_off(port):
    chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) as wire:
        wire.sendall(head(port, "Transfer-Encoding: chunked"))
        sent = 0
        with contextlib.suppress(ConnectionError):
            for _ in range(200):
                wire.sendall(chunk)
                sent += 0x10000
        answer = read_all(wire)
    # The rest may already lie in the system's buffers, or the reset may overtake the answer.
    assert answer.startswith(b"HTTP/1.1 413") or (not answer and sent < 200 * 0x10000)


def test_a_body_that_does_not_come_is_given_up(port, monkeypatch):
    monkeypatch.setattr(security_middleware, "BODY_WITHIN_S", 0.2)
    answer = answer_to(port, head(port, "Content-Length: 100") + b'{"alpha')
    assert answer.startswith(b"HTTP/1.1 408")
    assert b'"too-slow"' in answer


def test_a_request_that_never_ends_is_cut_off_and_others_are_served(port, monkeypatch):
    monkeypatch.setattr(connections, "HEAD_WITHIN_S", 0.5)
    slow = [socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) for _ in range(40)]
    try:
        for number, wire in enumerate(slow):
            if number % 2:
                wire.sendall(b"GET /api/health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
        began_s = time.monotonic()
        answer = answer_to(port, head(port, "Connection: close", method="GET"))
        assert answer.startswith(b"HTTP/1.1 200")
        assert [read_all(wire) for wire in slow] == [b""] * 40
        assert time.monotonic() - began_s < DEADLINE_S
    finally:
        for wire in slow:
            wire.close()


def test_a_request_that_drips_is_cut_off_too(port, monkeypatch):
    monkeypatch.setattr(connections, "HEAD_WITHIN_S", 0.3)
    with socket.create_connection(("127.0.0.1", port), timeout=0.02) as wire:
        wire.sendall(b"GET /api/health HTTP/1.1\r\n")
        assert cut_off(wire, b"X: y\r\n")


def cut_off(wire: socket.socket, piece: bytes) -> bool:
    """Send a piece again and again; say whether the server let go before the deadline."""
    deadline_s = time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline_s:
        try:
            wire.sendall(piece)
            if wire.recv(1) == b"":
                return True
        except TimeoutError:
            continue
        except ConnectionError:
            return True
    return False


def test_a_patient_browser_keeps_its_connection(port, monkeypatch):
    """The clock of the head must not run while nothing is asked, nor cut the second request of a connection."""
    monkeypatch.setattr(connections, "HEAD_WITHIN_S", 0.2)
    with socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) as wire:
        for _ in range(3):
            wire.sendall(head(port, method="GET"))
            got = b""
            while b'"bodyweight_N":null}' not in got:
                got += wire.recv(65536)
            threading.Event().wait(0.3)  # longer than the clock of the head


def test_too_many_connections_of_one_device_are_closed(tmp_path, monkeypatch):
    monkeypatch.setattr(connections, "is_loopback", lambda address: False)
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 5)
    with hall(tmp_path, passcodes=False) as place, listening(place) as port:
        held = [socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) for _ in range(5)]
        for wire in held[:1]:
            wire.sendall(head(port, method="GET"))
            assert wire.recv(12).startswith(b"HTTP/1.1 200")
        assert answer_to(port, head(port, method="GET")) == b""
        for wire in held:
            wire.close()
        deadline_s = time.monotonic() + DEADLINE_S
        while not answer_to(port, head(port, "Connection: close", method="GET")).startswith(b"HTTP/1.1 200"):
            assert time.monotonic() < deadline_s
        assert sum(connections._open.values()) <= 1


def test_an_answer_that_is_not_taken_is_given_up(port, monkeypatch):
    monkeypatch.setattr(connections, "STUCK_S", 0.3)
    with socket.socket() as wire:
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        wire.settimeout(DEADLINE_S)
        wire.connect(("127.0.0.1", port))
        request = f"GET /static/css/page.css HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
        # Pipelined requests, none of whose answers is read, until the server has let go.
        with pytest.raises(ConnectionError):
            send_for_ever(wire, request * 50)


def send_for_ever(wire: socket.socket, piece: bytes) -> None:
    while True:
        wire.sendall(piece)


def test_a_screen_that_sends_a_huge_message_is_dropped(port):
    with connect(f"ws://127.0.0.1:{port}/api/feed", open_timeout=DEADLINE_S) as feed:
        feed.recv(timeout=DEADLINE_S)
        feed.send("x" * (MOST_FEED_MESSAGE_BYTES + 1))
        with pytest.raises(ConnectionClosed) as ended:
            read_on(feed)
    assert ended.value.rcvd is None or ended.value.rcvd.code == 1009  # message too big, RFC 6455 section 7.4.1


@pytest.mark.parametrize("pieces", [[b"\xff\xfe"], [b"whole", b"\xed\xa0", b"\x80"]], ids=["one frame", "in pieces"])
def test_text_that_is_none_ends_its_feed_and_is_no_fault_of_the_program(port, caplog, pieces):
    with connect(f"ws://127.0.0.1:{port}/api/feed", open_timeout=DEADLINE_S) as feed:
        feed.recv(timeout=DEADLINE_S)
        feed.send(pieces if len(pieces) > 1 else pieces[0], text=True)
        with pytest.raises(ConnectionClosed) as ended:
            read_on(feed)
    assert ended.value.rcvd.code == 1007  # not consistent with its type, RFC 6455 sections 7.4.1 and 8.1
    assert [one.getMessage() for one in caplog.records if one.levelno > logging.INFO] == []


def read_on(feed: ClientConnection) -> None:
    deadline_s = time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline_s:
        feed.recv(timeout=DEADLINE_S)


def test_one_device_may_have_so_many_feeds_and_no_more(tmp_path, monkeypatch):
    monkeypatch.setattr(security_middleware, "MOST_FEEDS", 3)
    with hall(tmp_path) as place, listening(place) as port:
        token = place.access.sign_in(COACH[0], "coach", "test")
        headers = {"Cookie": f"hang_monitor={token}"}
        with contextlib.ExitStack() as stack:
            for _ in range(3):
                feed = stack.enter_context(connect(f"ws://127.0.0.1:{port}/api/feed", additional_headers=headers))
                assert json.loads(feed.recv(timeout=DEADLINE_S))["type"] == "beat"
            with (
                pytest.raises(Exception, match="403"),
                connect(f"ws://127.0.0.1:{port}/api/feed", additional_headers=headers),
            ):
                pass
            assert place.hub.screens == 3


def test_a_feed_of_a_device_that_is_signed_out_ends_and_is_no_fault_of_the_program(tmp_path, caplog, monkeypatch):
    monkeypatch.setattr(security_middleware, "LOOK_AGAIN_S", 0.05)
    with hall(tmp_path) as place, listening(place) as port:
        headers = {"Cookie": f"hang_monitor={place.access.sign_in(COACH[0], 'coach', 'lost tablet')}"}
        with connect(f"ws://127.0.0.1:{port}/api/feed", additional_headers=headers, open_timeout=DEADLINE_S) as feed:
            feed.recv(timeout=DEADLINE_S)
            place.access.sign_out(place.access.sign_ins()[0].id)
            with pytest.raises(ConnectionClosed) as ended:
                read_on(feed)
    assert (ended.value.rcvd.code, ended.value.rcvd.reason) == (1008, "sign-in-needed")
    assert [one.getMessage() for one in caplog.records if one.levelno > logging.INFO] == []


@pytest.mark.parametrize(
    "request_bytes",
    [b"\x00" * 100, b"GET / HTTP/9.9\r\n\r\n", b"GET /%00 HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n",
     b"POST /api/sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: -5\r\n\r\n",
     b"GET /api/health HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n",
     b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"],
    ids=["zeros", "version", "nul", "negative length", "two hosts", "long line", "tls to plain"],
)  # fmt: skip
def test_what_is_no_good_request_is_refused_and_the_server_lives_on(port, request_bytes):
    with socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) as wire:
        wire.sendall(request_bytes)
        wire.shutdown(socket.SHUT_WR)
        assert not read_all(wire).startswith(b"HTTP/1.1 2")
    assert answer_to(port, head(port, "Connection: close", method="GET")).startswith(b"HTTP/1.1 200")
