"""What the benchmarks run on: an hour of the recorded curves, end to end; stored holds of invented people."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from monitor.newtons.curve_file import read_curve
from monitor.newtons.load_block import LoadBlock
from monitor.records.hold_result import MEASUREMENT_VERSION, HoldResult, StateSpan, Swing, Touch
from monitor.records.stored_hold import StoredHold
from monitor.rig import Rig
from monitor.store import hold_uid

CURVES = Path(__file__).parents[1] / "recordings" / "curves"
RATE_Hz = 80.0


def long_record(seconds: float) -> tuple[Rig, np.ndarray, np.ndarray]:
    """Return (rig, t_s (n,), load_N (n, 6)): the curves one after the other, again and again, without gaps."""
    curves = [read_curve(path) for path in sorted(CURVES.glob("s[1-7]_*.csv.gz"))]
    loads = np.concatenate([c.load_N for c in curves])
    rows = int(seconds * RATE_Hz)
    load_N = np.tile(loads, (rows // len(loads) + 1, 1))[:rows]
    return curves[0].rig, np.arange(1, rows + 1) / RATE_Hz, load_N


def cut(t_s: np.ndarray, load_N: np.ndarray, rows: int) -> list[LoadBlock]:
    """Return the record in blocks of ``rows`` rows."""
    return [LoadBlock(t_s[i : i + rows], load_N[i : i + rows]) for i in range(0, len(t_s), rows)]


def invented_hold(session: str, number: int, at_ns: int) -> StoredHold:
    """Return the hold of a number, 1 or more: the later in the session that begins at ``at_ns``, the longer."""
    duration_s, alpha = 12.0 + 2.5 * number, 0.02 * number
    onset_s = 20.0 + 60.0 * number
    result = HoldResult(
        onset_s=onset_s, release_s=onset_s + duration_s, duration_s=duration_s, duration_u_s=0.012, kind="passive",
        support="assisted", beta_mean=1 - alpha, beta_u=0.003, alpha_mean=alpha, alpha_u=0.003, alpha_p95=alpha + 0.02,
        alpha_direct=True, clean_s=duration_s - 1.0, misclosure=0.001, misclosure_u=0.002, peak_N=720.0,
        dose_bw_s=duration_s * (1 - alpha), settle_s=4.0, tremor_N=1.5,
        swing=Swing(4.0, 2.1, 0.44, course=[(onset_s + t, 2.0, 0.1) for t in range(0, int(duration_s), 2)]),
        states=[StateSpan(onset_s, onset_s + duration_s, "passive", 0.97)],
        touches=[Touch(onset_s + 3.0, onset_s + 3.4, 0.08)], flags=[],
    )  # fmt: skip
    ending = "exhausted" if number % 3 == 0 else None
    return StoredHold(
        hold_uid(session, number), session, number, at_ns + round(onset_s * 1e9), 700.0, 0.5, result,
        MEASUREMENT_VERSION,        utc_offset_s=7200, target_s=duration_s, ending=ending,
    )  # fmt: skip
