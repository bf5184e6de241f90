"""Rows of a hold in which something other than swing and shoulders moves the body."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from monitor.signals import sliding
from monitor.signals.session_loads import Array

GAP_REACH_S, TOUCH_REACH_S, PULL_REACH_S = 3.0, 1.0, 0.35
"""How long before and after a regrip, a touch, a pull its movement hides swing and shoulders (common practice, no
source). A pull is over with its movement: the bounce that it leaves has another frequency than a swing's beat."""

SIDE_CHANGE = 0.15
"""The load moves between the hands if its half-difference changes by more than this share of bodyweight (common
practice, no source)."""

SIDE_MEAN_S, SIDE_WINDOW_S, SIDE_REACH_S = 0.1, 0.6, 1.0
"""The change is that of means over 0.1 s, within 0.6 s, and disturbs a second around (common practice, no source)."""

Spans = Iterable[tuple[float, float]]
"""Stretches of time as (start, end), s."""


def disturbed_rows(
    t_s: Array, *, gaps: Spans, touches: Spans, sides: tuple[Array, Array] | None, bodyweight_N: float, rate_Hz: float
) -> NDArray[np.bool_]:
    """Return (n,) True where hands or feet move the body.

    Parameters
    ----------
    gaps, touches : spans
        Where the hands are off the bar, where the feet touch.
    sides : ((n,), (n,) float) or None
        Loads left and right of the bar's middle; None where the rig cannot tell them apart.
    """
    disturbed = near_spans(t_s, gaps, GAP_REACH_S) | near_spans(t_s, touches, TOUCH_REACH_S)
    if sides is not None:
        disturbed |= side_changes(*sides, bodyweight_N, rate_Hz)
    return disturbed


def near_spans(t_s: Array, spans: Spans, reach_s: float) -> NDArray[np.bool_]:
    """Return (n,) True within ``reach_s`` of any of the spans (start, end) in seconds."""
    near = np.zeros(len(t_s), dtype=bool)
    for start_s, end_s in spans:
        near |= (t_s > start_s - reach_s) & (t_s < end_s + reach_s)
    return near


def side_changes(left_N: Array, right_N: Array, bodyweight_N: float, rate_Hz: float) -> NDArray[np.bool_]:
    """Return (n,) True near rows in which the load moves between the hands: a hand lets go, takes hold or slips."""
    share = sliding.mean((right_N - left_N) / bodyweight_N, max(1, round(SIDE_MEAN_S * rate_Hz)))
    rows = max(2, round(SIDE_WINDOW_S * rate_Hz))
    moved = sliding.highest(share, rows) - sliding.lowest(share, rows) > SIDE_CHANGE
    return sliding.near(moved, max(1, round(SIDE_REACH_S * rate_Hz)))
