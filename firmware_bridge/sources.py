"""One interface for every origin of counts: a live port, a journal, a replay at any speed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

from firmware_bridge.counts import CountBlock

LinkCondition = Literal["connecting", "connected", "silent", "absent", "ended"]
Tap = Callable[[bytes], None]
"""Receives every frame as it came (zero byte included), and the host's own journal frames, in order."""


@dataclass(frozen=True, slots=True)
class BoardFacts:
    """What the board said of itself in its greeting (for the text dialect: what can be inferred)."""

    segment: int
    protocol: int
    firmware: tuple[int, int, int]
    board_id: bytes
    boot_count: int
    channels: int
    rate_Hz: float
    skew_us: int
    reading_delay_us: int
    converter: str


@dataclass(frozen=True, slots=True)
class LinkState:
    """The state of the connection, a thing to show and not an exception."""

    condition: LinkCondition
    since_monotonic_ns: int
    reason: str = ""
    do: str = ""


@dataclass(frozen=True, slots=True)
class BoardFault:
    """A fault that the board itself reported."""

    segment: int
    code: int
    channel: int
    detail: str


@dataclass(frozen=True, slots=True)
class ClockFit:
    """Board time against true time: ``true_s = rate * board_s`` within a segment.

    Attributes
    ----------
    segment : int
    rate : float
        True (host monotonic) seconds per board second; 1.0 until it is known.
    u_rate : float
        Standard uncertainty of ``rate``, dimensionless; the crystal's tolerance (5e-5) until it is known better.
    host_ns_at_zero : int
        Host's monotonic nanoseconds at ``board_s == 0``.
    utc_ns_at_zero : int
        UTC nanoseconds at ``board_s == 0``, for display only.
    """

    segment: int
    rate: float
    u_rate: float
    host_ns_at_zero: int
    utc_ns_at_zero: int


@dataclass(frozen=True, slots=True)
class Note:
    """A JSON note of the host found in a journal (for example the rig description and calibration in force)."""

    content: dict[str, object]


@dataclass(frozen=True, slots=True)
class Counters:
    """What was dropped on the way, since the source was opened."""

    frames: int = 0
    samples: int = 0
    lost: int = 0
    damaged: int = 0
    unknown: int = 0
    repeated: int = 0
    spikes: int = 0


SourceEvent = CountBlock | BoardFacts | BoardFault | LinkState | ClockFit | Note | Counters


class Source(Protocol):
    """Anything that yields source events in order; iteration blocks until the next event or the end."""

    def events(self) -> Iterator[SourceEvent]:
        """Yield events until the source ends or is closed."""
        ...

    def close(self) -> None:
        """End the iteration soon, from any thread; closing twice is harmless."""
        ...
