"""Stillness: the share of the hold in the still band, and what took the rest out of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.records.hold_result import Stillness
from monitor.signals.session_loads import Array
from monitor.statistics import median

SECOND_S = 1.0
"""Stillness is judged second by second: as fine as a coach can speak of it (common practice, no source)."""

LOAD_BELOW = 0.006
SWING_BELOW_DEG = 1.0
LATERAL_WITHIN_m = 0.02
"""The still band: load, swing and lateral offset that a coach would still call still (common practice, no source)."""


def stillness_of(
    t_s: Array,
    sum_N: Array,
    bodyweight_N: float,
    rate_Hz: float,
    *,
    lateral_m: Array | None,
    swing: Sequence[tuple[float, float | None, float | None]],
    feet: NDArray[np.bool_],
) -> Stillness | None:
    """Return how still a stretch of a hold was, second by second; None for less than three seconds.

    Parameters
    ----------
    t_s, sum_N : (n,) float
    lateral_m : (n,) float or None
        Lateral offset; None where the rig cannot tell.
    swing : rows of time (s), amplitude (degrees), uncertainty
    feet : (n,) bool
        Rows in which a foot touches.

    Returns
    -------
    Stillness
        Shares of the stretch: still, and unstill by its largest cause. They add up to one.
    """
    rows = max(2, round(SECOND_S * rate_Hz))
    count = len(t_s) // rows
    if count < 3:
        return None
    used = count * rows

    def split(signal: Array) -> Array:
        return np.asarray(signal[:used].reshape(count, rows))

    middles = split(t_s).mean(axis=1)
    excess = {
        "feet": np.where(split(feet.astype(float)).any(axis=1), np.inf, 0.0),
        "load": split(sum_N).std(axis=1) / bodyweight_N / LOAD_BELOW,
        "swing": _swing_at(middles, swing) / SWING_BELOW_DEG,
        "lateral": np.zeros(count),
    }
    if lateral_m is not None:
        means = split(lateral_m).mean(axis=1)
        excess["lateral"] = np.abs(means - median(means)) / LATERAL_WITHIN_m
    names = list(excess)
    table = np.array([excess[name] for name in names])
    still = (table < 1.0).all(axis=0)
    worst = np.argmax(table, axis=0)
    causes = {name: float(np.mean(~still & (worst == number))) for number, name in enumerate(names)}
    return Stillness(share=float(np.mean(still)), **causes)


def _swing_at(times: Array, course: Sequence[tuple[float, float | None, float | None]]) -> Array:
    """Return the swing's amplitude (degrees) at some instants; 0 without one within a second."""
    known = [(t, a) for t, a, _ in course if a is not None]
    if not known:
        return np.zeros(len(times))
    t, a = np.array([k[0] for k in known]), np.array([k[1] for k in known])
    nearest = np.abs(times[:, None] - t[None, :]).argmin(axis=1)
    return np.where(np.abs(times - t[nearest]) <= SECOND_S, a[nearest], 0.0)
