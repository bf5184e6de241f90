"""Keeps the raw frames of each session: a ring of the last seconds, and a journal from the moment somebody is there."""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path

from firmware_bridge.errors import BridgeError
from firmware_bridge.journal import JournalWriter, note_bytes
from firmware_bridge.sources import HostClock

_log = logging.getLogger(__name__)

RING_S = 15.0
"""More than the pipeline's pre-roll and its delay to notice somebody: the journal holds the session from before its
first load."""

STALL_REAL_S = 2.0
"""How long a busy machine may take to begin a journal; at a raised speed that is many seconds of the clock."""

MOST_RING_BYTES = 1 << 24
"""Many times what any rig sends in that time; a device that floods the line costs no more."""

SYNC_EVERY_S = 0.6
"""With the time that a slow disk needs, a cut of the power then costs less than a second of the curve."""


class SessionRecorder:
    """Receives every frame in the reading thread (``tap``); ``begin`` and ``end`` come from elsewhere.

    Parameters
    ----------
    clock : HostClock
        Measures the ring's age.
    prologue : callable
        Bytes that a journal starts with when it begins in mid-stream: the board's greeting and time anchors.
    """

    def __init__(self, clock: HostClock, prologue: Callable[[], bytes] | None = None) -> None:
        self._monotonic_ns = clock.monotonic_ns
        self._ring_ns = 1e9 * (RING_S + STALL_REAL_S * max(0.0, clock.speed - 1.0))
        self.prologue = prologue
        self._lock = threading.Lock()
        self._ring: deque[tuple[int, bytes]] = deque()
        self._ring_bytes = 0
        self._writer: JournalWriter | None = None
        self.trouble: BridgeError | None = None

    def tap(self, raw: bytes) -> None:
        """Take one frame as received; returns at once."""
        now_ns = self._monotonic_ns()
        with self._lock:
            self._ring.append((now_ns, raw))
            self._ring_bytes += len(raw)
            while now_ns - self._ring[0][0] > self._ring_ns or self._ring_bytes > MOST_RING_BYTES:
                self._ring_bytes -= len(self._ring.popleft()[1])
                if not self._ring:
                    break
            writer = self._writer
            if writer is None:
                return
            try:
                writer.append(raw)
            except BridgeError as error:
                self.trouble = error
                self._writer = None
                raise

    def begin(self, path: Path, note: dict[str, object]) -> None:
        """Start a journal: the note, the board's greeting, the ring, and every frame from now on.

        Raises
        ------
        JournalExists, JournalNotWritten, NoteTooLong
        """
        self.end()
        head = note_bytes(note) + (self.prologue() if self.prologue is not None else b"")
        try:
            # Opened outside the lock: a slow disk must not hold the reading thread up.
            writer = JournalWriter(path, sync_every_s=SYNC_EVERY_S)
            writer.append(head)
            with self._lock:
                for _, raw in self._ring:
                    writer.append(raw)
                self.trouble = None
                self._writer = writer
        except BridgeError as error:
            self.trouble = error
            raise

    def flush(self) -> None:
        """Wait until everything so far is on the disk; a trouble is kept for the screen."""
        with self._lock:
            writer = self._writer
        if writer is not None:
            try:
                writer.flush()
            except BridgeError as error:
                self.trouble = error

    def end(self) -> None:
        """Close the journal; everything of it is on the disk when this returns."""
        with self._lock:
            writer, self._writer = self._writer, None
        if writer is None:
            return
        try:
            writer.close()
        except BridgeError as error:
            self.trouble = error
            _log.error("%s", error)
