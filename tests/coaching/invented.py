"""Invented holds of one person, for the tests of the coaching."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult
from monitor.records.stored_hold import StoredHold

VIENNA = ZoneInfo("Europe/Vienna")
DAY_ns = 86_400 * 10**9


def ns_of(*when: int, zone: ZoneInfo = VIENNA, fold: int = 0) -> int:
    """Return a local time as UTC in ns."""
    return round(dt.datetime(*when, tzinfo=zone, fold=fold).timestamp()) * 10**9  # type: ignore[misc, arg-type]


def hold_at(
    onset_utc_ns: int,
    duration_s: float,
    *,
    alpha: float | None = 0.0,
    kind: str | None = "passive",
    number: int = 1,
    target_s: float | None = None,
    ending: str | None = None,
    **fields: Any,
) -> StoredHold:
    """Return a hold; ``fields`` go to its result."""
    support = None if alpha is None else "unassisted" if alpha < 0.02 else "assisted"
    result = HoldResult(
        **{
            "onset_s": 10.0,
            "release_s": 10.0 + duration_s,
            "duration_s": duration_s,
            "duration_u_s": 0.01,
            "kind": kind,
            "support": support,
            "beta_mean": None if alpha is None else 1 - alpha,
            "alpha_mean": alpha,
            "alpha_u": 0.002,
            "dose_bw_s": None if alpha is None else duration_s * (1 - alpha),
            "clean_s": duration_s,
            **fields,
        }
    )
    uid = f"h-{onset_utc_ns // 10**9}-{number}"
    return StoredHold(
        uid,
        "session-1",
        number,
        onset_utc_ns,
        700.0,
        0.5,
        result,
        MEASUREMENT_VERSION,
        target_s=target_s,
        ending=ending,
    )
