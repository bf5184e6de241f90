"""What an earlier version of the measurement made of a hold."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.records.hold_result import HoldResult


@dataclass(frozen=True, slots=True)
class EarlierResult:
    """What an earlier version of the measurement made of a hold."""

    hold_uid: str
    measurement_version: int
    bodyweight_N: float | None
    bodyweight_u_N: float | None
    result: HoldResult
    replaced_utc_ns: int
