"""Shares of bodyweight: what the hands and the feet carry, and how long within the allowance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.signals.bodyweight import Bodyweight
from monitor.signals.sensitivity import Sensitivity
from monitor.signals.session_loads import Array, SessionLoads
from monitor.signals.zeros import Zeros
from monitor.statistics import median

UNASSISTED_BELOW = 0.01
"""Feet that take less than this in the median do not assist (common practice, no source)."""


def mean_between(t_s: Array, values: Array, start_s: float, end_s: float) -> float:
    """Return the time mean of a load between two instants from readings (n,), each the mean over its interval.

    Sums of whole intervals are exact; within the two intervals that the instants cut, the load is taken as the straight
    line through the reading with its neighbours' slope (a trapezoid through the middles would be too large wherever the
    load is steep at the edges, as the feet's is).
    """
    mean = means_between(t_s, values, np.array([start_s]), np.array([end_s]))
    return float(mean[0])


def means_between(t_s: Array, values: Array, start_s: Array, end_s: Array) -> Array:
    """Return (k,) the means of ``mean_between`` between many pairs of instants (k,)."""
    bounds = np.concatenate(
        [[1.5 * t_s[0] - 0.5 * t_s[1]], 0.5 * (t_s[1:] + t_s[:-1]), [1.5 * t_s[-1] - 0.5 * t_s[-2]]]
    )
    widths = np.diff(bounds)
    whole = np.concatenate([[0.0], np.cumsum(values * widths)])
    ends = np.stack([start_s, end_s])
    cell = np.clip(np.searchsorted(bounds, ends) - 1, 0, len(t_s) - 1)
    since, until = ends - bounds[cell], bounds[cell + 1] - ends
    integral = whole[cell] + values[cell] * since - 0.5 * _slopes(t_s, values, cell) * since * until
    return np.asarray((integral[1] - integral[0]) / (end_s - start_s))


def _slopes(t_s: Array, values: Array, rows: NDArray[np.intp]) -> Array:
    """Return the slopes at some rows of values (n,), n >= 3: of the parabola through a row and its neighbours.

    At the ends of the record that of the straight line to the neighbour.
    """
    row = np.clip(rows, 1, len(t_s) - 2)
    before_s, after_s = t_s[row] - t_s[row - 1], t_s[row + 1] - t_s[row]
    middle = (
        -after_s / (before_s * (before_s + after_s)) * values[row - 1]
        + (after_s - before_s) / (before_s * after_s) * values[row]
        + before_s / (after_s * (before_s + after_s)) * values[row + 1]
    )
    first, last = (values[row] - values[row - 1]) / before_s, (values[row + 1] - values[row]) / after_s
    return np.asarray(np.where(rows < row, first, np.where(rows > row, last, middle)))


def seconds_of(onset_s: float, release_s: float) -> Array:
    """Return (k,) the beginnings of a hold's whole seconds, counted from its onset."""
    return np.asarray(onset_s + np.arange(int(release_s - onset_s)), dtype=float)


@dataclass(frozen=True, slots=True)
class Assistance:
    """Effective bodyweight fraction and assistance of a hold, dimensionless; ``clean_s`` in seconds.

    ``direct`` says that the platform measured alpha; otherwise it is inferred as 1 - B / W.
    """

    beta_mean: float
    alpha_mean: float
    alpha_p95: float
    alpha_median: float
    clean_s: float
    direct: bool


def assistance(
    t_s: Array,
    bar_N: Array,
    feet_N: Array | None,
    *,
    onset_s: float,
    release_s: float,
    bodyweight_N: float,
    alpha_max: float,
) -> Assistance:
    """Return the shares of a hold from the loads (n,) of its session; ``feet_N`` is None where there is no platform."""
    beta = bar_N / bodyweight_N
    alpha = 1.0 - beta if feet_N is None else feet_N / bodyweight_N
    inside = alpha[t_s.searchsorted(onset_s) : t_s.searchsorted(release_s, "right")]
    beta_mean = mean_between(t_s, beta, onset_s, release_s)
    alpha_mean = mean_between(t_s, alpha, onset_s, release_s)
    within = float(np.count_nonzero(inside <= alpha_max)) / len(inside) * float(release_s - onset_s)
    return Assistance(
        beta_mean=beta_mean,
        alpha_mean=alpha_mean,
        alpha_p95=float(np.quantile(inside, 0.95)),
        alpha_median=median(inside),
        clean_s=within,
        direct=feet_N is not None,
    )


def u_share(share: float, load: Sensitivity, bodyweight: Bodyweight, session: SessionLoads, zeros: Zeros) -> float:
    """Return the standard uncertainty of a share ``load / bodyweight``.

    To first order d(L / W) = (dL - share dW) / W (JCGM 100:2008, 5.2.2): what affects L and W alike, above all a span,
    cancels as far as the same cells carried both.
    """
    both = load.plus(bodyweight.sensitivity.times(-share))
    return both.u(session, zeros) / bodyweight.bodyweight_N
