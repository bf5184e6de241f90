"""How the bar is loaded: the peak, and how long the ringing of the catch takes to settle."""

from __future__ import annotations

import functools
import itertools

import numpy as np

from monitor.signals import sliding
from monitor.signals.stay import Array

SETTLED_WITHIN = 0.05
PEAK_S = 0.0125
"""A peak is a mean over this time: shorter ones no converter of 80 readings per second sees."""

HIGH = 0.9
"""How high a reading must be, as a share of the highest, for the peak to lie beside it."""

LEAST_SIDE = 0.1
"""The load comes up to a peak and goes down from it: the flatter side is so steep at least, as a share of the other."""

BENT_NOISES = 6.0
"""Where the load is straighter than its noise there is nothing between the readings."""

ACROSS, PLACES, KAISER_BETA = 12, 17, 5.0
LONGEST_SETTLING_S = 15.0
STILL_AFTER_S = 0.25
LET_GO_S = 0.5
"""The end of a hold, in which the body is on its way down: no ringing of the catch."""


def peak_N(t_s: Array, bar_N: Array, onset_s: float, release_s: float, rate_Hz: float, noise_N: float = 0.0) -> float:
    """Return the largest mean of the bar's load over ``PEAK_S``, wherever that begins, between the edges (N).

    At 80 readings per second that is a reading's own interval; slower readings are means over a longer one. Readings
    fall beside the peak: around the highest of them the course of such means is interpolated within its band (a sinc
    under Kaiser's window; J. F. Kaiser and R. W. Schafer 1980, from memory). A reading next to a step (hands that open)
    is left as it is: the step would ring.
    """
    means_N = sliding.mean(bar_N, max(1, round(PEAK_S * rate_Hz))) if rate_Hz > 1.5 / PEAK_S else bar_N
    rows = np.flatnonzero((t_s >= onset_s) & (t_s <= release_s))
    highest = means_N[rows]
    peak = float(highest.max())
    half = ACROSS // 2
    for row in rows[highest > HIGH * peak].tolist():
        for left in (row - 1, row):
            near = means_N[left - half + 1 : left + half + 1]
            if left < half or len(near) < ACROSS:
                continue
            before, first, second, after = near[half - 2 : half + 2].tolist()
            up_N, down_N = first - before, second - after
            # A step falls to one side only.
            if min(up_N, down_N) > LEAST_SIDE * max(up_N, down_N) and up_N + down_N > BENT_NOISES * noise_N:
                peak = max(peak, float((_between() @ near).max()))
    return peak


@functools.lru_cache(maxsize=1)
def _between() -> Array:
    """Return (k, ACROSS) weights of readings for places between the two in their middle."""
    away = np.linspace(0.0, 1.0, PLACES)[:, None] - (np.arange(ACROSS) - (ACROSS // 2 - 1))
    inside = np.sqrt(np.maximum(0.0, 1.0 - (2 * away / ACROSS) ** 2))
    weights = np.sinc(away) * np.i0(KAISER_BETA * inside)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def settle_s(
    t_s: Array, sum_N: Array, bodyweight_N: float, rate_Hz: float, onset_s: float, release_s: float
) -> float | None:
    """Return how long after the onset S still leaves the band of 5 % about its level; None when it never settles.

    The level is the median of S over the hold, so that a third support does not read as ringing. The last half second
    of the hold is left out.
    """
    inside = (t_s >= onset_s) & (t_s <= min(release_s - LET_GO_S, onset_s + LONGEST_SETTLING_S))
    hold = (t_s >= onset_s) & (t_s <= release_s)
    if inside.sum() < 8:
        return None
    level_N = float(np.median(sum_N[hold]))
    away = np.abs(sum_N[inside] - level_N)
    out = np.flatnonzero(away > SETTLED_WITHIN * bodyweight_N)
    if not len(out):
        return 0.0
    last = int(out[-1])
    if last >= len(away) - max(2, round(STILL_AFTER_S * rate_Hz)):
        # The last excursion is the end of what was looked at: whether it settles is not known.
        return None
    return float(t_s[inside][last] - onset_s)


BOUNCE_S = 1.5
BOUNCE_LEAST = 0.02
BOUNCE_BAND_Hz = (2.0, 7.0)


def bounce_Hz(t_s: Array, sum_N: Array, bodyweight_N: float, onset_s: float) -> float | None:
    """Return the frequency at which the body rings up and down after the catch; None when it does not ring clearly.

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
