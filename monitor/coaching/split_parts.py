"""Means of the two parts of a split hold, from its load curve."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.records.stored_hold import StoredHold

LEAST_READINGS = 4


def part_means(
    hold: StoredHold, at_s: float, t_s: NDArray[np.float64], bar_N: NDArray[np.float64]
) -> list[dict[str, Any]] | None:
    """Return what a split correction may carry in ``parts``; None where it cannot be known.

    Parameters
    ----------
    hold : StoredHold
        As measured.
    at_s : float
        Where it is split, in seconds of the record.
    t_s : (n,) float, s
        Times of the hold's curve.
    bar_N : (n,) float, N
        Sum of the bar's cells; NaN is skipped.

    Notes
    -----
    Only the difference of a part to the whole is taken from the curve: its zero may lie elsewhere than that of the
    measurement, and a difference does not feel it. Assistance follows as 1 - beta, corrected by the same amount that
    the whole hold's own assistance differs from it.
    """
    whole = hold.result
    if whole.beta_mean is None or not hold.bodyweight_N:
        return None
    inside = (t_s >= whole.onset_s) & (t_s <= whole.release_s) & np.isfinite(bar_N)
    early = inside & (t_s < at_s)
    late = inside & (t_s >= at_s)
    if min(early.sum(), late.sum()) < LEAST_READINGS:
        return None
    middle_N = float(bar_N[inside].mean())
    found = []
    for chosen, duration_s in ((early, at_s - whole.onset_s), (late, whole.release_s - at_s)):
        change = (float(bar_N[chosen].mean()) - middle_N) / hold.bodyweight_N
        beta = whole.beta_mean + change
        found.append(
            {
                "beta_mean": beta,
                "beta_u": whole.beta_u,
                "alpha_mean": None if whole.alpha_mean is None else whole.alpha_mean - change,
                "alpha_u": whole.alpha_u,
                "dose_bw_s": beta * duration_s,
            }
        )
    return found
