"""Invented byte streams whose readings are their own numbers: a ramp tells where any piece belongs."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from random import Random

import numpy as np

from firmware_bridge.assembly import Assembly
from firmware_bridge.decoder import Decoder, Received
from firmware_bridge.framing import seal
from firmware_bridge.messages import Hello, Samples
from firmware_bridge.sources import CountBlock, LinkState, Source, SourceEvent

INTERVAL_256US = 12_500 * 256
"""80 conversions per second."""


def ramp(first: int, rows: int, channels: int = 3) -> np.ndarray:
    """Row k holds k, -k, 256 k, ...: zero bytes, negative numbers and carries all occur."""
    k = np.arange(first, first + rows, dtype=np.int64)[:, None]
    return (k * np.array([1, -1, 256, 1000, 7, 65536])[:channels]).astype(np.int32)


def sample_frame(
    sequence: int, row: int, rows: int = 4, *, start_us: int = 0, missed: int = 0, channels: int = 3
) -> bytes:
    first_us = (start_us + row * INTERVAL_256US // 256) & 0xFFFFFFFF
    samples = Samples(first_us, INTERVAL_256US, missed & 0xFFFF, ramp(row, rows, channels))
    return seal(Samples.KIND, sequence, samples.to_body())


def hello_frame(sequence: int = 0, boot_count: int = 1, channels: int = 3) -> bytes:
    hello = Hello(1, (0, 1, 0), b"invented", boot_count, channels, 8000, 0, 6250, "ramp")
    return seal(Hello.KIND, sequence, hello.to_body())


def frames(count: int, *, rows: int = 4, start_us: int = 0, sequence: int = 1, boot_count: int = 1) -> list[bytes]:
    """Return a greeting and ``count`` sample frames without a fault."""
    greeting = hello_frame(sequence - 1, boot_count)
    return [greeting, *(sample_frame(sequence + k, k * rows, rows, start_us=start_us) for k in range(count))]


def assemble(data: Iterable[bytes] | bytes) -> tuple[list[SourceEvent], Assembly, list[Received]]:
    decoder, assembly = Decoder(), Assembly()
    events: list[SourceEvent] = []
    messages: list[Received] = []
    for piece in [data] if isinstance(data, bytes) else data:
        for received in decoder.push(piece):
            messages.append(received)
            events += assembly.take(received)
    return events, assembly, messages


def plain(event: SourceEvent) -> object:
    """Return an event as something that compares exactly."""
    if isinstance(event, CountBlock):
        return (
            event.segment,
            event.board_s.tolist(),
            event.counts.tolist(),
            event.lost_before,
            event.status,
            event.damaged,
        )
    return event


def plain_all(events: Iterable[SourceEvent]) -> list[object]:
    """Everything but the states of the connection, which are the host's and not the board's."""
    return [plain(event) for event in events if not isinstance(event, LinkState)]


def blocks_of(events: Iterable[SourceEvent]) -> list[CountBlock]:
    return [event for event in events if isinstance(event, CountBlock)]


def check_ramp(events: Iterable[SourceEvent], *, first: int | None = None, channels: int = 3) -> int:
    """Assert that every row is a true row and that every hole is as wide as ``lost_before`` says; return the rows.

    A new segment starts the ramp where it likes.
    """
    rows = 0
    segment, due = -1, first
    for block in blocks_of(events):
        start = int(block.counts[0, 0])
        if block.segment != segment:
            segment = block.segment
        elif due is not None:
            assert start - due == block.lost_before
        assert block.counts.tolist() == ramp(start, len(block), channels).tolist()
        due = start + len(block)
        rows += len(block)
    return rows


def cut_at_random(data: bytes, seed: int, longest: int = 40) -> list[bytes]:
    random = Random(seed)
    pieces, start = [], 0
    while start < len(data):
        end = start + random.randint(1, longest)
        pieces.append(data[start:end])
        start = end
    return pieces


def collect(
    source: Source, enough: Callable[[list[SourceEvent]], bool], *, limit_s: float = 120.0
) -> list[SourceEvent]:
    """Take events until there are enough; a source that never gives them is closed and the caller's check fails."""
    events: list[SourceEvent] = []
    watchdog = threading.Timer(limit_s, source.close)
    watchdog.start()
    try:
        for event in source.events():
            events.append(event)
            if enough(events):
                break
    finally:
        watchdog.cancel()
    return events


def rows_in(events: Iterable[SourceEvent]) -> int:
    return sum(len(block) for block in blocks_of(events))


class Ramp:
    """Conversions for the virtual board: ``total`` rows of the ramp, then the end; without end unless told."""

    def __init__(self, total: int = 2**30, channels: int = 3) -> None:
        self.total, self.channels, self.given = total, channels, 0
        self.reached = threading.Event()
        self.reach_at = total

    def __call__(self, n: int) -> np.ndarray:
        n = max(0, min(n, self.total - self.given))
        rows = ramp(self.given, n, self.channels)
        self.given += n
        if self.given >= self.reach_at:
            self.reached.set()
        return rows

    def end_after(self, rows: int) -> None:
        """Let the data end some rows from now."""
        self.total = self.given + rows
