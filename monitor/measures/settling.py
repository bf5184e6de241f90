"""The ringing of the catch: how long it takes to settle, and its frequency."""

from __future__ import annotations

import itertools

import numpy as np

from monitor.measures.hold_context import LET_GO_S
from monitor.signals.session_loads import Array
from monitor.statistics import median

SETTLED_WITHIN = 0.05
LONGEST_SETTLING_S = 15.0
STILL_AFTER_S = 0.25
"""Settled is S within 5 % of bodyweight about its level for a quarter second, looked for over 15 s (the settling
time of IEEE Std 181-2011 with a band of 5 %; the times are common practice, no source)."""


def settle_s(
    t_s: Array, sum_N: Array, bodyweight_N: float, rate_Hz: float, onset_s: float, release_s: float
) -> float | None:
    """Return the settling time after the onset: until S stays within 5 % about its level; None if it never settles.

    The level is the median of S over the hold, so that a third support does not read as ringing. The last half second
    of the hold is left out.
    """
    inside = (t_s >= onset_s) & (t_s <= min(release_s - LET_GO_S, onset_s + LONGEST_SETTLING_S))
    hold = (t_s >= onset_s) & (t_s <= release_s)
    if inside.sum() < 8:
        return None
    level_N = median(sum_N[hold])
    away = np.abs(sum_N[inside] - level_N)
    out = np.flatnonzero(away > SETTLED_WITHIN * bodyweight_N)
    if not len(out):
        return 0.0
    last = int(out[-1])
    if last >= len(away) - max(2, round(STILL_AFTER_S * rate_Hz)):
        # It still leaves the band at the end of the search: whether it settles is not known.
        return None
    return float(t_s[inside][last] - onset_s)


BOUNCE_S = 1.5
BOUNCE_LEAST = 0.02
BOUNCE_BAND_Hz = (2.0, 7.0)
"""The bounce is looked for in the first 1.5 s, above 2 % of bodyweight, and believed between 2 and 7 Hz (common
practice, no source)."""


def bounce_Hz(t_s: Array, sum_N: Array, bodyweight_N: float, onset_s: float) -> float | None:
    """Return the frequency at which the body bounces after the catch; None if it does not ring clearly.

    From the half periods between the crossings of S with bodyweight while the ringing is above 2 % of it.
    """
    after = (t_s > onset_s) & (t_s < onset_s + BOUNCE_S)
    t, x = t_s[after], sum_N[after] / bodyweight_N - 1.0
    rows = np.flatnonzero(np.diff(np.signbit(x)))
    if len(rows) < 4:
        return None
    crossings = t[rows] - x[rows] * (t[rows + 1] - t[rows]) / (x[rows + 1] - x[rows])
    peaks = np.array([np.max(np.abs(x[a : b + 1])) for a, b in itertools.pairwise(rows.tolist())])
    strong = peaks > BOUNCE_LEAST
    if strong.sum() < 3:
        return None
    frequency = float(0.5 / np.median(np.diff(crossings)[strong]))
    return frequency if BOUNCE_BAND_Hz[0] < frequency < BOUNCE_BAND_Hz[1] else None
