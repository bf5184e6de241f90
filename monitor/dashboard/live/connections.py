"""Connection timeouts: requests that never finish, responses that are never read."""

from __future__ import annotations

import asyncio
import logging
from collections import Counter
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.exceptions import InvalidState

from monitor.dashboard.security.attempt_limits import is_loopback, key_of

log = logging.getLogger(__name__)

HEAD_WITHIN_S = 10.0
"""From the first byte (or the opening) of a connection to the end of the request's head."""

STUCK_S = 30.0
"""A response of which nothing was read for this long is abandoned."""

MOST_CONNECTIONS = 64
"""Open connections of one device; a browser opens six, and a hall's router may stand for several devices."""

_open: Counter[str] = Counter()


class PatientProtocol(H11Protocol):
    """The web server's HTTP/1.1 connection, with timeouts."""

    _head_timer: asyncio.TimerHandle | None = None
    _stuck_timer: asyncio.TimerHandle | None = None
    _key = ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count the connection and wait for its first request."""
        super().connection_made(transport)
        address = self.client[0] if self.client else ""
        self._key = "" if is_loopback(address) else key_of(address)
        if self._key:
            _open[self._key] += 1
            if _open[self._key] > MOST_CONNECTIONS:
                transport.abort()
                return
        self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stop_timers()
        self._uncount()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take bytes; the clock of the head stops once it is whole."""
        if self._head_timer is None and (self.cycle is None or self.cycle.response_complete):
            self._wait_for_head()
        scope_before = self.scope
        super().data_received(data)
        if self.scope is not scope_before and self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def handle_websocket_upgrade(self, event: Any) -> None:
        """Hand the connection over to a feed, which has limits of its own."""
        self._stop_timers()
        self._uncount()
        super().handle_websocket_upgrade(event)

    def pause_writing(self) -> None:
        """Start the timeout for a client that has stopped reading."""
        super().pause_writing()
        if self._stuck_timer is None:
            self._stuck_timer = self.loop.call_later(STUCK_S, self._give_up, "took no answer")

    def resume_writing(self) -> None:
        """Go on."""
        if self._stuck_timer is not None:
            self._stuck_timer.cancel()
            self._stuck_timer = None
        super().resume_writing()

    def _wait_for_head(self) -> None:
        self._head_timer = self.loop.call_later(HEAD_WITHIN_S, self._give_up, "did not finish its request")

    def _give_up(self, why: str) -> None:
        log.info("A connection that %s was closed.", why)
        self.transport.abort()

    def _uncount(self) -> None:
        key, self._key = self._key, ""
        if key:
            _open[key] -= 1
            if _open[key] <= 0:
                del _open[key]

    def _stop_timers(self) -> None:
        for timer in (self._head_timer, self._stuck_timer):
            if timer is not None:
                timer.cancel()
        self._head_timer = self._stuck_timer = None


NO_TEXT = 1007
"""WebSocket close code for text that is none (RFC 6455 sections 7.4.1 and 8.1)."""


class FeedProtocol(WebSocketsSansIOProtocol):
    """The web server's WebSocket connection; a client that keeps sending after the close is disconnected."""

    def data_received(self, data: bytes) -> None:
        """Take bytes."""
        try:
            super().data_received(data)
        except InvalidState:
            self.transport.close()

    def send_receive_event_to_app(self) -> None:
        """Hand a message on; text that is not UTF-8 ends the feed without flooding the log."""
        if self.curr_msg_data_type == "text" and not self.close_sent:
            try:
                b"".join(self.frames).decode()
            except UnicodeDecodeError:
                log.info("A feed that sent text which is no UTF-8 was closed.")
                self.frames = []
                self.conn.send_close(NO_TEXT)
                self.handle_parser_exception()
                return
        super().send_receive_event_to_app()
