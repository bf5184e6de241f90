"""How the bar is loaded: the peak, and how long the ringing of the catch takes to settle."""

from __future__ import annotations

import itertools

import numpy as np

from monitor.signals.stay import Array

SETTLED_WITHIN = 0.05
MOST_ADDED = 0.03
LONGEST_SETTLING_S = 15.0
STILL_AFTER_S = 0.25
LET_GO_S = 0.5
"""The end of a hold, in which the body is on its way down: no ringing of the catch."""


def peak_N(t_s: Array, bar_N: Array, onset_s: float, release_s: float) -> float:
    """Return the largest load of the bar between the edges (N).

    A reading is the mean over its sample interval and falls somewhere beside the peak: a parabola through the three
    highest readings finds the top, and what the mean has cut off (a 24th of the second difference, Taylor) is added.
    """
    rows = np.flatnonzero((t_s >= onset_s) & (t_s <= release_s))
    row = int(rows[np.argmax(bar_N[rows])])
    if row in (0, len(bar_N) - 1):
        return float(bar_N[row])
    before, top, after = (float(x) for x in bar_N[row - 1 : row + 2])
    bend = before - 2 * top + after
    if bend >= 0:
        return top
    peak = top - (after - before) ** 2 / (8 * bend) - bend / 24
    # A blow of a single reading is no parabola: what it was between its neighbours nobody knows.
    return peak if peak - top < MOST_ADDED * abs(top) else top


def loading_N_s(t_s: Array, bar_N: Array, onset_s: float) -> float | None:
    """Return the rate of loading at the catch (N/s); None when the rise is shorter than three readings.

    The mean slope between 20 and 80 % of the way to the first peak, as is usual in impact biomechanics (common
    practice, no source): the slope's foot and head are left out.
    """
    rows = np.flatnonzero((t_s > onset_s - 1.0) & (t_s < onset_s + 1.0))
    if len(rows) < 8:
        return None
    t, bar = t_s[rows], bar_N[rows]
    start = int(np.searchsorted(t, onset_s))
    falling = np.flatnonzero(np.diff(bar[start:]) < 0)
    top = start + (int(falling[0]) if len(falling) else len(bar) - start - 1)
    rising = np.flatnonzero(np.diff(bar[: start + 1]) <= 0)
    foot = int(rising[-1]) + 1 if len(rising) else 0
    low, high = bar[foot] + 0.2 * (bar[top] - bar[foot]), bar[foot] + 0.8 * (bar[top] - bar[foot])
    if top - foot < 2 or high <= low:
        return None
    at_low, at_high = (float(np.interp(level, bar[foot : top + 1], t[foot : top + 1])) for level in (low, high))
    return float((high - low) / (at_high - at_low))


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
