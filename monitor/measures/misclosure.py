"""Misclosure: bar and platform carry the whole body; what is missing rests elsewhere, a surplus is not the body."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.holds.edges import runs_above
from monitor.records.hold_result import SurplusLoad, ThirdSupport
from monitor.signals import sliding
from monitor.signals.session_loads import Array
from monitor.statistics import median

MEAN_S = 1.0
"""The misclosure is averaged over a second: nearly blind to swing, tremor and breathing (common practice, no
source)."""

OPEN_FRACTION = 0.025
"""A missing share below this is within what breathing, swing and spans leave open over a second (common practice,
no source)."""

SURPLUS_MEAN_S, SURPLUS_S = 2.0, 0.5
"""Over two seconds S averages to a lone body's weight within ``OPEN_FRACTION``: 2.5 % more would be a gain in speed of
0.5 m/s (Newton II). More of it for half a second is load of somebody or something else (tried on simulated halls)."""

OPEN_ACCOUNT, OPEN_ACCOUNT_U = 0.005, 5.0
"""An account of a whole hold is open beyond this share of bodyweight and so many of its standard uncertainties (common
practice, no source)."""

SHORTEST_S = 2.0
"""A third support lasts at least so long; shorter, it may be a swing (common practice, no source)."""

EDGE_S = 0.5
"""The first and last half second of a hold are left out: the load is on its way (common practice, no source)."""

FEWEST_ROWS = 8
"""A median of fewer quiet rows says nothing (common practice, no source)."""


def misclosure(sum_N: Array, bodyweight_N: float) -> Array:
    """Return S / W - 1, the share of bodyweight that the rig cannot account for.

    Parameters
    ----------
    sum_N : (n,) float, N, downward positive; NaN where a reading failed.
    bodyweight_N : float, N, above 0.

    Returns
    -------
    (n,) float, dimensionless; meaningful only while quiet. Source: S - W = m a (Newton II).
    """
    return np.asarray(sum_N / bodyweight_N - 1.0)


def quiet_misclosure(sum_N: Array, bodyweight_N: float, quiet: NDArray[np.bool_]) -> float | None:
    """Return the median misclosure of the quiet rows (n,); None where none is quiet."""
    if quiet.sum() < FEWEST_ROWS:
        return None
    return median(misclosure(sum_N[quiet], bodyweight_N))


def surplus_loads(
    t_s: Array, sum_N: Array, bodyweight_N: float, rate_Hz: float, onset_s: float, release_s: float
) -> list[SurplusLoad]:
    """Return the stretches of a hold in which two seconds' mean of S stays above bodyweight.

    A coach on the platform, a second person on the bar, a vest: what the cells carry beyond the person's weight. The
    catch is left out. Edges are the half-level crossings of the mean over a second.
    """
    excess = misclosure(sum_N, bodyweight_N)
    mean = sliding.mean(excess, max(1, round(SURPLUS_MEAN_S * rate_Hz)))
    half = SURPLUS_MEAN_S / 2
    first, last = t_s.searchsorted(onset_s + EDGE_S + half, "right"), t_s.searchsorted(release_s - half)
    if last - first < 2:
        return []
    t, m = t_s[first:last], mean[first:last]
    spans: list[SurplusLoad] = []
    for run in runs_above(t, m, OPEN_FRACTION):
        if run.length_s < SURPLUS_S:
            continue
        start_s = onset_s if run.first == 0 else run.start_s
        end_s = release_s if run.last == len(t) else run.end_s
        spans.append(SurplusLoad(start_s, end_s, median(m[run.first : run.last])))
    return spans


def account_is_open(closure: float, u_closure: float) -> bool:
    """Say whether the misclosure of a whole hold is more than its uncertainty explains."""
    return abs(closure) > max(OPEN_ACCOUNT, OPEN_ACCOUNT_U * u_closure)


def third_supports(
    t_s: Array, sum_N: Array, bodyweight_N: float, rate_Hz: float, onset_s: float, release_s: float
) -> list[ThirdSupport]:
    """Return the stretches of a hold in which a second's mean of S stays below bodyweight.

    A mean over a second removes tremor and nearly all of swing and breathing, and does not shift the middle of an edge.
    Edges are the half-level crossings of that mean.
    """
    missing = -misclosure(sum_N, bodyweight_N)
    mean = sliding.mean(missing, max(1, round(MEAN_S * rate_Hz)))
    first, last = t_s.searchsorted(onset_s + EDGE_S, "right"), t_s.searchsorted(release_s - EDGE_S)
    if last - first < 2:
        return []
    t, m = t_s[first:last], mean[first:last]
    supports = []
    for run in runs_above(t, m, OPEN_FRACTION):
        if run.length_s < SHORTEST_S:
            continue
        level = median(m[run.first : run.last])
        low, high = max(0, run.first - round(rate_Hz)), min(len(t), run.last + round(rate_Hz))
        near = [
            r
            for r in runs_above(t[low:high], m[low:high], level / 2)
            if r.first + low < run.last and r.last + low > run.first
        ]
        start_s, end_s = (near[0].start_s, near[-1].end_s) if near else (run.start_s, run.end_s)
        plateau = (t > start_s + MEAN_S) & (t < end_s - MEAN_S)
        if plateau.any():
            level = float(np.mean(m[plateau]))
        if end_s - start_s >= SHORTEST_S:
            supports.append(ThirdSupport(start_s, end_s, level))
    return supports
