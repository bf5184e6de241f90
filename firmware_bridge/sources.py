"""One interface for every origin of counts: a live port, a journal, a replay at any speed."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from firmware_bridge.assembly import Assembly
from firmware_bridge.clock import HostClock
from firmware_bridge.counts import CountBlock
from firmware_bridge.decoder import Decoder
from firmware_bridge.events import (
    BoardFacts,
    BoardFault,
    ClockFit,
    Counters,
    LinkCondition,
    LinkState,
    Note,
    SourceEvent,
    Tap,
)
from firmware_bridge.journal import check_journal, read_chunks, torn_bytes

__all__ = [
    "BoardFacts",
    "BoardFault",
    "ClockFit",
    "CountBlock",
    "Counters",
    "HostClock",
    "JournalSource",
    "LinkCondition",
    "LinkState",
    "Note",
    "Source",
    "SourceEvent",
    "Tap",
]


class Source(Protocol):
    """Anything that yields source events in order; iteration blocks until the next event or the end."""

    def events(self) -> Iterator[SourceEvent]:
        """Yield events until the source ends or is closed."""
        ...

    def close(self) -> None:
        """End the iteration soon, from any thread; closing twice is harmless."""
        ...


class JournalSource:
    """Replays a journal through the same decoder and assembly as a live port.

    Parameters
    ----------
    path : str or path
    speed : float or None
        Board seconds per second of the clock; None is as fast as possible.
    clock : HostClock or None
        Paces the replay.

    Raises
    ------
    JournalNotFound, NotAJournal
        On construction, so that a command fails at once.
    """

    def __init__(
        self, path: str | os.PathLike[str], speed: float | None = None, *, clock: HostClock | None = None
    ) -> None:
        if speed is not None and not speed > 0:
            raise ValueError(f"The replay's speed must be above 0, not {speed!r}.")
        check_journal(path)
        self.path = Path(path)
        self._speed = speed
        self._clock = clock or HostClock()
        self._closed = threading.Event()

    def close(self) -> None:
        """End the iteration soon, from any thread; closing twice is harmless."""
        self._closed.set()

    def events(self) -> Iterator[SourceEvent]:
        """Yield the journal's events, then the final counters and the state ``ended``.

        The state's ``reason`` mentions a torn tail. A second call starts from the journal's beginning.
        """
        decoder, assembly, pace = Decoder(), Assembly(), _Pace(self._clock, self._speed, self._closed)
        yield LinkState("connected", self._clock.monotonic_ns(), f"Replay of {self.path.name}")
        for chunk in read_chunks(self.path):
            for received in decoder.push(chunk):
                for event in assembly.take(received):
                    if isinstance(event, CountBlock):
                        pace.wait_for(event)
                    if self._closed.is_set():
                        return
                    yield event
        yield assembly.counters
        reason = ""
        if decoder.pending:
            reason = f"The last {torn_bytes(self.path)} bytes of the journal are no whole frame; they were left out."
        yield LinkState("ended", self._clock.monotonic_ns(), reason)


class _Pace:
    """Holds blocks back until their board time has come."""

    def __init__(self, clock: HostClock, speed: float | None, closed: threading.Event) -> None:
        self._clock, self._speed, self._closed = clock, speed, closed
        self._segment = -1
        self._start_ns = 0
        self._start_s = 0.0

    def wait_for(self, block: CountBlock) -> None:
        if self._speed is None or not len(block):
            return
        if block.segment != self._segment:
            self._segment = block.segment
            self._start_ns, self._start_s = self._clock.monotonic_ns(), float(block.board_s[0])
        due_s = (float(block.board_s[-1]) - self._start_s) / self._speed
        self._clock.wait(self._closed, due_s - (self._clock.monotonic_ns() - self._start_ns) * 1e-9)
