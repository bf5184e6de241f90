"""A session on the rig as stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class StoredSession:
    """A session on the rig. ``ended_utc_ns`` is None while it lasts, or when the program was cut off.

    ``journal`` is relative to the data folder; ``clock_rate`` is true seconds per second of the board.
    """

    uid: str
    started_utc_ns: int
    ended_utc_ns: int | None
    journal: str
    rig: dict[str, Any]
    calibration: dict[str, Any] | None
    clock_rate: float | None
    quality: dict[str, Any] | None
    interrupted: bool
    person_uid: str | None = None
