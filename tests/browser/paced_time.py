"""Time of a virtual rig that goes as fast as the program digests it, and never faster.

A clock that is only quick runs away from a busy machine: readings wait in pipes for minutes of the board's time, and a
deadline of a second passes while nobody could do anything. Here time stands while more than a moment of readings is
under way, and a stall of the machine is no time at all.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

from firmware_bridge.counts import CountBlock
from firmware_bridge.events import Tap
from firmware_bridge.link import LinkSource
from firmware_bridge.sources import HostClock, SourceEvent
from firmware_bridge.virtual_board import VirtualBoard

UNDER_WAY_S = 1.0
LONGEST_STEP_NS = 100_000_000
BACK_NS = 3600 * 10**9
"""The paced day begins an hour ago: what is measured must not lie in the future of the rest of the program."""


class PacedClock(HostClock):
    """At most ``speed`` seconds a second; ``speed`` may be changed at any time."""

    def __init__(self, speed: float) -> None:
        super().__init__(speed)
        self._lock = threading.Lock()
        self._paced_ns, self._shown_ns = 0, time.monotonic_ns()
        self._board: VirtualBoard | None = None
        self._digested = 0

    def monotonic_ns(self) -> int:
        """Return the paced nanoseconds."""
        with self._lock:
            real_ns = time.monotonic_ns()
            if not self._held:
                self._paced_ns += min(LONGEST_STEP_NS, int((real_ns - self._shown_ns) * self.speed))
            self._shown_ns = real_ns
            return self._origin_ns + self._paced_ns

    def utc_ns(self) -> int:
        """Return UTC of the paced day."""
        return self._utc_origin_ns - BACK_NS + self.monotonic_ns() - self._origin_ns

    @property
    def _held(self) -> bool:
        board = self._board
        return board is not None and board.sent_samples - self._digested > UNDER_WAY_S * board.rate_Hz

    def paces(self, board: VirtualBoard) -> None:
        """Wait from now on for whoever reads this board, whose wire loses nothing."""
        self._board = board

    def digested(self, event: SourceEvent) -> None:
        """Count readings that the program is done with."""
        if isinstance(event, CountBlock):
            self._digested += len(event)


class PacedLink(LinkSource):
    """A link that tells its clock what was digested of it."""

    def __init__(self, port: str, *, clock: PacedClock, tap: Tap | None = None) -> None:
        super().__init__(port, tap=tap, clock=clock)
        self._paced = clock

    def events(self) -> Iterator[SourceEvent]:
        """Yield events; whoever asks for the next one is done with the last."""
        for event in super().events():
            yield event
            self._paced.digested(event)
