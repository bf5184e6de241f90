"""Rows of a hold in which something other than swing and shoulders moves the body."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, maximum_filter1d, minimum_filter1d, uniform_filter1d

from monitor.signals.stay import Array

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
    share = uniform_filter1d((right_N - left_N) / bodyweight_N, max(1, round(0.1 * rate_Hz)), mode="nearest")
    rows = max(2, round(SIDE_WINDOW_S * rate_Hz))
    moved = maximum_filter1d(share, rows, mode="nearest") - minimum_filter1d(share, rows, mode="nearest") > SIDE_CHANGE
    if not moved.any():
        return np.asarray(moved)
    return np.asarray(binary_dilation(moved, iterations=max(1, round(REACH_S * rate_Hz))))
