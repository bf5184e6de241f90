"""A person's load-endurance curve ``ln T = a + b ln beta`` with log-normal spread, as an exact posterior on a grid.

``a`` is the log of the time (s) at full bodyweight, ``b`` the exponent, ``sigma`` the spread of ln T from hold to hold.
The prior on b is the published exponent of hand and grip (L. A. Frey Law, K. G. Avin, Ergonomics 53 (2010) 109-129:
-1.61), wide enough for the other joints of that table (-1.83 to -2.27) and for people not being averages. Holds that
ended at their target are right-censored: they say "at least so long". Older holds count less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.coaching.bout import Bout, Bouts, weighted

Array = NDArray[np.float64]

PRIOR_B, PRIOR_B_SD = -1.61, 0.35
PRIOR_A, PRIOR_A_SD = float(np.log(25.0)), 1.1
"""Before any hold: half of all people are taken to hang between 12 and 53 s (common practice, no source)."""

PRIOR_LOG_SIGMA, PRIOR_LOG_SIGMA_SD = float(np.log(0.22)), 0.45
MEMORY_DAYS = 28.0
MOST_BOUTS = 120
A_STEPS, B_STEPS, SIGMA_STEPS = 45, 21, 13
WIDTH_SD = 4.5


@dataclass(frozen=True)
class Posterior:
    """What is known of a person's endurance: weights over a grid of (a, b, sigma).

    Attributes
    ----------
    a, b, sigma : (k,) float
        Grid points with a weight that matters, flattened.
    weight : (k,) float
        Their probabilities, sum 1.
    bouts : int
        How many holds it rests on.
    exhausted : int
        How many of them ended because the person could not hold on.
    """

    a: Array
    b: Array
    sigma: Array
    weight: Array
    bouts: int
    exhausted: int

    def mean(self, values: Array) -> float:
        """Return the posterior mean of a function's values (k,) on the grid."""
        return float(self.weight @ values)

    def quantiles(self, values: Array, levels: ArrayLike) -> Array:
        """Return quantiles of a function's values (k,) under the posterior."""
        order = np.argsort(values)
        cumulative = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return np.asarray(np.interp(np.asarray(levels, dtype=float), cumulative, values[order]))


def _log_prior(a: Array, b: Array, log_sigma: Array) -> Array:
    terms = ((a - PRIOR_A) / PRIOR_A_SD) ** 2 + ((b - PRIOR_B) / PRIOR_B_SD) ** 2
    return np.asarray(-0.5 * (terms + ((log_sigma - PRIOR_LOG_SIGMA) / PRIOR_LOG_SIGMA_SD) ** 2))


def _log_likelihood(data: Bouts, a: Array, b: Array, log_sigma: Array) -> Array:
    """Return (A, B, S) the weighted log-likelihood on the grid of a (A,), b (B,), log sigma (S,).

    For holds that ended by exhaustion the log-normal density, for all others its upper tail.
    """
    from scipy.special import log_ndtr

    out = np.zeros((len(a), len(b), len(log_sigma)))
    terms = data.load_terms(b)
    sigma = np.exp(log_sigma)
    for row in range(len(data.log_T)):
        z = (data.log_T[row] - a[:, None] - terms[row][None, :])[:, :, None] / sigma
        value = -0.5 * z**2 - log_sigma if data.exhausted[row] else log_ndtr(-z)
        out += data.weight[row] * value
    return out


def _centre(data: Bouts) -> tuple[Array, Array]:
    """Return the posterior's mode (a, b, log sigma) and a width of each, by Newton's method on finite differences."""
    from scipy.optimize import minimize
    from scipy.special import log_ndtr

    def cost(p: Array) -> float:
        a, b, log_sigma = p
        z = (data.log_T - a - data.load_terms([b])[:, 0]) / np.exp(log_sigma)
        each = np.where(data.exhausted, -0.5 * z**2 - log_sigma, log_ndtr(-z))
        return -float(data.weight @ each + _log_prior(np.array(a), np.array(b), np.array(log_sigma)))

    start = np.array([PRIOR_A, PRIOR_B, PRIOR_LOG_SIGMA])
    if len(data.log_T):
        start[0] = float(np.average(data.log_T - data.load_terms([PRIOR_B])[:, 0], weights=data.weight))
    found = minimize(cost, start, method="BFGS")
    variances = np.asarray(found.hess_inv, dtype=float).diagonal()
    width = np.sqrt(np.maximum(variances, 1e-6))
    return found.x, np.minimum(width, [PRIOR_A_SD, PRIOR_B_SD, PRIOR_LOG_SIGMA_SD])


def fit_endurance(bouts: list[Bout], memory_days: float = MEMORY_DAYS) -> Posterior:
    """Return the posterior of a person's endurance from their holds; without any, the prior.

    The grid is laid around the mode, ``WIDTH_SD`` widths to either side, and moved or widened until its rim holds
    next to nothing of the probability: the result is the posterior itself, not an approximation of its shape.
    """
    data = weighted(bouts, memory_days, MOST_BOUTS)
    centre, width = _centre(data)
    reach = np.array([WIDTH_SD, WIDTH_SD, WIDTH_SD]) * width
    low, high = centre - reach, centre + reach
    for _ in range(6):
        axes = [
            np.linspace(low[0], high[0], A_STEPS),
            np.linspace(low[1], high[1], B_STEPS),
            np.linspace(low[2], high[2], SIGMA_STEPS),
        ]
        grid = np.meshgrid(*axes, indexing="ij")
        log_p = _log_prior(*grid) + _log_likelihood(data, *axes)
        p = np.exp(log_p - log_p.max())
        p /= p.sum()
        if not _widen(p, low, high):
            break
    keep = p.ravel() > 1e-7
    weight = p.ravel()[keep]
    return Posterior(
        a=grid[0].ravel()[keep],
        b=grid[1].ravel()[keep],
        sigma=np.exp(grid[2].ravel()[keep]),
        weight=weight / weight.sum(),
        bouts=len(data.log_T),
        exhausted=int(data.exhausted.sum()),
    )


def _widen(p: Array, low: Array, high: Array) -> bool:
    """Move the grid's ends outwards where its rim holds more than a thousandth; say whether anything moved."""
    moved = False
    for axis in range(3):
        margin = p.sum(axis=tuple(k for k in range(3) if k != axis))
        span = high[axis] - low[axis]
        if margin[0] > 1e-3:
            low[axis] -= 0.4 * span
            moved = True
        if margin[-1] > 1e-3:
            high[axis] += 0.4 * span
            moved = True
    return moved
