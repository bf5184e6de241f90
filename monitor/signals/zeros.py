"""Zeros read from the stay itself: bar while the hands are off, platform while the feet are off or nobody is there.

Cells creep and drift by tens of grams a minute; a calibration of this morning does not know it. What a part reads
while it certainly carries nothing is its zero then. The correction is reported, never silent, and small by rule:
beyond ``OFF_ZERO_N`` nothing is corrected, the rig must be zeroed by hand.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.signals.stay import Array, Stay
from monitor.signals.windows import OFF_ZERO_N, Windows, windows_of

LONGEST_ANCHOR_S = 10.0
DRIFT_N_per_s = 0.0033
"""Drift of one cell's zero that is reckoned with between two readings of it: 20 gf a minute (common practice)."""


@dataclass(frozen=True)
class Zeros:
    """Zero corrections (n, channels) in N, their mean for each part, and how well each part's zero is known (N).

    A shift is None where the part was never free: it is as calibrated.
    """

    correction_N: Array
    bar_shift_N: float | None
    feet_shift_N: float | None
    u_bar_N: float
    u_feet_N: float


def read_zeros(stay: Stay) -> Zeros:
    """Read the zeros of a stay; parts that were never free keep the calibration's zero and its uncertainty."""
    windows = windows_of(stay)
    correction = np.zeros_like(stay.filled_N)
    empty = windows.empty & (np.abs(windows.bar_N) < OFF_ZERO_N) & (np.abs(windows.feet_N) < OFF_ZERO_N)
    bar, feet = stay.rig.bar_index, stay.rig.platform_index
    bar_shift, u_bar = _apply(stay, windows, windows.standing | empty, bar, correction)
    feet_shift, u_feet = _apply(stay, windows, windows.hanging_free | empty, feet, correction) if feet else (None, 0.0)
    return Zeros(correction, bar_shift, feet_shift, u_bar, u_feet)


def _apply(
    stay: Stay, windows: Windows, free: NDArray[np.bool_], index: tuple[int, ...], correction: Array
) -> tuple[float | None, float]:
    """Write the zero of one part into ``correction``; return its mean shift and standard uncertainty (N, sum)."""
    anchors = _anchors(windows, _inner(free))
    if not anchors:
        return None, stay.part_u_zero_N(index)
    times = np.array([windows.t_s[a:b].mean() for a, b in anchors])
    means = np.array([windows.cells_N[a:b].mean(axis=0) for a, b in anchors])
    for column in index:
        correction[:, column] = np.interp(stay.t_s, times, means[:, column])
    shift = float(means[:, list(index)].sum(axis=1).mean())
    # Between two readings of the zero it may wander; half way is worst.
    away_s = float(np.max(np.diff(times), initial=0.0)) / 2
    away_s = max(away_s, float(times[0] - stay.t_s[0]), float(stay.t_s[-1] - times[-1])) / 2
    shortest = min(b - a for a, b in anchors) * windows.rows
    u_noise = 0.5 * np.sqrt(len(index) / shortest)
    u_drift = DRIFT_N_per_s * away_s * np.sqrt(len(index)) / np.sqrt(3.0)
    return shift, float(np.hypot(u_noise, u_drift))


def _inner(free: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the free windows whose neighbours are free, too: nothing is about to be touched."""
    inner = free.copy()
    inner[1:] &= free[:-1]
    inner[:-1] &= free[1:]
    return inner


def _anchors(windows: Windows, free: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return runs of free windows as (start, end), long ones cut so that a drift within them is followed."""
    longest = max(1, int(LONGEST_ANCHOR_S / ((windows.t_s[1] - windows.t_s[0]) if len(windows.t_s) > 1 else 1.0)))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(np.int8), [0]])))
    anchors = []
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        pieces = max(1, round((end - start) / longest))
        cuts = np.linspace(start, end, pieces + 1).astype(int).tolist()
        anchors += [(a, b) for a, b in itertools.pairwise(cuts) if b > a]
    return anchors
