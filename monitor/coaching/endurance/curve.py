"""A person's load-endurance curve ``ln T = a + b ln beta`` with log-normal spread, as an exact posterior on a grid.

``a`` is the log of the time (s) at full bodyweight, ``b`` the exponent, ``sigma`` the spread of ln T from hold to hold.
The prior on b is the published exponent of hand and grip (L. A. Frey Law, K. G. Avin, Ergonomics 53 (2010) 109-129:
-1.61), wide enough for the other joints of that table (-1.83 to -2.27) and for individual differences. Holds that
ended at their target are right-censored: they say "at least so long"; where it is unknown why one ended short of it,
two risks compete. Older holds count less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.coaching.endurance.effort import Effort, Efforts, as_arrays
from monitor.coaching.endurance.mode import find_mode

Array = NDArray[np.float64]

MEMORY_DAYS = 28.0
"""A hold of four weeks ago has ``1/e`` of the weight of today's (common practice, no source)."""

MOST_EFFORTS = 120
"""The newest efforts that a fit takes in (common practice, no source)."""

A_STEPS, B_STEPS, SIGMA_STEPS = 45, 21, 15
"""Grid points along each axis (common practice, no source)."""

WIDTH_SD = 4.5
"""Half-width of the first grid, in standard deviations of the posterior (common practice, no source)."""

RIM = 1e-3
"""Probability on a face of the grid above which the grid is moved outwards (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Prior:
    """The prior: normal in a, b and ln sigma. An infinite width is a flat prior.

    The defaults: half of all people are taken to hang between 12 and 53 s (common practice, no source); b as
    published for hand and grip; a person's holds spread by 22 % (common practice, no source).
    """

    a: float = float(np.log(25.0))
    a_sd: float = 1.1
    b: float = -1.61
    b_sd: float = 0.35
    log_sigma: float = float(np.log(0.22))
    log_sigma_sd: float = 0.45

    def log_density(self, a: ArrayLike, b: ArrayLike, log_sigma: ArrayLike) -> Array:
        """Return the log of the density, up to a constant."""
        terms = ((np.asarray(a) - self.a) / self.a_sd) ** 2 + ((np.asarray(b) - self.b) / self.b_sd) ** 2
        return np.asarray(-0.5 * (terms + ((np.asarray(log_sigma) - self.log_sigma) / self.log_sigma_sd) ** 2))


PRIOR = Prior()
FLAT = Prior(a_sd=np.inf, b_sd=np.inf, log_sigma_sd=np.inf)


@dataclass(frozen=True)
class Posterior:
    """What is known of a person's endurance: weights on a grid of (a, b, sigma).

    Attributes
    ----------
    a, b, sigma : (k,) float
        Grid points with a weight that matters, flattened.
    weight : (k,) float
        Their probabilities, sum 1.
    mode : tuple of float
        The most probable (a, b, ln sigma).
    efforts : int
        How many holds it rests on.
    exhausted : int
        How many of them ended because the person could not hold on, as far as is known.
    unsure : int
        How many ended short of their target for an unknown reason.
    lightest_beta : float
        Smallest mean load among the holds; 1 without any. Below it the curve is extrapolated.
    """

    a: Array
    b: Array
    sigma: Array
    weight: Array
    mode: tuple[float, float, float]
    efforts: int
    exhausted: int
    lightest_beta: float = 1.0
    unsure: int = 0

    def mean(self, values: Array) -> float:
        """Return the posterior mean of a function's values (k,) on the grid."""
        return float(self.weight @ values)

    def quantiles(self, values: Array, levels: ArrayLike) -> Array:
        """Return quantiles of a function's values (k,) under the posterior."""
        order = np.argsort(values)
        cumulative = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return np.asarray(np.interp(np.asarray(levels, dtype=float), cumulative, values[order]))


def log_likelihood(data: Efforts, a: Array, b: Array, log_sigma: Array, *, shift: Array | float = 0.0) -> Array:
    """Return (m,) the weighted log-likelihoods of points (m,) of a, b and ln sigma.

    For holds that ended by exhaustion the log-normal density, for all others its upper tail, and both where it is not
    known (``Efforts.log_likelihood_of``). ``shift`` (n, m) is taken off ln T: a trend.
    """
    z = (data.log_T[:, None] - shift - a - data.load_terms(b)) / np.exp(log_sigma)
    each = np.empty_like(z)
    for rows in (data.exhausted, data.unsure, ~(data.exhausted | data.unsure)):
        if rows.any():
            each[rows] = data.log_likelihood_of(rows, z[rows], log_sigma)
    return np.asarray(data.weight @ each)


def fit_endurance(efforts: Sequence[Effort], memory_days: float = MEMORY_DAYS, prior: Prior = PRIOR) -> Posterior:
    """Return the posterior of a person's endurance from their efforts; without any, the prior.

    The grid is centred on the mode, ``WIDTH_SD`` widths to either side, and extended until its faces hold next to no
    probability: the result is the posterior itself, not an approximation of its shape. One of its axes is the log time
    at the holds' mean load, which hardly correlates with b; ``a`` follows from it.
    """
    data = as_arrays(efforts, memory_days, MOST_EFFORTS)
    middle = float(np.average(data.log_beta, weights=data.weight)) if len(data) else 0.0
    mode, width = _centre(data, middle, prior)
    low, high = mode - WIDTH_SD * width, mode + WIDTH_SD * width
    for _ in range(8):
        axes = [np.linspace(low[k], high[k], n) for k, n in enumerate((A_STEPS, B_STEPS, SIGMA_STEPS))]
        at_middle, b, log_sigma = np.meshgrid(*axes, indexing="ij")
        a = at_middle - b * middle
        log_p = prior.log_density(a, b, log_sigma) + _on_grid(data, middle, *axes)
        p = np.exp(log_p - log_p.max())
        p /= p.sum()
        if not _widen(p, low, high):
            break
    keep = p.ravel() > 1e-7
    weight = p.ravel()[keep]
    return Posterior(
        a=a.ravel()[keep],
        b=b.ravel()[keep],
        sigma=np.exp(log_sigma.ravel()[keep]),
        weight=weight / weight.sum(),
        mode=(float(mode[0] - mode[1] * middle), float(mode[1]), float(mode[2])),
        efforts=len(data),
        exhausted=int(data.exhausted.sum()),
        unsure=int(data.unsure.sum()),
        lightest_beta=float(np.exp(data.log_beta.min())) if len(data) else 1.0,
    )


def _on_grid(data: Efforts, middle: float, at_middle: Array, b: Array, log_sigma: Array) -> Array:
    """Return (A, B, S) the weighted log-likelihood on the grid of log times at the mean load, b and ln sigma."""
    out = np.zeros((len(at_middle), len(b), len(log_sigma)))
    terms = data.load_terms(b) - b * middle
    sigma = np.exp(log_sigma)
    done = data.exhausted
    # The sum of squares follows from three moments: no loop over the holds that ended by exhaustion.
    weight = data.weight[done]
    rest = (data.log_T[:, None] - terms)[done]
    moments = weight.sum() * at_middle[:, None] ** 2 - 2 * at_middle[:, None] * (weight @ rest) + weight @ rest**2
    out += -0.5 * moments[:, :, None] / sigma**2 - weight.sum() * log_sigma
    for row in np.flatnonzero(~done).tolist():
        z = (data.log_T[row] - at_middle[:, None] - terms[row])[:, :, None] / sigma
        out += data.weight[row] * data.log_likelihood_of(row, z, log_sigma)
    return out


def _centre(data: Efforts, middle: float, prior: Prior) -> tuple[Array, Array]:
    """Return the posterior's mode (log time at the mean load, b, ln sigma) and a width of each."""

    def log_density(points: Array) -> Array:
        at_middle, b, log_sigma = points.T
        a = at_middle - b * middle
        return log_likelihood(data, a, b, log_sigma) + prior.log_density(a, b, log_sigma)

    start = np.array([prior.a + prior.b * middle, prior.b, prior.log_sigma])
    if len(data):
        start[0] = float(np.average(data.log_T, weights=data.weight))
    mode = find_mode(log_density, start)
    return mode.at, np.minimum(mode.width, [prior.a_sd, prior.b_sd, prior.log_sigma_sd])


def _widen(p: Array, low: Array, high: Array) -> bool:
    """Move the grid's ends outwards where its rim holds more than ``RIM``; say whether anything moved."""
    moved = False
    for axis in range(3):
        margin = p.sum(axis=tuple(k for k in range(3) if k != axis))
        span = high[axis] - low[axis]
        if margin[0] > RIM:
            low[axis] -= 0.4 * span
            moved = True
        if margin[-1] > RIM:
            high[axis] += 0.4 * span
            moved = True
    return moved
