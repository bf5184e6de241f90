"""Surplus load of the running hold, by the function that finds it in the whole hold."""

from __future__ import annotations

from monitor.measures.misclosure import EDGE_S, SURPLUS_MEAN_S, SURPLUS_S, surplus_loads
from monitor.signals.session_loads import Array

SURPLUS_LOOK_S = SURPLUS_MEAN_S + 3 * SURPLUS_S
"""How far back a surplus is looked for: more than the mean and the time that it must last."""


def present_surplus(t_s: Array, sum_N: Array, bodyweight_N: float, rate_Hz: float, onset_s: float) -> float | None:
    """Return how much the rig carries above bodyweight by now, as a fraction of it; None without a surplus.

    Parameters
    ----------
    t_s, sum_N : (n,) float
        The last ``SURPLUS_LOOK_S``, seconds and N; the newest row is now.
    bodyweight_N : float, N, above 0.
    rate_Hz : float
    onset_s : float
        Of the running hold; the catch after it is left out.
    """
    now_s = float(t_s[-1])
    # No mean may reach beyond the first row.
    from_s = max(onset_s, float(t_s[0]) - EDGE_S)
    surpluses = surplus_loads(t_s, sum_N, bodyweight_N, rate_Hz, from_s, now_s)
    return surpluses[-1].fraction if surpluses and surpluses[-1].end_s >= now_s else None
