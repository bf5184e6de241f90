"""The result of an analysis: bodyweight, holds, quality, flags."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

from monitor.records.hold_result import HoldResult


@dataclass(frozen=True, slots=True)
class Quality:
    """How good the record was: counts of samples, losses and masked spikes, the measured rate, the zeros' shifts.

    ``zero_bar_N`` and ``zero_feet_N`` are what the parts read while they carried nothing (mean over the session), which
    was taken off every load; None where a part was never free or is not there.
    """

    samples: int
    lost: int
    spikes: int
    rate_Hz: float | None
    zero_bar_N: float | None = None
    zero_feet_N: float | None = None


@dataclass(frozen=True, slots=True)
class SessionResult:
    """Everything that one record (a file, a journal, a session on the rig) yields."""

    bodyweight_N: float | None
    bodyweight_u_N: float | None
    holds: list[HoldResult]
    quality: Quality
    flags: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """Return the record as plain JSON data, the format of ``hang-monitor analyse --json``."""
        return dataclasses.asdict(self)
