"""How the bar is loaded: the peak, and how long the ringing of the catch takes to settle."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d

from monitor.signals.stay import Array

SETTLED_WITHIN = 0.05
LONGEST_SETTLING_S = 15.0


def peak_N(t_s: Array, bar_N: Array, onset_s: float, release_s: float) -> float:
    """Return the largest reading of the bar's sum between the edges (N), a mean over one sample interval."""
    return float(bar_N[(t_s >= onset_s) & (t_s <= release_s)].max())


def settle_s(
    t_s: Array, sum_N: Array, bodyweight_N: float, rate_Hz: float, onset_s: float, release_s: float
) -> float | None:
    """Return how long after the onset S still leaves the band of 5 % about its level; None when it never settles.

    The level is the median of S over the hold, so that a third support does not read as ringing.
    """
    inside = (t_s >= onset_s) & (t_s <= min(release_s, onset_s + LONGEST_SETTLING_S))
    hold = (t_s >= onset_s) & (t_s <= release_s)
    if inside.sum() < 8:
        return None
    level_N = float(np.median(sum_N[hold]))
    away = np.abs(sum_N[inside] - level_N)
    # The largest excursion of the half second around: ringing crosses its level twice a period.
    envelope = maximum_filter1d(away, max(1, round(0.25 * rate_Hz)), mode="nearest")
    out = np.flatnonzero(envelope > SETTLED_WITHIN * bodyweight_N)
    if not len(out):
        return 0.0
    last = int(out[-1])
    if last >= len(envelope) - 2:
        return None
    return float(t_s[inside][last] - onset_s)
