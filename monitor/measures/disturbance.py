"""Rows of a hold in which something other than swing and shoulders moves the body."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from monitor.signals import sliding
from monitor.signals.session_loads import Array

SIDE_CHANGE = 0.15
SIDE_WINDOW_S = 0.6
REACH_S = 1.0


def near_spans(t_s: Array, spans: Iterable[tuple[float, float]], reach_s: float) -> NDArray[np.bool_]:
    """Return (n,) True within ``reach_s`` of any of the spans (start, end) in seconds."""
    near = np.zeros(len(t_s), dtype=bool)
    for start_s, end_s in spans:
        near |= (t_s > start_s - reach_s) & (t_s < end_s + reach_s)
    return near


def side_changes(left_N: Array, right_N: Array, bodyweight_N: float, rate_Hz: float) -> NDArray[np.bool_]:
    """Return (n,) True near rows in which the load moves between the hands: a hand lets go, takes hold or slips."""
    share = sliding.mean((right_N - left_N) / bodyweight_N, max(1, round(0.1 * rate_Hz)))
    rows = max(2, round(SIDE_WINDOW_S * rate_Hz))
    moved = sliding.highest(share, rows) - sliding.lowest(share, rows) > SIDE_CHANGE
    return sliding.near(moved, max(1, round(REACH_S * rate_Hz)))
