"""No rig yet: the page lets an owner choose one."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import ExitStack

from firmware_bridge.sources import HostClock, LinkState, SourceEvent
from monitor.station.sources.rig_source import RigSource, SourceConfig
from monitor.store import DataFolder


class NoRig:
    """A source for as long as no rig is chosen: absent, and it says what to do."""

    def __init__(self, clock: HostClock) -> None:
        self._clock = clock
        self._closed = threading.Event()

    def events(self) -> Iterator[SourceEvent]:
        """Yield the one state, then wait until the source is closed."""
        yield LinkState(
            "absent", self._clock.monotonic_ns(), "No rig is chosen yet.", "Open First steps and choose one."
        )
        self._closed.wait()

    def close(self) -> None:
        """End the iteration."""
        self._closed.set()


def no_rig(_config: SourceConfig, _folder: DataFolder | None, _stack: ExitStack) -> RigSource:
    """Return the source without a rig."""
    clock = HostClock()
    return RigSource(NoRig(clock), clock)
