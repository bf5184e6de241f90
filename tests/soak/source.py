"""The board's bytes as a source, in virtual time: what the live link does, without a port and without waiting."""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

from firmware_bridge.assembly import Assembly
from firmware_bridge.counts import CountBlock
from firmware_bridge.decoder import LINK_NOTE, Decoder
from firmware_bridge.events import BoardFacts, LinkState, SourceEvent
from firmware_bridge.journal import anchor_bytes, note_bytes
from firmware_bridge.sources import HostClock
from monitor.store.files.session_recorder import SessionRecorder
from tests.soak.board import SoakBoard

BEGUN_UTC_NS = 1_790_000_000_000_000_000


class VirtualClock(HostClock):
    """Stands where the source has put it; UTC may be stepped."""

    def __init__(self) -> None:
        super().__init__(1.0)
        self.now_ns = 10**12
        self.off_ns = 0

    def monotonic_ns(self) -> int:
        return self.now_ns

    def utc_ns(self) -> int:
        return BEGUN_UTC_NS + self.now_ns + self.off_ns


class SoakSource:
    """Plays a board; every received frame goes to the recorder and, for the verdict, into ``stream``."""

    def __init__(self, board: SoakBoard, clock: VirtualClock, recorder: SessionRecorder, stream: BinaryIO) -> None:
        self.board, self.clock, self.recorder, self.stream = board, clock, recorder, stream
        self.assembly = Assembly()
        self.segment_starts_s: dict[int, float] = {}
        self.received = self.lost = 0
        self._decoder = Decoder()
        self._closed = False
        self._hello = b""
        self._pairs: list[bytes] = []
        self._start_ns = clock.now_ns

    def close(self) -> None:
        """End soon."""
        self._closed = True

    def prologue(self) -> bytes:
        """Return greeting and time anchors, as the live link does."""
        return self._hello + b"".join(self._pairs[-64:])

    def events(self) -> Iterator[SourceEvent]:
        """Yield everything that the link would."""
        for piece in self.board.pieces():
            if self._closed:
                return
            self.clock.now_ns = self._start_ns + round(piece.now_s * 1e9)
            self.clock.off_ns += round(piece.utc_step_s * 1e9)
            if piece.gone:
                yield LinkState("absent", self.clock.now_ns, "The cable is out.", "Plug it in.")
                continue
            if piece.back:
                self._decoder.restart()
                yield LinkState("connected", self.clock.now_ns, "")
                yield from self._own(note_bytes({LINK_NOTE: "opened"}))
            if piece.start_s is not None:
                self._hello, self._pairs = piece.data, []
            if piece.echo_us is not None:
                yield from self._echo(piece.echo_us)
            else:
                for event in self._take(piece.data):
                    if piece.start_s is not None and isinstance(event, BoardFacts):
                        self.segment_starts_s[event.segment] = piece.start_s
                    yield event
        yield self.assembly.counters
        yield LinkState("ended", self.clock.now_ns, "")

    def _echo(self, board_us: int) -> Iterator[SourceEvent]:
        token = (self.clock.now_ns - 2_000_000).to_bytes(8, "little")
        raw = self.board.echo(token, board_us)
        yield from self._take(raw)
        anchor = anchor_bytes(self.clock.now_ns, self.clock.utc_ns(), board_us)
        self._pairs.append(raw + anchor)
        yield from self._own(anchor)

    def _own(self, raw: bytes) -> Iterator[SourceEvent]:
        self._tap(raw)
        for received in Decoder().push(raw):
            yield from self.assembly.take(received)

    def _take(self, data: bytes) -> Iterator[SourceEvent]:
        for received in self._decoder.push(data):
            self._tap(received.raw)
            for event in self.assembly.take(received):
                if isinstance(event, CountBlock):
                    self.received += len(event)
                    self.lost += event.lost_before
                yield event

    def _tap(self, raw: bytes) -> None:
        self.recorder.tap(raw)
        self.stream.write(raw)
