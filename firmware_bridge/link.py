"""The live source: greets the board, requests echoes, watches for silence, reconnects."""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from queue import SimpleQueue
from types import TracebackType

from firmware_bridge.assembly import Assembly
from firmware_bridge.clock import HostClock, PromptestArrival
from firmware_bridge.counts import CountBlock
from firmware_bridge.decoder import LINK_NOTE, Decoder, Received
from firmware_bridge.errors import BridgeError
from firmware_bridge.events import BoardFacts, Counters, LinkCondition, LinkState, SourceEvent, Tap
from firmware_bridge.framing import seal
from firmware_bridge.journal import anchor_bytes, note_bytes
from firmware_bridge.messages import (
    FIRST_JOURNAL_KIND,
    AskEcho,
    AskHello,
    Echo,
    Hello,
    Message,
    Samples,
    SetRate,
    Start,
    Stop,
)
from firmware_bridge.ports import OpenPort, PortDescription, PortLost, describe, find, list_ports

__all__ = ["LinkSource", "PortDescription", "list_ports"]

_log = logging.getLogger(__name__)

SHORTEST_PAUSE_S = 0.2
LONGEST_PAUSE_S = 5.0
QUICK_ECHOES = 5
QUICK_ECHO_S = 0.23
ASK_AGAIN_S = 1.0
ANCHOR_S = 0.9
SHORTEST_SILENCE_REAL_S = 0.25
_MOST_PAIRS = 64
MOST_AHEAD_VALUES, MOST_AHEAD_EVENTS = 8_000_000, 100_000
"""What may wait for a slow reader: a quarter of an hour of eight channels at 1000 a second. Only a device that floods
the line gets there; its port then has to wait, instead of this machine's memory filling up."""


@dataclass(slots=True)
class _Connection:
    """State of one connection, from opening the port to losing it."""

    opened_ns: int
    next_echo_ns: int
    next_ask_ns: int
    echoes_sent: int = 0
    greeted: bool = False
    heard: bool = False
    last_sample_ns: int | None = None
    tokens: set[bytes] = field(default_factory=set)
    segment: int = -1
    anchored_ns: int | None = None
    promptest: PromptestArrival = field(default_factory=PromptestArrival)


class LinkSource:
    """A converter board on a serial port, as a source of events.

    A thread reads, hands every frame as received to ``tap``, decodes, and queues the events: a slow reader lags and
    loses nothing, unless it lags by a quarter of an hour of the fastest rig. Everything that the assembly is fed goes
    through the tap first, so that a journal of it replays to the same count blocks, facts and clock fits.

    Parameters
    ----------
    port : str
        Path of the port; a port that comes back under another path is found by its serial number.
    tap : callable or None
        Called in the reading thread; it must return soon. An exception in it is reported as a state and does not stop
        the reading.
    clock : HostClock or None
        All deadlines and times are this clock's.
    silence_s : float
        Time without samples after which the board counts as silent.
    echo_period_s : float
        An odd period, so that echoes do not beat with other traffic.
    rate_Hz : float or None
        Conversions per second to ask the board for.
    baud : int
        Speed of a real serial line; USB and pseudo-terminals ignore it.
    """

    def __init__(
        self,
        port: str,
        *,
        tap: Tap | None = None,
        clock: HostClock | None = None,
        silence_s: float = 1.0,
        echo_period_s: float = 1.7,
        rate_Hz: float | None = None,
        baud: int = 115_200,
    ) -> None:
        self._wanted = PortDescription(port, "")
        self._tap_to = tap
        self._clock = clock or HostClock()
        # A busy machine may stall for a moment of real time; at a higher speed that is not the board being silent.
        self._silence_ns = int(1e9 * max(silence_s, SHORTEST_SILENCE_REAL_S * self._clock.speed))
        self._echo_ns = int(1e9 * echo_period_s)
        self._rate_Hz = rate_Hz
        self._baud = baud
        self._queue: SimpleQueue[SourceEvent | None] = SimpleQueue()
        # One thread writes each of the two.
        self._values_put = self._values_taken = 0
        self._closing = threading.Event()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._port: OpenPort | None = None
        self._decoder = Decoder()
        self._assembly = Assembly()
        self._sequence = 0
        self._state: LinkState | None = None
        self._tap_failed = False
        self._hello_raw = b""
        self._pairs: deque[bytes] = deque(maxlen=_MOST_PAIRS)
        self._pairs_segment = 0

    # What a caller does

    def open_now(self) -> None:
        """Open and lock the port and start reading.

        Raises
        ------
        PortNotFound, PortInUse, PortNotPermitted, PortNotOpened
            Once running, the same problems are states, not exceptions.
        """
        with self._lock:
            if self._thread is None:
                self._port = OpenPort(self._wanted.path, self._baud)
                self._start()

    def events(self) -> Iterator[SourceEvent]:
        """Yield events as they come until the source is closed; the last one is the state ``ended``."""
        with self._lock:
            if self._thread is None and not self._closing.is_set():
                self._start()
        while (event := self._queue.get()) is not None:
            if isinstance(event, CountBlock):
                self._values_taken += event.counts.size
            yield event
        self._queue.put(None)

    def close(self) -> None:
        """Stop the board, release the port and end the iteration; closing twice is harmless."""
        self._closing.set()
        with self._lock:
            thread = self._thread
            if thread is None:
                self._queue.put(None)
        if thread is not None and thread is not threading.current_thread():
            thread.join()

    def __enter__(self) -> LinkSource:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def counters(self) -> Counters:
        """Return the counters so far."""
        return self._assembly.counters

    @property
    def state(self) -> LinkState | None:
        """Return the latest state, None before the first."""
        return self._state

    def prologue(self) -> bytes:
        """Return journal bytes to begin a journal with that starts in mid-stream: greeting and latest time anchors."""
        with self._lock:
            return self._hello_raw + b"".join(self._pairs)

    # The reading thread

    def _start(self) -> None:
        self._thread = threading.Thread(target=self._run, name=f"link {self._wanted.path}", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        pause_s = SHORTEST_PAUSE_S
        try:
            while not self._closing.is_set():
                port, self._port = self._port, None
                if port is None:
                    port = self._open_again()
                if port is None:
                    if not self._clock.wait(self._closing, pause_s):
                        pause_s = min(LONGEST_PAUSE_S, 1.6 * pause_s)
                    continue
                heard = False
                try:
                    heard = self._read_until_lost(port)
                finally:
                    port.close()
                if heard:
                    pause_s = SHORTEST_PAUSE_S
                elif not self._clock.wait(self._closing, pause_s):
                    pause_s = min(LONGEST_PAUSE_S, 1.6 * pause_s)
        except Exception as error:
            _log.exception("the link's reading thread")
            self._report("ended", f"The reading stopped by a fault of this program: {error!r}.", "Start it again.")
        else:
            self._queue.put(self._assembly.counters)
            self._report("ended", "Closed.")
        finally:
            self._queue.put(None)

    def _open_again(self) -> OpenPort | None:
        path = find(self._wanted)
        if path is None:
            self._report(
                "absent", f"The port {self._wanted.path} is gone.", "Plug the board in; reading goes on by itself."
            )
            return None
        try:
            return OpenPort(path, self._baud)
        except BridgeError as error:
            self._report("absent", error.what, error.do)
            return None

    def _read_until_lost(self, port: OpenPort) -> bool:
        """Read an open port until it is lost or the source is closed; True when anything whole was heard."""
        described = describe(port.path)
        if described.serial_number:
            self._wanted = PortDescription(self._wanted.path, described.description, described.serial_number)
        now_ns = self._clock.monotonic_ns()
        connection = _Connection(now_ns, now_ns + int(QUICK_ECHO_S * 1e9), now_ns)
        self._decoder.restart()
        self._own(note_bytes({LINK_NOTE: "opened", "port": port.path}, self._next()))
        self._report("connecting", f"Port {port.path} is open; waiting for the board.")
        try:
            if self._rate_Hz is not None:
                self._send(port, SetRate(round(self._rate_Hz * 100)))
            while not self._closing.is_set():
                self._chores(port, connection)
                if self._far_ahead():
                    self._clock.wait(self._closing, SHORTEST_PAUSE_S)
                    continue
                data = port.read()
                if data:
                    self._arrived(port, connection, data, self._clock.monotonic_ns())
            if self._decoder.dialect != "text":
                self._send(port, Stop())
        except PortLost:
            self._report(
                "absent", f"The port {port.path} has gone.", "Check the cable and plug the board in; reading goes on."
            )
        return connection.heard

    def _far_ahead(self) -> bool:
        return self._values_put - self._values_taken > MOST_AHEAD_VALUES or self._queue.qsize() > MOST_AHEAD_EVENTS

    def _chores(self, port: OpenPort, connection: _Connection) -> None:
        now_ns = self._clock.monotonic_ns()
        since_ns = connection.last_sample_ns if connection.last_sample_ns is not None else connection.opened_ns
        silent = now_ns - since_ns > self._silence_ns
        if silent and self._state is not None and self._state.condition in ("connected", "connecting"):
            self._report(
                "silent",
                f"The board on {port.path} has sent no readings for {(now_ns - since_ns) * 1e-9:.1f} s.",
                "Check the board's power and its converter's wiring; press its reset button if this lasts.",
                since_ns,
            )
        if self._decoder.dialect == "text":
            return
        if now_ns >= connection.next_ask_ns and (not connection.greeted or silent or connection.last_sample_ns is None):
            connection.next_ask_ns = now_ns + int(ASK_AGAIN_S * 1e9)
            self._send(port, AskHello())
            self._send(port, Start())
        if now_ns >= connection.next_echo_ns:
            connection.echoes_sent += 1
            quick = connection.echoes_sent < QUICK_ECHOES
            connection.next_echo_ns = now_ns + (int(QUICK_ECHO_S * 1e9) if quick else self._echo_ns)
            token = self._clock.monotonic_ns().to_bytes(8, "little")
            if len(connection.tokens) > 8:
                connection.tokens.clear()
            connection.tokens.add(token)
            self._send(port, AskEcho(token))

    def _arrived(self, port: OpenPort, connection: _Connection, data: bytes, now_ns: int) -> None:
        for received in self._decoder.push(data):
            if received.kind >= FIRST_JOURNAL_KIND:
                # A board must not send the journal's own frames; if recorded, they would pass for the host's.
                continue
            self._tap(received.raw)
            events = self._assembly.take(received)
            connection.heard = connection.heard or received.value is not None
            self._follow_segment(connection)
            for event in events:
                self._queue.put(event)
                if isinstance(event, CountBlock):
                    self._values_put += event.counts.size
                if isinstance(event, CountBlock) and len(event):
                    connection.promptest.weigh(now_ns, float(event.board_s[-1]))
            value = received.value
            if isinstance(value, Samples):
                connection.last_sample_ns = now_ns
                self._report("connected", f"Readings arrive from {port.path}.", since_ns=now_ns)
            elif isinstance(value, Hello):
                self._greeted(port, connection, received, events)
            elif isinstance(value, Echo) and value.token in connection.tokens:
                connection.tokens.discard(value.token)
                self._anchor(now_ns, value.board_us, received.raw)
        due = connection.anchored_ns is None or now_ns - connection.anchored_ns >= ANCHOR_S * 1e9
        if due and (arrival := connection.promptest.take()) is not None:
            connection.anchored_ns = now_ns
            self._anchor(*arrival)

    def _follow_segment(self, connection: _Connection) -> None:
        if connection.segment != self._assembly.segment:
            connection.segment = self._assembly.segment
            connection.anchored_ns, connection.promptest = None, PromptestArrival()
        with self._lock:
            if self._pairs_segment != connection.segment:
                self._pairs_segment = connection.segment
                self._pairs.clear()

    def _greeted(self, port: OpenPort, connection: _Connection, received: Received, events: list[SourceEvent]) -> None:
        connection.greeted = True
        with self._lock:
            self._hello_raw = received.raw
        if any(isinstance(event, BoardFacts) for event in events):
            # New or rebooted: it waits to be started. Starting a running board does nothing.
            if self._rate_Hz is not None:
                self._send(port, SetRate(round(self._rate_Hz * 100)))
            self._send(port, Start())

    def _anchor(self, now_ns: int, board_us: int, echo_raw: bytes = b"") -> None:
        anchor = anchor_bytes(now_ns, self._clock.utc_ns_at(now_ns), board_us, self._next())
        with self._lock:
            self._pairs.append(echo_raw + anchor)
        self._own(anchor)

    def _own(self, raw: bytes) -> None:
        """Feed a frame of our own to tap and assembly, as a journal will."""
        self._tap(raw)
        for received in Decoder().push(raw):
            for event in self._assembly.take(received):
                self._queue.put(event)

    def _tap(self, raw: bytes) -> None:
        if self._tap_to is None:
            return
        try:
            self._tap_to(raw)
        except Exception as error:
            if not self._tap_failed:
                self._tap_failed = True
                _log.exception("the link's tap")
                described = error if isinstance(error, BridgeError) else None
                condition = self._state.condition if self._state is not None else "connecting"
                self._report(
                    condition,
                    described.what if described else f"The recording failed: {error!r}.",
                    described.do if described else "Readings go on but are not stored; start again.",
                )
        else:
            self._tap_failed = False

    def _send(self, port: OpenPort, message: Message) -> None:
        if not port.write(seal(message.KIND, self._next(), message.to_body())):
            _log.info("%s does not take what is sent to it", port.path)

    def _next(self) -> int:
        self._sequence = (self._sequence + 1) & 0xFFFF
        return self._sequence

    def _report(self, condition: LinkCondition, reason: str = "", do: str = "", since_ns: int | None = None) -> None:
        old = self._state
        if old is not None and old.condition == condition:
            # A recording problem remains shown until the connection itself changes.
            if condition in ("connected", "silent") and not self._tap_failed:
                return
            if old.reason == reason or (condition == "connected" and not do):
                return
        self._state = LinkState(condition, self._clock.monotonic_ns() if since_ns is None else since_ns, reason, do)
        self._queue.put(self._state)
