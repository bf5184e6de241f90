"""Tables for download."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from monitor.dashboard.doors import StoredHoldLike


def holds_csv(holds: Sequence[StoredHoldLike], out: TextIO) -> None:
    """Write holds, one a row."""
    table = csv.writer(out)
    table.writerow(["uid", "onset_utc_ns", "duration_s"])
    for hold in holds:
        table.writerow([hold.uid, hold.onset_utc_ns, hold.result.duration_s])


def curve_csv(t_s: NDArray[np.float64], names: Sequence[str], load_N: NDArray[np.float64], out: TextIO) -> None:
    """Write a curve, one sample a row."""
    table = csv.writer(out)
    table.writerow(["t_s", *(f"{name}_N" for name in names)])
    for t, row in zip(t_s.tolist(), load_N.tolist(), strict=True):
        table.writerow([f"{t:.6f}", *("" if v != v else f"{v:.3f}" for v in row)])
