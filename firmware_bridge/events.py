"""Events of a source of counts, as frozen values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from firmware_bridge.counts import CountBlock

LinkCondition = Literal["connecting", "connected", "silent", "absent", "ended"]
Tap = Callable[[bytes], None]
"""Receives every frame as it came (zero byte included), and the host's own journal frames, in order."""


@dataclass(frozen=True, slots=True)
class BoardFacts:
    """The board's description of itself in its greeting (for the text dialect: what can be inferred).

    A text board has protocol 0, no id, boot count 0 and the converter's name ``text``; its ``rate_Hz`` is 0.0 until
    it can be inferred from the lines, then the facts are sent again.
    """

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
    """The state of the connection: something to show, not an exception."""

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
    """What arrived and what was dropped on the way, since the source was opened.

    Attributes
    ----------
    frames : int
        Whole frames (or lines) seen, of every type, the host's own included.
    samples : int
        Rows handed on in count blocks.
    lost : int
        Conversions known to be missing between them.
    damaged : int
        Pieces that were neither a frame nor a line.
    unknown : int
        Whole frames of a type that this version does not know.
    repeated : int
        Sample frames or lines that came twice; the second is dropped.
    spikes : int
        Sample frames in which the board itself marked a channel as saturated.
    """

    frames: int = 0
    samples: int = 0
    lost: int = 0
    damaged: int = 0
    unknown: int = 0
    repeated: int = 0
    spikes: int = 0


SourceEvent = CountBlock | BoardFacts | BoardFault | LinkState | ClockFit | Note | Counters
