"""Invented holds for the tests of store, exports and reports."""

from __future__ import annotations

import dataclasses

from monitor.records.hold_result import (
    MEASUREMENT_VERSION,
    HoldResult,
    Regrip,
    StateSpan,
    Swing,
    ThirdSupport,
    Touch,
    Travel,
)
from monitor.records.stored_hold import StoredHold
from monitor.store import hold_uid

START_utc_ns = 1_760_000_000_123_456_789  # 2025-10-09T08:53:20.123456789Z
RIG = {"name": "hall", "channels": [{"name": "bar_left", "part": "bar", "x_m": -0.55}]}
CALIBRATION = {
    "id": "2025-10-01",
    "channels": [{"channel": "bar_left", "zero_at": "2025-10-09", "span_at": "2025-10-01", "N_per_count": 0.001}],
}

FULL_RESULT = HoldResult(
    onset_s=12.31,
    release_s=44.87,
    duration_s=32.56,
    duration_u_s=0.012,
    kind="passive",
    support="assisted",
    beta_mean=0.88,
    beta_u=0.001,
    alpha_mean=0.12,
    alpha_u=0.0008,
    alpha_p95=0.15,
    alpha_direct=True,
    clean_s=30.1,
    misclosure=-0.001,
    misclosure_u=0.0004,
    peak_N=811.0,
    dose_bw_s=28.65,
    lateral_m=-0.012,
    swing=Swing(1.9, 1.2, 0.44, [(20.0, 1.8, 0.1), (21.0, None, None)]),
    settle_s=2.1,
    states=[StateSpan(12.31, 20.1, "passive", 0.97), StateSpan(20.1, 44.87, "active", 0.8)],
    travel=[Travel(20.1, 21.0, 48.0, 1.5)],
    regrips=[Regrip(25.0, 25.4)],
    grip_changes_s=[30.5],
    third_support=[ThirdSupport(33.0, 35.0, 0.1)],
    tremor_N=1.4,
    touches=[Touch(30.0, 30.4, 0.15)],
    flags=["kind_from_travel"],
)
BARE_RESULT = HoldResult(onset_s=1.0, release_s=3.5, duration_s=2.5, duration_u_s=0.02)


def sample_hold(session_uid: str, number: int = 1, result: HoldResult = FULL_RESULT, **changes: object) -> StoredHold:
    hold = StoredHold(
        uid=hold_uid(session_uid, number),
        session_uid=session_uid,
        number=number,
        onset_utc_ns=START_utc_ns + number * 60_000_000_000,
        bodyweight_N=702.4,
        bodyweight_u_N=0.6,
        result=result,
        measurement_version=MEASUREMENT_VERSION,
        utc_offset_s=7200,
    )
    return dataclasses.replace(hold, **changes)
